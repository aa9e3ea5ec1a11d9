package specimen

import (
	"context"
	"math"
	"slices"
	"strings"
	"testing"

	"layette/steps/internal/geom"
)

func plantIn(t *testing.T, f Fault) (*Part, Planted) {
	t.Helper()
	p := part(t, f.Part, Options{Faults: []Fault{f}})
	for _, q := range p.Planted {
		if q.What == f.What {
			return p, q
		}
	}
	t.Fatalf("%s: nothing planted", f.What)
	return nil, Planted{}
}

// TestGapIsMeasured compares planted air with brute force: the least distance
// between vertices on either side of the place.
func TestGapIsMeasured(t *testing.T) {
	for _, f := range []Fault{
		{What: FingerGap, Part: "right-hand", Size: 0.8, Seed: 1},
		{What: FingerGap, Part: "left-hand", Size: 1.1, Seed: 2},
		{What: Curled, Part: "right-hand", Size: 0.9, Seed: 1},
		{What: Curled, Part: "right-hand", Size: 0.7, Seed: 3},
	} {
		p, q := plantIn(t, f)
		m, err := p.Mesh(t.Context(), Sampling{Edge: 0.33})
		if err != nil {
			t.Fatal(err)
		}
		got := facingBrute(m, q.At, 3)
		if got < q.Value-1e-4 || got > q.Value+0.05 {
			t.Errorf("%s: planted %.4f mm, measured %.4f", f.What, q.Value, got)
		}
		if !(math.Abs(q.Value-f.Size) <= 0.02) {
			t.Errorf("%s: asked for %.3f mm, planted %.4f", f.What, f.Size, q.Value)
		}
	}
}

// facingBrute returns the least distance of two vertices within r of a place
// whose normals point at each other.
func facingBrute(m *geom.Mesh, at geom.Vec, r float64) float64 {
	normals := make([]geom.Vec, len(m.Verts))
	for i, t := range m.Tris {
		a, b, c := m.Corners(i)
		n := b.Sub(a).Cross(c.Sub(a))
		for _, v := range t {
			normals[v] = normals[v].Add(n)
		}
	}
	var near []int
	for i, p := range m.Verts {
		if p.Vec().Sub(at).Len() < r {
			near = append(near, i)
		}
	}
	least := math.Inf(1)
	for _, i := range near {
		for _, j := range near {
			w := m.Verts[j].Vec().Sub(m.Verts[i].Vec())
			if l := w.Len(); l < least && w.Dot(normals[i].Unit()) > 0.9*l && w.Dot(normals[j].Unit()) < -0.9*l {
				least = l
			}
		}
	}
	return least
}

// TestDamageIsDone: each fault of a surface shows where it was planted, and
// only there.
func TestDamageIsDone(t *testing.T) {
	sound, err := part(t, "left-hand", Options{}).Mesh(t.Context(), Sampling{Edge: 1})
	if err != nil {
		t.Fatal(err)
	}
	for _, tt := range []struct {
		what         What
		open, double bool
	}{{Hole, true, false}, {Flipped, true, true}, {Duplicates, false, true}, {Spike, false, false}, {Floater, false, false}, {Crossing, false, false}} {
		p, q := plantIn(t, Fault{What: tt.what, Part: "left-hand", Seed: 8})
		m, err := p.Mesh(t.Context(), Sampling{Edge: 1})
		if err != nil {
			t.Fatal(err)
		}
		open, double := edges(m)
		if open > 0 != tt.open || double > 0 != tt.double {
			t.Errorf("%s: %d open edges, %d double", tt.what, open, double)
		}
		if digest(t, m) == digest(t, sound) {
			t.Errorf("%s: nothing done", tt.what)
		}
		if d, _ := p.Field.At(q.At); tt.what != Floater && !(math.Abs(d) <= 1e-6) {
			t.Errorf("%s: planted %g mm off the skin", tt.what, d)
		}
	}
}

// TestWholeFaults: unit, side, size.
func TestWholeFaults(t *testing.T) {
	length := func(f ...Fault) (float64, float64) {
		p := part(t, "right-hand", Options{Faults: f})
		m, err := p.Mesh(t.Context(), Sampling{Edge: 0.8})
		if err != nil {
			t.Fatal(err)
		}
		return m.Bounds().Size().Z, m.Volume()
	}
	l, v := length()
	if x, _ := length(Fault{What: WrongUnit, Part: "right-hand"}); !(math.Abs(x/l-0.1) <= 1e-6) {
		t.Errorf("wrong unit: %g against %g mm", x, l)
	}
	if x, _ := length(Fault{What: Large, Part: "right-hand"}); !(math.Abs(x/l-1.04) <= 1e-3) {
		t.Errorf("4 %% large: %g against %g mm", x, l)
	}
	if x, w := length(Fault{What: WrongSide, Part: "right-hand"}); x != l || !(math.Abs(w/v-1) <= 1e-6) {
		t.Errorf("mirrored: %g against %g mm, %g against %g mm³", x, l, w, v)
	}
}

// TestBadWishes: what cannot be planted is said so.
func TestBadWishes(t *testing.T) {
	for _, o := range []Options{
		{Weeks: 20}, {Weeks: math.NaN()},
		{Faults: []Fault{{What: "dent", Part: "head"}}},
		{Faults: []Fault{{What: FingerGap, Part: "head"}}},
		{Faults: []Fault{{What: FingerGap, Part: "left-arm", Size: 3}}},
		{Faults: []Fault{{What: Tilted, Part: "left-arm"}}},
		{Faults: []Fault{{What: Hole, Part: "tail"}}},
		{Faults: []Fault{{What: Hole, Part: "head", Size: math.Inf(1)}}},
	} {
		if _, err := NewKit(o); err == nil {
			t.Errorf("%+v: no error", o)
		}
	}
	p := part(t, "right-hand", Options{})
	for _, s := range []Sampling{{Edge: -1}, {Edge: 1e-9}, {Edge: math.NaN()}, {Triangles: 1 << 40}, {Triangles: -5}} {
		if _, err := p.Mesh(t.Context(), s); err == nil {
			t.Errorf("%+v: no error", s)
		}
	}
}

