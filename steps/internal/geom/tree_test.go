package geom

import (
	"context"
	"errors"
	"fmt"
	"math"
	"math/rand/v2"
	"runtime"
	"slices"
	"testing"
)

// ball returns a sphere of radius r about c, an octahedron split `times` times.
func ball(c Vec, r float64, times int) *Mesh {
	m := &Mesh{}
	at := map[Vec]int32{}
	vert := func(u Vec) int32 {
		u = u.Unit()
		if i, ok := at[u]; ok {
			return i
		}
		i := int32(len(m.Verts))
		at[u] = i
		m.Verts = append(m.Verts, c.Add(u.Mul(r)).Point())
		return i
	}
	n := 1 << times
	for _, sx := range []float64{1, -1} {
		for _, sy := range []float64{1, -1} {
			for _, sz := range []float64{1, -1} {
				corner := func(i, j int) int32 {
					return vert(Vec{sx * float64(i), sy * float64(j), sz * float64(n-i-j)})
				}
				add := func(a, b, c int32) {
					if sx*sy*sz < 0 {
						b, c = c, b
					}
					m.Tris = append(m.Tris, Tri{a, b, c})
				}
				for i := range n {
					for j := range n - i {
						add(corner(i, j), corner(i+1, j), corner(i, j+1))
						if i+j+1 < n {
							add(corner(i+1, j), corner(i+1, j+1), corner(i, j+1))
						}
					}
				}
			}
		}
	}
	return m
}

// doughnut returns a torus about z: ring radius R, tube radius r.
func doughnut(R, r float64, around, across int) *Mesh {
	return rings(around, across, true, func(s, t float64) Vec {
		a, b := 2*math.Pi*s, 2*math.Pi*t
		w := R + r*math.Cos(b)
		return Vec{w * math.Cos(a), w * math.Sin(a), r * math.Sin(b)}
	})
}

// rings meshes f over [0,1)x[0,1), joined at both sides if closed.
func rings(nu, nv int, closed bool, f func(u, v float64) Vec) *Mesh {
	m := &Mesh{}
	for i := range nu {
		for j := range nv {
			m.Verts = append(m.Verts, f(float64(i)/float64(nu), float64(j)/float64(nv)).Point())
		}
	}
	for i := range nu {
		for j := range nv {
			if !closed && (i+1 == nu || j+1 == nv) {
				continue
			}
			a, b := int32(i*nv+j), int32((i+1)%nu*nv+j)
			c, d := int32((i+1)%nu*nv+(j+1)%nv), int32(i*nv+(j+1)%nv)
			m.Tris = append(m.Tris, Tri{a, b, c}, Tri{a, c, d})
		}
	}
	return m
}

// soup returns n triangles at random: points on whole numbers from 0 to grid
// if grid > 0, so that many touch, coincide or have no area.
func soup(rng *rand.Rand, n, grid int) *Mesh {
	m := &Mesh{}
	nv := n + 3
	for range nv {
		var p Point
		for x := range p {
			if grid > 0 {
				p[x] = float32(rng.IntN(grid + 1))
			} else {
				p[x] = float32(rng.NormFloat64() * 10)
			}
		}
		m.Verts = append(m.Verts, p)
	}
	for range n {
		m.Tris = append(m.Tris, Tri{int32(rng.IntN(nv)), int32(rng.IntN(nv)), int32(rng.IntN(nv))})
	}
	return m
}

// corpus is the surfaces that laws are tried on.
func corpus() map[string]*Mesh {
	rng := rand.New(rand.NewPCG(1, 2))
	all := map[string]*Mesh{
		"ball":         ball(Vec{1, 2, 3}, 10, 4),
		"doughnut":     doughnut(20, 6, 60, 30),
		"one triangle": {Verts: []Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}, Tris: []Tri{{0, 1, 2}}},
		"one point":    {Verts: []Point{{1, 1, 1}}, Tris: []Tri{{0, 0, 0}}},
		"soup":         soup(rng, 700, 0),
		"grid soup":    soup(rng, 700, 5),
		"dense soup":   soup(rng, 3000, 2),
		"nothing":      {},
	}
	same := &Mesh{Verts: []Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}}}
	for range 500 {
		same.Tris = append(same.Tris, Tri{0, 1, 2})
	}
	all["all the same"] = same
	all["shrinking"] = shrinking()
	all["far away"] = moved(ball(Vec{}, 10, 3), func(v Vec) Vec { return v.Add(Vec{1e5, -1e5, 5e4}) })
	return all
}

