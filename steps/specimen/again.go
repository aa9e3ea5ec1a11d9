package specimen

import "layette/steps/internal/geom"

// alike is how near two points of two scans must lie to be one place, mm.
const alike = 0.6

// Again finds three places of scan a again in scan b, as a person does who pins
// them by hand: far from each other, and each on a point of both files. The
// coordinates stand x, y, z one after the other, each scan's in its own frame;
// ok is false where the two have no three such places that span a triangle with
// sides of some millimetres.
func Again(a, b Scan) (here, there []float64, ok bool) {
	var from, to []geom.Vec
	into := a.Pose.Then(b.Pose.Inverse())
	grid := map[[3]int]int{}
	for i, p := range b.Mesh.Verts {
		grid[cellOf(p.Vec())] = i
	}
	for _, p := range a.Mesh.Verts {
		q := into.Apply(p.Vec())
		if i, hit := grid[cellOf(q)]; hit {
			if r := b.Mesh.Verts[i].Vec(); r.Sub(q).Len() < alike {
				from, to = append(from, p.Vec()), append(to, r)
			}
		}
	}
	pick := spread(from)
	if pick == nil {
		return nil, nil, false
	}
	for _, i := range pick {
		here = append(here, from[i].X, from[i].Y, from[i].Z)
		there = append(there, to[i].X, to[i].Y, to[i].Z)
	}
	return here, there, true
}

func cellOf(p geom.Vec) [3]int {
	return [3]int{int(p.X + 1000), int(p.Y + 1000), int(p.Z + 1000)} // mm
}

// spread picks the point farthest from the middle, the one farthest from that,
// and the one farthest from the line through both; nil if they hardly span a
// triangle.
func spread(pts []geom.Vec) []int {
	if len(pts) < 3 {
		return nil
	}
	var mid geom.Vec
	for _, p := range pts {
		mid = mid.Add(p.Mul(1 / float64(len(pts))))
	}
	a := farthestBy(pts, func(p geom.Vec) float64 { return p.Sub(mid).Len() })
	b := farthestBy(pts, func(p geom.Vec) float64 { return p.Sub(pts[a]).Len() })
	along := pts[b].Sub(pts[a]).Unit()
	aside := func(p geom.Vec) float64 { return p.Sub(pts[a]).Cross(along).Len() }
	c := farthestBy(pts, aside)
	if pts[b].Sub(pts[a]).Len() < 8 || aside(pts[c]) < 5 {
		return nil
	}
	return []int{a, b, c}
}

func farthestBy(pts []geom.Vec, far func(geom.Vec) float64) int {
	best := 0
	for i, p := range pts {
		if far(p) > far(pts[best]) {
			best = i
		}
	}
	return best
}
