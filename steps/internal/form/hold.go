package form

import (
	"layette/steps/internal/geom"
)

// An opening is a flat piece of skin that a saw or a file left: at least
// openingLeast mm², within openingFlat mm of a plane, and nine tenths of its
// edge turn away by more than 45 degrees. Common practice, no source.
const (
	openingLeast = 20.0
	openingFlat  = 0.02
	openingTurn  = 0.7071067811865476 // cosine
	openingEven  = 0.9998             // cosine of about 1 degree
)

// hold marks rims, openings and edges that are not between two triangles.
func (s *Skin) hold() {
	s.Held = make([]bool, len(s.Mesh.Verts))
	for e, across := range s.edges.Across {
		if across < 0 {
			from, to := s.Mesh.Ends(int32(e))
			s.Held[from], s.Held[to] = true, true
		}
	}
	f := flats{s: s, seen: make([]bool, len(s.Mesh.Tris)), way: make([]geom.Vec, len(s.Mesh.Tris))}
	geom.Chunks(len(f.way), s.workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			a, b, c := s.Mesh.Corners(t)
			f.way[t] = b.Sub(a).Cross(c.Sub(a)).Unit()
		}
	})
	var flat []int32
	for t := range s.Mesh.Tris {
		if !f.seen[t] {
			if flat = f.from(int32(t), flat[:0]); f.isOpening(flat) {
				for _, f := range flat {
					for _, v := range s.Mesh.Tris[f] {
						s.Held[v] = true
					}
				}
			}
		}
	}
}

// Rims returns the length of the edges that are not between two triangles, mm.
func (s *Skin) Rims() float64 {
	var sum geom.Sum
	for e, across := range s.edges.Across {
		if across < 0 {
			from, to := s.Mesh.Ends(int32(e))
			sum.Add(s.Mesh.Verts[to].Vec().Sub(s.Mesh.Verts[from].Vec()).Len())
		}
	}
	return sum.Total()
}

// flats finds flat pieces of a skin.
type flats struct {
	s    *Skin
	way  []geom.Vec // unit direction of each triangle
	seen []bool
}

// from gathers the triangles joined to t that lie in its plane.
func (f *flats) from(t int32, flat []int32) []int32 {
	at := f.s.Mesh.Verts[f.s.Mesh.Tris[t][0]].Vec()
	f.seen[t] = true
	flat = append(flat, t)
	for i := 0; i < len(flat); i++ {
		for e := 3 * flat[i]; e < 3*flat[i]+3; e++ {
			mate := f.s.edges.Across[e]
			if mate < 0 || f.seen[mate/3] || f.way[mate/3].Dot(f.way[t]) < openingEven || !f.inPlane(mate/3, at, f.way[t]) {
				continue
			}
			f.seen[mate/3] = true
			flat = append(flat, mate/3)
		}
	}
	return flat
}

func (f *flats) inPlane(t int32, at, n geom.Vec) bool {
	a, b, c := f.s.Mesh.Corners(int(t))
	for _, p := range [3]geom.Vec{a, b, c} {
		if d := p.Sub(at).Dot(n); d > openingFlat || d < -openingFlat {
			return false
		}
	}
	return true
}

// isOpening reports whether a flat piece is one.
func (f *flats) isOpening(flat []int32) bool {
	area := 0.0
	for _, t := range flat {
		a, b, c := f.s.Mesh.Corners(int(t))
		area += b.Sub(a).Cross(c.Sub(a)).Len() / 2
	}
	if len(flat) < 2 || area < openingLeast {
		return false
	}
	inside := make(map[int32]bool, len(flat))
	for _, t := range flat {
		inside[t] = true
	}
	rim, sharp := 0.0, 0.0
	for _, t := range flat {
		for e := 3 * t; e < 3*t+3; e++ {
			mate := f.s.edges.Across[e]
			if mate < 0 || inside[mate/3] {
				continue
			}
			from, to := f.s.Mesh.Ends(e)
			l := f.s.Mesh.Verts[to].Vec().Sub(f.s.Mesh.Verts[from].Vec()).Len()
			rim += l
			if f.way[t].Dot(f.way[mate/3]) < openingTurn {
				sharp += l
			}
		}
	}
	return rim > 0 && sharp >= float64(0.9*rim)
}

// Beside marks the vertices within reach mm, along edges, of one that is held:
// there the filter cannot be trusted (ISO 16610-21 on end effects; content from
// memory).
func (s *Skin) Beside(reach float64) []bool {
	beside := make([]bool, len(s.Held))
	for v, long := range s.within(func(v int32) bool { return s.Held[v] }, reach) {
		beside[v] = long >= 0
	}
	return beside
}

// within returns how far each vertex is, along edges, from the nearest one that
// is meant, mm; negative where that is over reach.
func (s *Skin) within(meant func(v int32) bool, reach float64) []float64 {
	long := make([]float64, len(s.Mesh.Verts))
	var queue []geom.Near
	for v := range long {
		long[v] = -1
		if meant(int32(v)) {
			long[v] = 0
		}
	}
	for v := range long {
		if long[v] == 0 {
			for _, u := range s.joined.of(v) {
				if long[u] != 0 { // one at the border
					queue = append(queue, geom.Near{ID: int32(v)})
					break
				}
			}
		}
	}
	for len(queue) > 0 {
		var next []geom.Near
		for _, n := range queue {
			if n.Dist2 > long[n.ID] {
				continue // a shorter way came after it
			}
			at := s.Mesh.Verts[n.ID].Vec()
			for _, u := range s.joined.of(int(n.ID)) {
				d := n.Dist2 + s.Mesh.Verts[u].Vec().Sub(at).Len()
				if d <= reach && (long[u] < 0 || d < long[u]) {
					long[u] = d
					next = append(next, geom.Near{ID: u, Dist2: d})
				}
			}
		}
		queue = next
	}
	return long
}
