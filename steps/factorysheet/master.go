package factorysheet

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/png"
	"math"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// master is what the sheet tells of one master. Its views stand on its opening:
// across runs to the part's right, deep to its front, high into the part.
type master struct {
	name      string
	file      step.File
	triangles int
	box       geom.Vec // along the file's own axes, mm
	volume    float64  // mm³; 0 if the surface is open
	closed    bool

	axes       [3]geom.Vec // across, deep, high
	across     span        // of the master along its axes, mm
	deep, high span
	opening    *opening
	widest     *section
	views      [3]photo // front, from its left, from the opening
	scale      float64  // of the views on paper
	clay       photo
	notes      []string
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
	rim    []at    // across and deep, mm
	level  float64 // along high, mm
	across span
	deep   span
	girth  float64
	area   float64
	flat   float64
	open   bool
}

// section is the section across the part where it has most to show.
type section struct {
	level  float64 // along high, mm
	rings  [][]at  // across and deep, mm
	across span
	deep   span
	area   float64
}

// look reads a master, measures it and draws its views.
func look(ctx context.Context, job *step.Job, f step.File, taken widths) (*master, error) {
	p, err := workpiece.Open(ctx, job, f)
	if err != nil {
		return nil, err
	}
	mesh := p.Mesh
	edges, err := mesh.Edges(ctx, job.Workers)
	if err != nil {
		return nil, err
	}
	m := &master{name: f.Part, file: f, triangles: len(mesh.Tris), closed: mesh.Closed(edges), box: mesh.Bounds().Size(), notes: p.Notes()}
	if m.name == "" {
		m.name = p.Base()
	}
	if !mesh.Bounds().Min.Finite() || !(m.box.Len() > 0) {
		return nil, fmt.Errorf("%s: there is nothing to draw", f.Name)
	}
	if m.closed {
		m.volume = mesh.Volume()
	}
	openings, err := mesh.Openings(ctx, edges)
	if err != nil {
		return nil, err
	}
	m.stand(openings)
	m.measure(mesh)
	m.mouth(mesh, openings)
	if m.closed {
		if err := m.cut(ctx, mesh, edges); err != nil {
			return nil, err
		}
	} else {
		m.notes = append(m.notes, m.name+": the surface is open, so there is no section and no volume.")
	}
	m.scale = m.fit()
	return m, m.draw(ctx, kept{job, f.SHA256}, mesh, taken)
}

// stand finds the part's axes: high away from the largest opening, deep as near
// to +Y as can be. Without an opening they are the file's own.
func (m *master) stand(openings []geom.Opening) {
	high, front := geom.Vec{Z: 1}, geom.Vec{Y: 1}
	if len(openings) > 0 {
		high = openings[0].Plane.Normal.Mul(-1)
	} else {
		m.notes = append(m.notes, m.name+": no opening was found; the views follow the file's own axes.")
	}
	if math.Abs(high.Y) > 0.9 {
		front = geom.Vec{Z: 1}
	}
	deep := front.Sub(high.Mul(front.Dot(high))).Unit()
	m.axes = [3]geom.Vec{deep.Cross(high), deep, high}
}

// measure finds how far the master reaches along its axes.
func (m *master) measure(mesh *geom.Mesh) {
	m.across, m.deep, m.high = nothing(), nothing(), nothing()
	for _, v := range mesh.Verts {
		p := v.Vec()
		m.across = m.across.with(p.Dot(m.axes[0]))
		m.deep = m.deep.with(p.Dot(m.axes[1]))
		m.high = m.high.with(p.Dot(m.axes[2]))
	}
}

func (m *master) flatten(p geom.Vec) at { return at{p.Dot(m.axes[0]), p.Dot(m.axes[1])} }

func (m *master) mouth(mesh *geom.Mesh, openings []geom.Opening) {
	if len(openings) == 0 {
		return
	}
	first := openings[0]
	o := &opening{across: nothing(), deep: nothing(), girth: first.Girth, area: first.Area, flat: first.Flat, open: first.Open(), level: -first.Plane.Offset}
	for _, v := range first.Rim {
		p := m.flatten(mesh.Verts[v].Vec())
		o.rim = append(o.rim, p)
		o.across, o.deep = o.across.with(p.x), o.deep.with(p.y)
	}
	o.rim = thinned(o.rim, 0.02)
	m.opening = o
	if n := len(openings); n > 1 {
		m.notes = append(m.notes, fmt.Sprintf("%s: %d openings were found; the views stand on the largest.", m.name, n))
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
		z := m.high.lo + float64(m.high.size()*float64(i)/levels)
		found, err := cutter.Sections(geom.Plane{Normal: m.axes[2], Offset: z}, nil)
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
		m.notes = append(m.notes, m.name+": no section could be drawn; its skin runs through itself.")
		return nil
	}
	s := &section{level: level, area: most, across: nothing(), deep: nothing()}
	for i := range best {
		for _, outline := range best[i].Rings() {
			var ring []at
			for _, p := range outline {
				q := m.flatten(p)
				ring = append(ring, q)
				s.across, s.deep = s.across.with(q.x), s.deep.with(q.y)
			}
			s.rings = append(s.rings, thinned(ring, 0.02))
		}
	}
	m.widest = s
	return nil
}

// dots is how fine pictures are on paper: 12 a mm, about 300 an inch.
const dots = 12

// draw draws the three views at their scale on paper, and one in clay.
func (m *master) draw(ctx context.Context, k kept, mesh *geom.Mesh, taken widths) error {
	a, d, h := m.axes[0], m.axes[1], m.axes[2]
	workers := k.job.Workers
	for i, v := range []struct {
		dir, up    geom.Vec
		wide, tall span
	}{
		{d, h, m.across, m.high},
		{a.Mul(-1), h, m.deep, m.high},
		{h.Mul(-1), d, m.across, m.deep},
	} {
		size := draw.Size{Width: taken.free(pixels(m.scale * v.wide.size())), Height: pixels(m.scale * v.tall.size())}
		data, err := k.picture(fmt.Sprintf("view %d", i+1), size, func() ([]byte, error) {
			p, err := draw.Draw(ctx, draw.Scene{Mesh: mesh, Outline: true, Bare: true, Workers: workers}, draw.View{Dir: v.dir, Up: v.up, PerMM: dots * m.scale}, size)
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
	data, err := k.picture("clay "+m.name, size, func() ([]byte, error) {
		return draw.PNG(ctx, draw.Scene{Title: m.name, Mesh: mesh, Workers: workers}, draw.View{Name: "three quarters", Dir: three, Up: h}, size)
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
