package soundness

import (
	"cmp"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// rank orders the sorts of spot, the gravest first.
type rank int

const (
	rankSize rank = iota
	rankInsideOut
	rankCrossing
	rankHole
	rankTurned
	rankCrowded
	rankCopies
	rankSpike
	rankLoose
	rankFlat
)

// ranked is a spot and its place among the others: the heavier the graver
// within its rank.
type ranked struct {
	step.Spot
	rank   rank
	weight float64
}

// spotsMost is how many spots are shown in all, spotsEach of one sort: nobody
// looks at more.
const spotsMost, spotsEach = 200, 60

// gravest numbers the gravest spots and notes what was left out.
func gravest(all []ranked, notes []string) ([]step.Spot, []string) {
	slices.SortStableFunc(all, func(a, b ranked) int { return cmp.Or(cmp.Compare(a.rank, b.rank), cmp.Compare(b.weight, a.weight)) })
	var spots []step.Spot
	each := map[rank]int{}
	for _, r := range all {
		if each[r.rank]++; each[r.rank] > spotsEach || len(spots) == spotsMost {
			continue
		}
		r.Number, r.Surface = len(spots)+1, "surface"
		spots = append(spots, r.Spot)
	}
	if left := len(all) - len(spots); left > 0 {
		notes = append(notes, fmt.Sprintf("%d spots in all; the %d gravest are shown", len(all), len(spots)))
	}
	return spots, notes
}

func point(v geom.Vec) [3]float64 { return [3]float64{v.X, v.Y, v.Z} }

// place returns a point of the surface in its own frame.
func (l *look) place(v geom.Vec) [3]float64 { return point(v.Add(l.mesh.Origin)) }

func (l *look) spots() []ranked {
	var all []ranked
	add := func(more []ranked) { all = append(all, more...) }
	add(l.crossingSpots())
	add(l.holeSpots())
	add(l.turnedSpots())
	add(l.crowdedSpots())
	add(l.copySpots())
	add(l.spikeSpots())
	add(l.shellSpots())
	add(l.flatSpots())
	return all
}

// patch is triangles that lie together.
type patch struct {
	faces  int
	at     geom.Vec // the middle of the triangle nearest to the middle of all
	radius float64
	area   float64
}

// patches groups triangles that share a vertex or are linked, in the order of
// their first triangles.
func patches(m *geom.Mesh, tris []int32, links []geom.Pair) []patch {
	place := make(map[int32]int32, len(tris))
	byVert := map[int32]int32{}
	set := geom.NewUnion(len(tris))
	for i, t := range tris {
		place[t] = int32(i)
		for _, v := range m.Tris[t] {
			if k, ok := byVert[v]; ok {
				set.Join(int32(i), k)
			} else {
				byVert[v] = int32(i)
			}
		}
	}
	for _, p := range links {
		set.Join(place[p[0]], place[p[1]])
	}
	groups := map[int32][]int32{}
	var order []int32
	for i, t := range tris {
		g := set.Of(int32(i))
		if groups[g] == nil {
			order = append(order, g)
		}
		groups[g] = append(groups[g], t)
	}
	out := make([]patch, 0, len(order))
	for _, g := range order {
		out = append(out, patchOf(m, groups[g]))
	}
	return out
}

func patchOf(m *geom.Mesh, tris []int32) patch {
	p := patch{faces: len(tris)}
	middle := func(t int32) geom.Vec {
		a, b, c := m.Corners(int(t))
		return a.Add(b).Add(c).Mul(1.0 / 3)
	}
	var sum geom.Vec
	for _, t := range tris {
		a, b, c := m.Corners(int(t))
		p.area += b.Sub(a).Cross(c.Sub(a)).Len() / 2
		sum = sum.Add(middle(t))
	}
	sum = sum.Mul(1 / float64(len(tris)))
	near := math.Inf(1)
	for _, t := range tris {
		if d := middle(t).Sub(sum).Len2(); d < near {
			near, p.at = d, middle(t)
		}
	}
	for _, t := range tris {
		a, b, c := m.Corners(int(t))
		p.radius = max(p.radius, a.Sub(p.at).Len(), b.Sub(p.at).Len(), c.Sub(p.at).Len())
	}
	return p
}

func (l *look) crossingSpots() []ranked {
	var out []ranked
	for _, p := range patches(l.mesh, l.crossing, l.pairs) {
		out = append(out, ranked{rank: rankCrossing, weight: p.radius, Spot: step.Spot{
			What: "crossing skin", At: l.place(p.at), Radius: p.radius, Value: float64(p.faces), Unit: "triangles", Fault: true,
			Says: fmt.Sprintf("the skin runs through itself: %d triangles within %s; unite the pieces or pull them apart", p.faces, millimetres(2*p.radius)),
		}})
	}
	return out
}

func (l *look) holeSpots() []ranked {
	var out []ranked
	for _, h := range l.loops {
		what, says := "hole", fmt.Sprintf("a hole of %s mm², %s round, %d edges; close it, or cut it clean if it is an opening", figures(h.area), millimetres(h.length), len(h.Verts))
		if h.area < 1e-4*h.length*h.length {
			what, says = "crack", fmt.Sprintf("a crack without width, %s round, %d edges: one side has a corner the other has not; join the edges", millimetres(h.length), len(h.Verts))
		}
		out = append(out, ranked{rank: rankHole, weight: h.length, Spot: step.Spot{
			What: what, At: l.place(h.at), Radius: h.radius, Value: h.length, Unit: "mm", Says: says, Fault: true, Ring: l.ring(h.Verts),
		}})
	}
	return out
}

// ringMost is the most points of an outline: more draws no finer.
const ringMost = 400

func (l *look) ring(verts []int32) [][3]float64 {
	n := min(len(verts), ringMost)
	out := make([][3]float64, n)
	for i := range out {
		out[i] = l.place(l.mesh.Verts[verts[i*len(verts)/n]].Vec())
	}
	return out
}

func (l *look) turnedSpots() []ranked {
	var turned []int32
	for t, over := range l.over {
		if over {
			turned = append(turned, int32(t))
		}
	}
	var out []ranked
	for _, p := range patches(l.mesh, turned, nil) {
		out = append(out, ranked{rank: rankTurned, weight: p.area, Spot: step.Spot{
			What: "turned patch", At: l.place(p.at), Radius: p.radius, Value: float64(p.faces), Unit: "triangles", Fault: true,
			Says: fmt.Sprintf("%d triangles, %s mm², face inward while the skin about them faces outward; turn them over", p.faces, figures(p.area)),
		}})
	}
	return out
}

func (l *look) crowdedSpots() []ranked {
	copied := map[int32]bool{} // copies crowd their edges too, and have spots of their own
	for _, t := range l.copies {
		copied[t] = true
	}
	var tris []int32
	for g, anyhow := range l.crowdedAnyhow(copied) {
		for _, c := range l.edges.Fans[g] {
			if anyhow && !copied[c/3] {
				tris = append(tris, c/3)
			}
		}
	}
	slices.Sort(tris)
	tris = slices.Compact(tris)
	var out []ranked
	for _, p := range patches(l.mesh, tris, nil) {
		out = append(out, ranked{rank: rankCrowded, weight: float64(p.faces), Spot: step.Spot{
			What: "crowded edge", At: l.place(p.at), Radius: p.radius, Value: float64(p.faces), Unit: "triangles", Fault: true,
			Says: fmt.Sprintf("three or more triangles meet at an edge here, %d triangles in all; remove the fin or inner wall that stands on the skin", p.faces),
		}})
	}
	for _, v := range l.crowded {
		out = append(out, ranked{rank: rankCrowded, Spot: step.Spot{
			What: "crowded vertex", At: l.place(l.mesh.Verts[v].Vec()), Value: 1, Unit: "vertices", Fault: true,
			Says: "pieces of skin touch at a single point; part them or join them along an edge",
		}})
	}
	return out
}

// crowdedAnyhow tells for each fan whether three or more triangles meet there
// that are no copies.
func (l *look) crowdedAnyhow(copied map[int32]bool) []bool {
	anyhow := make([]bool, len(l.edges.Fans))
	for g, fan := range l.edges.Fans {
		own := 0
		for _, c := range fan {
			if !copied[c/3] {
				own++
			}
		}
		anyhow[g] = own > 2
	}
	return anyhow
}

func (l *look) copySpots() []ranked {
	var out []ranked
	for _, p := range patches(l.mesh, l.copies, nil) {
		out = append(out, ranked{rank: rankCopies, weight: float64(p.faces), Spot: step.Spot{
			What: "double skin", At: l.place(p.at), Radius: p.radius, Value: float64(p.faces), Unit: "triangles", Fault: true,
			Says: fmt.Sprintf("%d triangles are there twice; remove the copies", p.faces),
		}})
	}
	return out
}

func (l *look) spikeSpots() []ranked {
	var out []ranked
	for _, s := range l.spikes {
		out = append(out, ranked{rank: rankSpike, weight: s.height, Spot: step.Spot{
			What: "spike", At: l.place(l.mesh.Verts[s.vert].Vec()), Radius: s.height, Value: s.height, Unit: "mm", Fault: true,
			Says: fmt.Sprintf("one vertex stands %s out of the skin about it; pull it back or remove it", millimetres(s.height)),
		}})
	}
	return out
}

func (l *look) flatSpots() []ranked {
	var out []ranked
	for _, p := range patches(l.mesh, l.flat, nil) {
		out = append(out, ranked{rank: rankFlat, weight: float64(p.faces), Spot: step.Spot{
			What: "flat triangle", At: l.place(p.at), Radius: p.radius, Value: float64(p.faces), Unit: "triangles",
			Says: fmt.Sprintf("%d triangles have no area; join their corners or remove them", p.faces),
		}})
	}
	return out
}

// shellSpots marks shells that are inside out, and all but the largest.
func (l *look) shellSpots() []ranked {
	main := 0
	for i, s := range l.shells {
		if s.area > l.shells[main].area {
			main = i
		}
	}
	var out []ranked
	for i, s := range l.shells {
		spot := step.Spot{At: l.place(s.box.Centre()), Radius: s.box.Size().Len() / 2, Fault: true}
		if s.insideOut {
			spot.What, spot.Value, spot.Unit = "inside out", s.volume, "mm³"
			spot.Says = fmt.Sprintf("this piece of %d triangles has its inside facing out; turn all of it over", s.faces)
			out = append(out, ranked{spot, rankInsideOut, s.area})
		}
		if i == main {
			continue
		}
		spot.What, spot.Value, spot.Unit = "loose piece", s.area, "mm²"
		spot.Says, spot.Fault = l.looseSays(s, l.shells[main])
		out = append(out, ranked{spot, rankLoose, s.area})
	}
	return out
}

// looseSays describes a shell beside the largest. One of a twentieth of its
// area or more may be meant, and is a remark.
func (l *look) looseSays(s, main shell) (says string, fault bool) {
	across := millimetres(s.box.Size().Len())
	switch {
	case s.inside >= 0 && s.volume < 0:
		return fmt.Sprintf("a closed hollow %s across lies inside the piece; fill it unless it is meant", across), false
	case s.inside >= 0:
		return fmt.Sprintf("a piece %s across lies loose inside another; remove it", across), true
	case s.area >= main.area/20:
		return fmt.Sprintf("a second piece, %s across, is not joined to the first; unite them if they are one part", across), false
	}
	return fmt.Sprintf("a loose piece %s across, %d triangles; remove it", across, s.faces), true
}

// figures writes a number with three figures that count.
func figures(x float64) string {
	if x >= 1000 {
		return fmt.Sprintf("%.0f", x)
	}
	return fmt.Sprintf("%.3g", x)
}
