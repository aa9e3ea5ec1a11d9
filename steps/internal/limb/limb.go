// Package limb finds what the steps about moulding and assembling ask of a
// part: its opening, the level rings of the distance along the skin from it,
// the tree of branches they make, and the joints that have names.
package limb

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// Shape is what sort of part a limb is.
type Shape string

// The shapes of a part. Other has no named joints.
const (
	Arm   Shape = "arm"
	Leg   Shape = "leg"
	Head  Shape = "head"
	Other Shape = "other"
)

// Want says what to look for.
type Want struct {
	Shape   Shape
	Spacing float64             // between rings, mm
	Opening *geom.Vec           // a point on the opening that a person named; nil to find it
	Strays  float64             // how far an opening may lie off its plane, mm
	Pins    map[string]geom.Vec // joints that a person placed
	Upright bool                // rings of height over the opening, not of distance along the skin, where there is one
	Workers int
}

// Limb is what was found. Points are about the mesh's origin.
type Limb struct {
	Mesh     *geom.Mesh // the right way round; its numbering is that of the mesh given
	Edges    *geom.Edges
	Openings []geom.Opening // on the part's largest shell, the one used first; none if there is none
	Rings    *geom.Rings
	Shells   int
	Inside   bool    // the surface given was inside out
	Digits   []int32 // branches that end in a tip: thumb to little finger when there are five on an arm
	Joints   []Joint // from the opening on
	Notes    []string
}

// Joint is a place with a name.
type Joint struct {
	Name   string
	At     geom.Vec // on the axis
	Ring   int32    // the nearest; index into Rings.Rings
	Pinned bool     // a person placed it
	Turn   float64  // how far the limb bends there, radians; 0 where it hardly does
}

// New looks at a surface. What is wrong with it but does not keep rings from
// being found is said in Notes: several shells, two openings or none, an
// opening that is not flat, open skin, the wrong way round. A surface without
// an opening is looked at from the thicker end of its longest way.
func New(ctx context.Context, m *geom.Mesh, w Want) (*Limb, error) {
	l, err := Open(ctx, m, w)
	if err != nil {
		return nil, err
	}
	if l.Rings, err = l.rings(ctx, w); err != nil {
		if ctx.Err() != nil {
			return nil, err
		}
		return nil, fmt.Errorf("%w: name the opening if it lies elsewhere, or give smaller triangles", err)
	}
	l.digits(w.Shape)
	return l, l.name(w)
}

// Open is New without rings, digits and joints: a tenth of the work. It looks
// at Opening, Strays and Workers alone.
func Open(ctx context.Context, m *geom.Mesh, w Want) (*Limb, error) {
	if len(m.Tris) == 0 {
		return nil, errors.New("the surface has no triangles")
	}
	l := &Limb{Mesh: &geom.Mesh{Verts: m.Verts, Tris: m.Tris, Origin: m.Origin}}
	var err error
	if l.Edges, err = l.Mesh.Edges(ctx, w.Workers); err != nil {
		return nil, err
	}
	return l, l.open(ctx, w)
}

func (l *Limb) rings(ctx context.Context, w Want) (*geom.Rings, error) {
	if len(l.Openings) == 0 {
		return l.Mesh.RingsFrom(ctx, l.Edges, []geom.Opening{{Rim: []int32{l.end()}}}, w.Spacing)
	}
	if !w.Upright {
		return l.Mesh.RingsFrom(ctx, l.Edges, l.Openings, w.Spacing)
	}
	shell, n := l.Mesh.Shells(l.Edges)
	largest, of := l.largest(shell, n)
	return l.Mesh.RingsUpright(ctx, l.Edges, l.Openings[0], of, largest, w.Spacing)
}

