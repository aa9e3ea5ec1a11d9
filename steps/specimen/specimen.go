// Package specimen makes an invented newborn, as exact implicit solids, and
// everything that a test or a demo needs of one: surfaces at any fineness,
// faults planted at known places, closed-form bodies, and a scanner that sees
// as badly as a real one.
//
// Nobody sat for it. Its sizes are those of published tables for term newborns
// and are scaled for preterm ones; the sources stand beside the numbers, and
// what has none is judged by eye.
//
// Equal options give equal bytes, whatever the number of workers.
package specimen

import (
	"context"
	"fmt"
	"io"
	"slices"
	"strings"

	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
)

// Names of the parts of a kit, in order, and of the castings.
var (
	Parts    = []string{"head", "left-arm", "right-arm", "left-leg", "right-leg"}
	Castings = []string{"left-hand", "right-hand", "left-foot", "right-foot"}
)

// Options describe a child and the kit made of it. The zero value is a term
// newborn asleep, with full limbs, sound in every part.
type Options struct {
	Weeks        float64 // of gestation at birth, 24 to 42; 0 means 40
	Awake        bool    // open eye sockets and mouth
	ThreeQuarter bool    // limbs end in the middle of upper arm and thigh
	NoTie        bool    // no groove for the tie round the limbs
	Plain        bool    // no fine lines in the skin: less to compute in tests
	Elbow, Knee  float64 // degrees; 0 means 38 and 34
	// Curl bends fingers (0 thumb to 4 little) by so many degrees in all: the
	// same child a moment later.
	Curl   [5]float64
	Faults []Fault // what to plant
}

// A Kit is one child's parts.
type Kit struct {
	options Options
	scale   float64
}

// girths are median head circumferences at birth, cm, by weeks of gestation
// (INTERGROWTH-21st, boys): the one length that scales everything.
var girths = [...]struct{ weeks, girth float64 }{
	{24, 22.3}, {26, 24.1}, {28, 25.9}, {30, 27.7}, {32, 29.4}, {34, 31.5}, {36, 32.5}, {38, 33.5}, {40, 34.3}, {42, 35.1},
}

// NewKit returns the kit that the options describe. Weeks outside 24 to 42 and
// faults that no part can bear are errors.
func NewKit(o Options) (*Kit, error) {
	w := or(o.Weeks, 40)
	if !(w >= 24 && w <= 42) {
		return nil, fmt.Errorf("specimen: %g weeks of gestation: the tables go from 24 to 42", w)
	}
	for _, f := range o.Faults {
		if err := f.check(); err != nil {
			return nil, err
		}
	}
	k := &Kit{options: o}
	for i := 1; i < len(girths); i++ {
		a, b := girths[i-1], girths[i]
		if w >= a.weeks && w <= b.weeks {
			t := (w - a.weeks) / (b.weeks - a.weeks)
			k.scale = (a.girth + float64(t*(b.girth-a.girth))) / 34.3
		}
	}
	return k, nil
}

// A Part is one solid of a kit with what is known of it exactly.
type Part struct {
	Name string
	// Field is the solid. What of it lies at z < 0 is cut away if Cut is true:
	// the plane z = 0 is the part's flat opening.
	Field Field
	Cut   bool
	// Planted lists the faults in it; places are in the part's frame.
	Planted []Planted
	// Marks are named points in the part's frame, mm: "opening", "elbow",
	// "wrist", "knee", "ankle", "tip.thumb" to "tip.little", and on the head
	// "canthus.inner.left" and so on.
	Marks map[string]geom.Vec
	// Sizes are lengths known exactly or to 0.01 mm: "head.girth", "hand"
	// (straightened; "palm" and "finger" are its parts), "foot", "upper", "lower", and the least air between fingers "gap.1" to
	// "gap.3" (index to little).
	Sizes map[string]float64

	// Wet are places that a scanner sees badly: lips and lids.
	Wet []Spot

	fine float64 // least planted air or thickness, mm; 0 if none
	left bool    // made as its mirror image and turned over
}

// Part returns a part of the kit, or a casting: a hand or foot alone, cut at
// wrist or ankle. Fingers that cannot be leant together as a fault asks are an
// error: it depends on which, and on how they are curled.
func (k *Kit) Part(name string) (*Part, error) {
	p := &Part{Name: name, Cut: true, Marks: map[string]geom.Vec{}, Sizes: map[string]float64{}}
	side, what, _ := strings.Cut(name, "-")
	p.left = side == "left"
	var f faults
	for _, x := range k.options.Faults {
		if x.Part == name {
			f = append(f, x)
		}
	}
	switch {
	case name == "head":
		k.head(p, f)
	case !slices.Contains(Parts, name) && !slices.Contains(Castings, name):
		return nil, fmt.Errorf("specimen: no part %q; there are %s and, as castings, %s", name, strings.Join(Parts, ", "), strings.Join(Castings, ", "))
	case what == "arm" || what == "hand":
		if err := k.arm(p, f, what == "hand"); err != nil {
			return nil, err
		}
	default:
		k.leg(p, f, what == "foot")
	}
	p.resize(k.scale)
	f.solid(p)
	p.fine = finest(p.Planted)
	if p.left {
		p.turnOver()
	}
	return p, nil
}

