package geom

import "math"

// Sight is a scan as its scanner saw it: a coarse picture of depths. What
// another scan puts in front of it cannot be there, for the scanner would have
// seen that instead.
type Sight struct {
	eye      Vec
	parallel bool // all rays along Z; else from eye
	x, y, z  Vec
	step     float64 // side of a cell: mm, or for rays from an eye the tangent
	low      [2]float64
	w, h     int
	depth    []float32 // nearest in each cell, +Inf where nothing was seen
	slack    float64   // mm
}

// NewSight finds out from where c was seen and draws what was. The zero of the
// scan's frame is taken for the eye where nearly all the skin faces it, as the
// frames of most scanners have it; else the rays run parallel to the frame's
// own z, if nearly all the skin faces along that; else along the mean normal.
func NewSight(c *Cloud) *Sight {
	s := &Sight{slack: 3 * c.Spacing}
	s.stand(c)
	s.frame()
	s.draw(c)
	return s
}

// faces is the share of the skin that must face the eye; range scanners see
// none that does not, and thinning blurs a little.
const faces = 0.97

func (s *Sight) stand(c *Cloud) {
	box := EmptyBox()
	var toZero, up, sum float64
	var mean Vec
	for i, p := range c.Points {
		n := c.Normals[i].Vec()
		box = box.Include(p.Vec())
		mean = mean.Add(n)
		sum++
		if n.Dot(p.Vec()) < 0 {
			toZero++
		}
		if n.Z > 0 {
			up++
		}
	}
	mid := c.Middle()
	switch {
	case toZero >= faces*sum && mid.Len() > box.Size().Len():
		s.z = mid.Unit()
	case up >= faces*sum:
		s.parallel, s.z = true, Vec{0, 0, -1}
	case up <= (1-faces)*sum:
		s.parallel, s.z = true, Vec{0, 0, 1}
	default:
		s.parallel, s.z = true, mean.Unit().Mul(-1)
	}
}

func (s *Sight) frame() {
	s.x = s.z.Cross(Vec{1, 0, 0})
	if math.Abs(s.z.X) > 0.7 {
		s.x = s.z.Cross(Vec{0, 1, 0})
	}
	s.x = s.x.Unit()
	s.y = s.z.Cross(s.x)
}

// onto returns where p appears and how deep it lies, mm; false behind the eye.
func (s *Sight) onto(p Vec) (u, v, depth float64, ok bool) {
	d := p.Sub(s.eye)
	u, v, depth = d.Dot(s.x), d.Dot(s.y), d.Dot(s.z)
	if s.parallel {
		return u, v, depth, true
	}
	if depth <= 0 {
		return 0, 0, 0, false
	}
	return u / depth, v / depth, depth, true
}

func (s *Sight) draw(c *Cloud) {
	s.step = 1.5 * c.Spacing
	if !s.parallel {
		s.step /= c.Middle().Sub(s.eye).Len()
	}
	lo, hi := [2]float64{math.Inf(1), math.Inf(1)}, [2]float64{math.Inf(-1), math.Inf(-1)}
	for _, p := range c.Points {
		if u, v, _, ok := s.onto(p.Vec()); ok {
			lo, hi = [2]float64{min(lo[0], u), min(lo[1], v)}, [2]float64{max(hi[0], u), max(hi[1], v)}
		}
	}
	s.low = lo
	w, h := (hi[0]-lo[0])/s.step+1, (hi[1]-lo[1])/s.step+1
	if !(w > 0 && h > 0 && w*h < 4e6) { // nothing to see, or strays all over space
		return
	}
	s.w, s.h = int(w), int(h)
	s.depth = make([]float32, s.w*s.h)
	for i := range s.depth {
		s.depth[i] = float32(math.Inf(1))
	}
	for _, p := range c.Points {
		if x, y, d, ok := s.cell(p.Vec()); ok {
			k := y*s.w + x
			s.depth[k] = min(s.depth[k], float32(d))
		}
	}
}

func (s *Sight) cell(p Vec) (x, y int, depth float64, ok bool) {
	u, v, d, ok := s.onto(p)
	fx, fy := (u-s.low[0])/s.step, (v-s.low[1])/s.step
	if !ok || !(fx >= 0 && fy >= 0 && fx < float64(s.w) && fy < float64(s.h)) {
		return 0, 0, 0, false
	}
	return int(fx), int(fy), d, true
}

// InFront returns how far p, in the scan's own frame, hangs in front of the
// skin that was seen there, less three spacings of the cloud, mm; false where
// nothing was seen, or at its edge. Above zero p cannot be.
func (s *Sight) InFront(p Vec) (float64, bool) {
	x, y, d, ok := s.cell(p)
	if !ok || x < 1 || y < 1 || x >= s.w-1 || y >= s.h-1 {
		return 0, false
	}
	nearest := float32(math.Inf(1))
	for _, k := range [9]int{0, -1, 1, -s.w, s.w, -s.w - 1, -s.w + 1, s.w - 1, s.w + 1} {
		z := s.depth[y*s.w+x+k]
		if math.IsInf(float64(z), 1) {
			return 0, false
		}
		nearest = min(nearest, z)
	}
	return float64(nearest) - d - s.slack, true
}
