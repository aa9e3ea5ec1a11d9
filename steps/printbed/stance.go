package printbed

import (
	"cmp"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// printer is what the recipe says of the printer.
type printer struct {
	room     geom.Vec // mm, the border taken off
	layer    float64
	steepest float64 // sine of the overhang that needs no support
	density  float64 // g/cm³
}

func newPrinter(v step.Values) *printer {
	side := func(name string) float64 {
		x, _ := v.Table("bed").Get(name)
		return x.(float64)
	}
	edge := 2 * v.Float("edge")
	return &printer{
		room:  geom.Vec{X: side("x") - edge, Y: side("y") - edge, Z: side("z")},
		layer: v.Float("layer"), density: v.Float("density"),
		steepest: math.Sin(v.Float("overhang") * math.Pi / 180),
	}
}

// stance is a way a piece stands by itself.
type stance struct {
	turn    geom.Mat // brings it upright, and about the upright to fit the bed
	fits    bool
	height  float64 // mm
	contact float64 // area of the first layer, mm²
	over    float64 // skin that hangs over, mm²
}

// mostStances bounds how many are looked at closely; a smooth body stands on
// more facets than are worth the time.
const mostStances = 16

// stances returns the ways the piece stands, those with the lowest centre of
// mass first: they are the steadiest.
func (p *printer) stances(m *geom.Mesh) ([]geom.Mat, *geom.Hull, error) {
	pts := make([]geom.Vec, len(m.Verts))
	for i, v := range m.Verts {
		pts[i] = v.Vec()
	}
	h, err := geom.ConvexHull(pts, 0.01)
	if err != nil {
		return nil, nil, err
	}
	type way struct {
		down geom.Vec
		high float64
	}
	var ways []way
	c := centreOfMass(m)
	for _, f := range h.Facets {
		a, b, d := h.Points[f[0]], h.Points[f[1]], h.Points[f[2]]
		n := b.Sub(a).Cross(d.Sub(a)).Unit()
		high := n.Dot(a.Sub(c))
		if over(c.Add(n.Mul(high)), a, b, d, n) && steady(h, c, n, high) {
			ways = append(ways, way{n, high})
		}
	}
	slices.SortStableFunc(ways, func(a, b way) int { return cmp.Compare(a.high, b.high) })
	var turns []geom.Mat
	var seen []geom.Vec
	for _, w := range ways {
		if len(turns) == mostStances {
			break
		}
		if slices.ContainsFunc(seen, func(d geom.Vec) bool { return d.Dot(w.down) > 0.9998 }) { // within about a degree
			continue
		}
		seen = append(seen, w.down)
		turns = append(turns, upright(w.down))
	}
	return turns, h, nil
}

// steady reports whether tilting the piece by five degrees to any of eight
// sides lifts its centre of mass: a lens on its rim stands on a facet too, and
// falls.
func steady(h *geom.Hull, c, down geom.Vec, high float64) bool {
	frame := upright(down)
	x, y := rowOf(frame, 0), rowOf(frame, 1)
	const tilt = 0.0875 // tangent of five degrees
	sides := [8][2]float64{{1, 0}, {0.7, 0.7}, {0, 1}, {-0.7, 0.7}, {-1, 0}, {-0.7, -0.7}, {0, -1}, {0.7, -0.7}}
	for _, s := range sides {
		d := down.Add(x.Mul(tilt * s[0])).Add(y.Mul(tilt * s[1])).Unit()
		far := math.Inf(-1)
		for _, p := range h.Points {
			far = max(far, d.Dot(p.Sub(c)))
		}
		if far < high*(1-1e-4) {
			return false
		}
	}
	return true
}

func rowOf(m geom.Mat, i int) geom.Vec { return geom.Vec{X: m[i][0], Y: m[i][1], Z: m[i][2]} }

// over reports whether p, in the plane of the triangle, lies in it.
func over(p, a, b, c, n geom.Vec) bool {
	const slack = -1e-6 // mm²: a centre of mass over an edge counts for both sides
	return n.Dot(b.Sub(a).Cross(p.Sub(a))) >= slack && n.Dot(c.Sub(b).Cross(p.Sub(b))) >= slack && n.Dot(a.Sub(c).Cross(p.Sub(c))) >= slack
}

// centreOfMass of the solid m bounds; of its skin where it bounds none.
func centreOfMass(m *geom.Mesh) geom.Vec {
	o := m.Bounds().Centre()
	var x, y, z, total geom.Sum
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		a, b, c = a.Sub(o), b.Sub(o), c.Sub(o)
		v := a.Dot(b.Cross(c))
		s := a.Add(b).Add(c)
		x.Add(float64(v * s.X))
		y.Add(float64(v * s.Y))
		z.Add(float64(v * s.Z))
		total.Add(v)
	}
	k := 4 * total.Total()
	if k == 0 {
		return o
	}
	return o.Add(geom.Vec{X: x.Total() / k, Y: y.Total() / k, Z: z.Total() / k})
}

// upright returns a turn that brings down to point down.
func upright(down geom.Vec) geom.Mat {
	up := down.Mul(-1)
	side := geom.Vec{X: 1}
	if math.Abs(up.X) > 0.6 {
		side = geom.Vec{Y: 1}
	}
	x := side.Sub(up.Mul(up.Dot(side))).Unit()
	y := up.Cross(x)
	return geom.Mat{{x.X, x.Y, x.Z}, {y.X, y.Y, y.Z}, {up.X, up.Y, up.Z}}
}

// best takes the way that fits and hangs over least.
func (p *printer) best(m *geom.Mesh, h *geom.Hull, turns []geom.Mat) stance {
	var best stance
	for i, turn := range turns {
		s := p.look(m, h, turn)
		if i == 0 || better(s, best) {
			best = s
		}
	}
	return best
}

