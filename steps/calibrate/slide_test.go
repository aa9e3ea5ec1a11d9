package calibrate

import (
	"math"
	"math/rand/v2"
	"testing"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// wavy is a sheet 20 mm wide that waves along x, or an even one, on triangles of
// edge mm whose corners are shaken by a sixth of that.
func wavy(edge, wave, high float64) *geom.Mesh {
	rng, n := rand.New(rand.NewPCG(3, 4)), int(20/edge)
	m := &geom.Mesh{}
	at := func(i, j int) int32 { return int32(i*(n+1) + j) }
	for i := range n + 1 {
		for j := range n + 1 {
			x, y := edge*(float64(i)+float64(j%2)/2+(rng.Float64()-0.5)/3), edge*math.Sqrt(3)/2*(float64(j)+(rng.Float64()-0.5)/3)
			m.Verts = append(m.Verts, geom.Vec{X: x, Y: y, Z: high * math.Sin(2*math.Pi*x/wave)}.Point())
			if i < n && j < n {
				if j%2 == 0 {
					m.Tris = append(m.Tris, geom.Tri{at(i, j), at(i+1, j), at(i, j+1)}, geom.Tri{at(i+1, j), at(i+1, j+1), at(i, j+1)})
				} else {
					m.Tris = append(m.Tris, geom.Tri{at(i, j), at(i+1, j), at(i+1, j+1)}, geom.Tri{at(i, j), at(i+1, j+1), at(i, j+1)})
				}
			}
		}
	}
	return m
}

// told returns the squared detail that points of a softened wave tell, each moved
// to either side by what move says of the directions across and along the skin.
func told(r *relieved, s *target, wave, high float64, move func(up, along geom.Vec) geom.Vec) float64 {
	rng, k := rand.New(rand.NewPCG(5, 6)), 2*math.Pi/wave
	var both, own float64
	for range 10_000 {
		x, y := 5+10*rng.Float64(), 5+8*rng.Float64()
		p, slope := geom.Vec{X: x, Y: y, Z: high * math.Sin(k*x)}, high*k*math.Cos(k*x)
		up, along := geom.Vec{X: -slope, Z: 1}.Unit(), geom.Vec{X: 1, Z: slope}.Unit()
		off := move(up, along)
		for _, side := range []float64{1, -1} {
			q := p.Add(off.Mul(side))
			h, _ := s.tree.Closest(q, 1)
			at := s.reading(r, q, h)
			both, own = both-float64(at.change[0]*at.left), own+float64(at.change[0]*at.change[0])
		}
	}
	return float64(s.detail*s.detail) + both/own
}

// TestNoiseDoesNotSharpen: points that lie off a softened wave, to either side of
// it by as much, tell the detail of those that lie on it, though their feet slide
// along the facets of the master; points that scatter along the wave tell less by
// half the square of that as a time of heat flow, and aside of it nothing; points
// that lie off straight down onto the skin, whichever way the wave turns there, by
// twice that. The wave, its detail and its normals are in closed form (ISO 16610-21).
func TestNoiseDoesNotSharpen(t *testing.T) {
	const detail, high, noise = 1.0, 0.04, 0.05
	for _, edge := range []float64{0.26, 0.18} {
		for _, wave := range []float64{1, 1.4, 2} {
			r, err := newRelieved(t.Context(), wavy(edge, wave, high), 2)
			if err != nil {
				t.Fatal(err)
			}
			s, err := r.softened(t.Context(), detail*detail, 2)
			if err != nil {
				t.Fatal(err)
			}
			left := high * form.Passed(detail, wave)
			still := told(r, s, wave, left, func(_, _ geom.Vec) geom.Vec { return geom.Vec{} })
			for way, move := range map[string]func(up, along geom.Vec) geom.Vec{
				"across":    func(up, _ geom.Vec) geom.Vec { return up.Mul(noise) },
				"along":     func(_, along geom.Vec) geom.Vec { return along.Mul(noise) },
				"aside":     func(_, _ geom.Vec) geom.Vec { return geom.Vec{Y: noise} },
				"down onto": func(_, _ geom.Vec) geom.Vec { return geom.Vec{Z: noise} },
			} {
				off := (told(r, s, wave, left, move) - still) / (noise * noise)
				t.Logf("edges of %v mm, waves of %v mm: %+.4f mm² without noise, noise %s the skin adds %+.2f times its square", edge, wave, still-detail*detail, way, off)
				want := map[string]float64{"across": 0, "aside": 0, "along": -perTime / 2, "down onto": -perTime}[way]
				most := 1 - 0.12*want
				if wave < 5*edge {
					most = 4 - 0.15*want
				}
				if !(math.Abs(off-want) <= most) {
					t.Errorf("edges of %v mm, waves of %v mm: noise %s the skin adds %+.2f times its square, want %+.2f", edge, wave, way, off, want)
				}
			}
		}
	}
}
