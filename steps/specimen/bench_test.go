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
