package geom

import (
	"cmp"
	"slices"
)

// Tape returns the length of a tape pulled tight round points of a plane with
// normal n, mm: the girth of their convex outline.
//
// Chain of turns over points in order: A. M. Andrew, "Another efficient
// algorithm for convex hulls in two dimensions", 1979 (from memory).
func Tape(at []Vec, n Vec) float64 {
	if len(at) == 0 {
		return 0
	}
	u := across(n)
	w := n.Cross(u)
	type spot struct{ x, y float64 }
	pts := make([]spot, len(at))
	for i, p := range at {
		d := p.Sub(at[0])
		pts[i] = spot{d.Dot(u), d.Dot(w)}
	}
	slices.SortFunc(pts, func(a, b spot) int { return cmp.Or(cmp.Compare(a.x, b.x), cmp.Compare(a.y, b.y)) })
	half := func(hull []spot) []spot {
		start := len(hull)
		for _, p := range pts {
			for len(hull) >= start+2 {
				a, b := hull[len(hull)-2], hull[len(hull)-1]
				if float64((b.x-a.x)*(p.y-a.y))-float64((b.y-a.y)*(p.x-a.x)) > 0 {
					break
				}
				hull = hull[:len(hull)-1]
			}
			hull = append(hull, p)
		}
		return hull[:len(hull)-1]
	}
	hull := half(nil)
	slices.Reverse(pts)
	hull = half(hull)
	var long Sum
	for i, p := range hull {
		q := hull[(i+1)%len(hull)]
		long.Add(Vec{q.x - p.x, q.y - p.y, 0}.Len())
	}
	return long.Total()
}
