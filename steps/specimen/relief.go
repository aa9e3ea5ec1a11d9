package specimen

import (
	"math"

	"layette/steps/internal/geom"
)

// A line is a furrow drawn on skin (or, with a negative depth, a ridge): a
// polyline with a depth at each of its points and one half width. Across it
// the depth falls as (1-(d/w)²)³, so that it ends exactly at w.
type line struct {
	pts   []geom.Vec
	depth []float64 // mm at each point
	w     float64   // half width, mm
	deep  float64   // greatest |depth|
	c     geom.Vec  // ball that holds the points
	r     float64
}

func newLine(w float64, pts []geom.Vec, depth []float64) *line {
	l := &line{pts: pts, depth: depth, w: w}
	box := geom.EmptyBox()
	for i, p := range pts {
		box = box.Include(p)
		l.deep = max(l.deep, math.Abs(depth[i]))
	}
	l.c = box.Centre()
	for _, p := range pts {
		l.r = max(l.r, p.Sub(l.c).Len())
	}
	return l
}

// nearest returns the squared distance from p to the line, the vector from
// its nearest point to p, and depth and its change per mm along the way there.
func (l *line) nearest(p geom.Vec) (d2 float64, v geom.Vec, depth float64, along geom.Vec) {
	d2 = math.Inf(1)
	for i := 1; i < len(l.pts); i++ {
		a := l.pts[i-1]
		ab := l.pts[i].Sub(a)
		n := ab.Len2()
		t := 0.0
		if n > 0 {
			t = min(max(p.Sub(a).Dot(ab)/n, 0), 1)
		}
		w := p.Sub(a).Sub(ab.Mul(t))
		if e := w.Len2(); e < d2 {
			d2, v = e, w
			rise := l.depth[i] - l.depth[i-1]
			depth = l.depth[i-1] + float64(rise*t)
			along = geom.Vec{}
			if t > 0 && t < 1 {
				along = ab.Mul(rise / n)
			}
		}
	}
	return d2, v, depth, along
}

// at returns the furrow's depth at p and its gradient.
func (l *line) at(p geom.Vec) (float64, geom.Vec) {
	if reach := l.r + l.w; p.Sub(l.c).Len2() >= float64(reach*reach) {
		return 0, geom.Vec{}
	}
	d2, v, depth, along := l.nearest(p)
	x := 1 - d2/float64(l.w*l.w)
	if x <= 0 {
		return 0, geom.Vec{}
	}
	x2 := float64(x * x)
	fall := float64(x2 * x)
	g := v.Mul(-6 * x2 * depth / float64(l.w*l.w))
	return depth * fall, g.Add(along.Mul(fall))
}

// reaches reports whether the line may touch the ball.
func (l *line) reaches(c geom.Vec, r float64) bool {
	if reach := l.r + l.w + r + slack; c.Sub(l.c).Len2() > float64(reach*reach) {
		return false
	}
	d2, _, _, _ := l.nearest(c)
	reach := l.w + r + slack
	return d2 <= float64(reach*reach)
}

// within returns the part of the line that the ball can feel.
func (l *line) within(c geom.Vec, r float64) *line {
	d2, _, _, _ := l.nearest(c)
	// The nearest point of the line to any point of the ball is at most this
	// far from c.
	reach := math.Sqrt(d2) + 2*r + slack
	lo, hi := -1, -1
	for i := 1; i < len(l.pts); i++ {
		if segmentDistance(c, l.pts[i-1], l.pts[i]) <= reach {
			if lo < 0 {
				lo = i - 1
			}
			hi = i
		}
	}
	if lo <= 0 && hi == len(l.pts)-1 {
		return l
	}
	return newLine(l.w, l.pts[lo:hi+1], l.depth[lo:hi+1])
}

func segmentDistance(p, a, b geom.Vec) float64 {
	ab := b.Sub(a)
	t := 0.0
	if n := ab.Len2(); n > 0 {
		t = min(max(p.Sub(a).Dot(ab)/n, 0), 1)
	}
	return p.Sub(a).Sub(ab.Mul(t)).Len()
}

// lined is a solid with furrows in its skin.
type lined struct {
	f     Field
	lines []*line
}

