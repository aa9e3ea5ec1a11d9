// Package draw turns surfaces into pictures: PNG bytes of a part under soft
// studio light, with values on the skin, numbered spots, sections, a scale bar
// and a title; and small line charts as SVG text.
//
// A picture is a function of its scene, view and size: the same bytes whatever
// the number of workers. Triangles are snapped to a fixed grid and compared by
// depth and then by their number, so no order of work can show. Products pass
// through float64(...) as geom's package comment explains.
//
// Frames: a View looks against Dir, the direction from the part to the eye.
// Unless a view says otherwise, +Z is up; a part faces +Y and its right is +X.
package draw

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"image"
	imagedraw "image/draw"
	"runtime"
	"slices"

	"layette/steps/internal/geom"
)

// Scene is what to draw.
type Scene struct {
	Title string
	Note  string // a second, smaller line under the title
	Mesh  *geom.Mesh
	// Values colours the skin; nil draws plain clay.
	Values *Values
	// Skin draws the surface's own colours, where it has any and Values is nil.
	Skin  bool
	Spots []Spot
	// Cut, if set, takes away all that lies in front of the plane and hatches
	// what is solid there.
	Cut *Plane
	// Outline draws dark lines on paper where the shape turns away or steps
	// back, instead of clay.
	Outline bool
	// Letters is how many times larger than usual what is written is, for
	// pictures that are shown small; 0 means 1.
	Letters float64
	// Bare leaves out title, scale bar, legend and labels.
	Bare bool
	// Workers is how many goroutines to use at most; 0 means one a processor.
	Workers int
}

// Plane is the plane through At square to Normal. What lies on the side
// Normal points to is in front of it.
type Plane struct{ At, Normal geom.Vec }

// Spot is a numbered place to point at.
type Spot struct {
	Number int
	At     geom.Vec
	To     geom.Vec   // the facing point of what spans two places, or zero
	Radius float64    // mm; a ring of this size is drawn when it shows
	Text   string     // a few words beside the number, such as "0.81 mm"
	Fault  bool       // drawn in the fault colour rather than graphite
	Ring   []geom.Vec // an outline to draw, closed; may be empty
}

// Size is the size of a picture in pixels.
type Size struct{ Width, Height int }

// Usual is the size of a picture on the inspection sheet.
var Usual = Size{1200, 900}

// Limits that keep a picture's memory bounded: about 80 bytes a pixel while drawing.
const (
	leastSide = 32
	mostSide  = 8192
)

// check reports everything in a scene that cannot be drawn.
func check(s Scene, size Size) error {
	switch {
	case size.Width < leastSide || size.Height < leastSide || size.Width > mostSide || size.Height > mostSide:
		return fmt.Errorf("picture of %d by %d pixels: each side must be %d to %d", size.Width, size.Height, leastSide, mostSide)
	case s.Mesh == nil || len(s.Mesh.Tris) == 0:
		return errors.New("nothing to draw: the surface has no triangles")
	case s.Values != nil && len(s.Values.At) != len(s.Mesh.Verts):
		return fmt.Errorf("values to draw: %d for %d vertices", len(s.Values.At), len(s.Mesh.Verts))
	}
	for t, tri := range s.Mesh.Tris {
		for _, v := range tri {
			if v < 0 || int(v) >= len(s.Mesh.Verts) {
				return fmt.Errorf("triangle %d names vertex %d of %d", t, v, len(s.Mesh.Verts))
			}
		}
	}
	return nil
}

// PNG draws s from v and returns the bytes of a PNG file. A true-scale picture
// carries its pixels per metre (pHYs), so that it prints at its real size.
//
// Two million triangles at 1200 by 900 take well under a second on two
// processors.
func PNG(ctx context.Context, s Scene, v View, size Size) ([]byte, error) {
	p, err := Draw(ctx, s, v, size)
	if err != nil {
		return nil, err
	}
	return p.PNG()
}

// Picture is a drawn picture and what is known about it.
type Picture struct {
	Image *image.RGBA
	// PerMM is pixels per mm: everywhere in a true-scale view, at the middle
	// of the part in perspective.
	PerMM float64
	// Exact says that PerMM holds everywhere and is meant for measuring on paper.
	Exact bool
	// Seen tells for each of the scene's spots whether it shows.
	Seen []bool
	// Labels are the boxes of the labels drawn, in pixels, one for each spot
	// that has one, empty otherwise.
	Labels []image.Rectangle
}

