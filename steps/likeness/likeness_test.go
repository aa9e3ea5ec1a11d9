package likeness

import (
	"bytes"
	"context"
	"errors"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// lump is a closed surface without symmetry, about 60 by 50 by 40 mm, of
// 2 n² triangles; change moves each point of it.
func lump(n int, change func(geom.Vec) geom.Vec) *geom.Mesh {
	m := &geom.Mesh{}
	for i := range n + 1 {
		th := math.Pi * float64(i) / float64(n)
		for j := range n {
			ph := 2 * math.Pi * float64(j) / float64(n)
			d := geom.Vec{X: math.Sin(th) * math.Cos(ph), Y: math.Sin(th) * math.Sin(ph), Z: math.Cos(th)}
			r := 1 + 0.15*math.Sin(3*d.X+1) + 0.12*math.Cos(4*d.Y-d.Z) + 0.1*d.X*d.Y
			m.Verts = append(m.Verts, change(geom.Vec{X: 30 * r * d.X, Y: 25 * r * d.Y, Z: 20 * r * d.Z}).Point())
		}
	}
	at := func(i, j int) int32 { return int32(i*n + j%n) }
	for i := range n {
		for j := range n {
			if i > 0 {
				m.Tris = append(m.Tris, geom.Tri{at(i, j), at(i+1, j), at(i, j+1)})
			}
			if i < n-1 {
				m.Tris = append(m.Tris, geom.Tri{at(i, j+1), at(i+1, j), at(i+1, j+1)})
			}
		}
	}
	return m
}

func same(p geom.Vec) geom.Vec { return p }

func file(t testing.TB, name string, m *geom.Mesh) []step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return []step.File{steptest.File(name, b.Bytes(), "mm")}
}

func compare(t *testing.T, surface, reference *geom.Mesh, values step.Values) *steptest.Result {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{Values: values, Inputs: map[string][]step.File{
		"surface": file(t, "surface.ply", surface), "reference": file(t, "reference.ply", reference)}})
}

func near(t *testing.T, r *steptest.Result, name string, want, limit float64) {
	t.Helper()
	if got := r.Measures[name].(float64); !(math.Abs(got-want) <= limit) {
		t.Errorf("%s = %.6f, want %.6f within %g", name, got, want, limit)
	}
}

func TestSameSurface(t *testing.T) {
	r := compare(t, lump(60, same), lump(60, same), nil)
	for _, name := range []string{"rms", "mean", "p99", "most", "fitted.rms", "changed.share", "alone.share", "gone.share", "drift.scale", "drift.turn", "drift.shift"} {
		near(t, r, name, 0, 1e-5)
	}
	if len(r.Spots) != 0 || len(r.Notes) != 0 {
		t.Errorf("spots %v, notes %q", r.Spots, r.Notes)
	}
}

// TestDriftIsFound: a known scale, turn and shift come back, also when the
// triangles are others and a nose was sculpted on, which is found for itself.
func TestDriftIsFound(t *testing.T) {
	turn := geom.SmallTurn(geom.Vec{X: 0.03, Y: -0.02, Z: 0.025})
	drifted := func(p geom.Vec) geom.Vec {
		return turn.Apply(p).Mul(1.03).Add(geom.Vec{X: 0.8, Y: -0.5, Z: 0.4})
	}
	nose := func(p geom.Vec) geom.Vec {
		top := geom.Vec{X: 30, Y: 2, Z: 3}
		if d := p.Sub(top).Len(); d < 12 {
			p = p.Add(p.Unit().Mul(1.5 * (1 - d*d/144)))
		}
		return drifted(p)
	}
	want := geom.Pose{Rot: turn}.Turn() * 180 / math.Pi
	r := compare(t, lump(210, drifted), lump(200, same), nil)
	near(t, r, "drift.scale", 0.03, 1e-4)
	near(t, r, "drift.turn", want, 0.02)
	near(t, r, "fitted.rms", 0, 0.01)
	if len(r.Notes) < 2 || !strings.Contains(r.Notes[0], "3.0") {
		t.Errorf("notes %q", r.Notes)
	}
	r = compare(t, lump(210, nose), lump(200, same), nil)
	near(t, r, "drift.scale", 0.03, 5e-4)
	near(t, r, "drift.turn", want, 0.1)
	if n := r.Measures["changed.places"]; n != int64(1) || len(r.Spots) != 1 {
		t.Fatalf("changed places %v, spots %v", n, r.Spots)
	}
	if s := r.Spots[0]; s.Value < 1.0 || s.Value > 1.6 || s.At[0] < 20 {
		t.Errorf("spot %+v", s)
	}
}

