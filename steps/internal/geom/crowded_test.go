package geom

import (
	"slices"
	"testing"
)

func edgesFor(t testing.TB, m *Mesh) *Edges {
	t.Helper()
	e, err := m.Edges(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	return e
}

// pinched is two tetrahedra that share corner 0.
func pinched() *Mesh {
	m := &Mesh{Verts: []Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {0, 0, 1}, {-1, 0, 0}, {0, -1, 0}, {0, 0, -1}}}
	for _, k := range []int32{0, 3} {
		a, b, c := k+1, k+2, k+3
		m.Tris = append(m.Tris, Tri{0, b, a}, Tri{0, c, b}, Tri{0, a, c}, Tri{a, b, c})
	}
	return m
}

func TestCrowded(t *testing.T) {
	fin := ball(Vec{}, 10, 2)
	fin.Verts = append(fin.Verts, Point{20, 20, 20})
	fin.Tris = append(fin.Tris, Tri{fin.Tris[0][0], fin.Tris[0][1], int32(len(fin.Verts) - 1)})
	lone := ball(Vec{}, 10, 2)
	lone.Verts = append(lone.Verts, Point{20, 20, 20}, Point{20, 20, 21})
	lone.Tris = append(lone.Tris, Tri{3, int32(len(lone.Verts) - 2), int32(len(lone.Verts) - 1)})
	tests := []struct {
		name string
		m    *Mesh
		want []int32
	}{
		{"ball", ball(Vec{}, 10, 3), nil},
		{"two that touch at a corner", pinched(), []int32{0}},
		{"a fin on an edge", fin, nil},
		{"a triangle at a corner", lone, []int32{3}},
		{"copies", &Mesh{Verts: []Point{{}, {1, 0, 0}, {0, 1, 0}}, Tris: []Tri{{0, 1, 2}, {0, 1, 2}, {2, 1, 0}}}, nil},
		{"open", &Mesh{Verts: make([]Point, 5), Tris: []Tri{{0, 1, 2}, {0, 3, 4}}}, []int32{0}},
		{"nothing", &Mesh{}, nil},
	}
	for _, tt := range tests {
		if got := tt.m.Crowded(edgesFor(t, tt.m), 2); !slices.Equal(got, tt.want) {
			t.Errorf("%s: %v crowded, want %v", tt.name, got, tt.want)
		}
	}
}

func TestSides(t *testing.T) {
	m := ball(Vec{}, 10, 3)
	want := map[int]bool{5: true, 6: true, 77: true}
	for k := range want {
		m.Tris[k] = Tri{m.Tris[k][0], m.Tris[k][2], m.Tris[k][1]}
	}
	over, twisted := m.Sides(edgesFor(t, m))
	for k := range m.Tris {
		if over[k] != want[k] {
			t.Errorf("triangle %d: turned over %v, want %v", k, over[k], want[k])
		}
	}
	if twisted != 0 {
		t.Errorf("%d edges twisted, want none", twisted)
	}
	// Five triangles in a band with a half twist (A. F. Möbius' own).
	band := &Mesh{Verts: make([]Point, 5), Tris: []Tri{{0, 1, 2}, {1, 3, 2}, {2, 3, 4}, {3, 0, 4}, {4, 0, 1}}}
	if _, twisted := band.Sides(edgesFor(t, band)); twisted == 0 {
		t.Error("a band with a half twist passes for one with two sides")
	}
}

func TestCopies(t *testing.T) {
	m := ball(Vec{}, 10, 2)
	n := int32(len(m.Tris))
	m.Tris = append(m.Tris, m.Tris[4], Tri{m.Tris[9][1], m.Tris[9][0], m.Tris[9][2]}, m.Tris[4])
	if got := m.Copies(edgesFor(t, m)); !slices.Equal(got, []int32{n, n + 1, n + 2}) {
		t.Errorf("copies %v, want the last three", got)
	}
	pillow := &Mesh{Verts: make([]Point, 3), Tris: []Tri{{0, 1, 2}, {0, 2, 1}}}
	if got := pillow.Copies(edgesFor(t, pillow)); !slices.Equal(got, []int32{1}) {
		t.Errorf("copies %v of a triangle and its back, want the second", got)
	}
	if m := ball(Vec{}, 10, 3); m.Copies(edgesFor(t, m)) != nil {
		t.Error("a ball has copies")
	}
}