// shrinking returns triangles each half the size of the one before, as deep as
// float32 goes.
func shrinking() *Mesh {
	m := &Mesh{}
	for k := range 240 {
		s := math.Ldexp(1, 100-k)
		n := int32(len(m.Verts))
		m.Verts = append(m.Verts, Vec{s, 0, 0}.Point(), Vec{2 * s, 0, 0}.Point(), Vec{s, s, s / 2}.Point())
		m.Tris = append(m.Tris, Tri{n, n + 1, n + 2})
	}
	return m
}

func moved(m *Mesh, f func(Vec) Vec) *Mesh {
	out := &Mesh{Tris: m.Tris}
	for _, p := range m.Verts {
		out.Verts = append(out.Verts, f(p.Vec()).Point())
	}
	return out
}

func treeOf(t testing.TB, m *Mesh) *Tree {
	t.Helper()
	tree, err := NewTree(t.Context(), m, 2)
	if err != nil {
		t.Fatal(err)
	}
	return tree
}

// places returns points near and far from the surface, on its corners and edges.
func places(rng *rand.Rand, m *Mesh, n int) []Vec {
	var out []Vec
	b := m.Bounds()
	size := b.Size()
	for k := range n {
		if len(m.Tris) == 0 {
			return []Vec{{}}
		}
		a, bb, c := m.Corners(rng.IntN(len(m.Tris)))
		switch k % 5 {
		case 0:
			out = append(out, a)
		case 1:
			out = append(out, a.Add(bb).Mul(0.5))
		case 2:
			out = append(out, a.Add(bb).Add(c).Mul(1.0/3))
		case 3:
			out = append(out, a.Add(Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}))
		default:
			out = append(out, b.Min.Add(Vec{size.X * (3*rng.Float64() - 1), size.Y * (3*rng.Float64() - 1), size.Z * (3*rng.Float64() - 1)}))
		}
	}
	return out
}

// TestClosestIsBruteForce: the tree names the triangle that looking at all of
// them names, bit for bit.
func TestClosestIsBruteForce(t *testing.T) {
	for name, m := range corpus() {
		t.Run(name, func(t *testing.T) {
			tree := treeOf(t, m)
			points := places(rand.New(rand.NewPCG(3, 4)), m, 400)
			for _, reach := range []float64{math.Inf(1), 0.5, 0} {
				all, err := tree.ClosestAll(t.Context(), points, reach, 2)
				if err != nil {
					t.Fatal(err)
				}
				for i, p := range points {
					want, wantD := int32(-1), reach*reach
					for k := range m.Tris {
						c := cornersOf(m, k)
						if d, _, _, _ := closestOn(p.X, p.Y, p.Z, &c); d < wantD || d == wantD && want < 0 {
							want, wantD = int32(k), d
						}
					}
					got, ok := tree.Closest(p, reach)
					if got.Tri != want || ok != (want >= 0) || ok && got.Dist2 != wantD {
						t.Fatalf("%v within %v: triangle %d at %v, want %d at %v", p, reach, got.Tri, got.Dist2, want, wantD)
					}
					if all[i] != got {
						t.Fatalf("%v: in a batch %v, alone %v", p, all[i], got)
					}
				}
			}
		})
	}
}

func cornersOf(m *Mesh, k int) [9]float32 {
	p, q, r := m.Verts[m.Tris[k][0]], m.Verts[m.Tris[k][1]], m.Verts[m.Tris[k][2]]
	return [9]float32{p[0], p[1], p[2], q[0], q[1], q[2], r[0], r[1], r[2]}
}

