package geom

import (
	"math"
	"testing"
)

func cutter(t testing.TB, m *Mesh) *Cutter {
	t.Helper()
	c, err := NewCutter(m, acrossOf(t, m, 2))
	if err != nil {
		t.Fatal(err)
	}
	return c
}

func planeAt(at, normal Vec) Plane {
	n := normal.Unit()
	return Plane{Normal: n, Offset: n.Dot(at)}
}

// halves cuts m whole and checks what holds for every cut: both pieces closed,
// volumes adding up to rounding, cut vertices with the same bits, caps flat.
func halves(t *testing.T, m *Mesh, p Plane) (beyond, rest *Mesh, sections []Section) {
	t.Helper()
	c := cutter(t, m)
	sections, err := c.Sections(p, nil)
	if err != nil {
		t.Fatal(err)
	}
	beyond, rest, err = c.Split(t.Context(), p, sections, true)
	if err != nil {
		t.Fatal(err)
	}
	lawOfCuts(t, m, p, beyond, rest)
	return beyond, rest, sections
}

func lawOfCuts(t *testing.T, m *Mesh, p Plane, beyond, rest *Mesh) {
	t.Helper()
	size := m.Bounds().Size().Len()
	for name, piece := range map[string]*Mesh{"beyond": beyond, "rest": rest} {
		e := acrossOf(t, piece, 2)
		balance := map[[2]int32]int{}
		for c := range int32(3 * len(piece.Tris)) {
			a, b := piece.Ends(c)
			balance[[2]int32{a, b}]++
			balance[[2]int32{b, a}]--
		}
		for edge, n := range balance {
			if n != 0 {
				t.Fatalf("%s: edge %v is not closed: %d", name, edge, n)
			}
		}
		_ = e
	}
	whole, sum := m.Volume(), beyond.Volume()+rest.Volume()
	if !(math.Abs(whole-sum) <= 1e-7*size*size*size) {
		t.Errorf("volumes %v and %v add to %v, whole %v", beyond.Volume(), rest.Volume(), sum, whole)
	}
	old := map[Point]bool{}
	for _, v := range m.Verts {
		old[v] = true
	}
	shared := map[Point]bool{}
	for _, v := range beyond.Verts {
		shared[v] = true
	}
	for _, v := range rest.Verts {
		if !old[v] && !shared[v] {
			t.Fatalf("cut vertex %v is only in the rest", v)
		}
		if !old[v] && !(math.Abs(p.Dist(v.Vec())) <= 1e-6*size) {
			t.Fatalf("cut vertex %v is %v off the plane", v, p.Dist(v.Vec()))
		}
	}
}

// TestCutBall: spherical caps have volume pi h² (3r - h) / 3 and section pi
// (r² - d²), short of both by what a ball of triangles is short of a ball.
func TestCutBall(t *testing.T) {
	m := ball(Vec{}, 10, 6)
	short := m.Volume() / (4.0 / 3 * math.Pi * 1000)
	for _, d := range []float64{-9.9, -5, -0.3, 0.123456, 4, 7.77} {
		n := Vec{1, -2, 0.7}.Unit()
		beyond, rest, sections := halves(t, m, planeAt(n.Mul(d), n))
		h := 10 - d
		want := math.Pi * h * h * (30 - h) / 3 * short
		if !(math.Abs(beyond.Volume()-want) <= 1.5) {
			t.Errorf("d %v: volume %v, want %v", d, beyond.Volume(), want)
		}
		if len(sections) != 1 || !(math.Abs(sections[0].Area-math.Pi*(100-d*d)) <= 1.5) || !(math.Abs(sections[0].Girth-2*math.Pi*math.Sqrt(100-d*d)) <= 0.3) {
			t.Errorf("d %v: %d sections, area %v, girth %v", d, len(sections), sections[0].Area, sections[0].Girth)
		}
		for name, piece := range map[string]*Mesh{"beyond": beyond, "rest": rest} {
			if !piece.Closed(acrossOf(t, piece, 2)) {
				t.Errorf("d %v: %s is not closed", d, name)
			}
		}
	}
}

