package specimen

import (
	"crypto/sha256"
	"encoding/hex"
	"math"
	"testing"

	"layette/steps/internal/geom"
)

// edges counts what is wrong with a surface: edges without a partner, and
// edges that two faces run along in the same direction.
func edges(m *geom.Mesh) (open, double int) {
	type run [2]int32
	n := make(map[run]int, 3*len(m.Tris))
	for _, t := range m.Tris {
		for c := range 3 {
			n[run{t[c], t[(c+1)%3]}]++
		}
	}
	for e, k := range n {
		if k > 1 {
			double++
		}
		if n[run{e[1], e[0]}] == 0 {
			open++
		}
	}
	return open, double
}

// worst returns the least quality of m's faces: 1 for an equilateral one, 0
// for one without area.
func worst(m *geom.Mesh) float64 {
	least := 1.0
	for i := range m.Tris {
		a, b, c := m.Corners(i)
		sides := b.Sub(a).Len2() + c.Sub(b).Len2() + a.Sub(c).Len2()
		least = min(least, 2*math.Sqrt(3)*b.Sub(a).Cross(c.Sub(a)).Len()/sides)
	}
	return least
}

// digest returns the SHA-256 of the surface as an STL file.
func digest(t *testing.T, m *geom.Mesh) string {
	t.Helper()
	h := sha256.New()
	if err := WriteSTL(h, m); err != nil {
		t.Fatal(err)
	}
	return hex.EncodeToString(h.Sum(nil))
}

func part(t testing.TB, name string, o Options) *Part {
	t.Helper()
	k, err := NewKit(o)
	if err != nil {
		t.Fatal(err)
	}
	p, err := k.Part(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// TestKitIsSound meshes every part and casting: closed, manifold, facing
// outward, its opening exactly flat, as many triangles as asked for.
func TestKitIsSound(t *testing.T) {
	for _, name := range append(append([]string(nil), Parts...), Castings...) {
		p := part(t, name, Options{})
		const want = 60_000
		m, err := p.Mesh(t.Context(), Sampling{Triangles: want})
		if err != nil {
			t.Fatal(err)
		}
		if open, double := edges(m); open != 0 || double != 0 {
			t.Errorf("%s: %d open edges, %d run along twice", name, open, double)
		}
		if n := len(m.Tris); n < want*9/10 || n > want*11/10 {
			t.Errorf("%s: %d triangles, want about %d", name, n, want)
		}
		if v := m.Volume(); v < 10_000 {
			t.Errorf("%s: volume %.0f mm³", name, v)
		}
		if q := worst(m); q < 0.02 {
			t.Errorf("%s: a face of quality %.3f", name, q)
		}
		tree, err := geom.NewTree(t.Context(), m, 0)
		if err != nil {
			t.Fatal(err)
		}
		if pairs, _, err := tree.Crossings(t.Context(), 10, 0); err != nil || len(pairs) > 0 {
			t.Errorf("%s: %d pairs of faces cross, %v", name, len(pairs), err)
		}
		if z := m.Bounds().Min.Z; z != 0 {
			t.Errorf("%s: lowest point at %g, want exactly 0", name, z)
		}
	}
}

// TestLeftIsRightMirrored compares vertex by vertex.
func TestLeftIsRightMirrored(t *testing.T) {
	l, err := part(t, "left-hand", Options{}).Mesh(t.Context(), Sampling{Edge: 1.5})
	if err != nil {
		t.Fatal(err)
	}
	r, err := part(t, "right-hand", Options{}).Mesh(t.Context(), Sampling{Edge: 1.5})
	if err != nil {
		t.Fatal(err)
	}
	for i, p := range r.Verts {
		if l.Verts[i] != (geom.Point{-p[0], p[1], p[2]}) {
			t.Fatalf("vertex %d: %v and %v", i, l.Verts[i], p)
		}
	}
	if digest(t, l) == digest(t, r) {
		t.Error("left and right are the same file")
	}
}

// TestSameForAnyWorkers: the bytes do not depend on how many hands did it.
func TestSameForAnyWorkers(t *testing.T) {
	p := part(t, "right-hand", Options{})
	var first string
	for _, n := range []int{1, 2, 5} {
		m, err := p.Mesh(t.Context(), Sampling{Edge: 1, Workers: n})
		if err != nil {
			t.Fatal(err)
		}
		if d := digest(t, m); first == "" {
			first = d
		} else if d != first {
			t.Errorf("%d workers: other bytes", n)
		}
	}
}
