package intake

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/shot"
)

// cut counts what was taken out of a scan.
type cut struct {
	pieces, stray, stretched, grazing, spikes int
}

func (c cut) any() bool { return c.stray+c.stretched+c.grazing+c.spikes > 0 }

// says tells what was taken out.
func (c cut) says() string {
	var list []string
	add := func(n int, one, many string) {
		switch {
		case n == 1:
			list = append(list, "one "+one)
		case n > 1:
			list = append(list, fmt.Sprintf("%d %s", n, many))
		}
	}
	add(c.stretched, "triangle across a jump in depth", "triangles across jumps in depth")
	add(c.stray, "stray point", "stray points")
	add(c.grazing, "point seen at a grazing angle", "points seen at a grazing angle")
	add(c.spikes, "spike", "spikes")
	return strings.Join(list, ", ") + " taken out"
}

// reach is how far from the border of a scan anything is looked at here, mm.
const reach = 2

// trim takes out what no surface should be built on, the coarsest first, so that
// what is finer is judged without it.
func trim(ctx context.Context, m *geom.Mesh, v step.Values, workers int) (*shot.Shot, cut, error) {
	var c cut
	usual := spacing(m)
	if !(usual > 0) {
		return nil, c, fmt.Errorf("all of its points lie at one place or in one line: there is no skin in it")
	}
	most := v.Float("stretch") * usual
	m, gone := without(m, func(t int) bool {
		a, b, e := m.Corners(t)
		return max(b.Sub(a).Len2(), e.Sub(b).Len2(), a.Sub(e).Len2()) > float64(most*most)
	}, &c)
	c.stretched = gone
	m, err := withoutStrays(ctx, m, v.Float("stray"), workers, &c)
	if err != nil {
		return nil, c, err
	}
	s, err := shot.Look(ctx, m, reach, workers)
	if err != nil {
		return nil, c, err
	}
	bad := c.points(s, v)
	if c.grazing+c.spikes == 0 {
		return s, c, nil
	}
	before := len(m.Verts)
	m, _ = without(m, func(t int) bool {
		tri := m.Tris[t]
		return bad[tri[0]] || bad[tri[1]] || bad[tri[2]]
	}, &c)
	// Points left alone between bad ones went with them; they are no strays.
	c.stray -= before - len(m.Verts)
	if m, err = withoutStrays(ctx, m, v.Float("stray"), workers, &c); err != nil {
		return nil, c, err
	}
	s, err = shot.Look(ctx, m, reach, workers)
	return s, c, err
}

// points marks what is seen at a grazing angle or stands alone.
func (c *cut) points(s *shot.Shot, v step.Values) []bool {
	least := math.Cos(v.Float("grazing") * math.Pi / 180)
	out := v.Float("spike") * s.Noise
	bad := make([]bool, len(s.Mesh.Verts))
	beside := besides(s)
	for i := range bad {
		off := math.Abs(s.Off(i))
		switch {
		case !s.View.Away && float64(s.Cos[i]) < least:
			bad[i] = true
			c.grazing++
		case s.Noise > 0 && off > shot.SecondSpread*out && off > beside[i]/2:
			bad[i] = true
			c.spikes++
		}
	}
	return bad
}

// besides returns for each point how far the worst of its neighbours stands out:
// those of a spike stand out by a quarter of it, and are none themselves.
func besides(s *shot.Shot) []float64 {
	worst := make([]float64, len(s.Mesh.Verts))
	for _, tri := range s.Mesh.Tris {
		for k, v := range tri {
			a, b := tri[(k+1)%3], tri[(k+2)%3]
			worst[v] = max(worst[v], math.Abs(s.Off(int(a))), math.Abs(s.Off(int(b))))
		}
	}
	return worst
}

// spacing returns the median length of an edge between two places.
func spacing(m *geom.Mesh) float64 {
	all := make([]float32, 0, 3*len(m.Tris))
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		for _, l := range [3]float64{b.Sub(a).Len(), c.Sub(b).Len(), a.Sub(c).Len()} {
			if l > 0 {
				all = append(all, float32(l))
			}
		}
	}
	return shot.Middle(all)
}

// without returns m without the triangles that go and without points that no
// triangle has, which it counts as strays.
func without(m *geom.Mesh, goes func(t int) bool, c *cut) (*geom.Mesh, int) {
	to := make([]int32, len(m.Verts))
	tris := make([]geom.Tri, 0, len(m.Tris))
	for t, tri := range m.Tris {
		if goes(t) {
			continue
		}
		tris = append(tris, tri)
		to[tri[0]], to[tri[1]], to[tri[2]] = 1, 1, 1
	}
	gone := len(m.Tris) - len(tris)
	out := &geom.Mesh{Tris: tris, Origin: m.Origin}
	for v, used := range to {
		if used == 0 {
			c.stray++
			continue
		}
		to[v] = int32(len(out.Verts))
		out.Verts = append(out.Verts, m.Verts[v])
		if len(m.Colours) > 0 {
			out.Colours = append(out.Colours, m.Colours[v])
		}
	}
	for i, tri := range out.Tris {
		out.Tris[i] = geom.Tri{to[tri[0]], to[tri[1]], to[tri[2]]}
	}
	return out, gone
}

// withoutStrays takes out loose pieces of little skin.
func withoutStrays(ctx context.Context, m *geom.Mesh, least float64, workers int, c *cut) (*geom.Mesh, error) {
	e, err := m.Edges(ctx, workers)
	if err != nil {
		return nil, err
	}
	shell, n := m.Shells(e)
	area := make([]float64, n)
	for t, s := range shell {
		p, q, r := m.Corners(t)
		area[s] += q.Sub(p).Cross(r.Sub(p)).Len() / 2
	}
	for _, a := range area {
		if a < least {
			c.pieces++
		}
	}
	size := longest(m)
	m, _ = without(m, func(t int) bool { return area[shell[t]] < least }, c)
	if len(m.Tris) == 0 {
		return nil, fmt.Errorf("nothing is left of it but loose pieces of less than %.0f mm², %.3g mm from end to end: hardly any skin was caught, or it is in another unit", least, size)
	}
	return m, nil
}