// TestCutThroughVerticesAndEdges: planes that run along the edges of an
// octahedron's grid and through its corners.
func TestCutThroughVerticesAndEdges(t *testing.T) {
	for _, times := range []int{0, 1, 2, 4} {
		m := ball(Vec{}, 8, times)
		for _, n := range []Vec{{Z: 1}, {X: 1}, {Y: -1}, {X: 1, Y: 1}, {X: 1, Y: 1, Z: 1}} {
			beyond, rest, _ := halves(t, m, planeAt(Vec{}, n))
			if v := m.Volume() / 2; !(math.Abs(beyond.Volume()-v) <= 1e-3*v) {
				t.Errorf("%d times, normal %v: half is %v, want %v (rest %v)", times, n, beyond.Volume(), v, rest.Volume())
			}
		}
	}
}

// TestCutDoughnut: a plane through the axis makes two sections, one across it
// two nested outlines, which is an annulus.
func TestCutDoughnut(t *testing.T) {
	m := doughnut(10, 3, 120, 60)
	beyond, _, sections := halves(t, m, planeAt(Vec{}, Vec{X: 1, Y: 0.3}))
	if len(sections) != 2 || !(math.Abs(sections[0].Area-math.Pi*9) <= 0.2) || !(math.Abs(beyond.Volume()-m.Volume()/2) <= 0.01*m.Volume()) {
		t.Errorf("%d sections, area %v", len(sections), sections[0].Area)
	}
	_, _, sections = halves(t, m, planeAt(Vec{Z: 0.4}, Vec{Z: 1}))
	w := math.Sqrt(9 - 0.16)
	if want := math.Pi * ((10+w)*(10+w) - (10-w)*(10-w)); len(sections) != 1 || len(sections[0].rings) != 2 || !(math.Abs(sections[0].Area-want) <= 0.01*want) {
		t.Errorf("%d sections of area %v, want one of %v", len(sections), sections[0].Area, want)
	}
	c := cutter(t, m)
	p := planeAt(Vec{}, Vec{X: 1, Y: 0.3})
	two, _ := c.Sections(p, nil)
	if _, _, err := c.Split(t.Context(), p, two[:1], false); err == nil {
		t.Error("one cut through a ring was said to part it")
	}
}

// TestCutHollowBall: an annular cap, and both walls in both pieces.
func TestCutHollowBall(t *testing.T) {
	m := joined(ball(Vec{}, 10, 5), turnedOver(ball(Vec{}, 8, 5)))
	beyond, rest, sections := halves(t, m, planeAt(Vec{X: 2}, Vec{X: 1, Y: 0.1}))
	if len(sections) != 1 || !(math.Abs(sections[0].Area-math.Pi*36) <= 1) {
		t.Errorf("%d sections, area %v, want %v", len(sections), sections[0].Area, math.Pi*36)
	}
	for _, piece := range []*Mesh{beyond, rest} {
		if _, n := piece.Shells(acrossOf(t, piece, 2)); n != 1 {
			t.Errorf("%d shells, want one: the annulus joins both walls", n)
		}
	}
}

// TestCutOneOfTwo cuts one of two balls by a plane through both.
func TestCutOneOfTwo(t *testing.T) {
	m := joined(ball(Vec{}, 5, 4), ball(Vec{X: 20}, 5, 4))
	p := planeAt(Vec{Z: 1}, Vec{Z: 1})
	c := cutter(t, m)
	sections, err := c.Sections(p, nil)
	if err != nil || len(sections) != 2 {
		t.Fatalf("%d sections, %v", len(sections), err)
	}
	one, err := Nearest(p, sections, Vec{X: 20, Z: 1})
	if err != nil {
		t.Fatal(err)
	}
	beyond, rest, err := c.Split(t.Context(), p, []Section{one}, false)
	if err != nil {
		t.Fatal(err)
	}
	lawOfCuts(t, m, p, beyond, rest)
	if b := beyond.Bounds(); b.Min.X < 10 || b.Min.Z < 0.999 {
		t.Errorf("beyond reaches %v", b)
	}
	if rest.Volume() < m.Volume()/2 {
		t.Error("the other ball was cut too")
	}
}

