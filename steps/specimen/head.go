package specimen

import "layette/steps/internal/geom"

// A Head says what a head is like. Its frame: the neck's opening at z = 0, z
// up, y to the front, x to the child's right. At size 1 its girth round brow
// and back of the head is close to 345 mm, the length brow to back 116 mm and
// the breadth 95 mm: medians of term newborns (WHO Child Growth Standards,
// 2006; INTERGROWTH-21st).
type Head struct {
	Awake bool    // open lids over empty sockets, and an open mouth
	Oval  float64 // mm the opening is broader than it is deep
	Plain bool    // leaves out the fine lines of the skin
	// EarThickness is the least thickness of the ears' rims, mm; 0 means 4.4.
	EarThickness float64
}

func v(x, y, z float64) geom.Vec { return geom.Vec{X: x, Y: y, Z: z} }

// pair returns a solid on the child's right and its mirror image.
func pair(make func(side float64) Field) []Field { return []Field{make(1), make(-1)} }

// skull returns the head without its features.
func (h Head) skull() Field {
	eggAt := func(x, y, z, rx, ry, rz float64) Field { return egg3(at(x, y, z), v(rx, ry, rz)) }
	cranium := join(10,
		eggAt(0, -10, 95, 46, 56, 47),
		eggAt(0, -26, 88, 42.5, 41, 39), // back of the head
		eggAt(19, -14, 103, 27, 32, 28), // sides, fullest above and behind the ears
		eggAt(-19, -14, 103, 27, 32, 28),
		eggAt(12, 21, 100, 22, 25.5, 24), // brow
		eggAt(-12, 21, 100, 22, 25.5, 24),
	)
	face := join(9,
		eggAt(0, 12, 60, 33, 32, 34),
		eggAt(0, 22, 44, 22, 22, 19),
		taper(v(17.5, 25, 55), v(20, 7, 49), 17, 14.5), // cheeks, down to the jaw
		taper(v(-17.5, 25, 55), v(-20, 7, 49), 17, 14.5),
	)
	return join(12, cranium, face)
}

// neck returns the neck with its fold, from below the opening up.
func (h Head) neck() Field {
	return oval(taper(v(0, -10, -14), v(0, -6, 42), 29, 27), 29, h.Oval)
}

// oval draws a solid of radius r about the z axis out along x and in along y,
// so that it is by mm broader than deep.
func oval(f Field, r, by float64) Field {
	if by == 0 {
		return f
	}
	return &stretched{f, v(1+by/(4*r), 1-by/(4*r), 1)}
}

// solid returns the whole head, the neck cut short below the chin, and named
// points on it; "tape" is inside it at the height where its girth is taken.
func (h Head) solid() (Field, map[string]geom.Vec) {
	const cut = 13 // mm above the origin in which the features are drawn
	f := h.features(join(7, h.skull(), h.neck()))
	marks := map[string]geom.Vec{
		"opening": {Z: cut},
		"tape":    v(0, -8, 96),
		"crown":   outward(f, v(0, -10, 95), v(0, 0, 1)),
		"chin":    outward(f, v(0, 30, 34), v(0, 1, 0)),
		"mouth":   outward(f, v(0, 30, 44.4), v(0, 1, 0)),
		"nose":    outward(f, v(0, 30, 58.5), v(0, 1, 0)),
	}
	for side, s := range map[string]float64{"right": 1, "left": -1} {
		marks["canthus.inner."+side] = toward(f, v(11.4*s, 43, 67.8))
		marks["canthus.outer."+side] = toward(f, v(32.2*s, 38, 68.4))
		marks["ear."+side] = v(46*s, -10, 66)
	}
	for n, m := range marks {
		marks[n] = m.Sub(v(0, 0, cut))
	}
	return placed{f, at(0, 0, -cut)}, marks
}

func (h Head) features(base Field) Field {
	// Hollows for the eyes, wide and shallow.
	base = carve(base, 9,
		egg3(at(19, 57, 69), v(13, 13, 9)), egg3(at(-19, 57, 69), v(13, 13, 9)))
	soft := []Field{base}
	soft = append(soft, taper(v(0, 43, 73), v(0, 51, 61), 4.6, 5.6))                                             // bridge
	soft = append(soft, egg3(at(0, 53.5, 58.5), v(6.2, 6.0, 5.4)))                                               // tip
	soft = append(soft, pair(func(s float64) Field { return egg3(at(6.2*s, 49.5, 57), v(4.0, 5.2, 4.2)) })...)   // wings
	soft = append(soft, egg3(at(0, 43, 36), v(10, 9, 8.5)))                                                      // chin
	soft = append(soft, egg3(at(0, 42.5, 46), v(14, 9, 9)))                                                      // mouth's mound
	soft = append(soft, pair(func(s float64) Field { return egg3(at(18.5*s, 30.5, 52), v(13.5, 13.5, 13)) })...) // cheeks
	soft = append(soft, egg3(at(0, 24, 29), v(19, 15, 10)))                                                      // under the chin
	face := join(6, soft...)
	face = join(4, append([]Field{face}, pair(h.lids)...)...)
	face = carve(face, 1.6, pair(func(s float64) Field {
		return taper(v(3.5*s, 54.5, 51.8), v(3.6*s, 52.8, 56.3), 1.7, 1.1)
	})...)
	face = h.mouth(face)
	face = h.ears(face)
	if h.Awake {
		face = carve(face, 1.2, pair(socket)...)
	}
	return h.lines(face)
}

