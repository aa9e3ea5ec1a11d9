package calibrate

import (
	"math"
	"testing"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// TestFacets: even flat triangles whose corners lie on waves keep of them, on the
// mean over directions, what a Gaussian filter of the squared detail that facets
// tells keeps; at four edges to a wave within 0.003. The wave on the facets is
// found by adding up, not by a formula.
func TestFacets(t *testing.T) {
	m := &geom.Mesh{Verts: []geom.Point{{0, 0, 0}, {1, 0, 0}, {0.5, 0.8660254, 0}}, Tris: []geom.Tri{{0, 1, 2}}}
	if got, want := facets(m), 4*math.Pi*math.Pi/math.Ln2/16; !(math.Abs(got-want) <= 1e-6) {
		t.Errorf("an edge of 1 mm has %v mm², want %v", got, want)
	}
	for _, long := range []float64{4, 6, 10} {
		sum, n := 0.0, 0
		for dir := range 12 {
			a := 2 * math.Pi * float64(dir) / 12 * 1.03
			sum += onFacets(long, geom.Vec{X: math.Cos(a), Y: math.Sin(a)})
			n++
		}
		got, want := sum/float64(n), form.Transmission(math.Sqrt(facets(m)), long)
		t.Logf("%v edges to a wave: %.4f kept, %.4f told", long, got, want)
		if !(math.Abs(got-want) <= 0.003) {
			t.Errorf("%v edges to a wave: %.4f kept, want %.4f", long, got, want)
		}
	}
}

// onFacets returns the share of a wave that even triangles of edge 1 show.
func onFacets(long float64, dir geom.Vec) float64 {
	e1, e2 := geom.Vec{X: 1}, geom.Vec{X: 0.5, Y: math.Sqrt(3) / 2}
	phase := func(p geom.Vec) float64 { return 2 * math.Pi / long * p.Dot(dir) }
	var both, own float64
	const fine = 8
	for i := range 60 {
		for j := range 60 {
			for turn := range 2 {
				a := e1.Mul(float64(i + turn)).Add(e2.Mul(float64(j + turn)))
				b, c := e1.Mul(float64(i+1)).Add(e2.Mul(float64(j))), e1.Mul(float64(i)).Add(e2.Mul(float64(j+1)))
				for u := range fine {
					for v := range fine - u {
						x, y := (float64(u)+1.0/3)/fine, (float64(v)+1.0/3)/fine
						p := a.Mul(1 - x - y).Add(b.Mul(x)).Add(c.Mul(y))
						flat := math.Sin(phase(a))*(1-x-y) + math.Sin(phase(b))*x + math.Sin(phase(c))*y
						s := math.Sin(phase(p))
						both, own = both+flat*s, own+s*s
					}
				}
			}
		}
	}
	return both / own
}

// TestThinned: a fine master is compared on fewer of its own vertices, closed but
// for a few edges, each of which stands for those about it.
func TestThinned(t *testing.T) {
	m := lump(130, geom.Vec{})
	s, err := thin(t.Context(), m, 2)
	if err != nil {
		t.Fatal(err)
	}
	edges, err := s.mesh.Edges(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	open := 0
	for _, across := range edges.Across {
		if across < 0 {
			open++
		}
	}
	t.Logf("%d of %d edges are not between two triangles", open, len(edges.Across))
	if open > len(edges.Across)/2000 {
		t.Errorf("%d of %d edges are not between two triangles", open, len(edges.Across))
	}
	edge := math.Sqrt(s.mesh.Area() / float64(len(s.mesh.Tris)) * evenEdge2)
	t.Logf("%d of %d triangles, edges of %.3f mm", len(s.mesh.Tris), len(m.Tris), edge)
	if edge < fineEdge || edge > 0.23 {
		t.Errorf("edges of %.3f mm", edge)
	}
	for v, k := range s.of {
		if d := m.Verts[v].Vec().Sub(s.mesh.Verts[k].Vec()).Len(); d > 2*apart {
			t.Fatalf("vertex %d is told by one %.3f mm off", v, d)
		}
	}
	coarse := lump(20, geom.Vec{})
	if s, err := thin(t.Context(), coarse, 2); err != nil || s.mesh != coarse || s.of != nil {
		t.Errorf("a coarse master is thinned, %v", err)
	}
}
