package specimen

import (
	"math"
	"math/rand/v2"
	"sync"
	"testing"

	"layette/steps/internal/geom"
)

// corpus is every kind of field: all parts of three kits, all faults of form,
// all plain bodies.
func corpus(t *testing.T) map[string]Field {
	t.Helper()
	every.Do(func() { every.fields = newCorpus(t) })
	return every.fields
}

var every struct {
	sync.Once
	fields map[string]Field
}

func newCorpus(t *testing.T) map[string]Field {
	out := map[string]Field{}
	for _, name := range Parts {
		out[name] = part(t, name, Options{}).Field
	}
	out["awake"] = part(t, "head", Options{Awake: true}).Field
	out["preterm"] = part(t, "left-arm", Options{Weeks: 28, ThreeQuarter: true}).Field
	for _, w := range []What{FingerGap, Joined, Curled, ThinPlate, Crevice, Slot, Oval, Large} {
		out[string(w)] = part(t, "right-arm", Options{Faults: []Fault{{What: w, Part: "right-arm", Seed: 3}}}).Field
	}
	for _, b := range bodies() {
		out[b.Name] = b.Field
	}
	return out
}

func bodies() []Body {
	return []Body{
		Sphere(10), Dome(10), Torus(12, 4), Capsules(4, 20, 1.5), Ellipsoid(15, 9, 6), HollowBall(12, 8), Plate(12, 8, 2),
		Grooved(12, 10, 8, 40, 3), Elbow(6, 25, 70), Bottle(14, 7, 12), Wedge(44, 15), Rippled(20, 0.1, 4),
	}
}

// around returns points within 5 mm of the skin, half of them within 0.1.
func around(f Field, r *rand.Rand, n int) []geom.Vec {
	b := grow(f.Bounds(), 1)
	s := b.Size()
	out := make([]geom.Vec, 0, n)
	for len(out) < n {
		p := b.Min.Add(geom.Vec{X: r.Float64() * s.X, Y: r.Float64() * s.Y, Z: r.Float64() * s.Z})
		q := toward(f, p)
		reach := 5.0
		if len(out)%2 == 0 {
			reach = 0.1
		}
		if d, _ := f.At(q); math.Abs(d) < 1e-6 {
			out = append(out, q.Add(geom.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Mul(reach/3)))
		}
	}
	return out
}

// TestGradientIsExact compares gradients with differences of the value, except
// where a sharp edge lies between the two points.
func TestGradientIsExact(t *testing.T) {
	const h = 1e-5
	for name, f := range corpus(t) {
		r := rand.New(rand.NewPCG(1, 1))
		bad := 0
		pts := around(f, r, 200)
		for _, p := range pts {
			_, g := f.At(p)
			var w [3]float64
			for i, e := range []geom.Vec{{X: h}, {Y: h}, {Z: h}} {
				a, _ := f.At(p.Add(e))
				b, _ := f.At(p.Sub(e))
				w[i] = (a - b) / (2 * h)
			}
			if g.Sub(geom.Vec{X: w[0], Y: w[1], Z: w[2]}).Len() > 1e-4*max(1, g.Len()) {
				bad++
			}
		}
		if bad > len(pts)/100 {
			t.Errorf("%s: %d of %d gradients differ from differences", name, bad, len(pts))
		}
	}
}

// TestRangeHolds: no point of a ball has a value outside the bounds for it.
func TestRangeHolds(t *testing.T) {
	for name, f := range corpus(t) {
		r := rand.New(rand.NewPCG(2, 1))
		for _, c := range around(f, r, 40) {
			radius := math.Pow(10, 2*r.Float64()-1)
			lo, hi := f.Range(c, radius)
			for range 30 {
				p := inBall(r, c, radius)
				if d, _ := f.At(p); d < lo-slack || d > hi+slack {
					t.Fatalf("%s: value %g at %v outside [%g, %g] of the ball of %g about %v", name, d, p, lo, hi, radius, c)
				}
			}
		}
	}
}

// TestWithinKeepsTheBits: the pruned field is the field.
func TestWithinKeepsTheBits(t *testing.T) {
	for name, f := range corpus(t) {
		r := rand.New(rand.NewPCG(3, 1))
		for _, c := range around(f, r, 40) {
			radius := math.Pow(10, 2*r.Float64()-1)
			g := f.Within(c, radius).Within(c, radius*0.9)
			for range 30 {
				p := inBall(r, c, radius*0.9)
				a, ga := f.At(p)
				b, gb := g.At(p)
				if a != b || ga != gb {
					t.Fatalf("%s: at %v %g %v, pruned %g %v", name, p, a, ga, b, gb)
				}
			}
		}
	}
}

func inBall(r *rand.Rand, c geom.Vec, radius float64) geom.Vec {
	d := geom.Vec{X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Unit()
	return c.Add(d.Mul(radius * math.Cbrt(r.Float64())))
}

// TestCosSin compares with the library's.
func TestCosSin(t *testing.T) {
	for deg := -400.0; deg < 400; deg += 0.37 {
		c, s := cosSin(deg)
		if !(math.Abs(c-math.Cos(deg*math.Pi/180)) <= 2e-14) || !(math.Abs(s-math.Sin(deg*math.Pi/180)) <= 2e-14) {
			t.Fatalf("%g degrees: %v %v", deg, c, s)
		}
	}
}

// TestBodiesConverge meshes the plain bodies at two finenesses: closed, and
// volume and area go to the closed forms, fourfold nearer at half the edge
// where the body has no sharp edges.
func TestBodiesConverge(t *testing.T) {
	sharp := map[string]bool{"dome": true, "grooved plate": true, "elbow": true, "bottle": true, "wedge": true}
	thin := map[string]bool{"capsules": true, "plate": true} // about a cell at 0.8 mm
	for _, b := range bodies() {
		var volume, area [2]float64
		for i, e := range []float64{0.8, 0.4} {
			m, err := b.Mesh(t.Context(), Sampling{Edge: e})
			if err != nil {
				t.Fatal(err)
			}
			if open, double := edges(m); open != 0 || double != 0 {
				t.Errorf("%s: %d open edges, %d double", b.Name, open, double)
			}
			volume[i], area[i] = math.Abs(m.Volume()/b.Volume-1), math.Abs(m.Area()/b.Area-1)
		}
		if math.IsNaN(b.Volume) && math.IsNaN(b.Area) {
			continue
		}
		t.Logf("%-14s volume off by %.1e, %.1e; area %.1e, %.1e", b.Name, volume[0], volume[1], area[0], area[1])
		most := 2.5e-3
		if sharp[b.Name] { // edges are cut off by up to a cell: first order
			most = 2e-2
		}
		if volume[1] > most || area[1] > most {
			t.Errorf("%s: volume off by %.1e, area by %.1e at 0.4 mm", b.Name, volume[1], area[1])
		}
		if gain := volume[0] / volume[1]; !sharp[b.Name] && !thin[b.Name] && gain < 3.2 {
			t.Errorf("%s: volume only %.1f times nearer at half the edge", b.Name, gain)
		}
	}
}
