package smallparts

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// search looks for a turn that brings the points into the gauge.
type search struct {
	ctx   context.Context
	gauge Gauge
	pts   []geom.Vec
	slope float64   // how the floor falls, mm a mm; 0 for the pipe
	far2  []float64 // squared distance of each from the middle, mm²
	flat  []disc
}

// cell is a cube of turns: quaternions with one part fixed at 1 and the other
// three within half of at. Four such cubes hold every turn.
type cell struct {
	face int
	at   [3]float64
	half float64
}

func (c cell) turn() geom.Mat {
	q := [4]float64{}
	q[c.face] = 1
	for i, k := 0, 0; i < 4; i++ {
		if i != c.face {
			q[i] = c.at[k]
			k++
		}
	}
	return geom.Quaternion{W: q[0], X: q[1], Y: q[2], Z: q[3]}.Rot()
}

// angle bounds how far any turn of the cell lies from its middle, radians: the
// cube's half diagonal as seen on the sphere of quaternions, doubled. Seen from
// the sphere's middle, what lies farther out looks smaller.
func (c cell) angle() float64 {
	diagonal := math.Sqrt(3) * c.half
	out := math.Sqrt(1 + float64(c.at[0]*c.at[0]) + float64(c.at[1]*c.at[1]) + float64(c.at[2]*c.at[2]))
	return 2 * diagonal / max(1, out-diagonal)
}

func (c cell) split() [8]cell {
	var out [8]cell
	for i := range out {
		d := cell{c.face, c.at, c.half / 2}
		for k := range 3 {
			if i>>k&1 == 0 {
				d.at[k] -= d.half
			} else {
				d.at[k] += d.half
			}
		}
		out[i] = d
	}
	return out
}

// smallest is the half width below which a cell that cannot be left out is
// given up: its turns differ by less than the allowance at the reach of a body
// that could fit.
const smallest = 1e-5

// run searches breadth first, so that a body that fits easily is found soon.
func (s *search) run() Placed {
	if !s.entersPipe() {
		return Placed{Outside, geom.Identity}
	}
	cells := []cell{{face: 0, half: 1}, {face: 1, half: 1}, {face: 2, half: 1}, {face: 3, half: 1}}
	seen := 0
	for len(cells) > 0 {
		var next []cell
		for _, c := range cells {
			if seen++; seen > mostCells || s.ctx.Err() != nil {
				return Placed{Undecided, geom.Identity}
			}
			turn := c.turn()
			if !s.fits(turn, allowance, c.angle()) {
				continue
			}
			if s.fits(turn, allowance, 0) {
				return Placed{Inside, turn}
			}
			if c.half < smallest {
				return Placed{Undecided, turn}
			}
			parts := c.split()
			next = append(next, parts[:]...)
		}
		cells = next
	}
	return Placed{Outside, geom.Identity}
}

// entersPipe reports whether the body goes into the gauge without its slope, a
// pipe as deep as the gauge's deepest place. Turning it about the pipe's axis
// then makes no difference, so only the directions of the axis are searched:
// what fails here is left out a hundred times sooner.
func (s *search) entersPipe() bool {
	slope := s.slope
	s.slope = 0
	defer func() { s.slope = slope }()
	cells := []square{{face: 0, half: 1}, {face: 1, half: 1}, {face: 2, half: 1}}
	for len(cells) > 0 {
		var next []square
		for _, c := range cells {
			turn := c.turn()
			if !s.fits(turn, allowance, c.angle()) {
				continue
			}
			if c.half < smallest || s.fits(turn, allowance, 0) {
				return true
			}
			next = append(next, c.split()...)
		}
		if len(next) > mostCells || s.ctx.Err() != nil {
			return true
		}
		cells = next
	}
	return false
}

// square is a square of directions on a face of a cube; up and down are alike,
// so three faces hold them all.
type square struct {
	face int
	at   [2]float64
	half float64
}

// turn brings the square's middle upright.
func (c square) turn() geom.Mat {
	d := [3]float64{}
	d[c.face] = 1
	d[(c.face+1)%3], d[(c.face+2)%3] = c.at[0], c.at[1]
	u := geom.Vec{X: d[0], Y: d[1], Z: d[2]}.Unit()
	side := geom.Vec{X: 1}
	if math.Abs(u.X) > 0.6 {
		side = geom.Vec{Y: 1}
	}
	x := side.Sub(u.Mul(u.Dot(side))).Unit()
	y := u.Cross(x)
	return geom.Mat{{x.X, x.Y, x.Z}, {y.X, y.Y, y.Z}, {u.X, u.Y, u.Z}}
}

// angle bounds how far the square's directions lie from its middle, radians.
func (c square) angle() float64 {
	diagonal := math.Sqrt2 * c.half
	out := math.Sqrt(1 + float64(c.at[0]*c.at[0]) + float64(c.at[1]*c.at[1]))
	return diagonal / max(1, out-diagonal)
}

