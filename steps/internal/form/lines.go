package form

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// Line is a piece of a line in the skin.
type Line struct {
	At    int32   // its deepest vertex
	Depth float64 // mm below the skin beside it
	// Width is how wide it is at half its depth, mm: twice the skin that lies
	// deeper over the length of the edge of that skin; or, if that is less, the
	// way straight across from wall to wall, half of them being nearer. It is 0
	// where half of the walls or more face none: at the foot of a step.
	Width float64
	// Between are its vertices if it lies between two skins that face one another, as
	// where fingers part. It is no line in one skin then, and Depth and Width
	// mean little: the form folds there. Of lines it is nil.
	Between []int32
}

// Lines finds what is deeper than least mm, deepest first, by the depth of each
// vertex; a line longer than piece mm is counted in pieces of about that
// length. Sizes are those of the form, whose places are given. Vertices marked
// in but are left out.
func (s *Skin) Lines(ctx context.Context, form []geom.Vec, depth []float64, but []bool, least, piece float64) ([]Line, error) {
	var deep []int32
	for v, d := range depth {
		if d > least && !but[v] {
			deep = append(deep, int32(v))
		}
	}
	slices.SortFunc(deep, func(a, b int32) int {
		return cmp.Or(cmp.Compare(depth[b], depth[a]), cmp.Compare(s.Back[a], s.Back[b]))
	})
	f := &finder{skin: s, form: form, depth: depth, least: least, reach2: float64(piece*piece) / 4, seen: make([]bool, len(depth)), long: make([]float64, len(depth)), on: make([]int32, len(s.Mesh.Tris))}
	for v := range f.long {
		f.long[v] = math.Inf(1)
	}
	var lines []Line
	for i, v := range deep {
		if i&1023 == 0 && ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if !f.seen[v] {
			lines = append(lines, f.line(v, int32(len(lines)+1)))
		}
	}
	return lines, nil
}

type finder struct {
	skin   *Skin
	form   []geom.Vec
	depth  []float64
	least  float64
	reach2 float64
	seen   []bool
	long   []float64 // ways along the skin, infinite between looks
	on     []int32   // the line, from 1, that a triangle was last counted for
	walls  []wall    // of the line at hand
}

// line takes the piece of a line round its deepest vertex.
func (f *finder) line(v, number int32) Line {
	l := Line{At: v, Depth: f.depth[v]}
	f.seen[v] = true
	area, edge := 0.0, 0.0
	f.walls = f.walls[:0]
	queue := []int32{v}
	for i := 0; i < len(queue); i++ {
		for _, c := range f.skin.fan.of(int(queue[i])) {
			t := c / 3
			if f.on[t] == number {
				continue
			}
			f.on[t] = number
			a, e := f.below(t, l.Depth/2)
			area += a
			edge += e
			if e > 0 {
				f.walls = append(f.walls, f.wall(t, l.Depth/2))
			}
			for _, u := range f.skin.Mesh.Tris[t] {
				if !f.seen[u] && f.depth[u] > f.least && f.form[u].Sub(f.form[v]).Len2() < f.reach2 {
					f.seen[u] = true
					queue = append(queue, u)
				}
			}
		}
	}
	if across := f.across(v); !math.IsInf(across, 1) {
		l.Width = min(2*area/edge, across)
	}
	if f.between(queue, math.Sqrt(f.reach2)/3) {
		l.Between = queue
	}
	return l
}

// wall is a place on the wall of a line, at half its depth, and the direction
// of the skin there.
type wall struct{ at, out geom.Vec }

// wall returns the middle of where a triangle passes a depth, on the skin itself.
func (f *finder) wall(t int32, depth float64) wall {
	tri := f.skin.Mesh.Tris[t]
	var sum geom.Vec
	var p [3]geom.Vec
	p[0], p[1], p[2] = f.skin.Mesh.Corners(int(t))
	for k := range 3 {
		a, b := f.depth[tri[k]]-depth, f.depth[tri[(k+1)%3]]-depth
		if (a > 0) != (b > 0) {
			sum = sum.Add(p[k].Add(p[(k+1)%3].Sub(p[k]).Mul(a / (a - b))))
		}
	}
	return wall{sum.Mul(0.5), p[1].Sub(p[0]).Cross(p[2].Sub(p[0])).Unit()}
}

// mostWalls bounds the places on walls that are compared.
const mostWalls = 300

// across returns the median way from a place on the walls to the nearest on a
// wall that faces it, mm; infinite without such.
func (f *finder) across(v int32) float64 {
	var up geom.Vec
	for _, c := range f.skin.fan.of(int(v)) {
		t := f.skin.Mesh.Tris[c/3]
		up = up.Add(f.form[t[1]].Sub(f.form[t[0]]).Cross(f.form[t[2]].Sub(f.form[t[0]])))
	}
	up = up.Unit()
	some := f.walls[:0:0]
	for i := 0; i < len(f.walls); i += 1 + len(f.walls)/mostWalls {
		w := f.walls[i]
		if w.out = w.out.Sub(up.Mul(w.out.Dot(up))).Unit(); w.out != (geom.Vec{}) {
			some = append(some, w)
		}
	}
	ways := make([]float64, 0, len(some))
	for _, a := range some {
		least := math.Inf(1)
		for _, b := range some {
			if to := b.at.Sub(a.at); a.out.Dot(b.out) < -0.5 && to.Dot(a.out) > 0 {
				least = min(least, to.Len2())
			}
		}
		ways = append(ways, least)
	}
	if len(ways) == 0 {
		return math.Inf(1)
	}
	slices.Sort(ways)
	return math.Sqrt(ways[len(ways)/2])
}

// below returns how much of a triangle lies deeper than depth, mm², and how
// long the edge of that is within it, mm; depth runs straight between its
// corners.
func (f *finder) below(t int32, depth float64) (area, edge float64) {
	tri := f.skin.Mesh.Tris[t]
	var h [3]float64
	in := 0
	for k, v := range tri {
		if h[k] = f.depth[v] - depth; h[k] > 0 {
			in++
		}
	}
	a, b, c := f.form[tri[0]], f.form[tri[1]], f.form[tri[2]]
	whole := b.Sub(a).Cross(c.Sub(a)).Len() / 2
	switch in {
	case 0:
		return 0, 0
	case 3:
		return whole, 0
	}
	k := 0 // the corner alone on its side
	for (h[k] > 0) != (in == 1) {
		k++
	}
	p, q := (k+1)%3, (k+2)%3
	sp, sq := h[k]/(h[k]-h[p]), h[k]/(h[k]-h[q])
	at, corner := f.form[tri[k]], [2]geom.Vec{f.form[tri[p]], f.form[tri[q]]}
	from, to := corner[0].Sub(at).Mul(sp), corner[1].Sub(at).Mul(sq)
	tip := float64(whole * math.Abs(float64(sp*sq)))
	if in == 2 {
		tip = whole - tip
	}
	return tip, to.Sub(from).Len()
}