// hourglass is a closed surface about z, waisted at z = waist with radius 5 there.
func hourglass(waist float64, around, up int) *Mesh {
	m := &Mesh{Verts: []Point{{0, 0, -30}, {0, 0, 30}}}
	at := func(i, j int) int32 { return int32(2 + j*around + i%around) }
	for j := range up + 1 {
		z := -30 + 60*float64(j)/float64(up)
		r := 5 + (z-waist)*(z-waist)*0.01
		for i := range around {
			a := 2 * math.Pi * float64(i) / float64(around)
			m.Verts = append(m.Verts, Vec{r * math.Cos(a), r * math.Sin(a), z}.Point())
			if j == 0 {
				m.Tris = append(m.Tris, Tri{0, at(i+1, 0), at(i, 0)})
			}
			if j == up {
				m.Tris = append(m.Tris, Tri{1, at(i, up), at(i+1, up)})
			} else {
				m.Tris = append(m.Tris, Tri{at(i, j), at(i+1, j), at(i+1, j+1)}, Tri{at(i, j), at(i+1, j+1), at(i, j+1)})
			}
		}
	}
	return m
}

// TestNarrowest finds the waist, and the plane across it, from a point and a
// direction that are off.
func TestNarrowest(t *testing.T) {
	c := cutter(t, hourglass(4, 60, 90))
	p, s, err := c.Narrowest(t.Context(), Vec{X: 1, Z: 0}, Vec{X: 0.2, Y: 0.1, Z: 1}, 10, 0.4)
	if err != nil {
		t.Fatal(err)
	}
	want := 2 * 60 * 5 * math.Sin(math.Pi/60)
	if !(math.Abs(s.Girth-want) <= 0.02) || !(math.Abs(s.Mid.Z-4) <= 0.3) || p.Normal.Z < 0.999 {
		t.Errorf("girth %v at %v across %v; want %v at z 4 across z", s.Girth, s.Mid, p.Normal, want)
	}
	if _, _, err := c.Narrowest(t.Context(), Vec{Z: 200}, Vec{Z: 1}, 10, 0); err == nil {
		t.Error("a waist was found where nothing is")
	}
}

func TestCutRefuses(t *testing.T) {
	open := ball(Vec{}, 1, 2)
	open.Tris = open.Tris[1:]
	if _, err := NewCutter(open, acrossOf(t, open, 1)); err == nil {
		t.Error("an open surface was taken")
	}
	m := ball(Vec{}, 1, 2)
	if _, err := cutter(t, turnedOver(m)).Sections(planeAt(Vec{}, Vec{Z: 1}), nil); err == nil {
		t.Error("an inside-out surface was taken")
	}
	c := cutter(t, m)
	p := planeAt(Vec{Z: 5}, Vec{Z: 1})
	if s, err := c.Sections(p, nil); err != nil || len(s) != 0 {
		t.Errorf("%v, %v", s, err)
	}
	if _, _, err := c.Split(t.Context(), p, nil, true); err == nil {
		t.Error("a plane outside cut something")
	}
}

// BenchmarkCut cuts two million triangles, ready for cutting, in two.
func BenchmarkCut(b *testing.B) {
	m := doughnut(60, 20, 1448, 724)
	c := cutter(b, m)
	p := planeAt(Vec{}, Vec{0.1, 0.2, 1})
	for b.Loop() {
		s, err := c.Sections(p, nil)
		if err != nil {
			b.Fatal(err)
		}
		if _, _, err := c.Split(b.Context(), p, s, true); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
