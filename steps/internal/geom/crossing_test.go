package geom

import (
	"context"
	"errors"
	"math"
	"math/big"
	"math/rand/v2"
	"slices"
	"testing"
)

// ratVec is a point in fractions: the reference computes with these alone.
type ratVec [3]*big.Rat

func ratOf(p Point) ratVec {
	var r ratVec
	for x := range p {
		r[x] = new(big.Rat).SetFloat64(float64(p[x]))
	}
	return r
}

func (a ratVec) sub(b ratVec) ratVec {
	var r ratVec
	for x := range a {
		r[x] = new(big.Rat).Sub(a[x], b[x])
	}
	return r
}

func (a ratVec) dot(b ratVec) *big.Rat {
	s := new(big.Rat)
	for x := range a {
		s.Add(s, new(big.Rat).Mul(a[x], b[x]))
	}
	return s
}

func (a ratVec) cross(b ratVec) ratVec {
	var r ratVec
	for x := range a {
		y, z := (x+1)%3, (x+2)%3
		r[x] = new(big.Rat).Sub(new(big.Rat).Mul(a[y], b[z]), new(big.Rat).Mul(a[z], b[y]))
	}
	return r
}

func (a ratVec) zero() bool { return a[0].Sign() == 0 && a[1].Sign() == 0 && a[2].Sign() == 0 }

func (a ratVec) equal(b ratVec) bool { return a.sub(b).zero() }

// crossesByFractions decides by clipping, not by signs of determinants: the
// first triangle is cut by the half-spaces that make up the second, and what
// is left is looked at. It says yes where something is left besides what the
// triangles share.
func crossesByFractions(s, t [3]Point) bool {
	var p, q [3]ratVec
	for i := range 3 {
		p[i], q[i] = ratOf(s[i]), ratOf(t[i])
	}
	n, m := p[1].sub(p[0]).cross(p[2].sub(p[0])), q[1].sub(q[0]).cross(q[2].sub(q[0]))
	if n.zero() || m.zero() {
		return false
	}
	var shared []ratVec
	for i := range 3 {
		for k := range 3 {
			if p[i].equal(q[k]) {
				shared = append(shared, p[i])
			}
		}
	}
	if len(shared) == 3 {
		return false
	}
	left := []ratVec{p[0], p[1], p[2]}
	left = clipped(left, q[0], m, true)
	for k := range 3 {
		in := m.cross(q[(k+1)%3].sub(q[k]))
		left = clipped(left, q[k], in, false)
	}
	for _, v := range left {
		if !onShared(v, shared) {
			return true
		}
	}
	return false
}

// onShared reports whether v is a shared corner or lies on the shared edge.
func onShared(v ratVec, shared []ratVec) bool {
	switch len(shared) {
	case 0:
		return false
	case 1:
		return v.equal(shared[0])
	}
	e := shared[1].sub(shared[0])
	d := v.sub(shared[0])
	along := d.dot(e)
	return d.cross(e).zero() && along.Sign() >= 0 && along.Cmp(e.dot(e)) <= 0
}

// clipped returns the part of a convex polygon where (x-o)·n >= 0, or == 0.
func clipped(poly []ratVec, o, n ratVec, flat bool) []ratVec {
	var out []ratVec
	for i, a := range poly {
		b := poly[(i+1)%len(poly)]
		da, db := a.sub(o).dot(n), b.sub(o).dot(n)
		if da.Sign() == 0 || !flat && da.Sign() > 0 {
			out = append(out, a)
		}
		if da.Sign()*db.Sign() < 0 {
			s := new(big.Rat).Quo(da, new(big.Rat).Sub(da, db))
			var v ratVec
			for x := range v {
				v[x] = new(big.Rat).Add(a[x], new(big.Rat).Mul(s, new(big.Rat).Sub(b[x], a[x])))
			}
			out = append(out, v)
		}
	}
	return out
}

func nine(t [3]Point) [9]float32 {
	return [9]float32{t[0][0], t[0][1], t[0][2], t[1][0], t[1][1], t[1][2], t[2][0], t[2][1], t[2][2]}
}