func (c square) split() []square {
	h := c.half / 2
	x, y := c.at[0], c.at[1]
	return []square{{c.face, [2]float64{x - h, y - h}, h}, {c.face, [2]float64{x + h, y - h}, h},
		{c.face, [2]float64{x - h, y + h}, h}, {c.face, [2]float64{x + h, y + h}, h}}
}

// fits reports whether the points, turned, can be moved into a gauge that is
// wider by margin on every side, if besides each may be turned further by angle
// about the body's middle, on its own: then it moves by no more than angle times
// its distance, and its height by angle times its distance from the upright and
// half of angle² times its distance.
//
// Let q be the points seen along the axis, h their heights. Raised to the rim,
// the body needs a shift t with |q + t| <= R for all and, for the sloping floor,
// t.x at least some number. So the shift farthest to the deep side is sought
// among those that keep all q within the circle.
func (s *search) fits(turn geom.Mat, margin, angle float64) bool {
	g := s.gauge
	k := s.slope
	norm := math.Sqrt(1 + float64(k*k))
	s.flat = s.flat[:0]
	top, low := math.Inf(-1), math.Inf(1)
	for i, p := range s.pts {
		v := turn.Apply(p)
		far2 := s.far2[i]
		sway := angle * math.Sqrt(far2)
		bend := float64(angle*sway) / 2 // what the arc adds to its tangent
		rise := bend + angle*math.Sqrt(max(0, far2-float64(v.Z*v.Z)))
		floor := v.Z + float64(k*v.X)
		drop := norm*bend + angle*norm*math.Sqrt(max(0, far2-float64(floor*floor)/float64(norm*norm)))
		top = max(top, v.Z-rise)
		low = min(low, floor+drop)
		s.flat = append(s.flat, disc{-v.X, -v.Y, g.Diameter/2 + margin + sway})
	}
	// Floor: z + t.z >= -(Shallow + k (x + t.x + D/2)), t.z = margin - top.
	need := math.Inf(-1)
	if k > 0 {
		need = (top-low-float64(margin*norm)-margin-g.Shallow)/k - g.Diameter/2
	} else if top-low > g.Deep+2*margin {
		return false
	}
	t, ok := farthest(s.flat, need)
	return ok && t >= need
}

// disc is where a shift keeps one point within the circle.
type disc struct{ x, y, r float64 }

func (d disc) holds(p [2]float64, slack float64) bool {
	dx, dy := p[0]-d.x, p[1]-d.y
	return float64(dx*dx)+float64(dy*dy) <= d.r*d.r*(1+slack)
}

// farthest returns the greatest x of a place that all discs share; false if
// there is none, or none with x >= need.
//
// The place is kept disc by disc: if a disc leaves it out, the new one lies on
// that disc's rim (R. Seidel's incremental linear programming, 1991, with discs
// for half planes; from memory).
func farthest(discs []disc, need float64) (float64, bool) {
	best := [2]float64{discs[0].x + discs[0].r, discs[0].y}
	for i, d := range discs {
		if d.holds(best, 1e-12) {
			continue
		}
		var ok bool
		if best, ok = onRim(discs[:i], d); !ok || best[0] < need {
			return 0, false
		}
	}
	return best[0], true
}

// onRim returns the rightmost place on the rim of d that all discs share.
func onRim(discs []disc, d disc) ([2]float64, bool) {
	inAll := func(p [2]float64) bool {
		for _, e := range discs {
			if !e.holds(p, 1e-9) {
				return false
			}
		}
		return true
	}
	if p := [2]float64{d.x + d.r, d.y}; inAll(p) {
		return p, true
	}
	best, found := [2]float64{math.Inf(-1)}, false
	for _, e := range discs {
		dx, dy := e.x-d.x, e.y-d.y
		d2 := float64(dx*dx) + float64(dy*dy)
		if d2 == 0 {
			continue
		}
		// The rims meet at a share a of the way from d to e, and u to either side.
		a := (d2 + float64(d.r*d.r) - float64(e.r*e.r)) / (2 * d2)
		rest := float64(d.r*d.r)/d2 - float64(a*a)
		if rest < 0 {
			if a > 0 && d2 > float64((d.r+e.r)*(d.r+e.r)) {
				return best, false // two discs that do not meet
			}
			continue
		}
		u := math.Sqrt(rest)
		for _, p := range [2][2]float64{
			{d.x + float64(a*dx) - float64(u*dy), d.y + float64(a*dy) + float64(u*dx)},
			{d.x + float64(a*dx) + float64(u*dy), d.y + float64(a*dy) - float64(u*dx)},
		} {
			if p[0] > best[0] && inAll(p) {
				best, found = p, true
			}
		}
	}
	return best, found
}
