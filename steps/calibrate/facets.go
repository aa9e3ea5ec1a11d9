package calibrate

import (
	"math"

	"layette/steps/internal/geom"
)

// The corners of a master's triangles lie on the surface that is meant, and
// between them its facets soften what is bent: a facet lies off by half the
// second moment of its corners about a place, times the curvature there, which
// is what heat flow does in the time of a quarter of that moment. On even
// triangles of edge h a wave of length l keeps 1 - (2 pi h / l)²/16 on the mean,
// to the fourth order exp of that: the product of the sines of the three edges,
// each over its angle (the box of the three edges; P. Courant's functions). At
// four edges to a wave that is wrong by 0.002.
const perTime = 4 * math.Pi * math.Pi / math.Ln2 // squared detail of a time of heat flow

// facets returns the squared detail that a surface loses by its facets, mm²: over
// a triangle with edges a, b and c the mean time is (a² + b² + c²) / 48.
func facets(m *geom.Mesh) float64 {
	var sum, skin geom.Sum
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		area := b.Sub(a).Cross(c.Sub(a)).Len()
		sum.Add(float64(area * (b.Sub(a).Len2() + c.Sub(b).Len2() + a.Sub(c).Len2())))
		skin.Add(area)
	}
	if skin.Total() == 0 {
		return 0
	}
	return perTime / 48 * sum.Total() / skin.Total()
}