// TestCrossesNamed: the cases a person would draw.
func TestCrossesNamed(t *testing.T) {
	base := [3]Point{{0, 0, 0}, {4, 0, 0}, {0, 4, 0}}
	tests := []struct {
		name  string
		other [3]Point
		want  bool
	}{
		{"pierced through its middle", [3]Point{{1, 1, -1}, {1, 1, 1}, {5, 5, 0}}, true},
		{"far above", [3]Point{{0, 0, 1}, {4, 0, 1}, {0, 4, 1}}, false},
		{"neighbour at an edge, flat", [3]Point{{4, 0, 0}, {0, 4, 0}, {4, 4, 0}}, false},
		{"neighbour at an edge, folded right back", [3]Point{{4, 0, 0}, {0, 4, 0}, {1, 1, 0}}, true},
		{"neighbour at an edge, folded nearly back", [3]Point{{4, 0, 0}, {0, 4, 0}, {1, 1, 1e-30}}, false},
		{"neighbour at a corner, apart", [3]Point{{0, 0, 0}, {-4, 0, 0}, {0, -4, 0}}, false},
		{"neighbour at a corner, piercing", [3]Point{{0, 0, 0}, {1, 1, 1}, {1, 1, -1}}, true},
		{"neighbour at a corner, overlapping in the plane", [3]Point{{0, 0, 0}, {4, 1, 0}, {1, 4, 0}}, true},
		{"neighbour at a corner, an edge along an edge", [3]Point{{0, 0, 0}, {2, 0, 0}, {0, 0, 3}}, true},
		{"the same once more", base, false},
		{"the same the other way round", [3]Point{{0, 0, 0}, {0, 4, 0}, {4, 0, 0}}, false},
		{"overlap in the plane", [3]Point{{1, 1, 0}, {5, 1, 0}, {1, 5, 0}}, true},
		{"inside in the plane", [3]Point{{1, 1, 0}, {2, 1, 0}, {1, 2, 0}}, true},
		{"beside in the plane", [3]Point{{5, 5, 0}, {6, 5, 0}, {5, 6, 0}}, false},
		{"a corner resting on its face", [3]Point{{1, 1, 0}, {1, 1, 2}, {2, 1, 2}}, true},
		{"a corner a hair above its face", [3]Point{{1, 1, 1e-38}, {1, 1, 2}, {2, 1, 2}}, false},
		{"without area, through it", [3]Point{{1, 1, -1}, {1, 1, 0}, {1, 1, 1}}, false},
	}
	for _, tt := range tests {
		a, b := nine(base), nine(tt.other)
		if got := crosses(&a, &b); got != tt.want {
			t.Errorf("%s: %v, want %v", tt.name, got, tt.want)
		}
		if got := crosses(&b, &a); got != tt.want {
			t.Errorf("%s, asked the other way: %v, want %v", tt.name, got, tt.want)
		}
		if got := crossesByFractions(base, tt.other); got != tt.want {
			t.Errorf("%s: the reference says %v, want %v", tt.name, got, tt.want)
		}
	}
}

// randomPair draws two triangles in one of the ways that go wrong: whole
// numbers in a small box, shared corners, one plane, next to touching.
func randomPair(rng *rand.Rand) (s, t [3]Point) {
	way := rng.IntN(6)
	grid := 2 + rng.IntN(3)
	pt := func() (p Point) {
		for x := range p {
			switch way {
			case 0, 1, 2:
				p[x] = float32(rng.IntN(grid + 1))
			case 3:
				p[x] = float32(rng.NormFloat64())
			case 4: // far from zero, steps of float32 wide
				p[x] = 1e6 + float32(rng.IntN(5))*0.0625
			default: // sizes so unlike that differences round
				p[x] = float32(math.Ldexp(float64(rng.IntN(5)-2), rng.IntN(80)-40))
			}
		}
		return p
	}
	for i := range 3 {
		s[i], t[i] = pt(), pt()
	}
	for i := range rng.IntN(3) { // share up to two corners
		t[(i+rng.IntN(3))%3] = s[i]
	}
	if way == 1 { // in one plane
		for i := range 3 {
			s[i][2], t[i][2] = s[i][0], t[i][0]
		}
	}
	if way == 3 && rng.IntN(2) == 0 { // a corner near the other's plane
		for x := range 3 {
			t[0][x] = (s[0][x] + s[1][x] + 2*s[2][x]) / 4
		}
	}
	return s, t
}