// TestClosestOnTriangle compares with a search over the triangle by thirds,
// which needs no case and cannot share a fault with closestOn.
func TestClosestOnTriangle(t *testing.T) {
	rng := rand.New(rand.NewPCG(5, 6))
	for k := range 3000 {
		var c [9]float32
		for i := range c {
			c[i] = float32(rng.IntN(7)-3) * 0.5
		}
		switch k % 4 {
		case 1: // a sliver
			for x := range 3 {
				c[6+x] = (c[x]+c[3+x])/2 + float32(rng.NormFloat64())*1e-6
			}
		case 2: // anything
			for i := range c {
				c[i] = float32(rng.NormFloat64())
			}
		}
		p := Vec{rng.NormFloat64() * 2, rng.NormFloat64() * 2, rng.NormFloat64() * 2}
		d2, v, w, _ := closestOn(p.X, p.Y, p.Z, &c)
		want := bySearch(p, c)
		if got := math.Sqrt(d2); !(math.Abs(got-want) <= 2e-6) || v < 0 || w < 0 || v+w > 1+1e-9 {
			t.Fatalf("triangle %v, point %v: %v (weights %v %v), want %v", c, p, got, v, w, want)
		}
	}
}

// bySearch returns the distance by golden-section search of a convex function
// of two weights.
func bySearch(p Vec, c [9]float32) float64 {
	a := Vec{float64(c[0]), float64(c[1]), float64(c[2])}
	b := Vec{float64(c[3]), float64(c[4]), float64(c[5])}
	d := Vec{float64(c[6]), float64(c[7]), float64(c[8])}
	along := func(q, r Vec) float64 { // to a segment
		e := r.Sub(q)
		l := e.Len2()
		if l == 0 {
			return p.Sub(q).Len()
		}
		s := min(max(p.Sub(q).Dot(e)/l, 0), 1)
		return p.Sub(q.Add(e.Mul(s))).Len()
	}
	at := func(s float64) float64 { return along(a.Add(b.Sub(a).Mul(s)), a.Add(d.Sub(a).Mul(s))) }
	lo, hi := 0.0, 1.0
	for range 90 {
		m1, m2 := lo+(hi-lo)*0.382, lo+(hi-lo)*0.618
		if at(m1) < at(m2) {
			hi = m2
		} else {
			lo = m1
		}
	}
	return min(at(lo), at(hi), at(0), at(1))
}

// TestClosestOnBall: from inside a ball of many triangles the skin is as far as
// the radius says.
func TestClosestOnBall(t *testing.T) {
	m := ball(Vec{}, 50, 7)
	tree := treeOf(t, m)
	for _, p := range []Vec{{0, 0, 30}, {49, 0, 0}, {20, 20, 20}, {70, 1, 2}, {0.1, 0.2, 0.3}} {
		h, _ := tree.Closest(p, math.Inf(1))
		want := math.Abs(p.Len() - 50)
		if got := math.Sqrt(h.Dist2); !(math.Abs(got-want) <= 0.005) {
			t.Errorf("from %v: %v mm, want %v", p, got, want)
		}
		if d := h.Point.Sub(p).Len(); !(math.Abs(d-math.Sqrt(h.Dist2)) <= 1e-9) {
			t.Errorf("from %v: the point is %v mm off, the distance says %v", p, d, math.Sqrt(h.Dist2))
		}
	}
}

// TestSameForAnyWorkers: one, two, three and seven goroutines build one tree.
func TestSameForAnyWorkers(t *testing.T) {
	for name, m := range map[string]*Mesh{"doughnut": doughnut(30, 9, 400, 150), "soup": soup(rand.New(rand.NewPCG(7, 8)), 60000, 0)} {
		want, err := NewTree(t.Context(), m, 1)
		if err != nil {
			t.Fatal(err)
		}
		for _, workers := range []int{2, 3, 7} {
			got, err := NewTree(t.Context(), m, workers)
			if err != nil || !slices.Equal(got.nodes, want.nodes) || !slices.Equal(got.ids, want.ids) || !slices.Equal(got.corners, want.corners) {
				t.Errorf("%s: the tree by %d workers differs from that by one (%v)", name, workers, err)
			}
		}
	}
}

