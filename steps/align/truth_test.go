package align

import (
	"bytes"
	"fmt"
	"image/png"
	"math"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestCasting: shots lie on a casting, in its own frame, where they truly
// belong, and nothing moves the casting.
func TestCasting(t *testing.T) {
	part := steptest.Part(t, specimen.Options{}, "right-hand")
	whole, err := part.Mesh(t.Context(), specimen.Sampling{Edge: 0.5})
	if err != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(6, 1))
	casting, set := thrown(whole, r)
	shots := handShots(t)[:6]
	truth := map[string]geom.Pose{}
	var files []step.File
	for _, s := range shots {
		m, toss := thrown(s.mesh, r)
		truth[s.name] = toss.Inverse().Then(s.pose).Then(set)
		files = append(files, plyOf(t, s.name, m))
	}
	res := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files, "casting": {plyOf(t, "casting", casting)}}})
	f := posesOf(t, res)
	if row := rowOf(f, "casting"); !row.Fixed || !row.Placed || row.pose() != geom.NoMove || f.Frame != "casting" {
		t.Errorf("the casting is placed %v, fixed %v, at %v in the frame of %q", row.Placed, row.Fixed, row.pose(), f.Frame)
	}
	placed := 0
	for _, s := range shots {
		row := rowOf(f, s.name)
		if !row.Placed {
			t.Logf("%s is not placed: %s", s.name, row.Why)
			continue
		}
		placed++
		mid := set.Apply(s.pose.Apply(s.mesh.Bounds().Centre().Add(s.mesh.Origin)))
		deg, mm := apartPose(row.pose(), truth[s.name], truth[s.name].Inverse().Apply(mid))
		t.Logf("%s: %.3f degrees and %.3f mm from its place on the casting", s.name, deg, mm)
		if deg > 0.3 || mm > 0.1 {
			t.Errorf("%s lies %.3f degrees and %.3f mm from its place on the casting", s.name, deg, mm)
		}
	}
	if placed < 5 {
		t.Errorf("%d of %d placed", placed, len(shots))
	}
}

// TestMovedFinger: a finger that moved when two thirds were shot is found where
// it is, and nothing else is said to have moved.
func TestMovedFinger(t *testing.T) {
	part, later := steptest.Part(t, specimen.Options{}, "right-hand"), steptest.Part(t, specimen.Options{Curl: [5]float64{1: 20}}, "right-hand")
	for seed := range seedsWanted() {
		shots := sittingOf(t, part, specimen.Session{Shots: 15, Shared: 0.5, Later: later, Seed: seed, Scanner: specimen.Scanner{Pitch: 0.6, Noise: 0.08}})
		res, truth := tossed(t, shots, seed)
		fit, wrong, _, _ := judged(t, posesOf(t, res), truth, shots)
		right, extra := movedTruly(t, res, fit, part, later)
		t.Logf("seed %d: %d placed, %d spots where it moved, %d where it did not", seed, res.Measures["placed"], right, extra)
		if right == 0 || extra > 0 || len(wrong) > 0 {
			t.Errorf("seed %d: %d spots where the finger moved, %d where nothing did; placed falsely %v", seed, right, extra, wrong)
		}
	}
}

// movedTruly counts the places said to have moved: those that did, and others.
func movedTruly(t *testing.T, res *steptest.Result, fit geom.Pose, part, later *specimen.Part) (right, extra int) {
	t.Helper()
	for _, s := range res.Spots {
		q := fit.Apply(geom.Vec{X: s.At[0], Y: s.At[1], Z: s.At[2]})
		a, _ := part.Field.At(q)
		b, _ := later.Field.At(q)
		if math.Abs(a-b) > 0.2 {
			right++
			continue
		}
		extra++
		t.Logf("  %s: nothing moved there, it differs by %.2f mm and lies %.2f mm off the skin; radius %.1f", s.Says, a-b, a, s.Radius)
	}
	return right, extra
}

