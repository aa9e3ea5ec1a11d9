package geom

// Crowded returns the vertices about which the triangles do not lie in one
// fan, in rising order: two pieces of skin touch there at a point. Triangles
// across an edge where three or more meet count as one fan. Vertices that no
// triangle uses are not crowded.
//
// Each vertex is walked round triangle by triangle: six steps for most.
func (m *Mesh) Crowded(e *Edges, workers int) []int32 {
	used := make([]int32, len(m.Verts))  // triangles at each vertex
	first := make([]int32, len(m.Verts)) // one corner edge that starts there
	for c := range int32(3 * len(m.Tris)) {
		v := m.Tris[c/3][c%3]
		used[v]++
		first[v] = c
	}
	state := make([]fanState, len(m.Verts))
	Chunks(len(m.Verts), workers, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			if used[v] > 0 {
				state[v] = m.walkRound(e, int32(v), first[v], used[v])
			}
		}
	})
	m.settleBranched(e, state)
	var crowded []int32
	for v, s := range state {
		if s == manyFans {
			crowded = append(crowded, int32(v))
		}
	}
	return crowded
}

// fanState is what a walk round a vertex found.
type fanState uint8

const (
	oneFan   fanState = iota
	manyFans          // the walk closed, or met rims on both sides, and left triangles out
	branched          // the walk met an edge where three or more triangles meet
)

// walkRound walks from triangle to triangle round v, starting in that of
// corner edge c, which starts at v.
func (m *Mesh) walkRound(e *Edges, v, c, used int32) fanState {
	before := c - 1
	if c%3 == 0 {
		before = c + 2
	}
	seen := int32(1)
	for _, leave := range [2]int32{c, before} {
		for seen <= used {
			mate := e.Across[leave]
			if mate < Rim {
				return branched
			}
			if mate == Rim {
				break
			}
			if leave = m.onward(mate, v); mate/3 == c/3 {
				return fansOf(seen, used)
			}
			seen++
		}
	}
	return fansOf(seen, used)
}

func fansOf(seen, used int32) fanState {
	if seen < used {
		return manyFans
	}
	return oneFan
}

// onward returns the other edge at v of the triangle entered by corner edge c.
func (m *Mesh) onward(c, v int32) int32 {
	t, k := c/3, c%3
	if m.Tris[t][k] == v {
		return 3*t + (k+2)%3
	}
	return 3*t + (k+1)%3
}

// settleBranched counts the fans about vertices where edges branch.
func (m *Mesh) settleBranched(e *Edges, state []fanState) {
	at := map[int32][]int32{}
	for t, tri := range m.Tris {
		for _, v := range tri {
			if state[v] == branched {
				at[v] = append(at[v], int32(t))
			}
		}
	}
	for v, tris := range at {
		state[v] = oneFan
		if m.fansAbout(e, v, tris) > 1 {
			state[v] = manyFans
		}
	}
}

// fansAbout counts the fans that the triangles at v make.
func (m *Mesh) fansAbout(e *Edges, v int32, tris []int32) int {
	place := map[int32]int32{}
	for i, t := range tris {
		place[t] = int32(i)
	}
	set := NewUnion(len(tris))
	for i, t := range tris {
		for c := 3 * t; c < 3*t+3; c++ {
			if a, b := m.Ends(c); a != v && b != v {
				continue
			}
			mate := e.Across[c]
			if mate < Rim {
				mate = e.Fans[-2-mate][0] // one of a fan is enough
			}
			if k, ok := place[mate/3]; ok && mate != Rim {
				set.Join(int32(i), k)
			}
		}
	}
	fans := map[int32]bool{}
	for _, i := range place {
		fans[set.Of(i)] = true
	}
	return len(fans)
}

// Union groups numbers that belong together: disjoint sets with halved paths
// (R. E. Tarjan, J. van Leeuwen, "Worst-case analysis of set union
// algorithms", 1984; from memory).
type Union []int32

// NewUnion returns n groups of one.
func NewUnion(n int) Union {
	u := make(Union, n)
	for i := range u {
		u[i] = int32(i)
	}
	return u
}

// Of returns the smallest number of i's group.
func (u Union) Of(i int32) int32 {
	for u[i] != i {
		u[i] = u[u[i]]
		i = u[i]
	}
	return i
}

// Join makes the groups of i and k one.
func (u Union) Join(i, k int32) {
	i, k = u.Of(i), u.Of(k)
	u[max(i, k)] = min(i, k)
}
