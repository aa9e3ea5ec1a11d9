package geom

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

// TestHullLaws: every point lies inside, the surface is closed (each edge once
// each way), Euler's count holds, and the hull of the corners is the same.
func TestHullLaws(t *testing.T) {
	r := rand.New(rand.NewPCG(11, 12))
	clouds := map[string][]Vec{"ball": nil, "box grid": nil, "thin": nil, "few": nil, "doubled": nil}
	for i := range 3000 {
		clouds["ball"] = append(clouds["ball"], Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}.Unit().Mul(30))
		clouds["box grid"] = append(clouds["box grid"], Vec{float64(i % 12), float64(i / 12 % 12), float64(i / 144)})
		clouds["thin"] = append(clouds["thin"], Vec{60 * r.Float64(), 40 * r.Float64(), 1e-3 * r.Float64()})
		if i < 5 {
			clouds["few"] = append(clouds["few"], Vec{r.Float64(), r.Float64(), r.Float64()})
		}
	}
	clouds["doubled"] = append(append([]Vec{}, clouds["ball"][:500]...), clouds["ball"][:500]...)
	for name, pts := range clouds {
		h, err := ConvexHull(pts, 0)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		edges := map[[2]int32]int{}
		for _, f := range h.Facets {
			a, b, c := h.Points[f[0]], h.Points[f[1]], h.Points[f[2]]
			n := b.Sub(a).Cross(c.Sub(a)).Unit()
			for _, p := range pts {
				if d := p.Sub(a).Dot(n); d > 1e-6 {
					t.Fatalf("%s: a point lies %g outside", name, d)
				}
			}
			for k := range 3 {
				edges[[2]int32{f[k], f[(k+1)%3]}]++
			}
		}
		for e, n := range edges {
			if n != 1 || edges[[2]int32{e[1], e[0]}] != 1 {
				t.Fatalf("%s: edge %v is used %d times", name, e, n)
			}
		}
		if v, f := len(h.Points), len(h.Facets); 2*v-4 != f {
			t.Errorf("%s: %d corners and %d facets", name, v, f)
		}
	}
}

// TestHullVolume: closed forms: a box of 11 by 11 by 20, an octahedron.
func TestHullVolume(t *testing.T) {
	box := []Vec{{0, 0, 0}, {11, 0, 0}, {0, 11, 0}, {11, 11, 0}, {0, 0, 20}, {11, 0, 20}, {0, 11, 20}, {11, 11, 20}, {5, 5, 5}, {5, 0, 3}}
	h, err := ConvexHull(box, 0)
	if err != nil || !(math.Abs(h.Volume()-2420) <= 1e-9) || len(h.Points) != 8 {
		t.Errorf("box: %v, volume %v, corners %d", err, h.Volume(), len(h.Points))
	}
	oct := []Vec{{3, 0, 0}, {-3, 0, 0}, {0, 3, 0}, {0, -3, 0}, {0, 0, 3}, {0, 0, -3}}
	if h, err = ConvexHull(oct, 0); err != nil || !(math.Abs(h.Volume()-36) <= 1e-9) {
		t.Errorf("octahedron: %v, volume %v", err, h.Volume())
	}
}

// TestHullWithin: a coarser hull leaves no point farther out than it says.
func TestHullWithin(t *testing.T) {
	r := rand.New(rand.NewPCG(13, 14))
	pts := make([]Vec, 20000)
	for i := range pts {
		pts[i] = Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}.Unit().Mul(30)
	}
	fine, _ := ConvexHull(pts, 0)
	coarse, err := ConvexHull(pts, 0.02)
	// A facet may sag 0.02 mm, so its corners may lie 1.1 mm from its middle: some
	// 3,600 corners would do if they lay ideally, twice or thrice that as they fall.
	if err != nil || len(coarse.Points) > 3*3600 {
		t.Fatalf("%v: %d corners of %d", err, len(coarse.Points), len(fine.Points))
	}
	worst := 0.0
	for _, f := range coarse.Facets {
		a, b, c := coarse.Points[f[0]], coarse.Points[f[1]], coarse.Points[f[2]]
		n := b.Sub(a).Cross(c.Sub(a)).Unit()
		for _, p := range pts {
			worst = max(worst, p.Sub(a).Dot(n))
		}
	}
	if worst > 0.02*1.5 {
		t.Errorf("a point lies %g outside a hull within 0.02", worst)
	}
}

func TestHullFlat(t *testing.T) {
	var plane, line []Vec
	for i := range 20 {
		plane = append(plane, Vec{float64(i % 5), float64(i / 5), 0})
		line = append(line, Vec{float64(i), float64(i), float64(i)})
	}
	for _, pts := range [][]Vec{nil, plane, line, line[:4]} {
		if _, err := ConvexHull(pts, 0); !errors.Is(err, ErrFlat) {
			t.Errorf("hull of %d points: %v", len(pts), err)
		}
	}
}

func BenchmarkConvexHull(b *testing.B) {
	r := rand.New(rand.NewPCG(1, 1))
	pts := make([]Vec, 1_000_000)
	for i := range pts {
		v := Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}.Unit()
		pts[i] = v.Mul(50 + 3*math.Sin(7*v.X) + 2*v.Z)
	}
	for b.Loop() {
		ConvexHull(pts, 0.005)
	}
	b.ReportMetric(float64(len(pts))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpts/s")
}
