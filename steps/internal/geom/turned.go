package geom

// Sides settles which triangles are turned over. Neighbours across an edge
// between exactly two triangles should run along it in opposite ways; sheets
// of triangles joined by such edges are turned one by one, and of two ways to
// turn a sheet the one is right that leaves more skin as it is.
//
// over tells for each triangle whether it must be turned; twisted counts edges
// that no turning puts right (a band with a half twist).
func (m *Mesh) Sides(e *Edges) (over []bool, twisted int) {
	over = make([]bool, len(m.Tris))
	seen := make([]bool, len(m.Tris))
	var sheet []int32
	for t := range m.Tris {
		if seen[t] {
			continue
		}
		seen[t] = true
		sheet = append(sheet[:0], int32(t))
		any := false
		for i := 0; i < len(sheet); i++ {
			s := sheet[i]
			for c := 3 * s; c < 3*s+3; c++ {
				mate := e.Across[c]
				if mate < 0 {
					continue
				}
				u, turned := mate/3, m.Turned(e, c)
				if !seen[u] {
					seen[u] = true
					over[u] = over[s] != turned
					any = any || over[u]
					sheet = append(sheet, u)
				} else if over[u] != (over[s] != turned) {
					twisted++
				}
			}
		}
		if any {
			m.lessTurned(sheet, over)
		}
	}
	return over, twisted / 2
}

// lessTurned turns the whole sheet if that leaves more skin as it is.
func (m *Mesh) lessTurned(sheet []int32, over []bool) {
	var stay, turn Sum
	for _, t := range sheet {
		a, b, c := m.Corners(int(t))
		area := b.Sub(a).Cross(c.Sub(a)).Len()
		if over[t] {
			turn.Add(area)
		} else {
			stay.Add(area)
		}
	}
	if turn.Total() > stay.Total() {
		for _, t := range sheet {
			over[t] = !over[t]
		}
	}
}
