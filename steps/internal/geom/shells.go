package geom

import "slices"

// Shells numbers the connected pieces of the surface: for each triangle the
// number of its shell, counted from zero in the order of their first
// triangles. Triangles are connected across an edge, also one where more than
// two meet, but not at a mere vertex.
func (m *Mesh) Shells(e *Edges) (shell []int32, n int) {
	shell = make([]int32, len(m.Tris))
	for t := range shell {
		shell[t] = -1
	}
	var stack []int32
	passed := make([]bool, len(e.Fans)) // a fan need be gone through once only
	for t := range shell {
		if shell[t] >= 0 {
			continue
		}
		shell[t] = int32(n)
		for stack = append(stack, int32(t)); len(stack) > 0; {
			s := stack[len(stack)-1]
			stack = stack[:len(stack)-1]
			for c := 3 * s; c < 3*s+3; c++ {
				if g := -2 - e.Across[c]; g >= 0 {
					if passed[g] {
						continue
					}
					passed[g] = true
				}
				for _, mate := range e.mates(c) {
					if u := mate / 3; shell[u] < 0 {
						shell[u] = int32(n)
						stack = append(stack, u)
					}
				}
			}
		}
		n++
	}
	return shell, n
}

// mates returns the corner edges across corner edge c, itself among them in a fan.
func (e *Edges) mates(c int32) []int32 {
	switch mate := e.Across[c]; {
	case mate == Rim:
		return nil
	case mate < Rim:
		return e.Fans[-2-mate]
	default:
		return e.Across[c : c+1]
	}
}

// Loop is a closed way along a rim: Verts[i] to Verts[i+1] is corner edge
// Edges[i], and the last vertex is joined to the first.
type Loop struct {
	Verts []int32
	Edges []int32
}

// Rims returns the closed ways along the edges with nothing across, in the
// order of their first corner edge. No loop passes a vertex twice, so that two
// holes that share a corner are two. A way that cannot be closed, beside an edge where many
// triangles meet, ends where it stops.
func (m *Mesh) Rims(e *Edges) []Loop {
	used := map[int32]bool{}
	starts := map[int32][]int32{} // rim edges at each vertex, where turning about it fails
	for c, mate := range e.Across {
		if a, b := m.Ends(int32(c)); mate == Rim && a != b {
			starts[a] = append(starts[a], int32(c))
			starts[b] = append(starts[b], int32(c))
		}
	}
	var loops []Loop
	for c, mate := range e.Across {
		if a, b := m.Ends(int32(c)); mate != Rim || a == b || used[int32(c)] {
			continue
		}
		loops = m.followRim(e, int32(c), used, starts).split(loops)
	}
	return loops
}

// split appends l to loops, cut in pieces where it passes a vertex again.
func (l Loop) split(loops []Loop) []Loop {
	place := map[int32]int{}
	var rest Loop
	for i, v := range l.Verts {
		if k, again := place[v]; again {
			loops = append(loops, Loop{slices.Clone(rest.Verts[k:]), slices.Clone(rest.Edges[k:])})
			for _, w := range rest.Verts[k:] {
				delete(place, w)
			}
			rest.Verts, rest.Edges = rest.Verts[:k], rest.Edges[:k]
		}
		place[v] = len(rest.Verts)
		rest.Verts, rest.Edges = append(rest.Verts, v), append(rest.Edges, l.Edges[i])
	}
	return append(loops, rest)
}

func (m *Mesh) followRim(e *Edges, start int32, used map[int32]bool, starts map[int32][]int32) Loop {
	from, at := m.Ends(start)
	loop := Loop{Verts: []int32{from}, Edges: []int32{start}}
	used[start] = true
	for c := start; ; {
		next := m.turnAbout(e, c, at)
		if next == start {
			return loop
		}
		if next < 0 || used[next] {
			if next = unused(starts[at], used); at == from || next < 0 {
				return loop
			}
		}
		used[next] = true
		loop.Verts = append(loop.Verts, at)
		loop.Edges = append(loop.Edges, next)
		a, b := m.Ends(next)
		at = a + b - at
		c = next
	}
}

// unused returns the first of edges that is not used, or -1.
func unused(edges []int32, used map[int32]bool) int32 {
	for _, c := range edges {
		if !used[c] {
			return c
		}
	}
	return -1
}

// turnAbout goes from rim edge c about vertex v, triangle by triangle, to the
// next rim edge there, or returns -1 at an edge where many triangles meet.
func (m *Mesh) turnAbout(e *Edges, c, v int32) int32 {
	for range len(e.Across) {
		t := c / 3
		next := int32(-1)
		for k := 3 * t; k < 3*t+3; k++ {
			if a, b := m.Ends(k); k != c && (a == v || b == v) {
				next = k
				break
			}
		}
		if next < 0 {
			return -1
		}
		switch mate := e.Across[next]; {
		case mate == Rim:
			return next
		case mate < Rim:
			return -1
		default:
			c = mate
		}
	}
	return -1
}
