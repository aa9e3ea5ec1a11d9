package draw

import (
	"cmp"
	"context"
	"runtime"
	"slices"

	"layette/steps/internal/geom"
)

// A Choice is one of the pictures that together show every spot.
type Choice struct {
	View  View
	Cut   *Plane // set where only a section shows the spot
	Spots []int  // which of the spots this picture is for, in rising order
}

// candidates are the directions that Choose looks from, in order of liking:
// three quarters from the front, then straight, then the rest.
var candidates = []View{
	{Name: "front, from its right", Dir: geom.Vec{X: 0.6, Y: 1, Z: 0.25}},
	{Name: "front, from its left", Dir: geom.Vec{X: -0.6, Y: 1, Z: 0.25}},
	Front, Left, Right, Back, Above, Below,
	{Name: "back, from its right", Dir: geom.Vec{X: 0.6, Y: -1, Z: 0.25}},
	{Name: "back, from its left", Dir: geom.Vec{X: -0.6, Y: -1, Z: 0.25}},
	{Name: "front, from above", Dir: geom.Vec{Y: 1, Z: 1}},
	{Name: "front, from below", Dir: geom.Vec{Y: 1, Z: -1}},
	{Name: "back, from above", Dir: geom.Vec{Y: -1, Z: 1}},
	{Name: "back, from below", Dir: geom.Vec{Y: -1, Z: -1}},
	{Name: "its left, from above", Dir: geom.Vec{X: -1, Z: 1}},
	{Name: "its left, from below", Dir: geom.Vec{X: -1, Z: -1}},
	{Name: "its right, from above", Dir: geom.Vec{X: 1, Z: 1}},
	{Name: "its right, from below", Dir: geom.Vec{X: 1, Z: -1}},
	{Name: "front left, from below", Dir: geom.Vec{X: -0.7, Y: 0.7, Z: -0.9}},
	{Name: "front right, from below", Dir: geom.Vec{X: 0.7, Y: 0.7, Z: -0.9}},
	{Name: "back left, from below", Dir: geom.Vec{X: -0.7, Y: -0.7, Z: -0.9}},
	{Name: "back right, from below", Dir: geom.Vec{X: 0.7, Y: -0.7, Z: -0.9}},
}

// Sight: how squarely the skin faces the eye for a spot to be well seen, and
// what counts as seen at all.
const (
	square  = 0.35
	glimpse = 0.0
)

// Choose returns pictures that together show every spot: first the views from
// which most spots are squarely seen, then those from which the rest are seen
// at all, then straight down on what only that shows, and for what no eye can
// see from outside a section through it. With no spots it returns one plain
// view. It asks for exact sight lines, not pixels: two million triangles and
// forty spots take about two seconds on two processors.
//
// Covering all by taking the best next one is the greedy rule of V. Chvátal, "A
// greedy heuristic for the set-covering problem", Mathematics of Operations
// Research 1979 (from memory).
func Choose(ctx context.Context, m *geom.Mesh, spots []Spot, workers int) ([]Choice, error) {
	if err := check(Scene{Mesh: m}, Usual); err != nil {
		return nil, err
	}
	if len(spots) == 0 {
		return []Choice{{View: candidates[0]}}, nil
	}
	if workers <= 0 {
		workers = runtime.GOMAXPROCS(0)
	}
	given := spots
	spots = nearSpots(spots, m.Origin)
	n, err := facing(ctx, m, spots, workers)
	if err != nil {
		return nil, err
	}
	left := make([]bool, len(spots))
	for i := range left {
		left[i] = true
	}
	box := m.Bounds()
	var out []Choice
	for _, views := range []func() []View{func() []View { return candidates }, func() []View { return straight(n, left) }} {
		views := views()
		sees := make([][]bool, len(views))
		err = inParts(ctx, workers, len(views), 1, func(k, _ int) { sees[k] = sighted(m, box, spots, views[k]) })
		if err != nil {
			return nil, err
		}
		out = append(out, cover(views, sees, n, left, square)...)
		out = append(out, cover(views, sees, n, left, glimpse)...)
	}
	return append(out, sections(given, n, left, box.Size().Len()/2)...), nil
}