func better(a, b stance) bool {
	switch {
	case a.fits != b.fits:
		return a.fits
	case math.Abs(a.over-b.over) > 0.02*(a.over+b.over): // 2 % more or less of skin decides nothing
		return a.over < b.over
	}
	return a.height < b.height
}

// look measures one way of standing.
func (p *printer) look(m *geom.Mesh, h *geom.Hull, turn geom.Mat) stance {
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range m.Verts {
		z := turn.Apply(v.Vec()).Z
		low, high = min(low, z), max(high, z)
	}
	s := stance{turn: turn, height: high - low}
	var over, flux geom.Sum
	up := geom.Vec{X: turn[2][0], Y: turn[2][1], Z: turn[2][2]}
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		n := b.Sub(a).Cross(c.Sub(a)).Mul(0.5)
		down, area := -up.Dot(n), n.Len()
		za, zb, zc := up.Dot(a)-low, up.Dot(b)-low, up.Dot(c)-low
		if share := below(za, zb, zc, p.layer); share > 0 {
			flux.Add(float64(down * share))
		} else if down > float64(p.steepest*area) {
			over.Add(area)
		}
	}
	s.over, s.contact = over.Total(), flux.Total()
	about, wide := p.turned(h, turn)
	s.turn = about.Mul(turn)
	s.fits = s.height <= p.room.Z && wide
	return s
}

// below returns the share of a triangle's area that lies under height h.
func below(a, b, c, h float64) float64 {
	z := [3]float64{a, b, c}
	slices.Sort(z[:])
	switch {
	case z[2] <= h:
		return 1
	case z[0] >= h:
		return 0
	case z[1] <= h:
		return 1 - (z[2]-h)*(z[2]-h)/float64((z[2]-z[0])*(z[2]-z[1]))
	}
	return (h - z[0]) * (h - z[0]) / float64((z[1]-z[0])*(z[2]-z[0]))
}

// turned seeks a turn about the upright with which the piece fits the bed; if
// there is none, the one that comes nearest. Tried are half degrees and every
// side of the outline laid along the bed, which is where a box fits best.
func (p *printer) turned(h *geom.Hull, turn geom.Mat) (geom.Mat, bool) {
	outline := outlineOf(h, turn)
	best, least := geom.Identity, p.proud(outline, 1, 0)
	try := func(c, s float64) {
		if proud := p.proud(outline, c, s); proud < least-1e-9 {
			least, best = proud, geom.Mat{{c, -s, 0}, {s, c, 0}, {0, 0, 1}}
		}
	}
	for i := 1; i < 360 && least > 0; i++ { // half degrees, to 180
		a := math.Pi * float64(i) / 360
		try(math.Round(math.Cos(a)*1e12)/1e12, math.Round(math.Sin(a)*1e12)/1e12) // the last bits differ between processors
	}
	for i := 0; i < len(outline) && least > 0; i++ {
		side := outline[(i+1)%len(outline)].Sub(outline[i])
		side.Z = 0
		u := side.Unit()
		if (u == geom.Vec{}) {
			continue
		}
		try(u.X, -u.Y)
		try(u.Y, u.X)
	}
	return best, least <= 0
}

// proud returns how far the outline, turned by cosine c and sine s, stands over
// the bed; 0 or less if it fits.
func (p *printer) proud(outline []geom.Vec, c, s float64) float64 {
	x0, x1, y0, y1 := math.Inf(1), math.Inf(-1), math.Inf(1), math.Inf(-1)
	for _, q := range outline {
		x, y := float64(c*q.X)-float64(s*q.Y), float64(s*q.X)+float64(c*q.Y)
		x0, x1, y0, y1 = min(x0, x), max(x1, x), min(y0, y), max(y1, y)
	}
	return max((x1-x0)-p.room.X, (y1-y0)-p.room.Y)
}

// outlineOf returns the corners of the convex outline of the piece seen from
// above (A. M. Andrew, "Another efficient algorithm for convex hulls in two
// dimensions", 1979; from memory).
func outlineOf(h *geom.Hull, turn geom.Mat) []geom.Vec {
	pts := make([]geom.Vec, len(h.Points))
	for i, v := range h.Points {
		pts[i] = turn.Apply(v)
	}
	slices.SortFunc(pts, func(a, b geom.Vec) int { return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y)) })
	half := func(chain []geom.Vec, p geom.Vec, least int) []geom.Vec {
		for len(chain) >= least {
			a, b := chain[len(chain)-2], chain[len(chain)-1]
			if float64((b.X-a.X)*(p.Y-a.Y))-float64((b.Y-a.Y)*(p.X-a.X)) > 0 {
				break
			}
			chain = chain[:len(chain)-1]
		}
		return append(chain, p)
	}
	var chain []geom.Vec
	for _, p := range pts {
		chain = half(chain, p, 2)
	}
	lower := len(chain) + 1
	for _, p := range slices.Backward(pts) {
		chain = half(chain, p, lower)
	}
	return chain
}

// placed returns the piece as it stands, on the bed and in its middle.
func (s stance) placed(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{Tris: m.Tris, Verts: make([]geom.Point, len(m.Verts))}
	b := geom.EmptyBox()
	turned := make([]geom.Vec, len(m.Verts))
	for i, v := range m.Verts {
		turned[i] = s.turn.Apply(v.Vec())
		b = b.Include(turned[i])
	}
	foot := geom.Vec{X: b.Centre().X, Y: b.Centre().Y, Z: b.Min.Z}
	for i, v := range turned {
		out.Verts[i] = v.Sub(foot).Point()
	}
	return out
}