func engrave(f Field, lines ...*line) Field { return &lined{f, lines} }

func (e *lined) At(p geom.Vec) (float64, geom.Vec) {
	d, g := e.f.At(p)
	for _, l := range e.lines {
		if x, gx := l.at(p); x != 0 {
			d += x
			g = g.Add(gx)
		}
	}
	return d, g
}

func (e *lined) Range(c geom.Vec, r float64) (lo, hi float64) {
	lo, hi = e.f.Range(c, r)
	for _, l := range e.lines {
		if l.reaches(c, r) {
			lo, hi = lo-l.deep, hi+l.deep
		}
	}
	return lo, hi
}

func (e *lined) Within(c geom.Vec, r float64) Field {
	var lines []*line
	for _, l := range e.lines {
		if l.reaches(c, r) {
			lines = append(lines, l.within(c, r))
		}
	}
	if len(lines) == 0 {
		return e.f.Within(c, r)
	}
	return &lined{e.f.Within(c, r), lines}
}

func (e *lined) Bounds() geom.Box {
	b := e.f.Bounds()
	deep := 0.0
	for _, l := range e.lines {
		deep = max(deep, l.deep)
	}
	return grow(b, deep)
}

// drawn lays a curve through the given points, rounds it (Catmull-Rom, eight
// pieces a span) and moves it onto the skin of f. Its depth, mm, is full in
// the middle and falls to nothing over the first and last fifth.
func drawn(f Field, w, depth float64, pts ...geom.Vec) *line {
	var path []geom.Vec
	for _, p := range curve(pts, 8) {
		path = append(path, toward(f, p))
	}
	d := make([]float64, len(path))
	for i := range d {
		x := float64(i) / float64(len(d)-1)
		d[i] = depth * min(1, 5*min(x, 1-x))
	}
	return newLine(w, path, d)
}

// ringed lays a closed furrow around the skin where it crosses a plane: round
// the axis through o along axis, found by rays from o.
func ringed(f Field, w, depth float64, o, axis geom.Vec) *line {
	fr := looking(o, axis)
	const n = 48
	pts := make([]geom.Vec, n+1)
	d := make([]float64, n+1)
	for i := range pts {
		c, s := cosSin(float64(i%n) * 360 / n)
		pts[i] = outward(f, o, fr.X.Mul(c).Add(fr.Y.Mul(s)))
		d[i] = depth
	}
	return newLine(w, pts, d)
}

// outward returns where the ray from o inside f first leaves it.
func outward(f Field, o, dir geom.Vec) geom.Vec {
	lo, hi := 0.0, 0.5
	for hi < 200 {
		d, _ := f.At(o.Add(dir.Mul(hi)))
		if d > 0 {
			break
		}
		lo = hi
		hi += max(0.5, -d/2) // inside, the skin is no nearer than the value says
	}
	for range 50 {
		mid := (lo + hi) / 2
		if d, _ := f.At(o.Add(dir.Mul(mid))); d > 0 {
			hi = mid
		} else {
			lo = mid
		}
	}
	return o.Add(dir.Mul(hi))
}

// curve returns points on the Catmull-Rom curve through pts, n per span.
func curve(pts []geom.Vec, n int) []geom.Vec {
	if len(pts) < 3 {
		return pts
	}
	get := func(i int) geom.Vec { return pts[min(max(i, 0), len(pts)-1)] }
	var out []geom.Vec
	for i := range len(pts) - 1 {
		p0, p1, p2, p3 := get(i-1), get(i), get(i+1), get(i+2)
		for j := range n {
			t := float64(j) / float64(n)
			t2 := float64(t * t)
			t3 := float64(t2 * t)
			v := p1.Mul(2).
				Add(p2.Sub(p0).Mul(t)).
				Add(p0.Mul(2).Sub(p1.Mul(5)).Add(p2.Mul(4)).Sub(p3).Mul(t2)).
				Add(p1.Mul(3).Sub(p0).Sub(p2.Mul(3)).Add(p3).Mul(t3))
			out = append(out, v.Mul(0.5))
		}
	}
	return append(out, pts[len(pts)-1])
}
