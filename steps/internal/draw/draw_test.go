package draw

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/png"
	"math"
	"math/rand/v2"
	"strings"
	"testing"

	"layette/steps/internal/geom"
)

// scan draws s and returns what its samples see.
func scan(t *testing.T, s Scene, v View, size Size) *field {
	t.Helper()
	s.Workers = 2
	f, err := rasterise(t.Context(), s, aim(s, v, layOut(s, size).stage), size)
	if err != nil {
		t.Fatal(err)
	}
	return f
}

// covered returns how many samples see something.
func (f *field) covered() int {
	n := 0
	for _, t := range f.tri {
		if t >= 0 {
			n++
		}
	}
	return n
}

// A ball's outline has the area π r² in parallel sight, and π r² D²/(D²-r²)
// seen from a distance D and measured in the plane through its middle.
func TestBallOutline(t *testing.T) {
	const r = 30.0
	m := ball(geom.Vec{X: 3, Y: 4, Z: 5}, r, 6)
	for _, d := range around(7) {
		for _, perMM := range []float64{0, 7.5} {
			f := scan(t, Scene{Mesh: m}, View{Dir: d, PerMM: perMM}, Size{600, 500})
			got := float64(f.covered()) / (fine * fine * f.cam.scale * f.cam.scale)
			want := math.Pi * r * r
			if d := f.cam.eye; d > 0 {
				want *= d * d / (d*d - r*r)
			}
			if !(math.Abs(got/want-1) <= 1e-3) {
				t.Errorf("seen along %v at %g px/mm: outline of %.2f mm², want %.2f", d, perMM, got, want)
			}
			if perMM > 0 && f.cam.scale != perMM {
				t.Errorf("scale %g, want %g", f.cam.scale, perMM)
			}
		}
	}
}

// Every sample of a plate lies in its plane.
func TestPlateDepth(t *testing.T) {
	at := geom.Vec{X: 10, Y: -20, Z: 5}
	n := geom.Vec{X: 0.3, Y: -1, Z: 0.4}.Unit()
	for _, parallel := range []bool{true, false} {
		f := scan(t, Scene{Mesh: plate(at, n, 40)}, View{Dir: geom.Vec{X: -0.2, Y: -1}, Parallel: parallel}, Size{400, 300})
		if f.covered() < 10000 {
			t.Fatalf("only %d samples", f.covered())
		}
		for k, tri := range f.tri {
			if tri < 0 {
				continue
			}
			if off := f.world(k, float64(f.near[k])).Sub(at).Dot(n); !(math.Abs(off) <= 0.002) {
				t.Fatalf("parallel %v: sample %d lies %g mm off the plate", parallel, k, off)
			}
		}
	}
}

// Triangles that share an edge share no sample and leave none out.
func TestNeighboursNeitherOverlapNorGape(t *testing.T) {
	rnd := rand.New(rand.NewPCG(1, 2))
	v := View{Dir: geom.Vec{Y: -1}, PerMM: 4}
	for range 50 {
		m := &geom.Mesh{Verts: []geom.Point{{}, {20, 0, 0}, {0, 0, 20}, {-20, 0, 0}, {0, 0, -20}}}
		m.Verts[0] = geom.Point{rnd.Float32()*8 - 4, 0, rnd.Float32()*8 - 4}
		all := []geom.Tri{{0, 1, 2}, {0, 2, 3}, {0, 3, 4}, {0, 4, 1}}
		sum := 0
		for _, tri := range all {
			m.Tris = []geom.Tri{tri}
			s := Scene{Mesh: m, Bare: true, Workers: 1}
			cam := aim(s, v, image.Rect(0, 0, 200, 200))
			cam.centre, cam.cx, cam.cy = geom.Vec{}, 100, 100
			f, err := rasterise(t.Context(), s, cam, Size{200, 200})
			if err != nil {
				t.Fatal(err)
			}
			sum += f.covered()
		}
		m.Tris = all
		s := Scene{Mesh: m, Bare: true, Workers: 1}
		cam := aim(s, v, image.Rect(0, 0, 200, 200))
		cam.centre, cam.cx, cam.cy = geom.Vec{}, 100, 100
		f, _ := rasterise(t.Context(), s, cam, Size{200, 200})
		if f.covered() != sum {
			t.Fatalf("middle %v: four triangles cover %d samples one by one and %d together", m.Verts[0], sum, f.covered())
		}
	}
}