// TestRayIsBruteForce: the first place met is that of asking every triangle.
func TestRayIsBruteForce(t *testing.T) {
	for name, m := range corpus() {
		t.Run(name, func(t *testing.T) {
			tree := treeOf(t, m)
			rng := rand.New(rand.NewPCG(9, 10))
			for k, o := range places(rng, m, 300) {
				d := Vec{rng.NormFloat64(), rng.NormFloat64(), rng.NormFloat64()}
				if k%3 == 0 {
					d = [3]Vec{{0, 0, 1}, {-1, 0, 0}, {0, 1, 1}}[k/3%3]
				}
				r := newRay(o, d, 1e-3, 1000)
				want := RayHit{Tri: -1, T: 1000}
				turns := 0
				for i := range m.Tris {
					c := cornersOf(m, i)
					at, back, ok := r.meet(&c)
					if ok && at >= 1e-3 && (at < want.T || at == want.T && want.Tri < 0) {
						want = RayHit{int32(i), at, back}
					}
					if ok {
						turns++
					}
				}
				got, ok := tree.Ray(o, d, 1e-3, 1000)
				if ok != (want.Tri >= 0) || ok && got != want {
					t.Fatalf("from %v along %v: %v, want %v", o, d, got, want)
				}
				if tree.Any(o, d, 1e-3, 1000) != ok {
					t.Fatalf("from %v along %v: Any says otherwise than Ray", o, d)
				}
			}
		})
	}
}

// TestRaysDoNotSlipThrough: rays from the middle of a closed surface, aimed at
// its very corners and edges, pass its skin exactly once.
func TestRaysDoNotSlipThrough(t *testing.T) {
	m := ball(Vec{}, 10, 4)
	for _, o := range []Vec{{}, {0.5, 0.25, 0.125}, {1. / 3, 0, 0}} {
		for i := range m.Tris {
			a, b, _ := m.Corners(i)
			for _, to := range []Vec{a, a.Add(b).Mul(0.5)} {
				r := newRay(o, to.Sub(o), 0, math.Inf(1))
				n := 0
				for k := range m.Tris {
					c := cornersOf(m, k)
					if at, _, ok := r.meet(&c); ok && at > 0 {
						n++
					}
				}
				if n != 1 {
					t.Fatalf("from %v towards %v the skin is met %d times, want once", o, to, n)
				}
			}
			if i > 300 {
				break
			}
		}
	}
}

// TestTurns counts shells: outside 0, inside 1, in a hollow 0, where two
// overlap 2, inside out -1.
func TestTurns(t *testing.T) {
	outer, inner := ball(Vec{}, 10, 4), turnedOver(ball(Vec{}, 5, 4))
	hollow := treeOf(t, joined(outer, inner))
	twice := treeOf(t, joined(outer, ball(Vec{8, 0, 0}, 10, 4)))
	tests := []struct {
		name string
		tree *Tree
		at   Vec
		want int
	}{
		{"outside", hollow, Vec{11, 0, 0}, 0},
		{"in the wall", hollow, Vec{7, 0, 0}, 1},
		{"in the hollow", hollow, Vec{}, 0},
		{"where two overlap", twice, Vec{4, 0, 0}, 2},
		{"in one of two", twice, Vec{-5, 0, 0}, 1},
		{"inside out", treeOf(t, turnedOver(outer)), Vec{1, 1, 1}, -1},
		{"in nothing", treeOf(t, &Mesh{}), Vec{}, 0},
	}
	for _, tt := range tests {
		if got := tt.tree.Turns(tt.at); got != tt.want {
			t.Errorf("%s: %d turns, want %d", tt.name, got, tt.want)
		}
	}
}

func joined(a, b *Mesh) *Mesh {
	out := &Mesh{Verts: append(append([]Point{}, a.Verts...), b.Verts...), Tris: append([]Tri{}, a.Tris...)}
	n := int32(len(a.Verts))
	for _, t := range b.Tris {
		out.Tris = append(out.Tris, Tri{t[0] + n, t[1] + n, t[2] + n})
	}
	return out
}

func turnedOver(m *Mesh) *Mesh {
	out := &Mesh{Verts: m.Verts}
	for _, t := range m.Tris {
		out.Tris = append(out.Tris, Tri{t[0], t[2], t[1]})
	}
	return out
}

