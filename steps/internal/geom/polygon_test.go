package geom

import (
	"math"
	"testing"
)

// TestPolygon: a dented face keeps its area whichever way it lies.
func TestPolygon(t *testing.T) {
	arrow := []Vec{{0, 0, 0}, {4, 3, 0}, {0, 6, 0}, {1, 3, 0}, {0.5, 2, 0}}
	want := 0.0
	for i, p := range arrow {
		q := arrow[(i+1)%len(arrow)]
		want += (p.X*q.Y - q.X*p.Y) / 2
	}
	for _, q := range []Quaternion{{W: 1}, {X: 1}, {W: 1, Y: 1}, {W: 0.3, X: 0.2, Y: -0.6, Z: 0.7}} {
		var face []Vec
		for _, p := range arrow {
			face = append(face, q.Rot().Apply(p).Add(Vec{10, 20, 30}))
		}
		n := q.Rot().Apply(Vec{Z: 1})
		got := 0.0
		tris := Polygon(face)
		for _, tri := range tris {
			a := n.Dot(face[tri[1]].Sub(face[tri[0]]).Cross(face[tri[2]].Sub(face[tri[0]]))) / 2
			if a < 0 {
				t.Errorf("triangle %v is turned over", tri)
			}
			got += a
		}
		if len(tris) != 3 || !(math.Abs(got-want) <= 1e-9) {
			t.Errorf("%d triangles of area %v, want 3 of %v", len(tris), got, want)
		}
	}
}

// TestWeldedWithin joins what jitter parted and leaves the rest.
func TestWeldedWithin(t *testing.T) {
	m := ball(Vec{}, 10, 3)
	loose := &Mesh{Verts: loose(m)}
	for i := range loose.Verts {
		loose.Verts[i][i%3] += float32(i%7-3) * 1e-4
		if i%3 == 0 {
			loose.Tris = append(loose.Tris, Tri{int32(i), int32(i + 1), int32(i + 2)})
		}
	}
	w, from, err := loose.WeldedWithin(t.Context(), 0.002, 2)
	if err != nil {
		t.Fatal(err)
	}
	if len(w.Verts) != len(m.Verts) || len(w.Tris) != len(m.Tris) || !w.Closed(acrossOf(t, w, 2)) {
		t.Errorf("%d vertices, %d triangles; want %d, %d", len(w.Verts), len(w.Tris), len(m.Verts), len(m.Tris))
	}
	for i, f := range from {
		if w.Verts[i] != loose.Verts[f] {
			t.Fatalf("vertex %d has moved", i)
		}
	}
	if all, _, _ := m.WeldedWithin(t.Context(), 100, 2); len(all.Verts) != 1 || len(all.Tris) != 0 {
		t.Error("within 100 mm a ball of 20 mm is one point and no triangle")
	}
}
