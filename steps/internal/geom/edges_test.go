package geom

import (
	"context"
	"errors"
	"math"
	"reflect"
	"slices"
	"testing"
)

func acrossOf(t testing.TB, m *Mesh, workers int) *Edges {
	t.Helper()
	e, err := m.Edges(t.Context(), workers)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// plainEdges finds the corner edges of each edge with a map.
func plainEdges(m *Mesh) map[[2]int32][]int32 {
	all := map[[2]int32][]int32{}
	for c := range int32(3 * len(m.Tris)) {
		a, b := m.Ends(c)
		if a != b {
			key := [2]int32{min(a, b), max(a, b)}
			all[key] = append(all[key], c)
		}
	}
	return all
}

// cone is n triangles round one vertex: a bucket of many.
func cone(n int) *Mesh {
	m := &Mesh{Verts: []Point{{0, 0, 1}}}
	for i := range n {
		a := 2 * math.Pi * float64(i) / float64(n)
		m.Verts = append(m.Verts, Vec{math.Cos(a), math.Sin(a), 0}.Point())
		m.Tris = append(m.Tris, Tri{0, int32(i + 1), int32((i+1)%n + 1)})
	}
	return m
}

// book is three pages on one spine, a page turned over, and a triangle that
// has two corners at one vertex.
func book() *Mesh {
	return &Mesh{
		Verts: []Point{{0, 0, 0}, {0, 0, 1}, {1, 0, 0}, {-1, 1, 0}, {-1, -1, 0}, {2, 0, 1}},
		Tris:  []Tri{{0, 1, 2}, {0, 1, 3}, {1, 0, 4}, {1, 2, 5}, {3, 3, 4}},
	}
}

func TestEdgesAreThoseOfThePlainSearch(t *testing.T) {
	for name, m := range map[string]*Mesh{
		"ball": ball(Vec{}, 1, 3), "doughnut": shuffled(doughnut(3, 1, 20, 9), 3), "cone": cone(200), "book": book(), "nothing": {},
	} {
		for _, workers := range []int{1, 2, 7} {
			e := acrossOf(t, m, workers)
			for _, run := range plainEdges(m) {
				for _, c := range run {
					got := append([]int32{}, e.mates(c)...)
					want := slices.DeleteFunc(slices.Clone(run), func(x int32) bool { return len(run) == 2 && x == c })
					switch {
					case len(run) == 1:
						want = nil
					case run[0]/3 == run[1]/3: // a triangle that meets itself
						want = run
					}
					if !slices.Equal(got, want) {
						t.Fatalf("%s, %d workers: across %d lies %v, want %v", name, workers, c, got, want)
					}
				}
			}
		}
	}
}

func TestEdgesTellTurnedTrianglesAndFans(t *testing.T) {
	m := book()
	e := acrossOf(t, m, 2)
	if want := [][]int32{{0, 3, 6}, {13, 14}}; !reflect.DeepEqual(e.Fans, want) {
		t.Errorf("fans %v, want %v", e.Fans, want)
	}
	if !m.Turned(e, 1) || !m.Turned(e, 9) {
		t.Error("triangles 0 and 3 run along their edge the same way, and it is not told")
	}
	whole := ball(Vec{}, 1, 2)
	if !whole.Closed(acrossOf(t, whole, 2)) || m.Closed(e) {
		t.Error("a ball is closed and a book is not")
	}
}

func TestShells(t *testing.T) {
	m := ball(Vec{}, 1, 2)
	n := int32(len(m.Verts))
	two := &Mesh{Verts: append(slices.Clone(m.Verts), m.Moved(Vec{X: 5}).Verts...), Tris: slices.Clone(m.Tris)}
	for _, tri := range m.Tris {
		two.Tris = append(two.Tris, Tri{tri[0] + n, tri[1] + n, tri[2] + n})
	}
	shell, count := two.Shells(acrossOf(t, two, 2))
	if count != 2 || shell[0] != 0 || shell[len(m.Tris)] != 1 {
		t.Errorf("%d shells, want 2", count)
	}
	b := book()
	if _, count := b.Shells(acrossOf(t, b, 1)); count != 2 {
		t.Errorf("the book has %d shells, want 2: its pages hang together at the spine", count)
	}
}

// TestRims opens a ball: one triangle, three about one corner that the first
// hole touches, and a far one.
func TestRims(t *testing.T) {
	m := ball(Vec{}, 1, 2)
	at := m.Tris[0][0]
	var fan []int
	for i, tri := range m.Tris {
		if slices.Contains(tri[:], at) {
			fan = append(fan, i)
		}
	}
	// Of the triangles round one vertex leave out two that share no edge.
	opposite := -1
	for _, i := range fan[1:] {
		shared := 0
		for _, v := range m.Tris[i] {
			if slices.Contains(m.Tris[fan[0]][:], v) {
				shared++
			}
		}
		if shared == 1 {
			opposite = i
		}
	}
	open := &Mesh{Verts: m.Verts}
	for i, tri := range m.Tris {
		if i != fan[0] && i != opposite && i != len(m.Tris)-1 {
			open.Tris = append(open.Tris, tri)
		}
	}
	loops := open.Rims(acrossOf(t, open, 2))
	if len(loops) != 3 {
		t.Fatalf("%d loops, want 3 holes though two touch", len(loops))
	}
	for _, l := range loops {
		if len(l.Verts) != 3 || len(l.Edges) != 3 {
			t.Errorf("a hole of %d corners and %d edges, want 3", len(l.Verts), len(l.Edges))
		}
	}
	if c := cone(12); len(c.Rims(acrossOf(t, c, 1))[0].Verts) != 12 {
		t.Error("the rim of a cone of 12 sides has not 12 vertices")
	}
}

// TestVertexNormalsOfABallAreExact holds for any triangulation of a sphere.
func TestVertexNormalsOfABallAreExact(t *testing.T) {
	m := ball(Vec{}, 10, 3)
	for i, n := range m.VertexNormals() {
		if d := n.Vec().Sub(m.Verts[i].Vec().Unit()).Len(); d > 1e-6 {
			t.Fatalf("vertex %d: normal off by %v", i, d)
		}
	}
}

func TestMovesKeepWhatTheyShould(t *testing.T) {
	m := ball(Vec{}, 10, 3)
	v := m.Volume()
	for name, tt := range map[string]struct {
		m    *Mesh
		want float64
	}{
		"moved": {m.Moved(Vec{1, 2, 3}), v}, "scaled": {m.Scaled(2), 8 * v}, "mirrored": {m.MirroredX(), v},
	} {
		if got := tt.m.Volume(); !(math.Abs(got-tt.want) <= 1e-5*tt.want) {
			t.Errorf("%s: volume %v, want %v", name, got, tt.want)
		}
	}
}

// TestOrderedIsTheSameSurface: same corners, and the same result whatever
// order the triangles came in.
func TestOrderedIsTheSameSurface(t *testing.T) {
	m := ball(Vec{}, 10, 4)
	m.Seen = make([]uint16, len(m.Verts))
	for i := range m.Seen {
		m.Seen[i] = uint16(i)
	}
	got, tris, verts := m.Ordered(2)
	for i, tri := range got.Tris {
		for k, v := range tri {
			if got.Verts[v] != m.Verts[m.Tris[tris[i]][k]] {
				t.Fatalf("triangle %d has moved", i)
			}
		}
	}
	for i, v := range verts {
		if got.Verts[i] != m.Verts[v] || got.Seen[i] != m.Seen[v] {
			t.Fatalf("vertex %d is not %d", i, v)
		}
	}
	again, _, _ := m.Ordered(1)
	if !reflect.DeepEqual(again, got) {
		t.Error("one worker and two differ")
	}
}

func TestEdgesStop(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, err := ball(Vec{}, 1, 3).Edges(ctx, 2); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
}

func BenchmarkEdges(b *testing.B) {
	m := bigHand(b)
	b.ReportAllocs()
	for b.Loop() {
		acrossOf(b, m, 2)
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func BenchmarkOrdered(b *testing.B) {
	m := shuffled(bigHand(b), 1)
	for b.Loop() {
		m.Ordered(2)
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
