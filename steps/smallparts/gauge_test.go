package smallparts

import (
	"math"
	"math/rand/v2"
	"testing"

	"layette/steps/internal/geom"
)

func hull(t testing.TB, pts []geom.Vec) *geom.Hull {
	t.Helper()
	h, err := geom.ConvexHull(pts, 0)
	if err != nil {
		t.Fatal(err)
	}
	return h
}

func turned(r *rand.Rand, pts []geom.Vec) []geom.Vec {
	m := geom.Quaternion{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Rot()
	out := make([]geom.Vec, len(pts))
	for i, p := range pts {
		out[i] = m.Apply(p).Add(geom.Vec{X: 100, Y: -20, Z: 7})
	}
	return out
}

// ball is a fine ball whose corners lie on the sphere: facets sag 0.01 mm.
func ball(d float64) []geom.Vec {
	var pts []geom.Vec
	const n = 2000
	for i := range n { // a spiral of Fibonacci
		z := 1 - (2*float64(i)+1)/n
		a := math.Pi * (3 - math.Sqrt(5)) * float64(i)
		s := math.Sqrt(1 - z*z)
		pts = append(pts, geom.Vec{X: s * math.Cos(a), Y: s * math.Sin(a), Z: z}.Mul(d/2))
	}
	return pts
}

// rod is a cylinder of the given diameter and length, its rim 72 corners.
func rod(d, length float64) []geom.Vec {
	var pts []geom.Vec
	for i := range 72 {
		a := 2 * math.Pi * float64(i) / 72
		for _, z := range []float64{0, length} {
			pts = append(pts, geom.Vec{X: d / 2 * math.Cos(a), Y: d / 2 * math.Sin(a), Z: z})
		}
	}
	return pts
}

func box(x, y, z float64) []geom.Vec {
	var pts []geom.Vec
	for i := range 8 {
		pts = append(pts, geom.Vec{X: x * float64(i&1), Y: y * float64(i>>1&1), Z: z * float64(i>>2)})
	}
	return pts
}

// TestGauge: the gauge's geometry as derived from its published dimensions
// (EN 71-1 / ISO 8124-1: 31.7 mm, floor from 25.4 to 57.1 mm): the floor falls
// at exactly 45 degrees, it holds 32,556.1 mm³ (32,678.7 in inches), the longest
// needle is 65.309 mm, and a ball of its own width ends 2.985 mm below the rim.
func TestGauge(t *testing.T) {
	for _, tt := range []struct {
		what      string
		got, want float64
		limit     float64
	}{
		{"slope", Metric.slope(), 1, 1e-12},
		{"slope, inch", Inch.slope(), 1, 1e-12},
		{"volume", Metric.Volume(), 32556.1, 0.05},
		{"volume, inch", Inch.Volume(), 32678.7, 0.05},
		{"longest", Metric.longest(), 65.309, 0.0005},
		{"ball below the rim", Metric.Shallow + Metric.Diameter/2 - math.Sqrt2*Metric.Diameter/2 - Metric.Diameter/2 + 0, 2.985, 1e-3},
	} {
		if !(math.Abs(tt.got-tt.want) <= tt.limit) {
			t.Errorf("%s = %.4f, want %.4f", tt.what, tt.got, tt.want)
		}
	}
}

// TestFits: the boundary bodies derived from the gauge's dimensions; each
// turned at random, for a turn must not matter.
func TestFits(t *testing.T) {
	tests := []struct {
		name string
		pts  []geom.Vec
		want Answer
	}{
		{"ball 31.7", ball(31.7), Inside},
		{"ball 31.8", ball(31.8), Outside},
		{"ball 25", ball(25), Inside},
		{"needle 65.2", rod(0.01, 65.2), Inside},
		{"needle 65.4", rod(0.01, 65.4), Outside},
		{"flat-ended cylinder 31.7 x 25.4", rod(31.69, 25.4), Inside},
		{"flat-ended cylinder 31.7 x 25.5", rod(31.7, 25.5), Outside},
		{"coin 31 x 2", rod(31, 2), Inside},
		{"coin 33 x 2", rod(33, 2), Outside}, // no plane cuts the gauge wider than 31.7 mm both ways
		{"cube 20", box(20, 20, 20), Inside},
		{"cube 28", box(28, 28, 28), Outside}, // its square is 39.6 across
		{"brick 64 x 30 x 20", box(64, 30, 20), Outside},
		{"stick 50 x 5 x 5", box(50, 5, 5), Inside},
	}
	r := rand.New(rand.NewPCG(21, 22))
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			for range 2 {
				h := hull(t, turned(r, tt.pts))
				got, err := Metric.Fits(t.Context(), h)
				if err != nil || got.Answer != tt.want {
					t.Fatalf("%s, want %s; %v", got.Answer, tt.want, err)
				}
				if got.Answer == Inside {
					proven(t, h, got.Turn)
				}
			}
		})
	}
}

// proven checks the turn that the search offers by sampling shifts: an
// independent and much duller way.
func proven(t *testing.T, h *geom.Hull, turn geom.Mat) {
	t.Helper()
	var pts []geom.Vec
	top := math.Inf(-1)
	b := geom.EmptyBox()
	for _, p := range h.Points {
		v := turn.Apply(p)
		pts = append(pts, v)
		b = b.Include(v)
		top = max(top, v.Z)
	}
	g, c := Metric, b.Centre()
	least := math.Inf(1)
	for step := 1.6; step > 1e-4; step /= 2 {
		at := c
		for i := -8; i <= 8; i++ {
			for j := -8; j <= 8; j++ {
				x, y := c.X+step*float64(i), c.Y+step*float64(j)
				proud := 0.0
				for _, p := range pts {
					proud = max(proud, math.Hypot(p.X-x, p.Y-y)-g.Diameter/2)
					proud = max(proud, (-(p.Z-top)-g.Shallow-(p.X-x)-g.Diameter/2)/math.Sqrt2)
				}
				if proud < least {
					least, at = proud, geom.Vec{X: x, Y: y}
				}
			}
		}
		c = at
	}
	if least > 3*allowance {
		t.Errorf("with the turn offered the body stands %.4f mm proud", least)
	}
}

func BenchmarkFits(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 2))
	h := hull(b, turned(r, box(60, 28, 22)))
	for b.Loop() {
		Metric.Fits(b.Context(), h)
	}
}
