package coverage

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/csv"
	"errors"
	"fmt"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
)

const radius = 20.0

// ball is a ball of 20 mm about zero with a pit of 3 mm radius and 16 mm depth
// down from its top, in triangles with edges of about 0.6 mm.
func ball(t testing.TB) *geom.Mesh {
	t.Helper()
	l := geom.NewLattice(0.7)
	for k := int32(-31); k <= 31; k++ {
		for j := int32(-31); j <= 31; j++ {
			for i := int32(-31); i <= 31; i++ {
				p := l.Place(i, j, k)
				pit := max(math.Hypot(p.X, p.Y)-3, 4-p.Z)
				l.Set(i, j, k, float32(max(p.Len()-radius, -pit)))
			}
		}
	}
	m, err := l.March(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	m.Seen = make([]uint16, len(m.Verts))
	for v, p := range m.Verts {
		m.Seen[v] = 1
		if p[0] > 0 {
			m.Seen[v] = 2
		}
		if p[0] > 10 {
			m.Seen[v] = 5
		}
	}
	return m
}

// without returns m without the triangles whose middle lies within the given
// angle of a direction, or of the pit's ground.
func without(m *geom.Mesh, goes func(p geom.Vec) bool) *geom.Mesh {
	out := &geom.Mesh{Verts: m.Verts, Seen: m.Seen}
	for t, tri := range m.Tris {
		a, b, c := m.Corners(t)
		if !goes(a.Add(b).Add(c).Mul(1.0 / 3)) {
			out.Tris = append(out.Tris, tri)
		}
	}
	return out
}

func about(dir geom.Vec, deg float64) func(geom.Vec) bool {
	cos := math.Cos(deg * math.Pi / 180)
	return func(p geom.Vec) bool { return p.Len() > 0.9*radius && p.Unit().Dot(dir.Unit()) > cos }
}

func ground(p geom.Vec) bool { return p.Z < 5 && p.Z > 3 && math.Hypot(p.X, p.Y) < 4 }

func ply(t testing.TB, name string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File(name, b.Bytes(), "mm")
}

// views are scans of the ball from 220 mm, from the directions given, and their
// places; nothing comes back from where gap says.
func views(t testing.TB, dirs []geom.Vec, gap func(geom.Vec) bool) (scans, table []step.File) {
	var list poses.Table
	for n, dir := range dirs {
		z := dir.Unit().Mul(-1)
		x := z.Cross(geom.Vec{X: 0.3, Y: 0.5, Z: 0.81}).Unit()
		y := z.Cross(x)
		pose := geom.Pose{Rot: geom.Mat{{x.X, y.X, z.X}, {x.Y, y.Y, z.Y}, {x.Z, y.Z, z.Z}}, Move: z.Mul(-220)}
		m := &geom.Mesh{}
		at := map[[2]int]int32{}
		for j := -24; j <= 24; j++ {
			for i := -24; i <= 24; i++ {
				u, v := 0.8*float64(i), 0.8*float64(j)
				r2 := u*u + v*v
				if r2 > 380 {
					continue
				}
				p := geom.Vec{X: u, Y: v, Z: 220 - math.Sqrt(radius*radius-r2)}
				if !gap(pose.Apply(p)) {
					at[[2]int{i, j}] = int32(len(m.Verts))
					m.Verts = append(m.Verts, p.Point())
				}
			}
		}
		steptest.Web(m, at, 24)
		f := ply(t, fmt.Sprintf("scans/ball/%03d.ply", n+1), m)
		scans = append(scans, f)
		list.Scans = append(list.Scans, poses.At(f, pose))
	}
	var b bytes.Buffer
	if err := poses.Write(&b, list); err != nil {
		t.Fatal(err)
	}
	return scans, []step.File{steptest.File("poses.json", b.Bytes(), "")}
}

// TestCauses plants a place of each cause and an opening.
func TestCauses(t *testing.T) {
	front, right, behind, below := geom.Vec{Y: 1}, geom.Vec{X: 1}, geom.Vec{Y: -1}, geom.Vec{Z: -1}
	isWet, isMissed, isGrazing, isOpening := about(front, 11), about(behind, 9), about(right.Add(geom.Vec{Z: 0.2}), 7), about(below, 30)
	m := without(ball(t), func(p geom.Vec) bool { return isWet(p) || isMissed(p) || isGrazing(p) || isOpening(p) || ground(p) })
	// In front, and from the side 65 to 70 degrees off what is grazed.
	scans, table := views(t, []geom.Vec{front, {X: 0.40, Y: 0.75, Z: 0.5}}, func(p geom.Vec) bool { return isWet(p) || isGrazing(p) })
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {ply(t, "merged.ply", m)}, "scans": scans, "poses": table}})
	got := fmt.Sprint(r.Measures["unseen.places"], r.Measures["hollow"], r.Measures["wet"], r.Measures["grazing"], r.Measures["missed"], r.Measures["openings"])
	if got != "4 1 1 1 1 1" {
		t.Fatalf("places, hollow, wet, grazing, missed, openings: %s, want 4 1 1 1 1 1\n%s", got, r.Files["places/places.csv"])
	}
	// The flat area of a cap within θ of its middle is π r² sin²θ.
	want := 0.0
	for _, deg := range []float64{11, 9, 7} {
		s := radius * math.Sin(deg*math.Pi/180)
		want += math.Pi * s * s
	}
	want += math.Pi * 9
	if a := r.Measures["unseen.area"].(float64); !(math.Abs(a-want) <= 0.1*want) {
		t.Errorf("unseen area %.1f, want %.1f", a, want)
	}
	if a, want := r.Measures["openings.area"].(float64), math.Pi*radius*radius/4; !(math.Abs(a-want) <= 0.05*want) { // sin² 30°
		t.Errorf("the opening has %.1f mm², want %.1f", a, want)
	}
	lines, err := csv.NewReader(bytes.NewReader(r.Files["places/places.csv"])).ReadAll()
	if err != nil || len(lines) != 5 {
		t.Fatalf("%d lines, %v", len(lines), err)
	}
	for cause, says := range map[string]string{"wet": "about where 001", "missed": "degrees round from where", "hollow": "degrees round from where", "grazing": "was taken, away from where"} {
		found := false
		for _, l := range lines {
			found = found || l[7] == cause && strings.Contains(l[8], says)
		}
		if !found {
			t.Errorf("no advice %q for %s:\n%s", says, cause, r.Files["places/places.csv"])
		}
	}
	if wide, want := r.Measures["unseen.widest"].(float64), 2*radius*math.Sin(11*math.Pi/180); !(math.Abs(wide-want) <= 0.1*want) {
		t.Errorf("the widest is %.2f mm wide, want %.2f", wide, want)
	}
	if s := r.Spots[0]; !strings.Contains(s.Says, "about where 001 was taken") || len(s.Ring) == 0 || s.Value < 6 {
		t.Errorf("spot %+v", s)
	}
}

