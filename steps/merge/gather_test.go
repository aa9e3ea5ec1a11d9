package merge

import (
	"math"
	"math/rand/v2"
	"testing"

	"layette/steps/internal/geom"
	"layette/steps/internal/shot"
)

// TestGather: points of a ball far closer together than the surface can show come
// down to about one for each cell; none is lost, each mean lies on the ball but
// for what the bend within a cell takes, and its normal is the ball's.
func TestGather(t *testing.T) {
	mesh, _ := globe(20, 0.2, dirs[0])
	s, err := shot.Look(t.Context(), mesh, 2, 1)
	if err != nil {
		t.Fatal(err)
	}
	m := &merger{voxel: 0.8, fade: 2}
	v := m.viewOf(s)
	// Cells of 0.6 mm hold nine points of a grid of 0.2 mm, those of a slanted skin too.
	if n := len(v.patches); n > len(mesh.Verts)/7 {
		t.Errorf("%d patches of %d points", n, len(mesh.Verts))
	}
	var many float64
	for _, p := range v.patches {
		many += float64(p.many)
		out := p.at.Vec().Add(v.origin).Sub(geom.Vec{Z: 300})
		if d := out.Len() - 20; d > 1e-4 || d < -0.05 {
			t.Fatalf("a patch lies %.4f mm off the ball", d)
		}
		if turn := p.up.Vec().Dot(out.Unit()); turn < 0.999 {
			t.Fatalf("a patch's normal is turned by %.3f rad", math.Acos(turn))
		}
	}
	if want := float64(len(mesh.Verts)); many > want || many < 0.99*want {
		t.Errorf("patches speak for %g points of %g", many, want)
	}
}

// TestGatherKeepsSkinsApart: what lies behind in the same cell stays by itself.
func TestGatherKeepsSkinsApart(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	var all []patch
	for range 4000 {
		z := 200.0
		if r.IntN(2) == 1 {
			z = 203
		}
		at := geom.Vec{X: 10 * r.Float64(), Y: 10 * r.Float64(), Z: z}
		all = append(all, patch{at: at.Point(), up: geom.Point{0, 0, -1}, weight: 1, many: 1, wide: 0.2})
	}
	v := &view{spacing: 0.16, noise: math.NaN()}
	v.picture, v.patches = newPicture(geom.Vec{}, all, 0.5)
	v.gather(0.5)
	if n := len(v.patches); n > 1500 {
		t.Fatalf("%d patches of 4000 points in some 800 cells", n)
	}
	for _, p := range v.patches {
		if z := p.at[2]; z != 200 && z != 203 {
			t.Fatalf("a patch lies at %g, between the two skins", z)
		}
	}
}
