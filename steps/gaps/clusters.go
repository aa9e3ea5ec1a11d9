package gaps

import (
	"math"

	"layette/steps/internal/geom"
)

// clusters gathers the places that are kept into those that hang together:
// on neighbouring vertices, or touched by one ball.
func (l *look) clusters(balls []geom.Ball, keep func(i int32) bool) [][]int32 {
	n := len(l.skin.Mesh.Verts)
	kept := make([]bool, n)
	for i, v := range l.skin.Vert {
		kept[v] = kept[v] || keep(int32(i))
	}
	sets := geom.NewSets(n)
	for _, t := range l.skin.Mesh.Tris {
		for k := range 3 {
			if a, b := t[k], t[(k+1)%3]; kept[a] && kept[b] {
				sets.Join(a, b)
			}
		}
	}
	for i, v := range l.skin.Vert {
		if kept[v] && keep(int32(i)) {
			if w := l.skin.Vert[balls[i].Touch]; kept[w] {
				sets.Join(v, w)
			}
		}
	}
	of, _ := sets.Number()
	number := map[int32]int{}
	var out [][]int32
	for i, v := range l.skin.Vert {
		if !kept[v] || !keep(int32(i)) {
			continue
		}
		k, met := number[of[v]]
		if !met {
			k = len(out)
			number[of[v]] = k
			out = append(out, nil)
		}
		out[k] = append(out[k], int32(i))
	}
	return out
}

// area returns the skin that the members stand for where their balls are up to
// wide across, and the radius of a ball about at that holds it.
func (l *look) area(balls []geom.Ball, members []int32, wide float64, at geom.Vec) (area, reach float64) {
	var sum geom.Sum
	for _, i := range members {
		if 2*float64(balls[i].Radius) <= wide {
			sum.Add(l.skin.Area[i])
			reach = max(reach, l.at(i).Sub(at).Len())
		}
	}
	return sum.Total(), reach
}

// widths returns the narrowest ball at each vertex, mm across, among places that
// have a class, or all if classes is nil; infinite where there is none.
func (l *look) widths(balls []geom.Ball, classes []class) []float32 {
	w := make([]float32, len(l.skin.Mesh.Verts))
	for v := range w {
		w[v] = float32(math.Inf(1))
	}
	for i, v := range l.skin.Vert {
		if !balls[i].Free() && (classes == nil || classes[i] != free) {
			w[v] = min(w[v], 2*balls[i].Radius)
		}
	}
	return w
}

// depth returns how far along the skin the deepest member, and the deepest skin
// of the slot at all, lie from open skin, where balls are over twice as wide as
// the slot; 0 if there is none.
func (l *look) depth(widths []float32, members []int32, wide float64) (walls, floor float64) {
	limit := float32(2 * wide)
	in := map[int32]float64{} // vertices in the slot, with their distance from its mouth
	var next []int32
	reach := func(v int32) {
		if _, met := in[v]; !met && widths[v] <= limit {
			in[v] = math.Inf(1)
			next = append(next, v)
		}
	}
	for _, i := range members {
		reach(l.skin.Vert[i])
	}
	var queue []geom.Near
	for k := 0; k < len(next); k++ {
		mouth := math.Inf(1)
		l.around(next[k], func(w int32, long float64) {
			reach(w)
			if widths[w] > limit {
				mouth = min(mouth, long/2)
			}
		})
		if i := l.first[next[k]]; !math.IsInf(mouth, 1) && i >= 0 && l.sharp(i) {
			mouth = 0 // the rim itself
		}
		if !math.IsInf(mouth, 1) {
			in[next[k]] = mouth
			geom.PushNear(&queue, geom.Near{ID: next[k], Dist2: mouth})
		}
	}
	for len(queue) > 0 {
		v := geom.PopNear(&queue)
		if v.Dist2 > in[v.ID] {
			continue
		}
		l.around(v.ID, func(w int32, long float64) {
			if d, inside := in[w]; inside && v.Dist2+long < d {
				in[w] = v.Dist2 + long
				geom.PushNear(&queue, geom.Near{ID: w, Dist2: v.Dist2 + long})
			}
		})
	}
	for _, i := range members {
		if d, inside := in[l.skin.Vert[i]]; inside && !math.IsInf(d, 1) {
			walls = max(walls, d)
		}
	}
	for _, v := range next {
		if d := in[v]; !math.IsInf(d, 1) {
			floor = max(floor, d)
		}
	}
	return walls, floor
}