// TestNearIsBruteForce: Within and InBox visit each triangle that asking all
// of them finds, once, and no other.
func TestNearIsBruteForce(t *testing.T) {
	for name, m := range corpus() {
		t.Run(name, func(t *testing.T) {
			tree := treeOf(t, m)
			for _, p := range places(rand.New(rand.NewPCG(11, 12)), m, 60) {
				const r = 1.5
				got := map[int32]int{}
				tree.Within(p, r, func(tri int32, _ float64) bool { got[tri]++; return true })
				box := Box{p.Sub(Vec{r, r, r}), p.Add(Vec{r, r, r})}
				inBox := map[int32]int{}
				tree.InBox(box, func(tri int32) bool { inBox[tri]++; return true })
				for k := range m.Tris {
					c := cornersOf(m, k)
					d, _, _, _ := closestOn(p.X, p.Y, p.Z, &c)
					if want := b2i(d <= r*r); got[int32(k)] != want {
						t.Fatalf("within %v of %v: triangle %d visited %d times, want %d", r, p, k, got[int32(k)], want)
					}
					own := (&Mesh{Verts: m.Verts, Tris: m.Tris[k : k+1]}).Bounds()
					if want := b2i(meets(own, box)); inBox[int32(k)] != want {
						t.Fatalf("in the box about %v: triangle %d visited %d times, want %d", p, k, inBox[int32(k)], want)
					}
				}
			}
		})
	}
}

func meets(a, b Box) bool {
	return a.Min.X <= b.Max.X && a.Min.Y <= b.Max.Y && a.Min.Z <= b.Max.Z &&
		a.Max.X >= b.Min.X && a.Max.Y >= b.Min.Y && a.Max.Z >= b.Min.Z
}

func b2i(b bool) int {
	if b {
		return 1
	}
	return 0
}

// TestNearStopsEarly: a visitor that has seen enough is not called again.
func TestNearStopsEarly(t *testing.T) {
	tree := treeOf(t, ball(Vec{}, 10, 4))
	n := 0
	tree.Within(Vec{}, 20, func(int32, float64) bool { n++; return n < 3 })
	if n != 3 {
		t.Errorf("called %d times, want 3", n)
	}
}

// TestNotFinite: triangles without a place are left out; a question without a
// place has no answer.
func TestNotFinite(t *testing.T) {
	nan, inf := float32(math.NaN()), float32(math.Inf(1))
	m := ball(Vec{}, 10, 2)
	n := len(m.Tris)
	k := int32(len(m.Verts))
	m.Verts = append(m.Verts, Point{nan, 0, 0}, Point{0, inf, 0}, Point{0, 0, 3e38})
	m.Tris = append(m.Tris, Tri{0, 1, k}, Tri{k + 1, 1, 2}, Tri{0, 1, k + 2})
	tree := treeOf(t, m)
	if tree.Len() != n+1 {
		t.Errorf("%d triangles in the tree, want %d", tree.Len(), n+1)
	}
	for _, p := range []Vec{{math.NaN(), 0, 0}, {0, math.Inf(-1), 0}} {
		if h, ok := tree.Closest(p, math.Inf(1)); ok {
			t.Errorf("nearest to %v is %v, want nothing", p, h)
		}
		if h, ok := tree.Ray(p, Vec{1, 0, 0}, 0, 1e9); ok {
			t.Errorf("from %v a ray meets %v, want nothing", p, h)
		}
	}
	if _, ok := tree.Ray(Vec{}, Vec{}, 0, 1e9); ok {
		t.Error("a ray without direction meets something")
	}
	if h, ok := tree.Closest(Vec{12, 0, 0}, 3); !ok || !(math.Abs(h.Dist2-4) <= 1e-3) {
		t.Errorf("nearest is %v, want 2 mm", h)
	}
}

func TestTreeCancelled(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, err := NewTree(ctx, ball(Vec{}, 10, 5), 2); !errors.Is(err, stop) {
		t.Errorf("built in spite of the stop: %v", err)
	}
	tree := treeOf(t, ball(Vec{}, 10, 5))
	if _, err := tree.ClosestAll(ctx, make([]Vec, 5000), 1, 2); !errors.Is(err, stop) {
		t.Errorf("answered in spite of the stop: %v", err)
	}
}

// hand returns a surface like a scanned hand: five bent fingers and a palm with
// fine relief, about n triangles.
func hand(n int) *Mesh {
	out := &Mesh{}
	per := float64(n) / 6
	for k := range 6 {
		r, l, x := 6.0, 55.0+float64(k%3)*8, float64(k)*15-30
		if k == 5 {
			r, l, x = 28, 70, 0
		}
		nu := int(math.Sqrt(per/2*l/(2*math.Pi*r)) + 1)
		nv := int(per / 2 / float64(nu))
		f := rings(nu, nv, true, func(u, v float64) Vec { return fingerAt(u, v, r, l, x, k == 5) })
		out = joined(out, f)
	}
	return out
}

