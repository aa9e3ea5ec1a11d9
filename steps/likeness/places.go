package likeness

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// place is a patch of skin that moved more than allowed.
type place struct {
	worst int32   // the vertex that moved most
	skin  float64 // mm²
	ends  geom.Box
}

// places gathers the vertices that moved more than allowed into patches joined
// by triangles, the greatest change first.
func (c *comparison) places(f field) []place {
	over := func(i int32) bool { return math.Abs(f[i]) > c.allow }
	root := make([]int32, len(f))
	for i := range root {
		root[i] = int32(i)
	}
	find := func(i int32) int32 {
		for root[i] != i {
			root[i] = root[root[i]]
			i = root[i]
		}
		return i
	}
	for _, t := range c.surface.Tris {
		for k := range 3 {
			a, b := t[k], t[(k+1)%3]
			if over(a) && over(b) {
				a, b = find(a), find(b)
				root[max(a, b)] = min(a, b)
			}
		}
	}
	patch := map[int32]int{}
	var list []place
	for i := range f {
		v := int32(i)
		if !over(v) {
			continue
		}
		r := find(v)
		k, known := patch[r]
		if !known {
			k = len(list)
			patch[r] = k
			list = append(list, place{worst: v, ends: geom.EmptyBox()})
		}
		p := &list[k]
		p.skin += c.skin[i]
		p.ends = p.ends.Include(c.surface.Verts[i].Vec())
		if math.Abs(f[i]) > math.Abs(f[p.worst]) {
			p.worst = v
		}
	}
	slices.SortStableFunc(list, func(a, b place) int {
		return cmp.Compare(math.Abs(f[b.worst]), math.Abs(f[a.worst]))
	})
	return list
}

// spots tells the places, the worst first.
func (c *comparison) spots(out *step.Outcome, f field) {
	list := c.places(f)
	out.Measures["changed.places"] = int64(len(list))
	for i, p := range list[:min(len(list), c.job.Values.Int("spots"))] {
		at := c.surface.Verts[p.worst].Vec().Add(c.surface.Origin)
		side := "outside"
		if f[p.worst] < 0 {
			side = "inside"
		}
		out.Spots = append(out.Spots, step.Spot{
			Number: i + 1, What: "changed place", At: [3]float64{at.X, at.Y, at.Z},
			Radius: max(p.ends.Size().Len()/2, c.allow), Value: f[p.worst], Unit: "mm", Surface: "surface", Fault: true,
			Says: fmt.Sprintf("Lies %.2f mm %s what it was made from, over %.0f mm² of skin (%.2f mm are allowed): was that meant?",
				math.Abs(f[p.worst]), side, p.skin, c.allow),
		})
	}
}