// resize makes the part s times as large about its opening's centre.
func (p *Part) resize(s float64) {
	if s == 1 {
		return
	}
	p.Field = scaled{p.Field, s}
	for n, m := range p.Marks {
		p.Marks[n] = m.Mul(s)
	}
	for n, x := range p.Sizes {
		p.Sizes[n] = x * s
	}
	for i, w := range p.Wet {
		p.Wet[i] = Spot{w.At.Mul(s), w.Radius * s}
	}
	for i := range p.Planted {
		q := &p.Planted[i]
		q.At, q.Radius = q.At.Mul(s), q.Radius*s
		if q.length() {
			q.Value *= s
			q.Depth *= s
		}
	}
}

// turnOver makes a right part a left one.
func (p *Part) turnOver() {
	p.Field = mirrored{p.Field}
	for n, m := range p.Marks {
		p.Marks[n] = flip(m)
	}
	for i := range p.Planted {
		p.Planted[i].At = flip(p.Planted[i].At)
	}
	for i := range p.Wet {
		p.Wet[i].At = flip(p.Wet[i].At)
	}
}

// Mesh returns the part's surface. Left parts are exactly the mirror image of
// right ones, vertex by vertex. Faults that are done to a surface are in it;
// ctx stops it within some milliseconds.
//
// What is thinner than a cell (2.4 edges), solid or air, may be fused or
// missed: the skin between the fingers' roots wants 300,000 triangles an arm. A part with a planted gap, plate or slot therefore gets more
// triangles than asked for, if it takes more to show it, and is an error if it
// takes more than 40 million; an Edge is obeyed.
//
// Two million triangles of an arm take about 3 s on two processors.
func (p *Part) Mesh(ctx context.Context, s Sampling) (*geom.Mesh, error) {
	f := p.Field
	if m, ok := f.(mirrored); ok {
		f = m.f
	}
	m, err := surfaceOf(ctx, f, p.Cut, s, p.fine)
	if err != nil {
		return nil, err
	}
	if p.left {
		m = mirror(m)
	}
	for _, q := range p.Planted {
		if q.What != WrongUnit {
			m = Damage(m, q)
		}
	}
	for _, q := range p.Planted {
		if q.What == WrongUnit {
			m = Damage(m, q)
		}
	}
	return m, nil
}

// Surface returns the surface of any field: with cut, of what lies at z >= 0.
func Surface(ctx context.Context, f Field, cut bool, s Sampling) (*geom.Mesh, error) {
	return surfaceOf(ctx, f, cut, s, 0)
}

func surfaceOf(ctx context.Context, f Field, cut bool, s Sampling, fine float64) (*geom.Mesh, error) {
	a, err := s.cell(ctx, f, cut)
	if err != nil {
		return nil, err
	}
	if fine > 0 && s.Edge == 0 {
		asked := a
		a = min(a, 0.95*fine)
		if n := or(float64(s.Triangles), usualTriangles) * (asked / a) * (asked / a); n > mostTriangles {
			return nil, fmt.Errorf("specimen: %.3g mm of planted air or thickness would take %.2g triangles to show; %d is the most: plant more, or give an edge", fine, n, mostTriangles)
		}
	}
	return triangulate(ctx, f, a, cut, s.Open, s.Workers)
}

// mirror returns m seen in the mirror x = 0, still facing outward.
func mirror(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Verts: make([]geom.Point, len(m.Verts)), Tris: make([]geom.Tri, len(m.Tris))}
	for i, p := range m.Verts {
		out.Verts[i] = geom.Point{-p[0], p[1], p[2]}
	}
	for i, t := range m.Tris {
		out.Tris[i] = geom.Tri{t[0], t[2], t[1]}
	}
	return out
}

// WriteSTL writes a surface as a binary STL file, the way sculpting programs
// hand one over: no units, no shared points.
func WriteSTL(w io.Writer, m *geom.Mesh) error { return meshio.WriteSTL(w, m, "specimen") }

// WritePLY writes a surface as a binary PLY file.
func WritePLY(w io.Writer, m *geom.Mesh) error { return meshio.WritePLY(w, m) }
