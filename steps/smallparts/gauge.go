package smallparts

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// Gauge is the small-parts cylinder: upright, open above, its floor a plane
// that slopes from Shallow to Deep below the rim, mm.
type Gauge struct {
	Name     string
	Diameter float64
	Shallow  float64
	Deep     float64
}

// The gauges. 16 CFR 1501.4 gives inches, which govern; EN 71-1 and ISO 8124-1
// give millimetres.
var (
	Metric = Gauge{"31.7 mm (EN 71-1, ISO 8124-1)", 31.7, 25.4, 57.1}
	Inch   = Gauge{"1.25 in (16 CFR 1501.4)", 31.75, 25.4, 57.15}
)

// Volume returns what the gauge holds, mm³.
func (g Gauge) Volume() float64 {
	return math.Pi * g.Diameter * g.Diameter / 4 * (g.Shallow + g.Deep) / 2
}

// longest is the greatest distance between two places of the gauge: from the
// rim to the far edge of the floor.
func (g Gauge) longest() float64 { return math.Hypot(g.Diameter, g.Deep) }

// slope is how much the floor falls over a millimetre.
func (g Gauge) slope() float64 { return (g.Deep - g.Shallow) / g.Diameter }

// Answer says whether a body fits.
type Answer int

// A body fits wholly, does not, or so nearly does that no more can be told;
// the last is to be taken for a fit.
const (
	Outside Answer = iota
	Inside
	Undecided
)

func (a Answer) String() string { return [...]string{"does not fit", "fits", "cannot be told"}[a] }

// Placed is an answer with the turn that shows a fit.
type Placed struct {
	Answer Answer
	Turn   geom.Mat
}

// allowance is how far a body may stand proud and still count as inside: the
// rounding of a file's float32 and of a hull's corners, mm.
const allowance = 0.002

// mostCells bounds the search; each takes some microseconds.
const mostCells = 400_000

// Fits says whether a body with the given hull lies wholly within the gauge in
// some orientation, without being pressed.
//
// The hull may stand for the body because the gauge is convex. Orientations are
// searched by branch and bound: a cell of turns is left out when the body in the
// cell's middle, turned no farther than the cell reaches, stays outside; a turn
// that fits ends the search. So "fits" comes with a turn that proves it, "does
// not fit" with the whole space of turns left out.
func (g Gauge) Fits(ctx context.Context, h *geom.Hull) (Placed, error) {
	pts := centred(h)
	if g.tooLarge(h, pts) {
		return Placed{Outside, geom.Identity}, nil
	}
	s := search{ctx: ctx, gauge: g, pts: pts, slope: g.slope()}
	for _, p := range pts {
		s.far2 = append(s.far2, p.Len2())
	}
	placed := s.run()
	if ctx.Err() != nil {
		return Placed{}, context.Cause(ctx)
	}
	return placed, nil
}

// centred returns the hull's corners about the middle of their box.
func centred(h *geom.Hull) []geom.Vec {
	b := geom.EmptyBox()
	for _, p := range h.Points {
		b = b.Include(p)
	}
	pts := make([]geom.Vec, len(h.Points))
	for i, p := range h.Points {
		pts[i] = p.Sub(b.Centre())
	}
	return pts
}

// tooLarge leaves out at once what no turn can bring in: longer than the gauge,
// more than it holds, or with a ball inside that is wider than the cylinder.
func (g Gauge) tooLarge(h *geom.Hull, pts []geom.Vec) bool {
	return h.Volume() > g.Volume()*(1+1e-3) ||
		diameterOver(pts, g.longest()+2*allowance) ||
		innerBall(h) > g.Diameter/2+allowance
}

// diameterOver reports whether two points lie farther apart than d.
func diameterOver(pts []geom.Vec, d float64) bool {
	// Two points farther apart than d lie at least d/2 from the middle, one of them.
	for i, p := range pts {
		if p.Len() < d/2-1e-9 {
			continue
		}
		for j, q := range pts {
			if i != j && p.Sub(q).Len2() > d*d {
				return true
			}
		}
	}
	return false
}

// innerBall returns the radius of a ball inside the hull: nearly the largest,
// and never more than it. It climbs from the middle away from the nearest facet
// by steps that shrink.
func innerBall(h *geom.Hull) float64 {
	type half struct {
		n geom.Vec
		d float64
	}
	var sides []half
	c := geom.Vec{}
	for _, p := range h.Points {
		c = c.Add(p.Mul(1 / float64(len(h.Points))))
	}
	for _, f := range h.Facets {
		a, b, e := h.Points[f[0]], h.Points[f[1]], h.Points[f[2]]
		n := b.Sub(a).Cross(e.Sub(a)).Unit()
		sides = append(sides, half{n, n.Dot(a)})
	}
	radius := func(c geom.Vec) (float64, geom.Vec) {
		least, away := math.Inf(1), geom.Vec{}
		for _, s := range sides {
			if d := s.d - s.n.Dot(c); d < least {
				least, away = d, s.n.Mul(-1)
			}
		}
		return least, away
	}
	best, away := radius(c)
	for step := best; step > 1e-4; step *= 0.97 {
		next := c.Add(away.Mul(step * 0.1))
		r, to := radius(next)
		best = max(best, r)
		c, away = next, to
	}
	return best
}
