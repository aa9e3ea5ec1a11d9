package geom

import (
	"cmp"
	"math"
	"slices"
)

// Branch is a stretch of rings with no fork: the trunk from the opening on, a
// finger, a toe.
type Branch struct {
	Parent int32   // index of the branch it leaves; -1 for the trunk
	Forks  []int32 // branches that leave its end
	Rings  []int32 // indices into Rings.Rings, away from the opening
	Meets  int32   // branch that it runs into, where skins are joined or a loop closes; -1 if none
	Tip    int32   // its farthest vertex, beyond its last ring; -1 where it forks or meets
	Long   float64 // from where it leaves its parent to its farthest skin, forks and all, mm
}

// blunt is how long a branch must be, against the radius of a disc with the
// area of its widest ring, to be one: a half ball has pi/2, a fingertip that
// bends away from the front a little more. It must be three levels long, too,
// and a fiftieth of the longest way.
// Common practice, no source.
const blunt = 1.2

// fork is a piece of skin between levels: the rings on its near and far side.
type fork struct{ from, to []int32 }

// grow makes the tree of branches.
func (r *Rings) grow(s *seams) {
	forks := r.forks(s)
	r.long = float64(r.Dist[r.farthest()])
	r.reach(s, forks)
	if len(r.Rings) == 0 {
		r.Branches = []Branch{{Parent: -1, Meets: -1, Tip: r.farthest(), Long: r.long}}
		r.nameVerts(s, forks)
		return
	}
	// Pieces in order of the level of the rings below them; those that begin by
	// themselves first, and of these that at the opening.
	var order []int32
	for p := range forks {
		order = append(order, p)
	}
	first := func(p int32) int32 { // rings are in order of level
		f := forks[p]
		if len(f.from) > 0 {
			return f.from[0]
		}
		return f.to[0] - int32(len(r.Rings))
	}
	slices.SortFunc(order, func(a, b int32) int { return cmp.Or(cmp.Compare(first(a), first(b)), cmp.Compare(a, b)) })
	for _, p := range order {
		r.branchOut(forks[p])
	}
	r.nameVerts(s, forks)
	r.Hangs = r.hangs(s, forks)
}

// forks gathers the rings round each piece of skin between levels.
func (r *Rings) forks(s *seams) map[int32]*fork {
	forks := map[int32]*fork{}
	at := func(p int32) *fork {
		if forks[p] == nil {
			forks[p] = &fork{}
		}
		return forks[p]
	}
	for i := range r.Rings {
		ring := &r.Rings[i]
		ring.below, ring.above = s.sets.lead(s.near(int32(i))), s.sets.lead(s.near(int32(i))+1)
		below, above := at(ring.below), at(ring.above)
		below.to = append(below.to, int32(i))
		above.from = append(above.from, int32(i))
	}
	for i := range r.Rings {
		r.Rings[i].up = forks[r.Rings[i].above].to
	}
	return forks
}

// reach finds how far the skin goes on beyond each ring, and to which tip.
func (r *Rings) reach(s *seams, forks map[int32]*fork) {
	for i := range r.Rings {
		r.Rings[i].bears = -1
	}
	for v, d := range r.slabs {
		if d < 0 {
			continue
		}
		if f := forks[s.sets.lead(s.of[v])]; f != nil {
			for _, i := range f.from {
				r.Rings[i].top = max(r.Rings[i].top, float64(r.Dist[v]))
				if r.tips[int32(v)] {
					r.Rings[i].bears = int32(v)
				}
			}
		}
	}
	for i := len(r.Rings) - 1; i >= 0; i-- {
		ring := &r.Rings[i]
		ring.wide = ring.Area
		if f := forks[ring.above]; len(f.from) > 1 && r.widest(f.from) != int32(i) {
			ring.top = ring.Level + r.Spacing // it runs into a wider one and ends
			continue
		}
		for _, k := range ring.up {
			ring.top, ring.bears = max(ring.top, r.Rings[k].top), max(ring.bears, r.Rings[k].bears)
		}
		if len(ring.up) == 1 {
			ring.wide = max(ring.wide, r.Rings[ring.up[0]].wide)
		}
	}
}

func (r *Rings) farthest() int32 {
	best := int32(-1)
	for v, d := range r.Dist {
		if !math.IsInf(float64(d), 1) && (best < 0 || d > r.Dist[best]) {
			best = int32(v)
		}
	}
	return best
}