// TestCrossesByFractions compares with clipping in fractions, which shares no
// line with the code it judges.
func TestCrossesByFractions(t *testing.T) {
	rng := rand.New(rand.NewPCG(21, 22))
	yes := 0
	for range 5000 {
		p, q := randomPair(rng)
		a, b := nine(p), nine(q)
		want := crossesByFractions(p, q)
		if got := crosses(&a, &b); got != want {
			t.Fatalf("%v and %v: %v, want %v", p, q, got, want)
		}
		if got := crosses(&b, &a); got != want {
			t.Fatalf("%v and %v the other way: %v, want %v", q, p, got, want)
		}
		yes += b2i(want)
	}
	if yes < 400 || yes > 4600 {
		t.Errorf("%d of 5000 cross: the cases no longer try both answers", yes)
	}
}

// TestSide3 compares with fractions where rounding would turn the sign.
func TestSide3(t *testing.T) {
	rng := rand.New(rand.NewPCG(23, 24))
	zeros := 0
	for range 5000 {
		p, q := randomPair(rng)
		a, b, c := ratOf(p[0]), ratOf(p[1]), ratOf(p[2])
		d := ratOf(q[0])
		want := a.sub(d).dot(b.sub(d).cross(c.sub(d))).Sign()
		if got := side3(p[0].Vec(), p[1].Vec(), p[2].Vec(), q[0].Vec()); got != want {
			t.Fatalf("%v over %v: %d, want %d", q[0], p, got, want)
		}
		if got := exactSide3(p[0].Vec(), p[1].Vec(), p[2].Vec(), q[0].Vec()); got != want {
			t.Fatalf("%v over %v exactly: %d, want %d", q[0], p, got, want)
		}
		if got := bigSide3(p[0].Vec(), p[1].Vec(), p[2].Vec(), q[0].Vec()); got != want {
			t.Fatalf("%v over %v by long numbers: %d, want %d", q[0], p, got, want)
		}
		zeros += b2i(want == 0)
	}
	if zeros < 300 {
		t.Errorf("only %d points in a plane", zeros)
	}
}

func crossingsOf(t testing.TB, m *Mesh) []Pair {
	t.Helper()
	pairs, all, err := treeOf(t, m).Crossings(t.Context(), 1<<30, 2)
	if err != nil || !all {
		t.Fatalf("all %v, %v", all, err)
	}
	return pairs
}

// TestCrossingsIsBruteForce: the tree finds each pair that trying all of them
// finds.
func TestCrossingsIsBruteForce(t *testing.T) {
	for name, m := range corpus() {
		if len(m.Tris) > 700 {
			m = &Mesh{Verts: m.Verts, Tris: m.Tris[:700]}
		}
		var want []Pair
		for i := range m.Tris {
			for k := i + 1; k < len(m.Tris); k++ {
				a, b := cornersOf(m, i), cornersOf(m, k)
				if crosses(&a, &b) {
					want = append(want, Pair{int32(i), int32(k)})
				}
			}
		}
		got := crossingsOf(t, m)
		if !slices.Equal(got, want) {
			t.Errorf("%s: %d pairs, want %d", name, len(got), len(want))
		}
	}
}

