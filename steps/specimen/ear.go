package specimen

import "layette/steps/internal/geom"

// ears adds both ears. An ear is drawn in a frame at its middle: x out of the
// head, y to the back, z up, 36 mm high.
func (h Head) ears(face Field) Field {
	right := h.ear()
	return carve(join(1.6, face, right.solid, mirrored{right.solid}), 1.2, right.bowl, mirrored{right.bowl})
}

type ear struct{ solid, bowl Field }

func (h Head) ear() ear {
	thick := h.EarThickness
	if thick == 0 {
		thick = 4.4
	}
	r := thick / 2
	fr := at(43.4, -9, 66).turned(0, 10).turned(2, 24)
	// y to the back: the frame's own -y.
	p := func(back, up, out float64) geom.Vec { return fr.World(v(out, -back, up)) }
	rim := curve([]geom.Vec{
		p(-1.5, -0.5, 1.2), p(-4.4, 3.4, 2.2), p(-6.4, 8.4, 3.0), p(-4.6, 13.6, 3.8), p(0.6, 16.6, 4.8), p(6.2, 15.4, 6.2),
		p(9.8, 11, 7.0), p(10.6, 5.2, 7.0), p(9.4, -0.6, 6.4), p(7.2, -5.8, 5.4), p(4.4, -10.2, 4.4), p(1.0, -13.6, 3.6),
	}, 3)
	parts := []Field{
		// the blade between rim and head
		egg3(fr.moved(3.0, -2.0, 2.0).turned(2, 20), v(3.0, 9.8, 14.2)),
		egg3(fr.moved(-1.5, -0.5, -0.5), v(6.5, 7.6, 13)),
		// lobe
		egg3(fr.moved(3.0, 0.2, -14.0).turned(2, 12), v(2.6, 4.6, 4.4)),
		// ball in front of the canal, and the one below it
		taper(p(-6.2, -3.0, 2.6), p(-5.8, -5.6, 2.6), 2.3, 2.0),
		ball(p(0.6, -9.0, 3.6), 2.4),
	}
	parts = append(parts, chain(rim, func(float64) float64 { return r })...)
	inner := curve([]geom.Vec{p(3.4, 10.6, 5.2), p(5.0, 5.4, 5.6), p(5.4, 0.4, 5.4), p(4.0, -4.6, 4.8), p(1.2, -8.6, 3.8)}, 3)
	parts = append(parts, chain(inner, func(t float64) float64 { return 2.2 })...)
	return ear{
		solid: join(1.4, parts...),
		bowl:  join(1, egg3(fr.moved(5.4, 0.6, -3.4), v(4.2, 3.9, 5.2)), taper(p(-2.0, 6.5, 4.9), p(1.5, 12.4, 6.2), 1.3, 1.2)),
	}
}

// chain lays tapers along a path, their radius given by how far along they are.
func chain(path []geom.Vec, radius func(t float64) float64) []Field {
	var out []Field
	n := float64(len(path) - 1)
	for i := 1; i < len(path); i++ {
		out = append(out, taper(path[i-1], path[i], radius(float64(i-1)/n), radius(float64(i)/n)))
	}
	return out
}
