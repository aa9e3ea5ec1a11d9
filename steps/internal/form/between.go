package form

import (
	"math"

	"layette/steps/internal/geom"
)

// A line lies between two skins if this share of the skin beside it faces other
// such skin, turned from it by this much. Common practice, no source: of slots in
// one skin up to a twelfth faces, their own walls; at the webs of fingers a
// quarter does.
const (
	facing      = -0.5 // cosine
	facingShare = 0.15
	mostBeside  = 300 // places that are compared
)

// between reports whether the skin beside a piece of a line, of the given
// vertices, faces itself across less than twice reach mm: that from half of reach
// to reach away, since what is nearer may be the line's own walls.
func (f *finder) between(piece []int32, reach float64) bool {
	beside := f.besides(piece, reach)
	n, met := 0, 0
	for i := 0; i < len(beside); i += 1 + len(beside)/mostBeside {
		n++
		if f.faces(beside[i], beside, 2*reach) {
			met++
		}
	}
	return n > 0 && float64(met) >= float64(facingShare*float64(n))
}

// faces reports whether the skin at v faces that at one of some others, nearer
// than far mm.
func (f *finder) faces(v int32, others []int32, far float64) bool {
	at, up := f.skin.Mesh.Verts[v].Vec(), f.skin.up[v].Vec()
	for i := 0; i < len(others); i += 1 + len(others)/mostBeside {
		out := f.skin.up[others[i]].Vec()
		if up.Dot(out) > facing {
			continue
		}
		to := f.skin.Mesh.Verts[others[i]].Vec().Sub(at)
		if to.Dot(up) > 0 && to.Dot(out) < 0 && to.Len2() < float64(far*far) {
			return true
		}
	}
	return false
}

// besides returns the vertices of no line from half of reach to reach mm away,
// along edges, from some.
func (f *finder) besides(some []int32, reach float64) []int32 {
	var queue []geom.Near
	for _, v := range some {
		f.long[v] = 0
		queue = append(queue, geom.Near{ID: v})
	}
	var found []int32
	for i := 0; i < len(queue); i++ {
		q := queue[i]
		if q.Dist2 > f.long[q.ID] {
			continue // a shorter way came after it
		}
		at := f.skin.Mesh.Verts[q.ID].Vec()
		for _, u := range f.skin.joined.of(int(q.ID)) {
			d := q.Dist2 + f.skin.Mesh.Verts[u].Vec().Sub(at).Len()
			if d > reach || f.depth[u] > f.least || d >= f.long[u] {
				continue
			}
			if math.IsInf(f.long[u], 1) {
				found = append(found, u)
			}
			f.long[u] = d
			queue = append(queue, geom.Near{ID: u, Dist2: d})
		}
	}
	var far []int32
	for _, v := range found {
		if f.long[v] >= reach/2 {
			far = append(far, v)
		}
	}
	for _, list := range [][]int32{some, found} {
		for _, v := range list {
			f.long[v] = math.Inf(1)
		}
	}
	return far
}
