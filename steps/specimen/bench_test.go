package specimen

import "testing"

// BenchmarkMesh makes a whole arm and a head of two million triangles.
func BenchmarkMesh(b *testing.B) {
	for _, name := range []string{"right-arm", "head"} {
		b.Run(name, func(b *testing.B) {
			p := part(b, name, Options{})
			n := 0
			b.ReportAllocs()
			for b.Loop() {
				m, err := p.Mesh(b.Context(), Sampling{Triangles: 2_000_000})
				if err != nil {
					b.Fatal(err)
				}
				n += len(m.Tris)
			}
			b.ReportMetric(float64(n)/b.Elapsed().Seconds()/1e6, "Mtri/s")
		})
	}
}

// BenchmarkSession scans a hand twelve times at 100,000 rays or so.
func BenchmarkSession(b *testing.B) {
	p := part(b, "right-hand", Options{})
	n, rays := 0, 0
	s := Session{Scanner: Scanner{Pitch: 0.13, Wide: 50, High: 40}, Shots: 12, Bad: 0.1, Seed: 1}
	for b.Loop() {
		err := s.Run(b.Context(), p, func(c Scan) error { n += len(c.Mesh.Verts); rays += 384 * 307; return nil })
		if err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(n)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
	b.ReportMetric(float64(rays)/b.Elapsed().Seconds()/1e6, "Mrays/s")
}
