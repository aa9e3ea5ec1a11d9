package specimen

import (
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"math"
	"math/rand/v2"
	"slices"
	"testing"

	"layette/steps/internal/geom"
)

// TestOutcomeIsPinned pins surfaces, fields and a scan to the bit. If it fails
// on your machine without a change here, a product and a sum were fused
// somewhere; if it fails with one, every test that pins what it found on a
// specimen will too: change the shape on purpose or undo.
func TestOutcomeIsPinned(t *testing.T) {
	pinned := map[string]string{
		"fields":  "dfaf2fb00568c63eb7bae3594b0ab94e648e1b119bbb52f4c441cfacfe6f7cec",
		"hand":    "2c5a83d2e533cba9dcb65fd04610706a3d625b6df11de9a3b5c01cf8b1b2a16b",
		"head":    "61896e4cc8bbf28ea0583099f6c3f74c587a2877c52a5db76dfe996f2d0df924",
		"session": "3b518517ad50e543",
	}
	got := map[string]string{"fields": fieldsDigest(t)}
	for name, p := range map[string]string{"hand": "left-hand", "head": "head"} {
		m, err := part(t, p, Options{}).Mesh(t.Context(), Sampling{Edge: 1.2})
		if err != nil {
			t.Fatal(err)
		}
		got[name] = digest(t, m)
	}
	s := Session{Scanner: Scanner{Pitch: 1.5}, Shots: 4, Overlap: 0.3, Bad: 0.5, Seed: 2}
	err := s.Run(t.Context(), part(t, "right-hand", Options{}), func(c Scan) error { got["session"] += digest(t, c.Mesh)[:4]; return nil })
	if err != nil {
		t.Fatal(err)
	}
	for name, want := range pinned {
		if got[name] != want {
			t.Errorf("%s: %s, want %s", name, got[name], want)
		}
	}
}

// fieldsDigest hashes values and gradients of the corpus at points near each
// skin.
func fieldsDigest(t *testing.T) string {
	h := sha256.New()
	all := corpus(t)
	var names []string
	for name := range all {
		names = append(names, name)
	}
	slices.Sort(names)
	for _, name := range names {
		r := rand.New(rand.NewPCG(4, 1))
		one := sha256.New()
		for range 50 {
			b := all[name].Bounds()
			s := b.Size()
			p := b.Min.Add(geom.Vec{X: r.Float64() * s.X, Y: r.Float64() * s.Y, Z: r.Float64() * s.Z})
			q := toward(all[name], p)
			d, g := all[name].At(q.Add(geom.Vec{X: 0.1}))
			binary.Write(one, binary.LittleEndian, []uint64{math.Float64bits(d), math.Float64bits(g.X), math.Float64bits(g.Y), math.Float64bits(g.Z)})
		}
		sum := one.Sum(nil)
		t.Logf("%s %x", name, sum[:4])
		h.Write(sum)
	}
	return hex.EncodeToString(h.Sum(nil))
}
