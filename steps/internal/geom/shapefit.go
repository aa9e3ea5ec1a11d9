package geom

import "math"

// Plane is the plane of all p with Normal·p = Offset; Normal has length one.
type Plane struct {
	Normal Vec
	Offset float64 // mm
}

// Dist returns how far p lies on the normal's side of the plane, mm.
func (pl Plane) Dist(p Vec) float64 { return pl.Normal.Dot(p) - pl.Offset }

// FitPlane returns the plane with the least squared distances to pts and their
// RMS, mm. Its normal's sign is that of its largest coordinate, made positive.
// Points on one line leave it undetermined.
func FitPlane(pts []Vec, weights []float64) (Plane, float64, error) {
	c, total := meanOf(pts, weights)
	if len(pts) < 3 || total == 0 || !c.Finite() {
		return Plane{}, 0, ErrUndetermined
	}
	s, _, _ := covariance(pts, pts, weights, c, c)
	values, vectors := Eigen3(s)
	if !(values[1] > 1e-12*values[2]) {
		return Plane{}, 0, ErrUndetermined
	}
	n := vectors[0]
	big := n.X
	for _, x := range []float64{n.Y, n.Z} {
		if math.Abs(x) > math.Abs(big) {
			big = x
		}
	}
	if big < 0 {
		n = n.Mul(-1)
	}
	return Plane{n, n.Dot(c)}, math.Sqrt(max(values[0], 0) / total), nil
}

// Sphere is a ball's surface.
type Sphere struct {
	Centre Vec
	Radius float64 // mm
}

// Dist returns how far p lies outside the sphere, mm.
func (s Sphere) Dist(p Vec) float64 { return p.Sub(s.Centre).Len() - s.Radius }

// FitSphere returns the sphere with the least squared radial distances to pts
// (the geometric fit, not the algebraic one) and the standard deviation of
// those distances with divisor n, mm. Points on one plane leave it
// undetermined.
//
// It starts from the algebraic fit, which minimises the sum of
// (|p|² - 2 p·c - k)², and goes on by Gauss and Newton; textbook method, from
// memory.
func FitSphere(pts []Vec) (Sphere, float64, error) {
	s, err := algebraicSphere(pts)
	if err != nil {
		return Sphere{}, 0, err
	}
	for range 50 {
		next, ok := sphereStep(pts, s)
		if !ok {
			return Sphere{}, 0, ErrUndetermined
		}
		moved := next.Centre.Sub(s.Centre).Len() + math.Abs(next.Radius-s.Radius)
		s = next
		if moved <= 1e-13*(1+s.Radius) {
			break
		}
	}
	var left Sum
	for _, p := range pts {
		d := s.Dist(p)
		left.Add(float64(d * d))
	}
	return s, math.Sqrt(left.Total() / float64(len(pts))), nil
}

func algebraicSphere(pts []Vec) (Sphere, error) {
	c, _ := meanOf(pts, nil)
	if len(pts) < 4 || !c.Finite() {
		return Sphere{}, ErrUndetermined
	}
	var m [4][5]float64
	for _, p := range pts {
		q := p.Sub(c)
		addRow(&m, [4]float64{2 * q.X, 2 * q.Y, 2 * q.Z, 1}, q.Len2())
	}
	x, ok := solve4(m)
	if !ok {
		return Sphere{}, ErrUndetermined
	}
	centre := Vec{x[0], x[1], x[2]}
	return Sphere{centre.Add(c), math.Sqrt(max(x[3]+centre.Len2(), 0))}, nil
}

// sphereStep is one step of Gauss and Newton on the radial distances.
func sphereStep(pts []Vec, s Sphere) (Sphere, bool) {
	var m [4][5]float64
	for _, p := range pts {
		d := p.Sub(s.Centre)
		r := d.Len()
		if r == 0 {
			continue
		}
		u := d.Mul(1 / r)
		addRow(&m, [4]float64{u.X, u.Y, u.Z, 1}, r-s.Radius)
	}
	x, ok := solve4(m)
	return Sphere{s.Centre.Add(Vec{x[0], x[1], x[2]}), s.Radius + x[3]}, ok
}

// addRow adds one equation a·x = b to the normal equations m.
func addRow(m *[4][5]float64, a [4]float64, b float64) {
	for i := range 4 {
		for j := range 4 {
			m[i][j] += float64(a[i] * a[j])
		}
		m[i][4] += float64(a[i] * b)
	}
}

// solve4 solves four equations by elimination with pivots; false if they do
// not determine the unknowns.
func solve4(m [4][5]float64) ([4]float64, bool) {
	var scale float64
	for i := range 4 {
		scale = max(scale, math.Abs(m[i][i]))
	}
	for c := range 4 {
		p := c
		for r := c + 1; r < 4; r++ {
			if math.Abs(m[r][c]) > math.Abs(m[p][c]) {
				p = r
			}
		}
		m[c], m[p] = m[p], m[c]
		if !(math.Abs(m[c][c]) > 1e-12*scale) {
			return [4]float64{}, false
		}
		for r := range 4 {
			if r == c {
				continue
			}
			k := m[r][c] / m[c][c]
			for j := c; j < 5; j++ {
				m[r][j] -= float64(k * m[c][j])
			}
		}
	}
	return [4]float64{m[0][4] / m[0][0], m[1][4] / m[1][1], m[2][4] / m[2][2], m[3][4] / m[3][3]}, true
}