// A ball's skin faces away from its middle, and is lit accordingly.
func TestBallNormals(t *testing.T) {
	m := ball(geom.Vec{}, 30, 6)
	f := scan(t, Scene{Mesh: m, Bare: true}, View{Dir: geom.Vec{X: 1, Y: -1, Z: 0.5}}, Size{300, 300})
	ns, err := normals(t.Context(), m, f.cam, 2)
	if err != nil {
		t.Fatal(err)
	}
	sh := shader{f: f, s: f.s, ns: ns, last: -1}
	worst := 1.0
	for k, tri := range f.tri {
		if tri < 0 {
			continue
		}
		sh.triangle(tri)
		if sh.back {
			t.Fatalf("sample %d sees the inside of a ball", k)
		}
		a, b, c := sh.weights(k%f.w, k/f.w)
		want := f.cam.turn(f.world(k, float64(f.near[k])).Unit())
		worst = min(worst, sh.normal(tri, a, b, c).Dot(want))
	}
	if worst < math.Cos(0.01) {
		t.Errorf("a normal is %.2f degrees off", math.Acos(worst)*180/math.Pi)
	}
}

// A plate far larger than the picture has the colour of its direction all over.
func TestPlateTone(t *testing.T) {
	last := -1
	for _, n := range []geom.Vec{{X: 0.6, Y: -1, Z: -0.6}, {Y: -1, Z: -0.2}, {X: -0.3, Y: -1, Z: 0.3}, {X: -0.55, Y: -0.56, Z: 0.62}} {
		p, err := Draw(t.Context(), Scene{Mesh: plate(geom.Vec{}, n, 500), Bare: true}, View{Dir: geom.Vec{Y: -1}, Reach: 10}, Size{64, 64})
		if err != nil {
			t.Fatal(err)
		}
		lit := studio(clay, geom.Vec{X: n.X, Y: n.Z, Z: -n.Y}.Unit())
		c := p.Image.RGBAAt(32, 32)
		if want := stored(lit[0]); c.R != want {
			t.Errorf("facing %v: red %d, want %d", n, c.R, want)
		}
		if int(c.R) <= last {
			t.Errorf("facing %v: no brighter than what faces the light less", n)
		}
		last = int(c.R)
	}
}

// A furrow of 0.2 mm on a head-sized ball shows: it is clearly darker than the
// skin beside it.
func TestFineReliefShows(t *testing.T) {
	m := ball(geom.Vec{}, 60, 8)
	for i, p := range m.Verts {
		v := p.Vec()
		if d := v.Z / 0.35; math.Abs(d) < 4 {
			m.Verts[i] = v.Mul(1 - 0.2/60*math.Exp(-d*d)).Point()
		}
	}
	p, err := Draw(t.Context(), Scene{Mesh: m, Bare: true}, View{Dir: geom.Vec{Y: -1}, PerMM: 7}, Size{900, 900})
	if err != nil {
		t.Fatal(err)
	}
	darkest, beside := 255, int(p.Image.RGBAAt(450, 430).G)
	for y := 440; y < 460; y++ {
		darkest = min(darkest, int(p.Image.RGBAAt(450, y).G))
	}
	if beside-darkest < 20 {
		t.Errorf("the furrow is %d beside %d: a person would not see it", darkest, beside)
	}
}

// A section through a hollow ball shows a ring of cut solid of the right area.
func TestSectionArea(t *testing.T) {
	inner := ball(geom.Vec{}, 20, 5)
	for i, tri := range inner.Tris {
		inner.Tris[i] = geom.Tri{tri[0], tri[2], tri[1]}
	}
	m := together(ball(geom.Vec{}, 30, 5), inner)
	s := Scene{Mesh: m, Cut: &Plane{Normal: geom.Vec{Y: -1}}, Bare: true}
	f := scan(t, s, View{Dir: geom.Vec{Y: -1}, PerMM: 6}, Size{400, 400})
	sh := shader{f: f, s: s, last: -1}
	n := 0
	for _, tri := range f.tri {
		if tri >= 0 {
			if sh.triangle(tri); sh.back {
				n++
			}
		}
	}
	got, want := float64(n)/(fine*fine*36), math.Pi*(30*30-20*20)
	if !(math.Abs(got/want-1) <= 5e-3) {
		t.Errorf("section of %.1f mm², want %.1f", got, want)
	}
}