// around calls f for the vertices next to v and the lengths of the edges.
func (l *look) around(v int32, f func(w int32, long float64)) {
	m := l.skin.Mesh
	at := m.Verts[v].Vec()
	for _, t := range l.skin.Faces.Of(v) {
		for _, w := range m.Tris[t] {
			if w != v {
				f(w, m.Verts[w].Vec().Sub(at).Len())
			}
		}
	}
}

// line is a V-shaped line: what it would take to cut it.
type line struct {
	width, depth, angle float64
	radius              float64 // of the widest ball between its walls
}

// lineOf follows the walls of an inside corner up to their rims, at most limit
// along the skin.
func (l *look) lineOf(members []int32, limit float64) line {
	dist := map[int32]float64{}
	var queue []geom.Near
	for _, i := range members {
		dist[l.skin.Vert[i]] = 0
		geom.PushNear(&queue, geom.Near{ID: l.skin.Vert[i]})
	}
	var best line
	for len(queue) > 0 {
		v := geom.PopNear(&queue)
		if v.Dist2 > dist[v.ID] {
			continue
		}
		l.each(v.ID, func(i int32) {
			if l.walled(i) {
				best = best.wider(l.at(i).Sub(l.at(l.air[i].Touch)).Len(), l.air[i])
			}
		})
		l.around(v.ID, func(w int32, long float64) {
			d := v.Dist2 + long
			if was, met := dist[w]; d > limit || met && was <= d || !l.angled(w) {
				return
			}
			dist[w] = d
			geom.PushNear(&queue, geom.Near{ID: w, Dist2: d})
		})
	}
	return best
}

// angled reports whether a vertex has a place on the wall of an inside corner.
func (l *look) angled(v int32) bool {
	found := false
	l.each(v, func(i int32) { found = found || l.walled(i) })
	return found
}

// walled reports whether a place is on the wall of an inside corner.
func (l *look) walled(i int32) bool {
	c := l.class[i]
	return c == corner || c == crevice || c == slot
}

// each calls f for the places of vertex v.
func (l *look) each(v int32, f func(i int32)) {
	for i := l.first[v]; i >= 0 && int(i) < len(l.skin.Vert) && l.skin.Vert[i] == v; i++ {
		f(i)
	}
}

// wider returns the line whose rims are chord apart, where a ball touches both
// walls, if that is wider.
func (n line) wider(chord float64, b geom.Ball) line {
	n.radius = max(n.radius, float64(b.Radius))
	if chord <= n.width {
		return n
	}
	c := min(1, max(-1, -float64(b.Turn)))
	half := math.Sqrt((1 - c) / 2) // sine of half the opening angle
	n.width, n.depth, n.angle = chord, chord/2*math.Sqrt((1+c)/2)/max(half, 1e-3), degrees(c)
	return n
}

// degrees returns the angle with cosine c.
func degrees(c float64) float64 { return math.Acos(min(1, max(-1, c))) * 180 / math.Pi }

// firsts returns the first place of each vertex, -1 where there is none.
func (l *look) firsts() []int32 {
	first := make([]int32, len(l.skin.Mesh.Verts))
	for v := range first {
		first[v] = -1
	}
	for i := len(l.skin.Vert) - 1; i >= 0; i-- {
		first[l.skin.Vert[i]] = int32(i)
	}
	return first
}