// TestShares: by closed form half of a ball's skin lies at x < 0 and a quarter
// at x > r/2, Archimedes' hat-box.
func TestShares(t *testing.T) {
	m := without(ball(t), func(p geom.Vec) bool { return p.Z > 3 && math.Hypot(p.X, p.Y) < 4 })
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {ply(t, "m.ply", m)}}})
	for name, want := range map[string]float64{"seen.once": 0.5, "seen.twice": 0.25, "seen.more": 0.25, "unseen.share": 0} {
		if got := r.Measures[name].(float64); !(math.Abs(got-want) <= 0.012) {
			t.Errorf("%s = %.4f, want %.2f", name, got, want)
		}
	}
}

// TestInvented: skin that was closed counts by its marks: a cap within θ is
// (1 - cos θ)/2 of a ball's skin. A triangle with one corner that was marked
// counts whole, so that the cap reaches half an edge of 0.7 mm farther.
func TestInvented(t *testing.T) {
	m := without(ball(t), func(p geom.Vec) bool { return false })
	cap40, cap25 := about(geom.Vec{Z: -1}, 40), about(geom.Vec{X: 1}, 25)
	for v, p := range m.Verts {
		if cap40(p.Vec()) || cap25(p.Vec()) {
			m.Seen[v] = 0
		}
	}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {ply(t, "m.ply", m)}}})
	want := 4 * math.Pi * radius * radius * (1 - math.Cos(25*math.Pi/180+0.35/radius)) / 2
	if a := r.Measures["unseen.area"].(float64); r.Measures["unseen.places"] != int64(1) || r.Measures["openings"] != int64(1) || !(math.Abs(a-want) <= 0.03*want) {
		t.Errorf("%v; area wanted %.1f", r.Measures, want)
	}
	if r.Measures["unseen.wide"] != int64(1) || !r.Spots[0].Fault {
		t.Errorf("a place %v mm wide is no fault", r.Measures["unseen.widest"])
	}
}