// lids returns one eye's closed lids: two shallow mounds that meet at the line.
func (h Head) lids(s float64) Field {
	return join(2.5,
		egg3(at(21.5*s, 34.0, 70.4).turned(2, -17*s), v(11.6, 8.4, 7.4)),
		egg3(at(21.2*s, 34.6, 65.6).turned(2, -17*s), v(10, 6.4, 4.6)),
	)
}

// socket is the hollow of an open eye.
func socket(s float64) Field {
	f := at(21.5*s, 45, 69.2).turned(2, -17*s)
	return join(1, egg3(f, v(8.6, 9, 3.7)), egg3(f.moved(0, -11.5, 0), v(8, 6, 6)))
}

// mouth adds the lips and, if the child is awake, opens them.
func (h Head) mouth(face Field) Field {
	var lips []Field
	for _, s := range []float64{1, -1} {
		lips = append(lips,
			taper(v(1.8*s, 51.8, 47.5), v(6.0*s, 49.2, 46.3), 2.6, 2.2),
			taper(v(6.0*s, 49.2, 46.3), v(11.0*s, 45.2, 44.2), 2.2, 1.3),
			taper(v(0, 50.2, 41.9), v(5.6*s, 48.4, 42.3), 3.0, 2.5),
			taper(v(5.6*s, 48.4, 42.3), v(10.4*s, 45.0, 43.8), 2.5, 1.3),
		)
	}
	lips = append(lips, ball(v(0, 52.2, 46.6), 2.6))
	face = join(1.1, face, join(0.9, lips...))
	if h.Awake {
		return carve(face, 1.5, egg3(at(0, 48, 44.5), v(7.2, 14, 2.7)))
	}
	return face
}

// lines draws lids, lips, philtrum and folds.
func (h Head) lines(face Field) Field {
	var out []*line
	add := func(w, depth float64, pts ...geom.Vec) { out = append(out, drawn(face, w, depth, pts...)) }
	for _, s := range []float64{1, -1} {
		if !h.Awake {
			add(1.4, 0.85, v(11.2*s, 43, 67.8), v(15.5*s, 45, 66.3), v(21*s, 45, 65.7), v(27*s, 43, 66.5), v(32*s, 38, 68.4))
		}
		if h.Plain {
			continue
		}
		add(1.4, 0.45, v(12.4*s, 43, 70.6), v(16.5*s, 45, 73.4), v(22*s, 44, 74.4), v(28*s, 41, 73.0), v(32.5*s, 37, 70.4))
		add(1.6, 0.3, v(12.5*s, 44, 64.6), v(17.5*s, 45, 62.2), v(23*s, 44, 61.8), v(28*s, 41, 63))
		add(3.4, 0.6, v(12.2*s, 48, 57), v(13.4*s, 47, 53.5), v(14.6*s, 45, 49), v(15.2*s, 44, 44)) // cheek fold
	}
	if !h.Awake {
		add(1.3, 1.0, v(-11.6, 46, 43.6), v(-7, 49, 44.6), v(-2.6, 51.5, 44.7), v(0, 53, 44.2), v(2.6, 51.5, 44.7), v(7, 49, 44.6), v(11.6, 46, 43.6))
	}
	if !h.Plain {
		add(1.9, 0.6, v(0, 50.4, 51.4), v(0, 51, 50.4), v(0, 52.2, 49.2))                                                            // philtrum
		add(2.6, 0.7, v(-8, 46, 39.6), v(-4, 48, 38.9), v(0, 49, 38.7), v(4, 48, 38.9), v(8, 46, 39.6))                              // under the lip
		add(1.6, 0.7, v(-27, 8, 27), v(-19, 22, 22.5), v(-8, 29, 20.5), v(0, 30, 20), v(8, 29, 20.5), v(19, 22, 22.5), v(27, 8, 27)) // double chin
	}
	return engrave(face, out...)
}