func spotsOn(_ *geom.Mesh, n int) []Spot {
	var out []Spot
	for i, d := range around(n) {
		out = append(out, Spot{Number: i + 1, At: d.Mul(30), Radius: 0.5, Text: fmt.Sprintf("%.2f mm", float64(i)/10), Fault: i%2 == 0})
	}
	return out
}

func TestLabelsDoNotOverlap(t *testing.T) {
	m := ball(geom.Vec{}, 30, 4)
	for _, n := range []int{1, 30, 200} {
		for _, size := range []Size{{800, 600}, {400, 700}, {320, 240}} {
			spots := spotsOn(m, n)
			for i := range spots { // crowd them: all near the top right
				spots[i].At = spots[i].At.Mul(0.2).Add(geom.Vec{X: 15, Y: 15, Z: 15}).Unit().Mul(30)
			}
			p, err := Draw(t.Context(), Scene{Title: "crowd", Mesh: m, Spots: spots}, Front, size)
			if err != nil {
				t.Fatal(err)
			}
			labelled := 0
			for i, a := range p.Labels {
				if a.Empty() {
					continue
				}
				labelled++
				if !a.In(p.Image.Rect) {
					t.Errorf("%d spots, %v: label %d at %v is outside", n, size, i, a)
				}
				if !p.Seen[i] {
					t.Errorf("%d spots, %v: label %d points at a hidden spot", n, size, i)
				}
				for j, b := range p.Labels[:i] {
					if a.Overlaps(b) {
						t.Errorf("%d spots, %v: labels %d and %d overlap", n, size, i, j)
					}
				}
			}
			if want := min(n, 5); labelled < want {
				t.Errorf("%d spots, %v: only %d labels", n, size, labelled)
			}
		}
	}
}

// Every spot on the skin shows in a chosen view, judged by the finished
// picture's samples, which is another method than the one that chose.
func TestChooseShowsEverySpot(t *testing.T) {
	body := ball(geom.Vec{}, 30, 5)
	two := together(ball(geom.Vec{X: -31}, 30, 5), ball(geom.Vec{X: 31}, 30, 5))
	var between []Spot
	for i, d := range around(20) {
		between = append(between, Spot{Number: i + 1, At: geom.Vec{X: 31}.Add(d.Mul(30)), Radius: 0.5})
	}
	for name, tt := range map[string]struct {
		m     *geom.Mesh
		spots []Spot
		most  int // pictures
	}{
		"ball":      {body, spotsOn(body, 40), 8},
		"two balls": {two, between, 8},
	} {
		choices, err := Choose(t.Context(), tt.m, tt.spots, 2)
		if err != nil {
			t.Fatal(err)
		}
		if len(choices) > tt.most {
			t.Errorf("%s: %d pictures, want at most %d", name, len(choices), tt.most)
		}
		shown := make([]bool, len(tt.spots))
		for _, c := range choices {
			p, err := Draw(t.Context(), Scene{Mesh: tt.m, Spots: tt.spots, Cut: c.Cut}, c.View, Size{800, 600})
			if err != nil {
				t.Fatal(err)
			}
			for _, i := range c.Spots {
				if shown[i] {
					t.Errorf("%s: spot %d is in two pictures", name, i)
				}
				shown[i] = p.Seen[i]
			}
		}
		for i, ok := range shown {
			if !ok {
				t.Errorf("%s: spot %d at %v shows in no picture", name, i, tt.spots[i].At)
			}
		}
	}
}

// A spot inside solid is shown by a section through it.
func TestChooseCutsToWhatNoEyeSees(t *testing.T) {
	choices, err := Choose(t.Context(), ball(geom.Vec{}, 30, 4), []Spot{{Number: 1, At: geom.Vec{Z: 3}, Radius: 1}}, 2)
	if err != nil || len(choices) != 1 || choices[0].Cut == nil {
		t.Fatalf("choices %+v, %v; want one section", choices, err)
	}
	if r := choices[0].View.Reach; r == 0 || r > 15 {
		t.Errorf("a small spot is shown with %g mm about it", r)
	}
	// what is as large as the part is shown with the part filling the picture
	choices, err = Choose(t.Context(), ball(geom.Vec{}, 30, 4), []Spot{{Number: 1, At: geom.Vec{Z: 3}, Radius: 25}}, 2)
	if err != nil || len(choices) != 1 || choices[0].Cut == nil || choices[0].View.Reach != 0 {
		t.Errorf("choices %+v, %v; want a section of the whole", choices, err)
	}
}

