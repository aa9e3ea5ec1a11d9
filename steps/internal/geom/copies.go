package geom

import (
	"maps"
	"slices"
)

// Copies returns the triangles that have the same three vertices as one before
// them, whichever way they turn, in rising order.
func (m *Mesh) Copies(e *Edges) []int32 {
	type key [3]int32
	groups := map[key][]int32{}
	add := func(t int32) {
		k := key(m.Tris[t])
		slices.Sort(k[:])
		if k[0] != k[1] && k[1] != k[2] {
			groups[k] = append(groups[k], t)
		}
	}
	// A triangle and its copy share three edges: either alone, so that the same
	// triangle lies across all of them, or with others.
	for t := range int32(len(m.Tris)) {
		a, b, c := e.Across[3*t], e.Across[3*t+1], e.Across[3*t+2]
		if a >= 0 && b >= 0 && c >= 0 && a/3 == b/3 && b/3 == c/3 {
			add(t)
		}
	}
	for _, fan := range e.Fans {
		for _, c := range fan {
			add(c / 3)
		}
	}
	var copies []int32
	for _, k := range slices.SortedFunc(maps.Keys(groups), func(a, b key) int { return slices.Compare(a[:], b[:]) }) {
		slices.Sort(groups[k])
		copies = append(copies, slices.Compact(groups[k])[1:]...) // a triangle is met at each of its edges
	}
	slices.Sort(copies)
	return copies
}

// Flat reports whether triangle t has no area at all. Exact.
func (m *Mesh) Flat(t int) bool {
	a, b, c := m.Corners(t)
	return thin(&triangle{a, b, c})
}
