package factorysheet

import (
	"bytes"
	"cmp"
	"context"
	"fmt"
	"image"
	"image/png"
	"math"
	"sync"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// master is what the sheet tells of one master.
type master struct {
	name string
	file step.File
	form
	views [3]photo // front, from its left, from the opening
	scale float64  // of the views on paper
	clay  photo
}

// form is what was measured of a master. Its views stand on its opening: across
// runs to the part's right, deep to its front, high into the part.
type form struct {
	Triangles int
	Box       geom.Vec // along the file's own axes, mm
	Volume    float64  // mm³; 0 if the surface is open
	Closed    bool

	Axes       [3]geom.Vec // across, deep, high
	Across     span        // of the master along its axes, mm
	Deep, High span
	Opening    *opening
	Widest     *section
	Notes      []string
}

// widths are the widths of pictures that are taken, in pixels. The PDF library
// writes pictures in order of their widths and equal ones in any order, so no
// two may be equally wide if equal sheets are to give equal bytes.
type widths map[int]bool

// free returns the next width that is not taken, and takes it.
func (w widths) free(wide int) int {
	for w[wide] {
		wide++
	}
	w[wide] = true
	return wide
}

// opening is the end through which the mould is filled, as the sheet shows it.
type opening struct {
	Rim    []at    // across and deep, mm
	Level  float64 // along high, mm
	Across span
	Deep   span
	Girth  float64
	Area   float64
	Flat   float64
	Open   bool
}

// section is the section across the part where it has most to show.
type section struct {
	Level  float64 // along high, mm
	Rings  [][]at  // across and deep, mm
	Across span
	Deep   span
	Area   float64
}

// sitting is a master while it is looked at. What is made of it is kept: when
// one part of a kit was edited, the others' files need not even be read.
type sitting struct {
	job  *step.Job
	key  string // names all that a master's form is made from
	read func() (workpiece.Piece, error)
}

// picture returns a picture of the master as draw draws it.
func (s sitting) picture(what string, size draw.Size, draw func(*geom.Mesh) ([]byte, error)) ([]byte, error) {
	key := fmt.Sprintf("%s: %s, %d by %d", s.key, what, size.Width, size.Height)
	return workpiece.Once(s.job, key, func() ([]byte, error) {
		p, err := s.read()
		if err != nil {
			return nil, err
		}
		return draw(p.Mesh)
	})
}

// look measures a master and draws its views.
func look(ctx context.Context, job *step.Job, f step.File, taken widths) (*master, error) {
	m := &master{name: cmp.Or(f.Part, workpiece.Piece{File: f}.Base()), file: f}
	s := sitting{job: job, key: fmt.Sprintf("%s in %s, %q of %q", f.SHA256, f.Units, m.name, f.Name)}
	s.read = sync.OnceValues(func() (workpiece.Piece, error) { return workpiece.Open(ctx, job, f) })
	var err error
	m.form, err = workpiece.Once(job, s.key, func() (form, error) {
		p, err := s.read()
		if err != nil {
			return form{}, err
		}
		err = m.take(ctx, p, job.Workers)
		return m.form, err
	})
	if err != nil {
		return nil, err
	}
	m.scale = m.fit()
	return m, m.draw(ctx, s, taken)
}

// take measures a master.
func (m *master) take(ctx context.Context, p workpiece.Piece, workers int) error {
	mesh := p.Mesh
	edges, err := mesh.Edges(ctx, workers)
	if err != nil {
		return err
	}
	m.Triangles, m.Closed, m.Box, m.Notes = len(mesh.Tris), mesh.Closed(edges), mesh.Bounds().Size(), p.Notes()
	if !mesh.Bounds().Min.Finite() || !(m.Box.Len() > 0) {
		return fmt.Errorf("%s: there is nothing to draw", m.file.Name)
	}
	if m.Closed {
		m.Volume = mesh.Volume()
	}
	openings, err := mesh.Openings(ctx, edges, workers)
	if err != nil {
		return err
	}
	m.stand(openings)
	m.measure(mesh)
	m.mouth(mesh, openings)
	if m.Closed {
		return m.cut(ctx, mesh, edges)
	}
	m.note("the surface is open, so there is no section and no volume.")
	return nil
}

func (m *master) note(format string, args ...any) {
	m.Notes = append(m.Notes, m.name+": "+fmt.Sprintf(format, args...))
}

// stand finds the part's Axes: high away from the largest opening, deep as near
// to +Y as can be. Without an opening they are the file's own.
func (m *master) stand(openings []geom.Opening) {
	high, front := geom.Vec{Z: 1}, geom.Vec{Y: 1}
	if len(openings) > 0 {
		high = openings[0].Plane.Normal.Mul(-1)
	} else {
		m.note("no opening was found; the views follow the file's own axes.")
	}
	if math.Abs(high.Y) > 0.9 {
		front = geom.Vec{Z: 1}
	}
	deep := front.Sub(high.Mul(front.Dot(high))).Unit()
	m.Axes = [3]geom.Vec{deep.Cross(high), deep, high}
}

// measure finds how far the master reaches along its axes.
func (m *master) measure(mesh *geom.Mesh) {
	m.Across, m.Deep, m.High = nothing(), nothing(), nothing()
	for _, v := range mesh.Verts {
		p := v.Vec()
		m.Across = m.Across.with(p.Dot(m.Axes[0]))
		m.Deep = m.Deep.with(p.Dot(m.Axes[1]))
		m.High = m.High.with(p.Dot(m.Axes[2]))
	}
}

func (m *master) flatten(p geom.Vec) at { return at{p.Dot(m.Axes[0]), p.Dot(m.Axes[1])} }

func (m *master) mouth(mesh *geom.Mesh, openings []geom.Opening) {
	if len(openings) == 0 {
		return
	}
	first := openings[0]
	o := &opening{Across: nothing(), Deep: nothing(), Girth: first.Girth, Area: first.Area, Flat: first.Flat, Open: first.Open(), Level: -first.Plane.Offset}
	for _, v := range first.Rim {
		p := m.flatten(mesh.Verts[v].Vec())
		o.Rim = append(o.Rim, p)
		o.Across, o.Deep = o.Across.with(p.x), o.Deep.with(p.y)
	}
	o.Rim = thinned(o.Rim, 0.02)
	m.Opening = o
	if n := len(openings); n > 1 {
		m.note("%d openings were found; the views stand on the largest.", n)
	}
}

// levels are the heights at which a section is tried, in fortieths of the
// whole: not the rim of the opening nor the tips.
const lowest, highest, levels = 4, 38, 40

// cut finds the largest section across the part, between its ends.
func (m *master) cut(ctx context.Context, mesh *geom.Mesh, edges *geom.Edges) error {
	cutter, err := geom.NewCutter(mesh, edges)
	if err != nil {
		return err
	}
	var best []geom.Section
	most, level := 0.0, 0.0
	for i := lowest; i <= highest; i++ {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		z := m.High.Lo + float64(m.High.size()*float64(i)/levels)
		found, err := cutter.Sections(geom.Plane{Normal: m.Axes[2], Offset: z}, nil)
		if err != nil {
			continue // outlines that cross each other: another level will do
		}
		area := 0.0
		for _, s := range found {
			area += s.Area
		}
		if area > most {
			best, most, level = found, area, z
		}
	}
	if best == nil {
		m.note("no section could be drawn; its skin runs through itself.")
		return nil
	}
	s := &section{Level: level, Area: most, Across: nothing(), Deep: nothing()}
	for i := range best {
		for _, outline := range best[i].Rings() {
			var ring []at
			for _, p := range outline {
				q := m.flatten(p)
				ring = append(ring, q)
				s.Across, s.Deep = s.Across.with(q.x), s.Deep.with(q.y)
			}
			s.Rings = append(s.Rings, thinned(ring, 0.02))
		}
	}
	m.Widest = s
	return nil
}

// dots is how fine pictures are on paper: 12 a mm, about 300 an inch.
const dots = 12

// draw draws the three views at their scale on paper, and one in clay.
func (m *master) draw(ctx context.Context, s sitting, taken widths) error {
	a, d, h := m.Axes[0], m.Axes[1], m.Axes[2]
	for i, v := range []struct {
		dir, up    geom.Vec
		wide, tall span
	}{
		{d, h, m.Across, m.High},
		{a.Mul(-1), h, m.Deep, m.High},
		{h.Mul(-1), d, m.Across, m.Deep},
	} {
		size := draw.Size{Width: taken.free(pixels(m.scale * v.wide.size())), Height: pixels(m.scale * v.tall.size())}
		data, err := s.picture(fmt.Sprintf("view %d", i+1), size, func(mesh *geom.Mesh) ([]byte, error) {
			p, err := draw.Draw(ctx, draw.Scene{Mesh: mesh, Outline: true, Bare: true, Workers: s.job.Workers}, draw.View{Dir: v.dir, Up: v.up, PerMM: dots * m.scale}, size)
			if err != nil {
				return nil, err
			}
			return onWhite(p.Image)
		})
		if err != nil {
			return err
		}
		m.views[i] = photo{Kind: "png", Data: data, Wide: size.Width, Tall: size.Height}
	}
	three := d.Add(a.Mul(0.6)).Add(h.Mul(0.25))
	size := draw.Size{Width: taken.free(720), Height: 540}
	data, err := s.picture("clay", size, func(mesh *geom.Mesh) ([]byte, error) {
		return draw.PNG(ctx, draw.Scene{Title: m.name, Mesh: mesh, Workers: s.job.Workers}, draw.View{Name: "three quarters", Dir: three, Up: h}, size)
	})
	m.clay = photo{Caption: m.name, Kind: "png", Data: data, Wide: size.Width, Tall: size.Height}
	return err
}

// border is what a view's picture shows round the part, in mm of paper.
const border = 1.0

// pixels is how many a view takes that is so many mm long on paper.
func pixels(mm float64) int { return int(math.Ceil((mm + 2*border) * dots)) }

// onWhite returns a drawn picture as a grey PNG whose paper is white.
func onWhite(im *image.RGBA) ([]byte, error) {
	b := im.Bounds()
	paper := im.RGBAAt(b.Min.X, b.Min.Y)
	grey := image.NewGray(b)
	for y := b.Min.Y; y < b.Max.Y; y++ {
		for x := b.Min.X; x < b.Max.X; x++ {
			c := im.RGBAAt(x, y)
			sum := (255*int(c.R)/int(paper.R) + 255*int(c.G)/int(paper.G) + 255*int(c.B)/int(paper.B)) / 3
			grey.Pix[grey.PixOffset(x, y)] = uint8(min(sum, 255))
		}
	}
	var out bytes.Buffer
	err := (&png.Encoder{CompressionLevel: png.BestCompression}).Encode(&out, grey)
	return out.Bytes(), err
}