func TestSameBytesForAnyWorkers(t *testing.T) {
	m := ball(geom.Vec{}, 30, 5)
	vals := make([]float32, len(m.Verts))
	for i, p := range m.Verts {
		vals[i] = p[0]
	}
	s := Scene{Title: "same", Mesh: m, Spots: spotsOn(m, 12), Values: &Values{At: vals, Name: "x", Unit: "mm", Low: -30, High: 30, Scale: Apart}}
	var want []byte
	for _, workers := range []int{1, 3, 16} {
		s.Workers = workers
		got, err := PNG(t.Context(), s, candidates[0], Size{700, 500})
		if err != nil {
			t.Fatal(err)
		}
		if want == nil {
			want = got
		}
		if !bytes.Equal(got, want) {
			t.Errorf("%d workers: other bytes than one", workers)
		}
	}
}

// A true-scale picture says its pixels per metre where the PNG specification
// wants them, and any reader still reads it.
func TestTrueScalePNG(t *testing.T) {
	data, err := PNG(t.Context(), Scene{Mesh: ball(geom.Vec{}, 10, 3)}, View{Dir: geom.Vec{Y: -1}, PerMM: 11.811}, Size{400, 400})
	if err != nil {
		t.Fatal(err)
	}
	if _, err := png.Decode(bytes.NewReader(data)); err != nil {
		t.Fatal(err)
	}
	i := bytes.Index(data, []byte("pHYs"))
	if i < 0 || i > bytes.Index(data, []byte("IDAT")) {
		t.Fatal("no pHYs chunk before the pixels")
	}
	if x := binary.BigEndian.Uint32(data[i+4:]); x != 11811 || data[i+12] != 1 {
		t.Errorf("%d pixels per unit %d, want 11811 per metre", x, data[i+12])
	}
}

// A surface stored about an origin far away is drawn as if it lay there: its
// spots, cuts and views are in its own frame.
func TestFarSurface(t *testing.T) {
	far := geom.Vec{X: 1e6, Y: -2e6, Z: 5e5}
	here, there := ball(geom.Vec{}, 30, 4), ball(geom.Vec{}, 30, 4)
	there.Origin = far
	spots := spotsOn(here, 6)
	s := Scene{Mesh: here, Spots: spots, Cut: &Plane{geom.Vec{X: 5}, geom.Vec{X: 1, Y: -1}}}
	v := View{Dir: geom.Vec{X: 1, Y: -1}, Around: geom.Vec{Z: 5}, Reach: 20}
	want, err := PNG(t.Context(), s, v, Size{300, 200})
	if err != nil {
		t.Fatal(err)
	}
	for i := range spots {
		spots[i].At = spots[i].At.Add(far)
	}
	s.Mesh, s.Spots, s.Cut, v.Around = there, spots, &Plane{s.Cut.At.Add(far), s.Cut.Normal}, v.Around.Add(far)
	got, err := PNG(t.Context(), s, v, Size{300, 200})
	if err != nil || !bytes.Equal(got, want) {
		t.Errorf("another picture, %v", err)
	}
	before := Scene{Mesh: here}
	p, err := Pair(t.Context(), before, Scene{Mesh: there}, Front, Size{400, 200})
	if err != nil || p.Image.Rect != image.Rect(0, 0, 400, 200) {
		t.Errorf("pair: %v", err)
	}
}

func TestPairOfEqualsIsTwice(t *testing.T) {
	s := Scene{Mesh: ball(geom.Vec{}, 30, 4), Spots: spotsOn(nil, 5)}
	p, err := Pair(t.Context(), s, s, candidates[0], Size{600, 300})
	if err != nil {
		t.Fatal(err)
	}
	for y := range 300 {
		for x := range 300 {
			if p.Image.RGBAAt(x, y) != p.Image.RGBAAt(x+300, y) {
				t.Fatalf("halves differ at %d, %d", x, y)
			}
		}
	}
	if len(p.Seen) != 10 || len(p.Labels) != 10 {
		t.Errorf("%d seen, %d labels", len(p.Seen), len(p.Labels))
	}
}