// branchOut gives the rings on the far side of a piece of skin their branches.
func (r *Rings) branchOut(f *fork) {
	from := r.widest(f.from)
	base := 0.0
	if from >= 0 {
		base = r.Rings[from].Level
		for _, i := range f.from { // what else comes in here has met the widest
			if b := r.Rings[i].Branch; i != from && b >= 0 && b != r.Rings[from].Branch {
				r.Branches[b].Meets = r.Rings[from].Branch
			}
		}
	} else if len(r.Branches) > 0 {
		return // not the opening's piece: skin that the front came to in no order
	}
	parent := int32(-1)
	if from >= 0 {
		if parent = r.Rings[from].Branch; parent < 0 {
			return // on a bump all is bump
		}
	}
	var stout []int32
	for _, i := range f.to {
		if from < 0 || len(f.to) == 1 || r.Rings[i].top-base >= max(3*r.Spacing, 0.02*r.long, float64(blunt*math.Sqrt(r.Rings[i].wide/math.Pi))) {
			stout = append(stout, i)
		}
	}
	if r.alone && len(f.to) > 0 {
		stout = []int32{r.widest(f.to)}
	}
	if len(stout) == 0 && len(f.to) > 0 { // none stands out: go on with the longest
		stout = []int32{slices.MaxFunc(f.to, func(a, b int32) int { return cmp.Compare(r.Rings[a].top, r.Rings[b].top) })}
	}
	for _, i := range f.to {
		if tip := r.Rings[i].bears; tip >= 0 && from >= 0 && !slices.Contains(stout, i) {
			r.Thorns = append(r.Thorns, Thorn{Root: i, From: from, Tip: tip, Out: r.thornOut(i)})
		}
	}
	if parent >= 0 && len(stout) == 1 {
		r.Rings[stout[0]].Branch = parent
		r.Branches[parent].Rings = append(r.Branches[parent].Rings, stout[0])
		return
	}
	for _, i := range stout {
		n := int32(len(r.Branches))
		r.Rings[i].Branch = n
		r.Branches = append(r.Branches, Branch{Parent: parent, Rings: []int32{i}, Meets: -1, Tip: -1, Long: r.Rings[i].top - base})
		if parent >= 0 {
			r.Branches[parent].Forks = append(r.Branches[parent].Forks, n)
		}
	}
}

// thornOut returns the direction of a thorn: that which its skin leans to least,
// away from its root. Where it stands slanting its rings are cut slanting, too,
// so that they tell it only about; then the skin of all of them counts that lies
// clear of its root and of its end, seen along it.
func (r *Rings) thornOut(root int32) Vec {
	way := []int32{root}
	for i := root; len(r.Rings[i].up) == 1; {
		i = r.Rings[i].up[0]
		way = append(way, i)
	}
	first, last := &r.Rings[root], &r.Rings[way[len(way)-1]]
	out := last.Centre.Sub(first.Centre).Unit()
	for range 3 {
		low, high := math.Inf(-1), math.Inf(-1)
		for _, p := range first.At {
			low = max(low, p.Dot(out))
		}
		for _, p := range last.At {
			high = max(high, p.Dot(out))
		}
		end := min(0.9*math.Sqrt(r.Rings[way[len(way)/2]].Area/math.Pi), 0.4*(high-low))
		if next := r.leansLeast(way, out, low, high-end); next != (Vec{}) {
			out = next
		}
	}
	return out
}

// leansLeast returns the direction, about that of out, that the skin of some
// rings leans to least where it lies between two heights along out; none if
// hardly any does.
func (r *Rings) leansLeast(rings []int32, out Vec, low, high float64) Vec {
	var lean Mat
	n := 0
	for _, k := range rings {
		g := &r.Rings[k]
		for i, t := range g.tris {
			a, b := g.At[i], g.At[(i+1)%len(g.At)]
			if h := a.Add(b).Dot(out) / 2; h < low || h > high {
				continue
			}
			n++
			normal, long := r.out(t), b.Sub(a).Len()
			for row, x := range [3]float64{normal.X, normal.Y, normal.Z} {
				for col, y := range [3]float64{normal.X, normal.Y, normal.Z} {
					lean[row][col] += float64(long * x * y)
				}
			}
		}
	}
	if n < 12 {
		return Vec{}
	}
	_, axes := Eigen3(lean)
	if axes[0].Dot(out) < 0 {
		return axes[0].Mul(-1)
	}
	return axes[0]
}

// widest returns the ring of some that has the longest girth and a branch, or
// the longest girth if none has, -1 of none.
func (r *Rings) widest(some []int32) int32 {
	best := int32(-1)
	for _, i := range some {
		if best < 0 || r.Rings[i].Branch >= 0 && r.Rings[best].Branch < 0 ||
			(r.Rings[i].Branch >= 0) == (r.Rings[best].Branch >= 0) && r.Rings[i].Girth > r.Rings[best].Girth {
			best = i
		}
	}
	return best
}

// nameVerts gives every vertex its branch: the one that the skin about it was
// reached through. It finds the tips on the way.
func (r *Rings) nameVerts(s *seams, forks map[int32]*fork) {
	r.Of = make([]int32, len(r.slabs))
	bump := map[int32]int32{} // branch that a bump's rings stand on
	for i := range r.Rings {
		if r.Rings[i].Branch >= 0 {
			bump[int32(i)] = r.Rings[i].Branch
		} else if from := r.widest(forks[r.Rings[i].below].from); from >= 0 {
			bump[int32(i)] = bump[from]
		}
	}
	for v, d := range r.slabs {
		r.Of[v] = -1
		if d < 0 {
			continue
		}
		r.Of[v] = 0
		if f := forks[s.sets.lead(s.of[v])]; f != nil && len(f.from) > 0 {
			r.Of[v] = bump[r.widest(f.from)]
		}
		b := &r.Branches[r.Of[v]]
		if len(b.Forks) == 0 && b.Meets < 0 && (b.Tip < 0 || r.Dist[v] > r.Dist[b.Tip]) {
			b.Tip = int32(v)
		}
	}
}