// fingerAt is a closed tube folded back on itself like a sock: it has an
// outside and, 20 % deeper, an inside.
func fingerAt(u, v, r, l, x float64, palm bool) Vec {
	a := 2 * math.Pi * v
	s, deep := 2*u, 1.0
	if s > 1 {
		s, deep = 2-s, 0.8
	}
	end := math.Sqrt(max(0, 1-math.Pow(2*s-1, 8)))
	w := r*deep*(0.3+0.7*end) + 0.05*math.Sin(40*a+90*s)
	bend := 0.01 * (s * l) * (s * l)
	y := s * l
	if palm {
		y, bend = -y+5, 0
	}
	return Vec{x + w*math.Cos(a), y, w*math.Sin(a)*0.8 + bend}
}

func bigHand(b *testing.B) *Mesh {
	m := hand(2_000_000)
	b.Logf("%d triangles, %d points", len(m.Tris), len(m.Verts))
	return m
}

func BenchmarkTree(b *testing.B) {
	m := bigHand(b)
	b.Run("build", func(b *testing.B) {
		for b.Loop() {
			t, err := NewTree(b.Context(), m, 2)
			if err != nil {
				b.Fatal(err)
			}
			b.ReportMetric(float64(t.Bytes())/float64(len(m.Tris)), "bytes/tri")
		}
		b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
	})
	t := treeOf(b, m)
	skin := nearSkin(m, 1_000_000)
	mixed := append([]Vec{}, skin...)
	rand.New(rand.NewPCG(1, 1)).Shuffle(len(mixed), func(i, j int) { mixed[i], mixed[j] = mixed[j], mixed[i] })
	for name, q := range map[string][]Vec{"surface": skin, "random": mixed} {
		b.Run("closest/"+name, func(b *testing.B) {
			for b.Loop() {
				if _, err := t.ClosestAll(b.Context(), q, math.Inf(1), 2); err != nil {
					b.Fatal(err)
				}
			}
			b.ReportMetric(float64(len(q))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mquery/s")
		})
		b.Run("closest/alone/"+name, func(b *testing.B) {
			for b.Loop() {
				inBatches(b.Context(), len(q), 2, func(from, to int) {
					for _, p := range q[from:to] {
						t.Closest(p, math.Inf(1))
					}
				})
			}
			b.ReportMetric(float64(len(q))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mquery/s")
		})
	}
	b.Run("rays", func(b *testing.B) {
		n := len(m.Tris) / 2
		for b.Loop() {
			inBatches(b.Context(), n, 2, func(from, to int) {
				for k := from; k < to; k++ {
					p, q, r := m.Corners(2 * k)
					d := q.Sub(p).Cross(r.Sub(p)).Mul(-1).Unit()
					t.Ray(p.Add(q).Add(r).Mul(1.0/3), d, 1e-4, math.Inf(1))
				}
			})
		}
		b.ReportMetric(float64(n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mray/s")
	})
	runtime.KeepAlive(t)
}

// nearSkin returns points up to 1 mm from the skin, in the order of the triangles.
func nearSkin(m *Mesh, n int) []Vec {
	rng := rand.New(rand.NewPCG(13, 14))
	out := make([]Vec, n)
	for i := range out {
		p, q, r := m.Corners(i * (len(m.Tris) / n))
		out[i] = p.Add(q).Add(r).Mul(1.0 / 3).Add(q.Sub(p).Cross(r.Sub(p)).Unit().Mul(2*rng.Float64() - 1))
	}
	return out
}

func ExampleTree_Closest() {
	m := &Mesh{Verts: []Point{{0, 0, 0}, {10, 0, 0}, {0, 10, 0}}, Tris: []Tri{{0, 1, 2}}}
	tree, _ := NewTree(context.Background(), m, 1)
	h, _ := tree.Closest(Vec{2, 3, 4}, math.Inf(1))
	fmt.Println(h.Point, math.Sqrt(h.Dist2))
	// Output: {2 3 0} 4
}