// TestCrossingsLaws: numbering, mirror, size by a power of two and workers
// change nothing.
func TestCrossingsLaws(t *testing.T) {
	m := joined(soup(rand.New(rand.NewPCG(25, 26)), 600, 9), joined(ball(Vec{}, 6, 4), ball(Vec{3, 0, 0}, 6, 4)))
	want := crossingsOf(t, m)
	if len(want) == 0 {
		t.Fatal("nothing crosses")
	}
	changed := map[string]*Mesh{
		"mirrored":   turnedOver(moved(m, func(v Vec) Vec { return Vec{-v.X, v.Y, v.Z} })),
		"1024 times": moved(m, func(v Vec) Vec { return v.Mul(1024) }),
		"2^-20":      moved(m, func(v Vec) Vec { return v.Mul(0x1p-20) }),
		"axes":       moved(m, func(v Vec) Vec { return Vec{v.Y, v.Z, v.X} }),
	}
	for name, c := range changed {
		if got := crossingsOf(t, c); !slices.Equal(got, want) {
			t.Errorf("%s: %d pairs, want %d", name, len(got), len(want))
		}
	}
	perm := rand.New(rand.NewPCG(27, 28)).Perm(len(m.Tris))
	mixed := &Mesh{Verts: m.Verts, Tris: make([]Tri, len(m.Tris))}
	for i, to := range perm {
		mixed.Tris[to] = Tri{m.Tris[i][1], m.Tris[i][2], m.Tris[i][0]}
	}
	back := map[Pair]bool{}
	for _, p := range want {
		a, b := int32(perm[p[0]]), int32(perm[p[1]])
		back[Pair{min(a, b), max(a, b)}] = true
	}
	got := crossingsOf(t, mixed)
	for _, p := range got {
		if !back[p] {
			t.Fatalf("renumbered: %v crosses only now", p)
		}
	}
	if len(got) != len(want) {
		t.Errorf("renumbered: %d pairs, want %d", len(got), len(want))
	}
}

// TestCrossingsBounded: of too many pairs the same ones are kept by any number
// of workers.
func TestCrossingsBounded(t *testing.T) {
	m := soup(rand.New(rand.NewPCG(29, 30)), 4000, 0)
	tree := treeOf(t, m)
	want, all, err := tree.Crossings(t.Context(), 1000, 1)
	if err != nil || all || len(want) != 1000 {
		t.Fatalf("%d pairs, all %v, %v; want 1000 and more to come", len(want), all, err)
	}
	for _, workers := range []int{2, 3, 8} {
		got, _, err := tree.Crossings(t.Context(), 1000, workers)
		if err != nil || !slices.Equal(got, want) {
			t.Errorf("%d workers keep other pairs than one (%v)", workers, err)
		}
	}
}

// TestCrossingBalls: two balls run into each other along a circle of known
// place; no crossing lies off it.
func TestCrossingBalls(t *testing.T) {
	m := joined(ball(Vec{}, 10, 6), ball(Vec{12, 0.1, 0.2}, 10, 6))
	pairs := crossingsOf(t, m)
	if len(pairs) < 200 {
		t.Fatalf("%d pairs", len(pairs))
	}
	for _, p := range pairs {
		a, b, c := m.Corners(int(p[0]))
		mid := a.Add(b).Add(c).Mul(1. / 3)
		if d := math.Abs(mid.Len()-10) + math.Abs(mid.Sub(Vec{12, 0.1, 0.2}).Len()-10); d > 0.5 {
			t.Fatalf("a crossing %v mm off the circle", d)
		}
	}
	for name, m := range map[string]*Mesh{"one ball": ball(Vec{}, 10, 6), "a doughnut": doughnut(20, 6, 200, 100), "balls apart": joined(ball(Vec{}, 10, 5), ball(Vec{20.5, 0, 0}, 10, 5))} {
		if got := crossingsOf(t, m); len(got) != 0 {
			t.Errorf("%s: %d pairs cross, want none", name, len(got))
		}
	}
}

// TestCrossingsHeaped: where the work would not end, it says so.
func TestCrossingsHeaped(t *testing.T) {
	m := ball(Vec{}, 10, 1)
	for range 9_000 {
		m.Tris = append(m.Tris, m.Tris[0])
	}
	if _, _, err := treeOf(t, m).Crossings(t.Context(), 10, 2); !errors.Is(err, ErrHeaped) {
		t.Errorf("got %v, want ErrHeaped", err)
	}
}

func TestCrossingsCancelled(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, _, err := treeOf(t, ball(Vec{}, 10, 5)).Crossings(ctx, 10, 2); !errors.Is(err, stop) {
		t.Errorf("went on in spite of the stop: %v", err)
	}
}

func BenchmarkCrossings(b *testing.B) {
	m := hand(1_000_000)
	tree := treeOf(b, m)
	b.ReportAllocs()
	var pairs []Pair
	for b.Loop() {
		pairs, _, _ = tree.Crossings(b.Context(), 1<<20, 2)
	}
	b.Logf("%d triangles, %d pairs cross", len(m.Tris), len(pairs))
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