// TestThinPart: the far side of a thin part, such as an ear, has not moved; skin
// that faces the same way and lies elsewhere has.
func TestThinPart(t *testing.T) {
	c, err := geom.Thinned(t.Context(), patch(60, 40, func(x, y float64) float64 { return 0.01 * x * y }), 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	under := geom.Vec{X: 0.2, Y: 0.1, Z: -3}
	if d, ok := above(under, geom.Vec{Z: 1}, geom.View{Cloud: c}, 4); !ok || !(math.Abs(d+3) <= 0.1) {
		t.Errorf("skin 3 mm below: %.2f, %v", d, ok)
	}
	if d, ok := above(under, geom.Vec{Z: -1}, geom.View{Cloud: c}, 4); ok {
		t.Errorf("the far side of a plate of 3 mm is said to lie %.2f mm off", d)
	}
}

// TestFiledAgain: the same shot in another order of points, or as text with six
// digits, is named and not placed twice.
func TestFiledAgain(t *testing.T) {
	shots := handShots(t)
	m := shots[4].mesh
	turned := &geom.Mesh{Origin: m.Origin, Verts: slices.Clone(m.Verts), Tris: slices.Clone(m.Tris)}
	slices.Reverse(turned.Verts)
	for k, t := range turned.Tris {
		n := int32(len(m.Verts) - 1)
		turned.Tris[k] = geom.Tri{n - t[0], n - t[1], n - t[2]}
	}
	var obj, stl bytes.Buffer
	for _, p := range m.Verts {
		v := p.Vec().Add(m.Origin)
		fmt.Fprintf(&obj, "v %.4f %.4f %.4f\n", v.X, v.Y, v.Z)
	}
	for _, t := range m.Tris {
		fmt.Fprintf(&obj, "f %d %d %d\n", t[0]+1, t[1]+1, t[2]+1)
	}
	if err := meshio.WriteSTL(&stl, m, "again"); err != nil {
		t.Fatal(err)
	}
	alone := posesOf(t, run(t, filesOf(t, shots), nil))
	files := append(filesOf(t, shots), plyOf(t, "x-turned", turned), steptest.File("y-text", obj.Bytes(), "mm"), steptest.File("z-facets", stl.Bytes(), "mm"))
	res := run(t, files, nil)
	f := posesOf(t, res)
	for _, name := range []string{"x-turned", "y-text", "z-facets"} {
		if row := rowOf(f, name); row.Placed || !strings.Contains(row.Why, "same shot as "+shots[4].name) {
			t.Errorf("%s: placed %v, %q", name, row.Placed, row.Why)
		}
	}
	if res.Measures["copies"] != int64(3) {
		t.Errorf("%v copies, want 3", res.Measures["copies"])
	}
	same(t, alone, f, 0.01, 0.01)
}

// TestPointsAlone: shots without triangles, as some scanners file them, are
// placed as well as those with.
func TestPointsAlone(t *testing.T) {
	shots := handShots(t)
	for k := range shots {
		m := shots[k].mesh
		used := make([]bool, len(m.Verts))
		for _, t := range m.Tris {
			used[t[0]], used[t[1]], used[t[2]] = true, true, true
		}
		bare := &geom.Mesh{Origin: m.Origin}
		for v, p := range m.Verts {
			if used[v] {
				bare.Verts = append(bare.Verts, p)
			}
		}
		shots[k].mesh = bare
	}
	res, truth := tossed(t, shots, 3)
	_, wrong, deg, mm := judged(t, posesOf(t, res), truth, shots)
	t.Logf("%v of %d placed, worst %.3f degrees and %.3f mm", res.Measures["placed"], len(shots), deg, mm)
	if res.Measures["placed"].(int64) < 7 || len(wrong) > 0 || deg > 0.5 || mm > 0.2 {
		t.Errorf("%v of %d placed, worst %.3f degrees and %.3f mm\n%s", res.Measures["placed"], len(shots), deg, mm, strings.Join(res.Notes, "\n"))
	}
}

// TestPictures: two pictures show the placed scans in more than a few tints.
func TestPictures(t *testing.T) {
	defer func(small draw.Size) { pictureSize = small }(pictureSize)
	pictureSize = draw.Usual
	res := run(t, filesOf(t, handShots(t)), nil)
	for _, name := range []string{"pictures/placed.png", "pictures/placed-behind.png"} {
		img, err := png.Decode(bytes.NewReader(res.Files[name]))
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		hues := map[[2]int]int{}
		for y := range img.Bounds().Dy() {
			for x := range img.Bounds().Dx() {
				r, g, b, _ := img.At(x, y).RGBA()
				if most := max(r, g, b); most > 0 && most-min(r, g, b) > most/8 {
					hues[[2]int{int(8 * g / most), int(8 * b / most)}]++
				}
			}
		}
		shown := 0
		for _, n := range hues {
			if n > 2000 {
				shown++
			}
		}
		if shown < 3 {
			t.Errorf("%s shows %d colours, want the tints of several scans: %v", name, shown, hues)
		}
	}
}
