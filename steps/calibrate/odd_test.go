package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/region"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// plain returns a casting of the invented child without lines.
func plain(t testing.TB, name string, triangles int) *geom.Mesh {
	t.Helper()
	return ofChild(t, specimen.Options{Plain: true}, name, triangles)
}

func ofChild(t testing.TB, o specimen.Options, name string, triangles int) *geom.Mesh {
	t.Helper()
	m, err := steptest.Part(t, o, name).Mesh(t.Context(), specimen.Sampling{Triangles: triangles, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func prepared(t testing.TB, m *geom.Mesh) *calibration {
	t.Helper()
	c := &calibration{reach: 2, workers: 2}
	if err := c.prepare(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	return c
}

// TestAnyWayRound: a sample of a hand or foot, with a seventh missing, is laid on
// its master whichever way round it was scanned, without a hint.
func TestAnyWayRound(t *testing.T) {
	for _, name := range []string{"right-hand", "left-foot"} {
		m := plain(t, name, 12_000)
		c := prepared(t, m)
		rng := rand.New(rand.NewPCG(5, 6))
		for k := range 5 {
			var q [4]float64
			for i := range q {
				q[i] = rng.NormFloat64()
			}
			size := math.Sqrt(q[0]*q[0] + q[1]*q[1] + q[2]*q[2] + q[3]*q[3])
			hole, rot := m.Verts[rng.IntN(len(m.Verts))].Vec(), geom.Quaternion{W: q[0] / size, X: q[1] / size, Y: q[2] / size, Z: q[3] / size}.Rot()
			s, was := &geom.Mesh{}, []geom.Vec{}
			for _, v := range m.Verts {
				if p := v.Vec(); p.Sub(hole).Len() > 0.3*c.size {
					s.Verts = append(s.Verts, rot.Apply(p.Mul(0.95)).Add(geom.Vec{X: 70, Y: -20, Z: 300}).Point())
					was = append(was, p)
				}
			}
			fit, err := c.place(t.Context(), s)
			if err != nil {
				t.Errorf("%s, way %d: %v", name, k, err)
				continue
			}
			worst := 0.0
			for i := 0; i < len(was); i += 100 {
				worst = max(worst, fit.Apply(s.Verts[i].Vec()).Sub(was[i]).Len())
			}
			if worst > 0.05*c.size {
				t.Errorf("%s, way %d: placed %.2f mm off", name, k, worst)
			}
		}
	}
}

// TestWrongPart: what was not made from the master, its mirror image (the other
// hand) or another part, is refused or cannot tell.
func TestWrongPart(t *testing.T) {
	c := prepared(t, plain(t, "right-hand", 12_000))
	for _, name := range []string{"left-hand", "right-foot"} {
		f, err := c.study(t.Context(), name, plain(t, name, 10_000))
		if err == nil && f.tells() {
			t.Errorf("%s on the right hand tells %v, left over %.3f mm", name, f.mean, f.sigma)
		}
	}
}

// TestTinyPiece: of a piece of a sample, a twentieth of its skin, what is told is
// true within its bounds or is unknown; it is not refused for being small.
func TestTinyPiece(t *testing.T) {
	c := prepared(t, lump(40, geom.Vec{}))
	w := usual
	w.holes, w.seed = false, 3
	whole := moulded(t, 60, w)
	for k, r := range []float64{4, 9} {
		middle := whole.Verts[1000*(k+1)].Vec()
		piece := &geom.Mesh{Verts: whole.Verts}
		for _, tri := range whole.Tris {
			if whole.Verts[tri[0]].Vec().Sub(middle).Len() < r {
				piece.Tris = append(piece.Tris, tri)
			}
		}
		piece = used(piece)
		f, err := c.study(t.Context(), "piece", piece)
		if err != nil {
			t.Logf("%.0f mm: %v", r, err)
			continue
		}
		t.Logf("%.0f mm, %d points: %.5f covered %.2f", r, len(piece.Verts), f.shrink, f.covered)
		for axis, b := range f.shrink {
			if half := (b.to - b.from) / 2; b.known() && !(math.Abs(b.at-w.shrink[axis]) <= 2*half) {
				t.Errorf("a piece of %.0f mm: axis %d shrinks %.5f, want %.4f", r, axis, b, w.shrink[axis])
			}
		}
	}
}

// used returns the triangles with the vertices that they have.
func used(m *geom.Mesh) *geom.Mesh {
	at, cut := make([]int32, len(m.Verts)), &geom.Mesh{}
	for _, tri := range m.Tris {
		for k, v := range tri {
			if at[v] == 0 {
				cut.Verts = append(cut.Verts, m.Verts[v])
				at[v] = int32(len(cut.Verts))
			}
			tri[k] = at[v] - 1
		}
		cut.Tris = append(cut.Tris, tri)
	}
	return cut
}

// TestRegions: where a sample was polished, the region says how much less of its
// relief is left than elsewhere: it holds 4 mm where the rest holds 1.5.
func TestRegions(t *testing.T) {
	m := lump(60, geom.Vec{})
	polished, rest := geom.Vec{X: 17}, geom.Vec{X: -17}
	little, much := softened(t, m, 1.5), softened(t, m, 4)
	sample := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts))}
	for i, v := range m.Verts {
		if sample.Verts[i] = little.Verts[i]; v.Vec().Sub(polished).Len() < 9 {
			sample.Verts[i] = much.Verts[i]
		}
	}
	c := &calibration{reach: 2, workers: 2, regions: []region.Ball{{Name: "polished", At: polished, Radius: 6}, {Name: "rest", At: rest, Radius: 8}}}
	if err := c.prepare(t.Context(), m); err != nil {
		t.Fatal(err)
	}
	f, err := c.study(t.Context(), "sample", scanned(sample, truth{shrink: [3]float64{0.03, 0.03, 0.03}, noise: 0.03, seed: 2}))
	if err != nil {
		t.Fatal(err)
	}
	for k, detail := range []float64{4, 1.5} {
		got, want := f.regions[k], detail*0.97
		t.Logf("%s: %.3f mm, want %.3f; %.3f", got.name, got.detail, want, got.share)
		if got.detail.from*0.95 > want || got.detail.to*1.05 < want {
			t.Errorf("%s holds %.3f mm, want %.3f", got.name, got.detail, want)
		}
		if k == 1 && f.regions[0].detail.at < 1.5*got.detail.to {
			t.Errorf("polished holds %.3f mm, the rest %.3f", f.regions[0].detail, got.detail)
		}
		for b, x := range got.share {
			if want := form.Passed(detail, cutoffAt(firstBand+b)); !(math.Abs(x.at-want) <= 0.05+(x.to-x.from)/2) {
				t.Errorf("%s keeps %.3f at %.1f mm, want %.3f", got.name, x, cutoffAt(firstBand+b), want)
			}
		}
	}
}
