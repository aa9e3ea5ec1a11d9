package geom

import (
	"context"
	"errors"
	"math"
	"testing"
)

// tube returns a closed tube about a centre line: at(s) gives the centre and
// the two directions across at share s, radius the radius. Flat ends.
func tube(along, round int, at func(s float64) (c, u, w Vec), radius func(s float64) float64) *Mesh {
	m := &Mesh{}
	for i := range along + 1 {
		s := float64(i) / float64(along)
		c, u, w := at(s)
		for k := range round {
			sin, cos := math.Sincos(2 * math.Pi * float64(k) / float64(round))
			m.Verts = append(m.Verts, c.Add(u.Mul(cos*radius(s))).Add(w.Mul(sin*radius(s))).Point())
		}
	}
	n := int32(round)
	for i := range int32(along) {
		for k := range n {
			a, b := i*n+k, i*n+(k+1)%n
			c, d := a+n, b+n
			if (i+k)%2 == 0 {
				m.Tris = append(m.Tris, Tri{a, b, c}, Tri{b, d, c})
			} else {
				m.Tris = append(m.Tris, Tri{a, b, d}, Tri{a, d, c})
			}
		}
	}
	first, _, _ := at(0)
	last, _, _ := at(1)
	ends := int32(len(m.Verts))
	m.Verts = append(m.Verts, first.Point(), last.Point())
	for k := range n {
		a, b := k, (k+1)%n
		m.Tris = append(m.Tris, Tri{b, a, ends}, Tri{int32(along)*n + a, int32(along)*n + b, ends + 1})
	}
	return m
}

// upright is a centre line along z, l mm long.
func upright(l float64) func(float64) (c, u, w Vec) {
	return func(s float64) (c, u, w Vec) { return Vec{Z: l * s}, Vec{X: 1}, Vec{Y: 1} }
}

// bent is a centre line of two straight arms of length l and an arc of radius
// R over deg degrees between.
func bent(l, R, deg float64) func(float64) (c, u, w Vec) {
	turn := deg * math.Pi / 180
	total := 2*l + R*turn
	return func(s float64) (c, u, w Vec) {
		d := s * total
		a := min(max((d-l)/R, 0), turn)
		sin, cos := math.Sincos(a)
		c = Vec{X: R * (1 - cos), Z: min(d, l) + R*sin}
		c = c.Add(Vec{X: sin, Z: cos}.Mul(max(0, d-l-R*turn)))
		return c, Vec{X: cos, Z: -sin}, Vec{Y: 1}
	}
}

// slanted turns every ring of a tube further than the last, so that one angle
// of every triangle is obtuse.
func slanted(m *Mesh) *Mesh {
	return moved(m, func(p Vec) Vec {
		sin, cos := math.Sincos(math.Round(4*p.Z) * 2 * math.Pi / 200)
		return Vec{cos*p.X - sin*p.Y, sin*p.X + cos*p.Y, p.Z}
	})
}

func linksOf(t testing.TB, m *Mesh) *Edges {
	t.Helper()
	e, err := m.Edges(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

func TestAlongTubeIsItsHeight(t *testing.T) {
	for name, m := range map[string]*Mesh{
		"fine":   tube(60, 48, upright(60), func(float64) float64 { return 10 }),
		"slim":   tube(400, 12, upright(60), func(float64) float64 { return 10 }),
		"obtuse": slanted(tube(240, 200, upright(60), func(float64) float64 { return 10 })),
		"coarse": tube(5, 48, upright(60), func(float64) float64 { return 10 }),
	} {
		t.Run(name, func(t *testing.T) {
			m = shuffled(m, 3)
			var from []int32
			closed := make([]bool, len(m.Tris))
			for i, p := range m.Verts {
				if p[2] == 0 && p[0]*p[0]+p[1]*p[1] > 1 {
					from = append(from, int32(i))
				}
			}
			for i := range m.Tris {
				a, b, c := m.Corners(i)
				closed[i] = a.Z == 0 && b.Z == 0 && c.Z == 0
			}
			dist, err := m.Along(t.Context(), linksOf(t, m), from, closed)
			if err != nil {
				t.Fatal(err)
			}
			for i, p := range m.Verts {
				if p[2] == 60 && p[0] == 0 && p[1] == 0 || p[2] == 0 {
					continue
				}
				if d := math.Abs(float64(dist[i]) - float64(p[2])); d > 0.004*float64(p[2]) {
					t.Fatalf("vertex %d at height %g is %g mm from the rim", i, p[2], dist[i])
				}
			}
		})
	}
}

// A dome from its rim: the way to a point is along its meridian. The error
// must stay under an edge and fall as triangles shrink.
func TestAlongDome(t *testing.T) {
	const r = 30.0
	last := math.Inf(1)
	for n := 3; n <= 6; n++ {
		m := ball(Vec{}, r, n)
		var from []int32
		for i, p := range m.Verts {
			if p[2] == 0 {
				from = append(from, int32(i))
			}
		}
		dist, err := m.Along(t.Context(), linksOf(t, m), from, nil)
		if err != nil {
			t.Fatal(err)
		}
		worst := 0.0
		for i, p := range m.Verts {
			want := r * math.Abs(math.Asin(float64(p[2])/r))
			worst = max(worst, math.Abs(float64(dist[i])-want))
		}
		edge := meanEdge(m)
		t.Logf("edge %.2f mm: worst error %.3f mm", edge, worst)
		if worst > edge || worst > last {
			t.Errorf("edge %.2f mm: worst error %.3f mm, before %.3f", edge, worst, last)
		}
		last = worst
	}
}

func TestAlongElsewhereIsInfinite(t *testing.T) {
	m := joined(ball(Vec{}, 5, 2), ball(Vec{X: 20}, 5, 2))
	dist, err := m.Along(t.Context(), linksOf(t, m), []int32{0}, nil)
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range m.Verts {
		if far := p[0] > 10; math.IsInf(float64(dist[i]), 1) != far {
			t.Fatalf("vertex %d: %g", i, dist[i])
		}
	}
}

func TestAlongCancelled(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("enough")
	cancel(stop)
	m := ball(Vec{}, 5, 3)
	if _, err := m.Along(ctx, linksOf(t, m), []int32{0}, nil); !errors.Is(err, stop) {
		t.Fatal(err)
	}
}

func BenchmarkAlong(b *testing.B) {
	m := tube(1000, 1000, upright(160), func(s float64) float64 { return 16 - 4*s })
	e := linksOf(b, m)
	var from []int32
	for i := range int32(1000) {
		from = append(from, i)
	}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := m.Along(b.Context(), e, from, nil); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