// TestWay: directions are told by the shots, whatever frame the part lies in.
func TestWay(t *testing.T) {
	turned := geom.SmallTurn(geom.Vec{X: 0.7, Y: -0.4, Z: 1.1})
	shots := []stand{{name: "a", at: geom.Vec{Y: 300}}, {name: "b", at: geom.Vec{X: 300, Y: 1}}}
	for _, tt := range []struct {
		dir  geom.Vec
		n    int // of the shots
		want string
	}{
		{geom.Vec{X: 0.05, Y: 1}, 2, "about where a was taken"},
		{geom.Vec{X: 0.5774, Y: 1}, 2, "30 degrees round from where a was taken, towards where b was taken"},
		{geom.Vec{X: -1, Y: 1}, 2, "45 degrees round from where a was taken, away from where b was taken"},
		{geom.Vec{X: 1, Y: -1}, 2, "45 degrees round from where b was taken, away from where a was taken"},
	} {
		for _, rot := range []geom.Mat{geom.Identity, turned} {
			c := &cover{}
			for _, s := range shots[:tt.n] {
				s.at = rot.Apply(s.at)
				c.shots = append(c.shots, s)
			}
			if got := c.way(geom.Vec{}, rot.Apply(tt.dir).Unit()); got != tt.want {
				t.Errorf("%v: %q, want %q", tt.dir, got, tt.want)
			}
		}
	}
	alone := &cover{shots: shots[:1]}
	if got, want := alone.way(geom.Vec{}, geom.Vec{Z: 1}), "90 degrees round from where a was taken, in the direction (0.00, 0.00, 1.00) of the surface's own frame"; got != want {
		t.Errorf("one shot: %q, want %q", got, want)
	}
	if got, want := (&cover{}).way(geom.Vec{}, geom.Vec{Z: 1}), "in the direction (0.00, 0.00, 1.00) of the surface's own frame"; got != want {
		t.Errorf("no shots: %q, want %q", got, want)
	}
}

func TestNotMerged(t *testing.T) {
	m := ball(t)
	m.Seen = nil
	_, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {ply(t, "m.ply", m)}}})
	if err == nil || !strings.Contains(err.Error(), "m.ply: it does not say how many scans saw each vertex") {
		t.Errorf("error %v", err)
	}
}

// TestPinned: if it fails, results have changed: raise the version. And it is
// the same for any number of workers.
func TestPinned(t *testing.T) {
	isWet := about(geom.Vec{X: 0.2, Y: 1, Z: 0.1}, 11)
	m := without(ball(t), func(p geom.Vec) bool { return isWet(p) || ground(p) })
	scans, table := views(t, []geom.Vec{{Y: 1}, {X: 1, Y: 1, Z: 1}}, isWet)
	for _, workers := range []int{1, 3} {
		r := steptest.Run(t, Kind{}, steptest.Given{Workers: workers, Inputs: map[string][]step.File{"surface": {ply(t, "m.ply", m)}, "scans": scans, "poses": table}})
		got := fmt.Sprintf("%x", sha256.Sum256(append(r.Files["map/coverage.ply"], r.Files["places/places.csv"]...)))[:16]
		if v := (Kind{}).Handbook().Version; v != 6 || got != pinned {
			t.Errorf("version %d gives %s with %d workers, pinned is %s", v, got, workers, pinned)
		}
	}
}

const pinned = "de2979df93c45a9e"

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	job := &step.Job{Workers: 2, Progress: step.NoProgress, Values: steptest.Values(t, Kind{}.Handbook(), nil), Inputs: map[string][]step.File{"surface": {ply(t, "m.ply", ball(t))}}}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("error %v, want the cause", err)
	}
}

// BenchmarkCoverage looks at a ball of some million triangles with forty holes.
func BenchmarkCoverage(b *testing.B) {
	l := geom.NewLattice(0.08)
	f := func(p geom.Vec) float64 { return p.Len() - radius }
	for k := int32(-252); k <= 252; k++ {
		for j := int32(-252); j <= 252; j++ {
			for i := int32(-252); i <= 252; i++ {
				if v := f(l.Place(i, j, k)); math.Abs(v) < 0.3 {
					l.Set(i, j, k, float32(v))
				}
			}
		}
	}
	m, err := l.March(b.Context(), 2)
	if err != nil {
		b.Fatal(err)
	}
	m.Seen = make([]uint16, len(m.Verts))
	for v := range m.Seen {
		m.Seen[v] = 3
	}
	m = without(m, func(p geom.Vec) bool {
		for _, d := range directions[:40] {
			if about(d, 4)(p) {
				return true
			}
		}
		return false
	})
	in := map[string][]step.File{"surface": {ply(b, "m.ply", m)}}
	for b.Loop() {
		steptest.Run(b, Kind{}, steptest.Given{Inputs: in})
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
