package specimen

import "layette/steps/internal/geom"

// A Leg says how a right leg is made and held. Its frame: the hip's opening at
// z = 0, the thigh along z, the knee bending toward -y, the toes toward y, the
// big toe at x.
type Leg struct {
	Knee  float64 // degrees the knee is bent; 0 means 34
	Short bool    // three-quarter limb: cut in the middle of the thigh
	Tie   bool    // a groove round the limb near the opening, for the tie
	Plump float64 // girth against a term newborn's; 0 means 1
	Plain bool    // leaves out nails and lines
	Oval  float64 // mm the opening is broader than it is deep
	Foot  float64 // size of the foot against the leg's; 0 means 1
}

func (l Leg) limb() limb {
	g := or(l.Plump, 1)
	thigh := 86.0
	if l.Short {
		thigh -= 42
	}
	hip := at(0, 0, 0)
	knee := hip.moved(0, 0, thigh).turned(0, or(l.Knee, 34))
	ankle := knee.moved(0, 0, 70)
	up := func(z float64) geom.Vec { return v(0, 0, thigh+z) }
	calf := func(y, z float64) geom.Vec { return knee.World(v(0, y, z)) }
	parts := []Field{
		oval(taper(up(-122), up(-86), 27.5*g, 26.5*g), 26.6*g, l.Oval),
		oval(taper(up(-86), up(-40), 26.5*g, 23.5*g), 26.6*g, l.Oval),
		egg3(at(0, -1, thigh-44), v(25.4*g, 25*g, 26)),
		taper(up(-40), up(0), 23*g, 18.2*g),
		taper(calf(0, 0), calf(-1, 24), 17.4*g, 17.2*g),
		egg3(knee.moved(0, -2.6, 23), v(17.2*g, 17*g, 20)),
		taper(calf(-1, 24), calf(0, 54), 16.8*g, 12.8*g),
		taper(calf(0, 54), calf(0, 72), 12.8*g, 11.8*g),
	}
	foot := ankle.turned(0, -28) // relaxed: the toes point a little down
	size := or(l.Foot, 1)
	trunk := scaled{placed{join(8, parts...), foot.Back()}, 1 / size}
	f := Foot{Plain: l.Plain}.solid(trunk)
	out := limb{hand: foot, size: size, axis: []geom.Vec{hip.O, knee.O, ankle.O}}
	out.solid = placed{scaled{f, size}, foot}
	var lines []*line
	if !l.Plain {
		lines = append(lines,
			ringed(out.solid, 1.8, 0.9, calf(0, 60), knee.Z),
			ringed(out.solid, 3.2, 0.6, up(-56), v(0, 0, 1)),
		)
	}
	out.solid = tie(out.solid, l.Tie, lines)
	return out
}

// A Foot is a right foot. Its frame: origin in the middle of the ankle, the
// leg toward -z, the sole toward z, toes toward y, the big toe at x. At size 1
// it is 71 mm long (Sajjan et al., Int. J. Res. Med. Sci., 2022).
type Foot struct{ Plain bool }

// toe gives where a toe begins and ends, and its radii.
type toe struct {
	from, to geom.Vec
	ra, rb   float64
}

func (Foot) toes() []toe {
	return []toe{
		{v(8.4, 41, 15.2), v(8.0, 49.6, 15.4), 5.0, 4.9},
		{v(1.0, 41.5, 15.6), v(0.6, 49.3, 16.4), 3.7, 3.5},
		{v(-5.4, 39.8, 16.2), v(-5.9, 46.6, 17.0), 3.5, 3.4},
		{v(-11.0, 37, 16.8), v(-11.8, 42.8, 17.5), 3.4, 3.3},
		{v(-15.8, 32.6, 17.4), v(-16.8, 37.4, 18.0), 3.2, 3.1},
	}
}

func (f Foot) solid(trunk Field) Field {
	parts := []Field{
		egg3(at(0, -5.5, 12), v(11.8, 11.4, 12.6)),            // heel
		taper(v(0.5, -3, 8), v(-0.5, 10, 12), 11.8, 10.6),     // ankle to instep
		taper(v(3.5, 8, 11.5), v(6.6, 34, 15), 10.4, 7.4),     // inner ray
		taper(v(-1, 8, 12), v(-1, 34, 15.4), 10.4, 7.0),       // middle ray
		taper(v(-4.5, 2, 14.5), v(-10.6, 29, 16.2), 8.8, 6.6), // outer ray
		egg3(at(6.6, 33.5, 17.2), v(7.6, 7.0, 5.4)),           // ball of the foot
		egg3(at(-9.4, 27, 18.0), v(6.6, 8.6, 4.8)),            // outer pad
		taper(v(-6.5, 0, 18.5), v(-10, 22, 18.4), 4.8, 4.6),   // outer edge of the sole
	}
	foot := join(6, parts...)
	if trunk != nil {
		foot = join(9, trunk, foot)
	}
	var toes []Field
	for _, t := range f.toes() {
		dir := t.to.Sub(t.from).Unit()
		bulb := looking(t.to.Add(v(0, 0.2, 0.5)), dir)
		toes = append(toes, join(1.2, taper(t.from, t.to, 0.94*t.ra, 0.92*t.rb), egg3(bulb, v(t.rb, t.rb, 1.12*t.rb))))
	}
	skin := join(2.4, foot, join(1.5, toes...))
	if f.Plain {
		return skin
	}
	return f.detail(skin)
}

// detail adds nails, lines under the toes and on the sole.
func (f Foot) detail(skin Field) Field {
	var nails []Field
	var lines []*line
	for _, t := range f.toes() {
		r := t.rb
		c := t.to.Add(v(0, 0.30*r, -0.76*r))
		fr := Frame{c, v(1, 0, 0), v(0, 1, 0), v(0, 0, 1)}.turned(0, 28)
		nails = append(nails, egg3(fr, v(0.66*r, 0.56*r, 0.26*r)))
		at := func(x, y float64) geom.Vec { return fr.World(v(x*r, y*r, -0.5*r)) }
		lines = append(lines, drawn(skin, 0.45, 0.2, at(-0.66, 0.35), at(-0.6, -0.4), at(0, -0.68), at(0.6, -0.4), at(0.66, 0.35)))
		mid := t.from.Add(t.to).Mul(0.5)
		under := func(x float64) geom.Vec { return mid.Add(v(x*r, -0.3, 1.2*r)) }
		lines = append(lines, drawn(skin, 0.7, 0.3, under(-0.8), under(0), under(0.8)))
	}
	sole := func(x, y float64) geom.Vec { return v(x, y, 24) }
	lines = append(lines,
		drawn(skin, 1.2, 0.4, sole(9, 22), sole(2, 19), sole(-6, 17)),
		drawn(skin, 1.2, 0.4, sole(8, 15), sole(2, 12), sole(-5, 11)),
	)
	return engrave(join(0.35, append([]Field{skin}, nails...)...), lines...)
}
