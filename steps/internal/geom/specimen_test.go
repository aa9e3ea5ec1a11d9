package geom

import (
	"math"
	"math/rand/v2"
	"testing"
)

// ball returns a closed sphere about zero of radius r mm: an octahedron whose
// faces are split in four `splits` times; 8 * 4^splits triangles.
func ball(r float64, splits int) *Mesh {
	verts := []Vec{{1, 0, 0}, {-1, 0, 0}, {0, 1, 0}, {0, -1, 0}, {0, 0, 1}, {0, 0, -1}}
	tris := []Tri{{0, 2, 4}, {2, 1, 4}, {1, 3, 4}, {3, 0, 4}, {2, 0, 5}, {1, 2, 5}, {3, 1, 5}, {0, 3, 5}}
	for range splits {
		mid := map[[2]int32]int32{}
		half := func(a, b int32) int32 {
			key := [2]int32{min(a, b), max(a, b)}
			if _, ok := mid[key]; !ok {
				mid[key] = int32(len(verts))
				verts = append(verts, verts[a].Add(verts[b]).Unit())
			}
			return mid[key]
		}
		var next []Tri
		for _, t := range tris {
			a, b, c := half(t[0], t[1]), half(t[1], t[2]), half(t[2], t[0])
			next = append(next, Tri{t[0], a, c}, Tri{a, t[1], b}, Tri{c, b, t[2]}, Tri{a, b, c})
		}
		tris = next
	}
	m := &Mesh{Tris: tris, Verts: make([]Point, len(verts))}
	for i, v := range verts {
		m.Verts[i] = v.Mul(r).Point()
	}
	return m
}

// donut returns a closed torus about z: R to the middle of the tube, r its
// radius, 2*n*k triangles.
func donut(R, r float64, n, k int) *Mesh {
	m := &Mesh{}
	for i := range n {
		for j := range k {
			a, b := 2*math.Pi*float64(i)/float64(n), 2*math.Pi*float64(j)/float64(k)
			m.Verts = append(m.Verts, Vec{(R + r*math.Cos(b)) * math.Cos(a), (R + r*math.Cos(b)) * math.Sin(a), r * math.Sin(b)}.Point())
			at := func(i, j int) int32 { return int32(i%n*k + j%k) }
			p, q, s, u := at(i, j), at(i+1, j), at(i+1, j+1), at(i, j+1)
			m.Tris = append(m.Tris, Tri{p, q, s}, Tri{p, s, u})
		}
	}
	return m
}

// loose returns the corners of m's triangles one after the other.
func loose(m *Mesh) []Point {
	var corners []Point
	for _, t := range m.Tris {
		corners = append(corners, m.Verts[t[0]], m.Verts[t[1]], m.Verts[t[2]])
	}
	return corners
}

// shuffled returns m with vertices and triangles in an order drawn from seed.
func shuffled(m *Mesh, seed uint64) *Mesh {
	rng := rand.New(rand.NewPCG(seed, 2))
	verts := rng.Perm(len(m.Verts))
	s := &Mesh{Verts: make([]Point, len(m.Verts)), Tris: make([]Tri, len(m.Tris))}
	for i, k := range verts {
		s.Verts[k] = m.Verts[i]
	}
	for i, k := range rng.Perm(len(m.Tris)) {
		t := m.Tris[i]
		s.Tris[k] = Tri{int32(verts[t[0]]), int32(verts[t[1]]), int32(verts[t[2]])}
	}
	return s
}

// big is a closed surface of 2,097,152 triangles, about a scanned head at full
// resolution.
func big(b testing.TB) *Mesh {
	b.Helper()
	return ball(100, 9)
}
