package align

import (
	"math"
	"slices"
	"strings"
	"sync"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// patch is a grid of n by n points over a window of side mm, lifted to z = f(x,
// y) and faced towards +z.
func patch(n int, side float64, f func(x, y float64) float64) *geom.Mesh {
	m := &geom.Mesh{}
	for i := range n {
		for j := range n {
			x, y := side*(float64(i)/float64(n-1)-0.5), side*(float64(j)/float64(n-1)-0.5)
			m.Verts = append(m.Verts, geom.Vec{X: x, Y: y, Z: f(x, y)}.Point())
		}
	}
	at := func(i, j int) int32 { return int32(i*n + j) }
	for i := range n - 1 {
		for j := range n - 1 {
			m.Tris = append(m.Tris, geom.Tri{at(i, j), at(i+1, j), at(i+1, j+1)}, geom.Tri{at(i, j), at(i+1, j+1), at(i, j+1)})
		}
	}
	return m
}

// dome is a patch of a ball of radius r.
func dome(n int, side, r float64) *geom.Mesh {
	return patch(n, side, func(x, y float64) float64 { return math.Sqrt(r*r-x*x-y*y) - r })
}

// tube is a patch of a smooth forearm.
func tube(n int, side, r float64) *geom.Mesh {
	return patch(n, side, func(x, _ float64) float64 { return math.Sqrt(r*r-x*x) - r })
}

// handShots are eight shots of a hand that hang together.
func handShots(t testing.TB) []shot {
	hand.Do(func() {
		hand.shots = sitting(t, "right-hand", specimen.Options{}, specimen.Session{
			Scanner: specimen.Scanner{Pitch: 0.5, Noise: 0.08}, Shots: 9, Seed: 3,
		})
	})
	return slices.Clone(hand.shots)
}

// hand is scanned once for all tests.
var hand struct {
	sync.Once
	shots []shot
}

// TestBadShots: every sort of bad file in one session gets its own clear word,
// and the good ones lie as they would without them.
func TestBadShots(t *testing.T) {
	shots := handShots(t)
	files := filesOf(t, shots)
	alone := posesOf(t, run(t, files, nil))
	other := sitting(t, "right-foot", specimen.Options{Weeks: 34}, specimen.Session{Scanner: specimen.Scanner{Pitch: 0.5, Noise: 0.08}, Shots: 1, Seed: 8})
	inches := &geom.Mesh{Tris: shots[0].mesh.Tris}
	for _, p := range shots[0].mesh.Verts {
		inches.Verts = append(inches.Verts, p.Vec().Mul(25.4).Point())
	}
	bad := []struct {
		name string
		file step.File
		want string // in its note
	}{
		{"empty", steptest.File("empty", nil, "mm"), "empty"},
		{"text", steptest.File("text", []byte("dear sculptor"), "mm"), "cannot be read"},
		{"one-point", plyOf(t, "one-point", &geom.Mesh{Verts: []geom.Point{{1, 2, 3}}}), "one line or in one place"},
		{"all-equal", plyOf(t, "all-equal", &geom.Mesh{Verts: slices.Repeat([]geom.Point{{1, 2, 3}}, 500)}), "one line or in one place"},
		{"plane", plyOf(t, "plane", patch(80, 50, func(_, _ float64) float64 { return 0 })), ""},
		{"ball", plyOf(t, "ball", dome(80, 50, 40)), ""},
		{"tube", plyOf(t, "tube", tube(80, 50, 30)), ""},
		{"inches", plyOf(t, "inches", inches), "unit right?"},
		{"mirrored", plyOf(t, "mirrored", shots[1].mesh.MirroredX()), ""},
		{"other-child", plyOf(t, "other-child", other[0].mesh), ""},
	}
	all := slices.Clone(files)
	for _, b := range bad {
		all = append(all, b.file)
	}
	res := run(t, all, nil)
	got := posesOf(t, res)
	t.Log("spacing", alone.Spacing, got.Spacing)
	for _, b := range bad {
		row := rowOf(got, b.name)
		t.Logf("%s: %s", b.name, row.Why)
		if row.Placed || row.Why == "" || !strings.Contains(row.Why, b.want) {
			t.Errorf("%s: placed %v, word %q; want one with %q", b.name, row.Placed, row.Why, b.want)
		}
	}
	same(t, alone, got, 0.05, 0.05)
}

// TestMirrored: a hand is much like its mirror image; a mirrored file in a
// small session must neither be placed nor move or keep out a good shot.
func TestMirrored(t *testing.T) {
	shots := handShots(t)
	files := filesOf(t, shots)
	alone := posesOf(t, run(t, files, nil))
	for _, k := range []int{1, 4, 7} {
		got := posesOf(t, run(t, append(slices.Clone(files), plyOf(t, "mirrored", shots[k].mesh.MirroredX())), nil))
		row := rowOf(got, "mirrored")
		t.Logf("%s mirrored: %s", shots[k].name, row.Why)
		if row.Placed {
			t.Errorf("%s mirrored is placed", shots[k].name)
		}
		same(t, alone, got, 0.05, 0.05)
	}
}

func rowOf(f posesFile, name string) poseRow {
	for _, s := range f.Scans {
		if s.Name == name {
			return s
		}
	}
	return poseRow{}
}

// same demands that what is placed in a is placed in b, and nearly alike.
func same(t *testing.T, a, b posesFile, deg, mm float64) {
	t.Helper()
	placed := 0
	for _, s := range a.Scans {
		o := rowOf(b, s.Name)
		if s.Placed != o.Placed {
			t.Errorf("%s: placed %v, then %v (%s%s)", s.Name, s.Placed, o.Placed, s.Why, o.Why)
			continue
		}
		if !s.Placed {
			continue
		}
		placed++
		if d, m := apartPose(s.pose(), o.pose(), geom.Vec{Z: 220}); d > deg || m > mm {
			t.Errorf("%s lies %.3f degrees and %.3f mm elsewhere", s.Name, d, m)
		}
	}
	if placed < 4 {
		t.Errorf("only %d placed: the test says little", placed)
	}
}

// TestHarmedFiles: NaN, infinite coordinates and points a million kilometres
// away do no harm to the scan they are in.
func TestHarmedFiles(t *testing.T) {
	shots := handShots(t)
	var clean, harmed []step.File
	for k, s := range shots {
		clean = append(clean, plyOf(t, s.name, s.mesh))
		m := &geom.Mesh{Verts: slices.Clone(s.mesh.Verts), Tris: s.mesh.Tris}
		for v := 7; v < len(m.Verts); v += 997 {
			switch k % 3 {
			case 0:
				m.Verts[v][v%3] = float32(math.NaN())
			case 1:
				m.Verts[v] = geom.Point{1e9, -1e9, 1e9}
			}
		}
		harmed = append(harmed, plyOf(t, s.name, m))
	}
	same(t, posesOf(t, run(t, clean, nil)), posesOf(t, run(t, harmed, nil)), 0.4, 0.3)
}

// TestUndetermined: shots of bodies that can turn or slide on themselves are
// never placed, however well they lie on each other.
func TestUndetermined(t *testing.T) {
	shapes := map[string]*geom.Mesh{
		"plane": patch(90, 60, func(_, _ float64) float64 { return 0 }),
		"ball":  dome(90, 60, 45),
		"tube":  tube(90, 60, 35),
		"saddle of revolution": patch(90, 60, func(x, y float64) float64 {
			r := 30 + 0.004*y*y
			return math.Sqrt(max(0, r*r-0.25*x*x)) - 30
		}),
	}
	for name, m := range shapes {
		r := newNoise(7)
		var files []step.File
		for k := range 3 {
			n := &geom.Mesh{Tris: m.Tris}
			for _, p := range m.Verts {
				n.Verts = append(n.Verts, geom.Vec{X: float64(p[0]), Y: float64(p[1]), Z: float64(p[2]) + 0.05*r.NormFloat64()}.Point())
			}
			tossed, _ := thrown(n, r)
			files = append(files, plyOf(t, string(rune('a'+k)), tossed))
		}
		res := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"scans": files}})
		if res.Measures["placed"] != int64(0) {
			t.Errorf("%s: %v placed; it turns or slides on itself", name, res.Measures["placed"])
		}
		for _, row := range posesOf(t, res).Scans {
			if !strings.Contains(row.Why, "undetermined") {
				t.Errorf("%s: %q does not say undetermined", name, row.Why)
			}
		}
	}
}