// TestSign: outside is positive, inside negative, by closed form: a ball of
// radius 10.4 mm in one of 10 mm lies 0.4 mm outside, and is a growth of 4 %.
func TestSign(t *testing.T) {
	ball := func(r float64) *geom.Mesh {
		return lump(200, func(p geom.Vec) geom.Vec { return p.Unit().Mul(r) })
	}
	r := compare(t, ball(10.4), ball(10), nil)
	near(t, r, "mean", 0.4, 0.002)
	near(t, r, "rms", 0.4, 0.002)
	near(t, r, "drift.scale", 0.04, 2e-4)
	if f := r.Measures["drift.firm"].(float64); f > 1e-5 {
		t.Errorf("a ball fixes its turn with %g", f)
	}
	r = compare(t, ball(9.6), ball(10), nil)
	near(t, r, "mean", -0.4, 0.002)
}

// TestMissing: what was cut away is told.
func TestMissing(t *testing.T) {
	whole := lump(80, same)
	half := lump(80, same)
	half.Tris = half.Tris[:len(half.Tris)/2]
	r := compare(t, half, whole, step.Values{"reach": 2.0})
	if gone := r.Measures["gone.share"].(float64); gone < 0.35 || gone > 0.55 {
		t.Errorf("gone %.3f of a surface cut in half", gone)
	}
	far := lump(40, func(p geom.Vec) geom.Vec { return p.Add(geom.Vec{X: 500}) })
	r = compare(t, far, whole, nil)
	near(t, r, "alone.share", 1, 0)
	if !math.IsNaN(r.Measures["rms"].(float64)) {
		t.Errorf("RMS of surfaces half a metre apart: %v; unknown is wanted", r.Measures["rms"])
	}
}

// TestFarFromTheOrigin: both surfaces 100 m away are compared as near it.
func TestFarFromTheOrigin(t *testing.T) {
	away := geom.Vec{X: 1e5, Y: -1e5, Z: 5e4}
	a, b := lump(130, func(p geom.Vec) geom.Vec { return p.Mul(1.01) }), lump(150, same)
	a.Origin, b.Origin = away, away.Add(geom.Vec{X: 3})
	for i := range b.Verts {
		b.Verts[i][0] -= 3
	}
	r := compare(t, a, b, nil)
	plain := compare(t, lump(130, func(p geom.Vec) geom.Vec { return p.Mul(1.01) }), lump(150, same), nil)
	near(t, r, "rms", plain.Measures["rms"].(float64), 2e-3)
	near(t, r, "drift.scale", 0.01, 2e-4)
}

func TestSameForAnyNumberOfWorkers(t *testing.T) {
	in := map[string][]step.File{
		"surface":   file(t, "a.ply", lump(70, func(p geom.Vec) geom.Vec { return p.Mul(1.02) })),
		"reference": file(t, "b.ply", lump(60, same)),
	}
	one := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Workers: 1})
	three := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Workers: 3})
	for name, v := range one.Measures {
		if v != three.Measures[name] {
			t.Errorf("%s: %v with one worker, %v with three", name, v, three.Measures[name])
		}
	}
	if !bytes.Equal(one.Files["map/change.ply"], three.Files["map/change.ply"]) {
		t.Error("the maps differ")
	}
}

func TestCancel(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := errors.New("stop")
	cancel(stop)
	job := &step.Job{Workers: 2, Progress: step.NoProgress, Values: steptest.Values(t, Kind{}.Handbook(), nil),
		Inputs: map[string][]step.File{"surface": file(t, "a.ply", lump(40, same)), "reference": file(t, "b.ply", lump(40, same))}}
	if _, err := (Kind{}).Run(ctx, job); !errors.Is(err, stop) {
		t.Errorf("error %v, want the cause", err)
	}
}

func BenchmarkLikeness(b *testing.B) {
	n := 1000 // two million triangles
	in := map[string][]step.File{
		"surface":   file(b, "a.ply", lump(n, func(p geom.Vec) geom.Vec { return p.Mul(1.01) })),
		"reference": file(b, "b.ply", lump(n, same)),
	}
	for b.Loop() {
		steptest.Run(b, Kind{}, steptest.Given{Inputs: in})
	}
	b.ReportMetric(2*float64(n*n)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

// TestBeyondTheRim: a whole surface against an open part of itself changed
// nowhere; what the open one does not show has no partner.
func TestBeyondTheRim(t *testing.T) {
	whole := lump(60, same)
	part := &geom.Mesh{Verts: whole.Verts}
	var all, kept float64
	for i, tri := range whole.Tris {
		a, b, c := whole.Corners(i)
		area := b.Sub(a).Cross(c.Sub(a)).Len() / 2
		all += area
		if a.Z > 0 && b.Z > 0 && c.Z > 0 {
			part.Tris = append(part.Tris, tri)
			kept += area
		}
	}
	r := compare(t, whole, part, step.Values{"allow": 0.5})
	if most := r.Measures["most"].(float64); most > 0.001 || len(r.Spots) != 0 {
		t.Errorf("it moved by %g mm, in %d places", most, len(r.Spots))
	}
	if alone, want := r.Measures["alone.share"].(float64), 1-kept/all; !(math.Abs(alone-want) <= 0.03) {
		t.Errorf("%.3f of it has no partner, want %.3f", alone, want)
	}
}