// TestCancelled: a cancelled context stops the mesher with its cause.
func TestCancelled(t *testing.T) {
	ctx, cancel := context.WithCancelCause(t.Context())
	stop := context.DeadlineExceeded
	cancel(stop)
	if _, err := part(t, "head", Options{}).Mesh(ctx, Sampling{}); err != stop {
		t.Errorf("got %v", err)
	}
}

// TestSizesAreAsPublished: hand, palm and finger (Halder, Dharap and Than
// 1999), foot (Sajjan et al. 2022), head girth (WHO 2006, the boys' median),
// and the girth of the head against a tape laid round the mesh.
func TestSizesAreAsPublished(t *testing.T) {
	for _, tt := range []struct {
		part, size string
		want, band float64
	}{
		{"left-arm", "hand", 64.4, 3.4}, {"left-arm", "finger", 27.4, 1.5}, {"left-arm", "palm", 37.1, 1.5},
		{"right-leg", "foot", 71, 4.6}, {"head", "head.girth", 345, 3},
	} {
		p := part(t, tt.part, Options{})
		if got := p.Sizes[tt.size]; !(math.Abs(got-tt.want) <= tt.band) {
			t.Errorf("%s: %s %.2f mm, want %g within %g", tt.part, tt.size, got, tt.want, tt.band)
		}
	}
	small := part(t, "head", Options{Weeks: 28})
	if got := small.Sizes["head.girth"] / 345; !(math.Abs(got-25.9/34.3) <= 1e-12) {
		t.Errorf("28 weeks: girth %.4f of term", got)
	}
}

// TestVariantsAreClosed: other children, other kits and every fault of form
// give closed, manifold, uncrossed surfaces too.
func TestVariantsAreClosed(t *testing.T) {
	tests := map[string]Options{
		"head awake":            {Awake: true},
		"left-arm preterm":      {Weeks: 26, ThreeQuarter: true, NoTie: true},
		"right-leg bent":        {Knee: 80, ThreeQuarter: true},
		"right-arm bent":        {Elbow: 95},
		"head tilted":           {Faults: []Fault{{What: Tilted, Part: "head"}, {What: Oval, Part: "head"}, {What: ThinPlate, Part: "head"}}},
		"right-hand joined":     {Faults: []Fault{{What: Joined, Part: "right-hand", Seed: 2}}},
		"right-hand curled":     {Faults: []Fault{{What: Curled, Part: "right-hand", Seed: 2}}},
		"left-arm cut":          {Faults: []Fault{{What: Crevice, Part: "left-arm", Seed: 2}, {What: Slot, Part: "left-arm", Seed: 2}}},
		"left-foot of another":  {Faults: []Fault{{What: Foreign, Part: "left-foot"}}},
		"left-arm out of round": {Faults: []Fault{{What: Oval, Part: "left-arm"}, {What: Foreign, Part: "left-arm"}}},
	}
	for name, o := range tests {
		p := part(t, strings.Fields(name)[0], o)
		m, err := p.Mesh(t.Context(), Sampling{Edge: 1.2})
		if err != nil {
			t.Fatal(err)
		}
		if open, double := edges(m); open != 0 || double != 0 {
			t.Errorf("%s: %d open edges, %d double", name, open, double)
		}
		if len(p.Planted) != len(o.Faults) {
			t.Errorf("%s: planted %v", name, p.Planted)
		}
		tree, err := geom.NewTree(t.Context(), m, 0)
		if err != nil {
			t.Fatal(err)
		}
		if pairs, _, err := tree.Crossings(t.Context(), 10, 0); err != nil || len(pairs) > 0 {
			t.Errorf("%s: %d pairs of faces cross, %v", name, len(pairs), err)
		}
	}
}

// TestOvalOpening: the opening's box is broader than deep by what was planted.
func TestOvalOpening(t *testing.T) {
	width := func(p *Part, dir geom.Vec) float64 {
		return outward(p.Field, geom.Vec{}, dir).Len() + outward(p.Field, geom.Vec{}, dir.Mul(-1)).Len()
	}
	for _, name := range []string{"left-arm", "right-leg"} {
		p, q := plantIn(t, Fault{What: Oval, Part: name})
		if got := width(p, geom.Vec{X: 1}) - width(p, geom.Vec{Y: 1}); !(math.Abs(got-q.Value) <= 0.15) {
			t.Errorf("%s: opening %.3f mm broader than deep, planted %g", name, got, q.Value)
		}
	}
}

// TestTrouble: the wishes can all be granted, every kind comes up, and equal
// seeds wish for equal things.
func TestTrouble(t *testing.T) {
	seen := map[What]int{}
	for seed := range uint64(200) {
		fs := Trouble(seed)
		if _, err := NewKit(Options{Faults: fs}); err != nil {
			t.Fatal(err)
		}
		if !slices.Equal(fs, Trouble(seed)) {
			t.Fatalf("seed %d: different the second time", seed)
		}
		for _, f := range fs {
			seen[f.What]++
		}
	}
	if len(seen) != len(whats) {
		t.Errorf("%d kinds of %d came up: %v", len(seen), len(whats), seen)
	}
}