// straight returns a view straight down on each spot that is left and whose
// skin has a direction.
func straight(n []geom.Vec, left []bool) []View {
	var out []View
	for i, d := range n {
		if left[i] && d != (geom.Vec{}) {
			out = append(out, View{Name: "straight down on it", Dir: d})
		}
	}
	return out
}

// cover takes, again and again, the view that shows most of the spots that
// are left, and of equals the one that comes first.
func cover(views []View, sees [][]bool, n []geom.Vec, left []bool, least float64) []Choice {
	shows := func(k, i int) bool {
		d := views[k].Dir.Unit()
		return left[i] && sees[k][i] && (least <= 0 || n[i] == (geom.Vec{}) || n[i].Dot(d) >= least)
	}
	var out []Choice
	for {
		best, most := -1, 0
		for k := range views {
			count := 0
			for i := range left {
				if shows(k, i) {
					count++
				}
			}
			if count > most {
				best, most = k, count
			}
		}
		if best < 0 {
			return out
		}
		c := Choice{View: views[best]}
		for i := range left {
			if shows(best, i) {
				c.Spots = append(c.Spots, i)
			}
		}
		for _, i := range c.Spots {
			left[i] = false
		}
		out = append(out, c)
	}
}

// sections returns a section through each spot that is left: along the line
// that a gap spans, or square to the skin, as near to a front view as that
// allows. What is as large as the part, whose radius is whole, is shown with
// the whole part about it.
func sections(spots []Spot, n []geom.Vec, left []bool, whole float64) []Choice {
	var out []Choice
	for i, s := range spots {
		if !left[i] {
			continue
		}
		along := n[i]
		if s.To != (geom.Vec{}) {
			along = s.To.Sub(s.At).Unit()
		}
		normal := Front.Dir.Sub(along.Mul(along.Dot(Front.Dir)))
		if normal.Len2() < 0.05 {
			normal = Left.Dir.Sub(along.Mul(along.Dot(Left.Dir)))
		}
		normal = normal.Unit()
		reach := max(8*s.Radius, 6*s.To.Sub(s.At).Len(), 10)
		if s.To == (geom.Vec{}) {
			reach = max(8*s.Radius, 10)
		}
		v := View{Name: "section", Dir: normal, Parallel: true, Around: s.At, Reach: reach}
		if reach > 0.7*whole {
			v.Around, v.Reach = geom.Vec{}, 0
		}
		out = append(out, Choice{View: v, Cut: &Plane{At: s.At, Normal: normal}, Spots: []int{i}})
	}
	return out
}

// Near returns v drawn close about a spot.
func Near(v View, s Spot) View {
	v.Around, v.Reach = s.At, max(6*s.Radius, 6)
	if s.To != (geom.Vec{}) {
		v.Reach = max(v.Reach, 4*s.To.Sub(s.At).Len())
	}
	return v
}

// facing returns the direction of the skin nearest to each spot: that of the
// triangles about the nearest vertex.
func facing(ctx context.Context, m *geom.Mesh, spots []Spot, workers int) ([]geom.Vec, error) {
	plain := camera{x: geom.Vec{X: 1}, y: geom.Vec{Y: 1}, z: geom.Vec{Z: 1}}
	ns, err := normals(ctx, m, plain, workers)
	if err != nil {
		return nil, err
	}
	out := make([]geom.Vec, len(spots))
	err = inParts(ctx, workers, len(spots), 1, func(k, _ int) {
		at, best, nearest := spots[k].At, -1.0, 0
		for i, p := range m.Verts {
			if i%chunk == 0 && ctx.Err() != nil {
				return
			}
			if ns[i] == (geom.Point{}) {
				continue // no triangle's, or it lies on nothing
			}
			if d := p.Vec().Sub(at).Len2(); best < 0 || d < best {
				best, nearest = d, i
			}
		}
		out[k] = ns[nearest].Vec()
	})
	return out, err
}

