package geom

import (
	"math"
	"math/rand/v2"
	"testing"
)

func TestAngleBetween(t *testing.T) {
	for k := range 1000 {
		want := math.Pi * float64(k) / 999
		u := Vec{1, 2, 3}
		w := u.Cross(Vec{0, 1, 0}).Unit().Mul(u.Len())
		v := u.Mul(math.Cos(want)).Add(w.Mul(math.Sin(want))).Mul(7)
		if got := angleBetween(u, v); !(math.Abs(got-want) <= 1e-7) && k < 999 || !(math.Abs(got-want) <= 1e-10) && k > 2 && k < 990 {
			t.Fatalf("%v, want %v", got, want)
		}
	}
	if got := angleBetween(Vec{1, 0, 0}, Vec{-2, 0, 0}); got != math.Pi {
		t.Errorf("straight back: %v", got)
	}
	if got := angleBetween(Vec{1, 0, 0}, Vec{}); got != 0 {
		t.Errorf("with nothing: %v", got)
	}
}

// TestSignedDistance: on closed surfaces with sharp edges and corners the sign
// is that of counting how the surface winds about the point, wherever the
// nearest place is.
func TestSignedDistance(t *testing.T) {
	star := ball(Vec{}, 10, 2)
	for i := range star.Verts {
		if i%3 == 0 {
			star.Verts[i] = star.Verts[i].Vec().Mul(0.4).Point()
		}
	}
	for name, m := range map[string]*Mesh{"ball": ball(Vec{1, 2, 3}, 8, 3), "doughnut": doughnut(12, 4, 14, 7), "star": star,
		"hollow": joined(ball(Vec{}, 10, 2), turnedOver(ball(Vec{1, 0, 0}, 6, 1)))} {
		tree := treeOf(t, m)
		s := NewSigner(tree, edgesFor(t, m))
		rng := rand.New(rand.NewPCG(31, 32))
		faces, edges, corners := 0, 0, 0
		for range 4000 {
			p := Vec{rng.Float64()*32 - 16, rng.Float64()*32 - 16, rng.Float64()*32 - 16}
			d, hit, ok := s.Distance(p, math.Inf(1))
			if !ok {
				t.Fatal("nothing near")
			}
			switch {
			case hit.Feature == OnFace:
				faces++
			case hit.Feature <= OnEdgeCA:
				edges++
			default:
				corners++
			}
			if !(math.Abs(d) <= 1e-9) && (d < 0) != (tree.Turns(p) != 0) {
				t.Fatalf("%s: %v mm at %v (feature %d), but the surface winds %d times about it", name, d, p, hit.Feature, tree.Turns(p))
			}
		}
		if min(faces, edges, corners) < 50 {
			t.Errorf("%s: %d faces, %d edges, %d corners were nearest; want 50 of each", name, faces, edges, corners)
		}
	}
}