// open finds the openings of the largest shell and turns the surface the right
// way round.
func (l *Limb) open(ctx context.Context, w Want) error {
	all, err := l.Mesh.Openings(ctx, l.Edges, w.Workers)
	if err != nil {
		return err
	}
	shell, n := l.Mesh.Shells(l.Edges)
	l.Shells = n
	if n > 1 {
		l.note("%d separate shells: the largest is looked at, the others are not", n)
	}
	largest, of := l.largest(shell, n)
	all = slices.DeleteFunc(all, func(o geom.Opening) bool { return of[o.Rim[0]] != largest })
	if w.Opening != nil {
		if all, err = l.named(all, w.Opening.Sub(l.Mesh.Origin), w.Strays); err != nil {
			return err
		}
	}
	l.Openings = all
	if err := l.turn(ctx, w, largest, shell); err != nil {
		return err
	}
	l.judge(w, shell, largest)
	return nil
}

func (l *Limb) note(format string, args ...any) {
	l.Notes = append(l.Notes, fmt.Sprintf(format, args...))
}

// largest returns the shell with the most skin, and the shell of each vertex.
func (l *Limb) largest(shell []int32, n int) (int32, []int32) {
	area := make([]geom.Sum, n)
	of := make([]int32, len(l.Mesh.Verts))
	for t, s := range shell {
		a, b, c := l.Mesh.Corners(t)
		area[s].Add(b.Sub(a).Cross(c.Sub(a)).Len())
		for _, v := range l.Mesh.Tris[t] {
			of[v] = s
		}
	}
	best := int32(0)
	for s := range area {
		if area[s].Total() > area[best].Total() {
			best = int32(s)
		}
	}
	return best, of
}

// named puts the opening that a person pointed at first, finding a soft-edged
// face there if none is known.
func (l *Limb) named(all []geom.Opening, at geom.Vec, strays float64) ([]geom.Opening, error) {
	best, dist := -1, math.Inf(1)
	for i, o := range all {
		d := o.Centre.Sub(at).Len() - math.Sqrt(o.Area/math.Pi)
		if d < dist {
			best, dist = i, d
		}
	}
	if best >= 0 && dist <= 2*strays+1 {
		o := all[best]
		return append([]geom.Opening{o}, slices.Delete(slices.Clone(all), best, best+1)...), nil
	}
	o, ok := l.Mesh.FaceAt(l.Edges, at, strays)
	if !ok {
		return nil, fmt.Errorf("no flat face or rim at the point named as the opening (%.1f, %.1f, %.1f): name a point on the cut end", at.X, at.Y, at.Z)
	}
	return append([]geom.Opening{o}, all...), nil
}

// turn turns an inside-out surface over.
func (l *Limb) turn(ctx context.Context, w Want, largest int32, shell []int32) error {
	o := geom.Vec{}
	if len(l.Openings) > 0 {
		o = l.Openings[0].Centre
	} else {
		o = l.Mesh.Bounds().Centre()
	}
	var volume geom.Sum // of the skin seen from the opening: an open rim there adds nothing
	for t, s := range shell {
		if s == largest {
			a, b, c := l.Mesh.Corners(t)
			volume.Add(a.Sub(o).Dot(b.Sub(o).Cross(c.Sub(o))))
		}
	}
	if volume.Total() >= 0 {
		return nil
	}
	l.Inside = true
	l.note("the surface is inside out; it was looked at as if turned the right way")
	l.Mesh = TurnedOver(l.Mesh)
	for i := range l.Openings {
		if !l.Openings[i].Open() {
			p := &l.Openings[i].Plane
			*p = geom.Plane{Normal: p.Normal.Mul(-1), Offset: -p.Offset}
		}
	}
	var err error
	l.Edges, err = l.Mesh.Edges(ctx, w.Workers)
	return err
}

// TurnedOver returns a surface inside out: its vertices and origin, its triangles
// the other way round.
func TurnedOver(m *geom.Mesh) *geom.Mesh {
	tris := make([]geom.Tri, len(m.Tris))
	for i, t := range m.Tris {
		tris[i] = geom.Tri{t[0], t[2], t[1]}
	}
	return &geom.Mesh{Verts: m.Verts, Tris: tris, Origin: m.Origin}
}