func TestBadScenes(t *testing.T) {
	good := ball(geom.Vec{}, 10, 1)
	nan := ball(geom.Vec{}, 10, 2)
	nan.Verts[3][0] = float32(math.NaN())
	huge := ball(geom.Vec{}, 10, 2)
	huge.Verts[3][0] = math.MaxFloat32
	flat := &geom.Mesh{Verts: make([]geom.Point, 3), Tris: []geom.Tri{{0, 1, 2}}}
	tests := map[string]struct {
		s    Scene
		v    View
		size Size
		want string // part of the error; empty for none
	}{
		"nothing":        {Scene{}, Front, Usual, "no triangles"},
		"empty":          {Scene{Mesh: &geom.Mesh{}}, Front, Usual, "no triangles"},
		"too small":      {Scene{Mesh: good}, Front, Size{3, 900}, "each side must be"},
		"too large":      {Scene{Mesh: good}, Front, Size{900, 1 << 20}, "each side must be"},
		"values short":   {Scene{Mesh: good, Values: &Values{At: make([]float32, 2)}}, Front, Usual, "2 for 18 vertices"},
		"wild index":     {Scene{Mesh: &geom.Mesh{Verts: make([]geom.Point, 2), Tris: []geom.Tri{{0, 1, 2}}}}, Front, Usual, "names vertex 2 of 2"},
		"not a number":   {Scene{Mesh: nan}, Front, Usual, ""},
		"far away":       {Scene{Mesh: huge}, Front, Usual, ""},
		"a single point": {Scene{Mesh: flat}, Front, Usual, ""},
		"no direction":   {Scene{Mesh: good}, View{}, Usual, ""},
		"wild spot":      {Scene{Mesh: good, Spots: []Spot{{At: geom.Vec{X: math.NaN()}}, {At: geom.Vec{X: 1e300}, Radius: math.Inf(1)}}}, Front, Size{64, 64}, ""},
	}
	for name, tt := range tests {
		_, err := PNG(t.Context(), tt.s, tt.v, tt.size)
		if (err == nil) != (tt.want == "") || err != nil && !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: %v, want %q", name, err, tt.want)
		}
	}
}

func TestCancel(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	m := ball(geom.Vec{}, 30, 4)
	if _, err := PNG(ctx, Scene{Mesh: m}, Front, Usual); !errors.Is(err, stop) {
		t.Errorf("PNG: %v, want %v", err, stop)
	}
	if _, err := Choose(ctx, m, spotsOn(m, 3), 2); !errors.Is(err, stop) {
		t.Errorf("Choose: %v, want %v", err, stop)
	}
}

func BenchmarkPNG(b *testing.B) {
	m := ball(geom.Vec{}, 60, 9) // 2,097,152 triangles: a scanned head
	s := Scene{Title: "two million", Mesh: m, Spots: spotsOn(m, 20)}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := PNG(b.Context(), s, candidates[0], Usual); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func BenchmarkChoose(b *testing.B) {
	m := ball(geom.Vec{}, 30, 9)
	spots := spotsOn(m, 40)
	for b.Loop() {
		if _, err := Choose(b.Context(), m, spots, 2); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

// The same pixels on every processor: the digest was taken with and without
// fused products (GOAMD64=v1 and v3). It changes only when the look of
// pictures is changed on purpose.
func TestPinnedPixels(t *testing.T) {
	m := ball(geom.Vec{}, 30, 5)
	vals := make([]float32, len(m.Verts))
	for i, p := range m.Verts {
		vals[i] = p[2]
	}
	var spots []Spot
	for i, p := range m.Verts[:9] {
		spots = append(spots, Spot{Number: i + 1, At: p.Vec(), Radius: 1, Text: "0.8 mm", Fault: i%2 == 0})
	}
	s := Scene{Title: "pinned", Mesh: m, Spots: spots, Values: &Values{At: vals, Name: "height", Unit: "mm", Low: -30, High: 30}, Cut: &Plane{Normal: geom.Vec{X: 1, Y: 1}}}
	p, err := Draw(t.Context(), s, candidates[0], Size{400, 300})
	if err != nil {
		t.Fatal(err)
	}
	const want = "e4e887a12adef2445ff0935b71a8e13c24fd4ed3f0f4d6ccb98e4976b6606fa4"
	if got := fmt.Sprintf("%x", sha256.Sum256(p.Image.Pix)); got != want {
		t.Errorf("pixels %s, want %s", got, want)
	}
}
