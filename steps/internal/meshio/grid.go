package meshio

import (
	"slices"

	"layette/steps/internal/geom"
)

// jump is how many times the usual distance between neighbours of a range grid
// an edge may be long: five is a slope of about 79 degrees seen from the
// scanner. A longer edge spans a jump in depth, from an ear to the neck behind
// it, and there is no skin along it. Common practice, no source.
const jump = 5

// gridTriangles joins neighbours of a range grid. cell holds the vertex of each
// cell, or -1, row after row. Of the four cells of a square, those that hold a
// vertex make two triangles, cut along the shorter diagonal, or one; triangles
// with an edge longer than jump times the median distance of neighbours are
// left out. All turn the same way: so that, taken together, they face +z,
// where the scanner of a range grid stands.
func (r *raw) gridTriangles(cell []int32, cols int, info *Info) {
	most := jump * r.pitch(cell, cols)
	left := 0
	add := func(a, b, c int32) {
		if a < 0 || b < 0 || c < 0 {
			return
		}
		p, q, s := r.pos[a], r.pos[b], r.pos[c]
		if max(p.Sub(q).Len(), q.Sub(s).Len(), s.Sub(p).Len()) > most {
			left++
			return
		}
		r.tris = append(r.tris, geom.Tri{a, b, c})
	}
	for k := 0; k+cols < len(cell); k++ {
		if k%cols == cols-1 {
			continue
		}
		a, b, c, d := cell[k], cell[k+1], cell[k+1+cols], cell[k+cols]
		if a < 0 || c < 0 || b >= 0 && d >= 0 && r.pos[b].Sub(r.pos[d]).Len2() < r.pos[a].Sub(r.pos[c]).Len2() {
			add(a, b, d)
			add(b, c, d)
		} else {
			add(a, b, c)
			add(a, c, d)
		}
	}
	if left > 0 {
		info.note("%d triangles of the range grid span a jump in depth and were left out", left)
	}
	r.faceScanner()
}

// pitch returns the median distance of neighbours in a row or a column.
func (r *raw) pitch(cell []int32, cols int) float64 {
	var dist []float64
	for k, a := range cell {
		if a < 0 {
			continue
		}
		if k%cols != cols-1 && k+1 < len(cell) && cell[k+1] >= 0 {
			dist = append(dist, r.pos[a].Sub(r.pos[cell[k+1]]).Len())
		}
		if k+cols < len(cell) && cell[k+cols] >= 0 {
			dist = append(dist, r.pos[a].Sub(r.pos[cell[k+cols]]).Len())
		}
	}
	if len(dist) == 0 {
		return 0
	}
	slices.Sort(dist)
	return dist[len(dist)/2]
}

// faceScanner turns every triangle if together they face away from +z.
func (r *raw) faceScanner() {
	var s geom.Sum
	for _, t := range r.tris {
		a, b, c := r.pos[t[0]], r.pos[t[1]], r.pos[t[2]]
		s.Add(b.Sub(a).Cross(c.Sub(a)).Z)
	}
	if s.Total() < 0 {
		for i, t := range r.tris {
			r.tris[i] = geom.Tri{t[0], t[2], t[1]}
		}
	}
}