// judge says what is odd about the openings and the skin.
func (l *Limb) judge(w Want, shell []int32, largest int32) {
	switch n := len(l.Openings); {
	case n == 0:
		l.note("no opening: no flat face with a sharp edge and no rim closes the part; bends are still looked at, from its thicker end, but it cannot be said how it leaves its mould. Name the opening if its edge is rounded")
	case n > 1 && w.Opening == nil:
		l.note("%d openings: the largest, %.0f mm² at %s, is taken for the one the part leaves its mould through; name it in the recipe if it is another", n, l.Openings[0].Area, l.Place(l.Openings[0].Centre))
	}
	if len(l.Openings) > 0 && l.Openings[0].Flat > w.Strays {
		from := map[bool]string{false: "edge", true: "plane"}[w.Upright]
		l.note("the opening is not flat: it strays %.2f mm from a plane, %.2f mm allowed; distances are still counted from its %s", l.Openings[0].Flat, w.Strays, from)
	}
	rims := 0
	for c, mate := range l.Edges.Across {
		if mate == geom.Rim && shell[c/3] == largest {
			rims++
		}
	}
	for _, o := range l.Openings {
		if o.Open() {
			rims -= len(o.Rim)
		}
	}
	if rims > 0 {
		l.note("the skin is open: %d edges beside the opening have nothing across; rings that meet them are closed straight across", rims)
	}
}

// Place writes a point as in the file.
func (l *Limb) Place(v geom.Vec) string {
	v = v.Add(l.Mesh.Origin)
	return fmt.Sprintf("(%.1f, %.1f, %.1f)", v.X, v.Y, v.Z)
}

// end returns a vertex at the thicker end of the largest shell's longest way:
// of its two farthest vertices along its main direction the one with more skin
// near.
func (l *Limb) end() int32 {
	shell, n := l.Mesh.Shells(l.Edges)
	largest, of := l.largest(shell, n)
	var mean geom.Vec
	count := 0.0
	for v, s := range of {
		if s == largest {
			mean = mean.Add(l.Mesh.Verts[v].Vec())
			count++
		}
	}
	mean = mean.Mul(1 / count)
	far := func(from geom.Vec) int32 {
		best := int32(-1)
		for _, t := range l.Mesh.Tris {
			for _, v := range t {
				if of[v] == largest && (best < 0 || l.Mesh.Verts[v].Vec().Sub(from).Len2() > l.Mesh.Verts[best].Vec().Sub(from).Len2()) {
					best = v
				}
			}
		}
		return best
	}
	a := far(mean)
	b := far(l.Mesh.Verts[a].Vec())
	pa, pb := l.Mesh.Verts[a].Vec(), l.Mesh.Verts[b].Vec()
	if mean.Sub(pb).Len() < mean.Sub(pa).Len() { // the mean lies nearer the thick end
		return b
	}
	return a
}

// digits lists the branches that end in a tip. Five on an arm are put in order
// from the thumb: the one that leaves first, and then by how far off it the
// others begin.
func (l *Limb) digits(shape Shape) {
	r := l.Rings
	for i, b := range r.Branches {
		if b.Parent >= 0 && b.Tip >= 0 {
			l.Digits = append(l.Digits, int32(i))
		}
	}
	if shape != Arm || len(l.Digits) != 5 {
		return
	}
	root := func(b int32) geom.Vec { return r.Rings[r.Branches[b].Rings[0]].Centre }
	level := func(b int32) float64 { return r.Rings[r.Branches[b].Rings[0]].Level }
	thumb := slices.MinFunc(l.Digits, func(a, b int32) int {
		return cmp.Or(cmp.Compare(level(a), level(b)), cmp.Compare(root(b).Sub(l.middle()).Len(), root(a).Sub(l.middle()).Len()))
	})
	off := func(b int32) float64 {
		if b == thumb {
			return -1
		}
		return root(b).Sub(root(thumb)).Len()
	}
	slices.SortFunc(l.Digits, func(a, b int32) int { return cmp.Compare(off(a), off(b)) })
}

// middle returns the mean of the digits' first rings' centres.
func (l *Limb) middle() geom.Vec {
	var sum geom.Vec
	for _, b := range l.Digits {
		sum = sum.Add(l.Rings.Rings[l.Rings.Branches[b].Rings[0]].Centre)
	}
	return sum.Mul(1 / float64(len(l.Digits)))
}