// A flat is a vertex or a spot in a view's own frame.
type flat struct{ x, y, z float32 }

// sighted tells which spots show from v in parallel sight: those between which
// and the eye no triangle stands. box is the surface's.
func sighted(m *geom.Mesh, box geom.Box, spots []Spot, v View) []bool {
	var c camera
	c.x, c.y, c.z = frame(v.Dir, v.Up)
	c.centre = box.Centre()
	down := func(p geom.Vec) flat {
		q := c.turn(p.Sub(c.centre))
		return flat{float32(q.X), float32(q.Y), float32(q.Z)}
	}
	places := make([]flat, len(spots))
	seen := make([]bool, len(spots))
	for i, s := range spots {
		places[i] = down(s.At)
		places[i].z += float32(slack(s.Radius))
		seen[i] = s.At.Finite()
	}
	g := newSieve(places, float32(box.Size().Len()/2))
	columns := make([]uint16, len(m.Verts))
	for i, p := range m.Verts {
		columns[i] = uint16(g.column(float32(p.Vec().Sub(c.centre).Dot(c.x))))
	}
	for _, t := range m.Tris {
		i, j, k := columns[t[0]], columns[t[1]], columns[t[2]]
		under := g.spots[g.begin[min(i, j, k)]:g.begin[max(i, j, k)+1]]
		if len(under) == 0 {
			continue
		}
		a, b, d := down(m.Verts[t[0]].Vec()), down(m.Verts[t[1]].Vec()), down(m.Verts[t[2]].Vec())
		for _, i := range under {
			if seen[i] && covers(a, b, d, places[i]) {
				seen[i] = false
			}
		}
	}
	return seen
}

// slack is how far in front of a spot skin may lie and not hide it, mm.
func slack(radius float64) float64 { return max(0.1, min(0.3*radius, 0.5)) }

// covers reports whether triangle a, b, c stands between p and the eye.
func covers(a, b, c, p flat) bool {
	if p.y < min(a.y, b.y, c.y) || p.y > max(a.y, b.y, c.y) || p.x < min(a.x, b.x, c.x) || p.x > max(a.x, b.x, c.x) {
		return false
	}
	side := func(a, b flat) float64 {
		return float64(float64(b.x-a.x)*float64(p.y-a.y)) - float64(float64(b.y-a.y)*float64(p.x-a.x))
	}
	u, v, w := side(b, c), side(c, a), side(a, b)
	sum := u + v + w
	if !(u >= 0 && v >= 0 && w >= 0 || u <= 0 && v <= 0 && w <= 0) || sum == 0 {
		return false
	}
	z := (float64(u*float64(a.z)) + float64(v*float64(b.z)) + float64(w*float64(c.z))) / sum
	return z > float64(p.z)
}

// A sieve finds the spots that may lie under a triangle: spots in order of x,
// and for each of its columns where they begin. Most triangles stand over no
// spot's column and are passed by.
type sieve struct {
	reach float32
	begin [columns + 1]int32
	spots []int32
}

const columns = 1024

func newSieve(places []flat, reach float32) *sieve {
	g := &sieve{reach: max(reach, 1e-6)}
	for i := range places {
		g.spots = append(g.spots, int32(i))
	}
	slices.SortStableFunc(g.spots, func(a, b int32) int { return cmp.Compare(places[a].x, places[b].x) })
	for i := range g.begin {
		for int(g.begin[i]) < len(places) && g.column(places[g.spots[g.begin[i]]].x) < i {
			g.begin[i]++
		}
		if i < columns {
			g.begin[i+1] = g.begin[i]
		}
	}
	return g
}

func (g *sieve) column(x float32) int {
	k := (x/g.reach + 1) * (columns / 2)
	if !(k > 0) {
		return 0
	}
	return int(min(k, columns-1))
}