// PNG returns p as the bytes of a PNG file.
func (p *Picture) PNG() ([]byte, error) {
	var b bytes.Buffer
	perMM := 0.0
	if p.Exact {
		perMM = p.PerMM
	}
	err := encode(&b, p.Image, perMM)
	return b.Bytes(), err
}

// Draw draws s from v.
func Draw(ctx context.Context, s Scene, v View, size Size) (*Picture, error) {
	if err := check(s, size); err != nil {
		return nil, err
	}
	s, v = near(s, v)
	lay := layOut(s, size)
	return draw(ctx, s, v, aim(s, v, lay.stage), lay)
}

// near moves places given in the surface's own frame to where its vertices
// are stored, which is about its origin.
func near(s Scene, v View) (Scene, View) {
	o := s.Mesh.Origin
	v.Around = v.Around.Sub(o)
	if s.Cut != nil {
		s.Cut = &Plane{s.Cut.At.Sub(o), s.Cut.Normal}
	}
	s.Spots = nearSpots(s.Spots, o)
	return s, v
}

func nearSpots(spots []Spot, o geom.Vec) []Spot {
	out := slices.Clone(spots)
	if o == (geom.Vec{}) {
		return out
	}
	for i, s := range out {
		out[i].At = s.At.Sub(o)
		if s.To != (geom.Vec{}) {
			out[i].To = s.To.Sub(o)
		}
		out[i].Ring = slices.Clone(s.Ring)
		for k := range s.Ring {
			out[i].Ring[k] = s.Ring[k].Sub(o)
		}
	}
	return out
}

// draw draws s through a camera.
func draw(ctx context.Context, s Scene, v View, cam camera, lay layout) (*Picture, error) {
	if s.Workers <= 0 {
		s.Workers = runtime.GOMAXPROCS(0)
	}
	f, err := rasterise(ctx, s, cam, Size{lay.all.Dx(), lay.all.Dy()})
	if err != nil {
		return nil, err
	}
	im, err := f.light(ctx, s)
	if err != nil {
		return nil, err
	}
	p := &Picture{Image: im, PerMM: cam.scale, Exact: v.PerMM > 0}
	p.Seen = f.seen(s.Spots)
	if !s.Bare {
		p.Labels = annotate(im, s, v, cam, lay, p.Seen)
	}
	return p, nil
}

// Pair draws two states of a part side by side through one camera, so that
// what differs between them is the part alone. They lie in one frame, as a
// surface before and after a step does. Seen and Labels are those of before,
// then those of after.
func Pair(ctx context.Context, before, after Scene, v View, size Size) (*Picture, error) {
	half := Size{size.Width / 2, size.Height}
	if err := errors.Join(check(before, half), check(after, half)); err != nil {
		return nil, err
	}
	apart := after.Mesh.Origin.Sub(before.Mesh.Origin)
	before, at := near(before, v)
	after, _ = near(after, v)
	lays := [2]layout{layOut(before, half), layOut(after, half)}
	v = at
	cam := aim(before, v, lays[0].stage)
	other := v
	other.Around = v.Around.Sub(apart)
	cam.scale = min(cam.scale, aim(after, other, lays[1].stage).scale)
	out := &Picture{Image: image.NewRGBA(image.Rect(0, 0, 2*half.Width, half.Height)), PerMM: cam.scale, Exact: v.PerMM > 0}
	for i, s := range [2]Scene{before, after} {
		if i == 1 {
			cam.centre = cam.centre.Sub(apart)
		}
		p, err := draw(ctx, s, v, cam, lays[i])
		if err != nil {
			return nil, err
		}
		at := p.Image.Rect.Add(image.Pt(i*half.Width, 0))
		imagedraw.Draw(out.Image, at, p.Image, image.Point{}, imagedraw.Src)
		out.Seen = append(out.Seen, p.Seen...)
		for _, l := range p.Labels {
			if !l.Empty() {
				l = l.Add(at.Min)
			}
			out.Labels = append(out.Labels, l)
		}
	}
	return out, nil
}
