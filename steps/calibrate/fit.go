package calibrate

import (
	"context"
	"errors"
	"math"

	"layette/steps/internal/geom"
)

// terms is how many numbers the map from sample to master has: shift 3, linear
// 9, and so that they are not taken for shrinkage, bending of each axis towards
// each other 6 and twisting about each axis 3.
const (
	linear  = 12
	terms   = 21
	blocks  = 40 // pieces of skin that are left out in turn
	matched = 16 // how often partners are sought with all points
	roughly = 80 // and before that with a quarter of them
)

// warp takes a place of the sample, laid on the master, to where it was on the
// master: first unbent and untwisted, then stretched and shifted. Coefficients
// are lengths at the distance size from the centre, mm.
type warp struct {
	centre geom.Vec
	size   float64
	by     [terms]float64
}

// along returns v along an axis.
func along(axis int, v float64) geom.Vec {
	switch axis {
	case 0:
		return geom.Vec{X: v}
	case 1:
		return geom.Vec{Y: v}
	}
	return geom.Vec{Z: v}
}

// unbent returns u, in sizes, unbent and untwisted. Bending axis a towards b to
// an arc moves b by half u_a² and a by -u_a u_b, which stretches nothing along
// the middle; the terms of second order are those of the arc. Twisting about a
// turns each section by u_a.
func (w *warp) unbent(u geom.Vec) geom.Vec {
	x, k := [3]float64{u.X, u.Y, u.Z}, linear
	for a := range 3 {
		for b := range 3 {
			if a == b {
				continue
			}
			c, p, q := w.by[k]/w.size, x[a], x[b]
			pp, cc := float64(p*p), float64(c*c)
			x[a] += float64(cc*float64(p*(float64(q*q)-pp/3))) - float64(c*float64(p*q))
			x[b] += float64(c*pp)/2 - float64(cc*float64(pp*q))/2
			k++
		}
	}
	u = geom.Vec{X: x[0], Y: x[1], Z: x[2]}
	for a := range 3 {
		u = u.Add(along(a, 1).Cross(u).Mul(float64(w.by[k] / w.size * x[a])))
		k++
	}
	return u
}

// stretched returns the linear part's image of a direction.
func (w *warp) stretched(v geom.Vec) geom.Vec {
	x := [3]float64{v.X, v.Y, v.Z}
	for a := range 3 {
		for b := range 3 {
			v = v.Add(along(a, float64(w.by[3*(b+1)+a]/w.size*x[b])))
		}
	}
	return v
}

// ways returns how a small change of each coefficient moves the place p.
func (w *warp) ways(p geom.Vec) (ways [terms]geom.Vec) {
	u := p.Sub(w.centre).Mul(1 / w.size)
	v := w.unbent(u)
	x, y := [3]float64{u.X, u.Y, u.Z}, [3]float64{v.X, v.Y, v.Z}
	k := linear
	for a := range 3 {
		ways[a] = along(a, 1)
		for b := range 3 {
			ways[3*(b+1)+a] = along(a, y[b])
			if a != b {
				ways[k] = w.stretched(along(b, float64(x[a]*x[a])/2).Add(along(a, -float64(x[a]*x[b]))))
				k++
			}
		}
	}
	for a := range 3 {
		ways[k] = w.stretched(along(a, 1).Cross(u).Mul(x[a]))
		k++
	}
	return ways
}

// apply returns where p was on the master.
func (w *warp) apply(p geom.Vec) geom.Vec {
	v := w.unbent(p.Sub(w.centre).Mul(1 / w.size)).Mul(w.size)
	return w.centre.Add(w.stretched(v)).Add(geom.Vec{X: w.by[0], Y: w.by[1], Z: w.by[2]})
}

// stretch returns how much longer the master is than the sample along x, y and
// z of the master's frame, at its middle: the symmetric part of the linear map
// by polar decomposition.
func (w *warp) stretch() [3]float64 {
	m := geom.Identity
	for i := range 3 {
		for j := range 3 {
			m[i][j] += w.by[3*(j+1)+i] / w.size
		}
	}
	mm := m.Mul(m.Transposed())
	values, v := geom.Eigen([][]float64{mm[0][:], mm[1][:], mm[2][:]})
	var s [3]float64
	for i := range 3 {
		for k := range 3 {
			s[i] += float64(math.Sqrt(max(0, values[k])) * float64(v[k][i]*v[k][i]))
		}
	}
	return s
}

// bent returns how far bending and twisting move the skin at 95 of 100 of the
// points given, mm.
func (w *warp) bent(pts []geom.Vec) float64 {
	curved := *w
	for k := range linear {
		curved.by[k] = 0
	}
	var far []float64
	for i := 0; i < len(pts); i += 1 + len(pts)/4000 {
		far = append(far, curved.apply(pts[i]).Sub(pts[i]).Len())
	}
	sorted(far)
	return far[len(far)*95/100]
}

// normal holds normal equations.
type normal struct {
	a [terms][terms]float64
	b [terms]float64
}

func (n *normal) add(row *[terms]float64, rhs, w float64, k int) {
	for i := range k {
		wx := float64(w * row[i])
		n.b[i] += float64(wx * rhs)
		for j := 0; j <= i; j++ {
			n.a[i][j] += float64(wx * row[j])
		}
	}
}

// plus adds share of m.
func (n *normal) plus(m *normal, share float64) {
	for i := range n.a {
		n.b[i] += float64(share * m.b[i])
		for j := range n.a[i] {
			n.a[i][j] += float64(share * m.a[i][j])
		}
	}
}

// solve returns the first k numbers by Cholesky's method. A weak prior keeps
// those at zero that the shape does not fix.
func (n *normal) solve(k int) (x [terms]float64) {
	l := n.a
	for i := range k {
		weak := 1e-9
		if i >= linear {
			weak = 1e-6
		}
		l[i][i] += float64(weak*(n.a[0][0]+n.a[1][1]+n.a[2][2])) + 1e-300
	}
	for i := range k {
		for j := 0; j <= i; j++ {
			s := l[i][j]
			for q := range j {
				s -= float64(l[i][q] * l[j][q])
			}
			if i == j {
				l[i][i] = math.Sqrt(max(s, 1e-300))
			} else {
				l[i][j] = s / l[j][j]
			}
		}
	}
	for i := range k {
		s := n.b[i]
		for q := range i {
			s -= float64(l[i][q] * x[q])
		}
		x[i] = s / l[i][i]
	}
	for i := k - 1; i >= 0; i-- {
		s := x[i]
		for q := i + 1; q < k; q++ {
			s -= float64(l[q][i] * x[q])
		}
		x[i] = s / l[i][i]
	}
	return x
}

// fitted is what a fit found.
type fitted struct {
	warp
	without [blocks]warp // the same with each piece of skin left out
	sigma   float64      // robust spread of what is left, mm
	noise   float64      // the part of it that neighbours do not share, mm
	used    float64      // share of the sample that has a partner
}

// fit finds the map from pts, laid on the master, to the master, point to plane
// with Tukey's weights, so that flash and seams do not pull.
//
// start is where to begin, or nil.
func (m *master) fit(ctx context.Context, pts []geom.Vec, start *warp, reach float64, workers int) (*fitted, error) {
	f := &fitted{warp: warp{centre: m.centre, size: m.size}}
	given, first := pts, 0
	if start != nil {
		f.warp, first = *start, roughly
	}
	for round := first; round < roughly+matched; round++ {
		k := terms
		if round < 5 {
			k = linear
		}
		if pts = given; round < roughly {
			pts = quarter(given)
		}
		here := make([]geom.Vec, len(pts))
		for i, p := range pts {
			here[i] = f.apply(p)
		}
		hits, err := m.tree.ClosestAll(ctx, here, reach*float64(max(1, 4-round)), workers)
		if err != nil {
			return nil, err
		}
		parts, err := f.equations(m, pts, here, hits, k)
		if err != nil {
			return nil, err
		}
		all := &normal{}
		for b := range parts {
			all.plus(parts[b], 1)
		}
		step := all.solve(k)
		for b := 0; b < len(parts) && round == roughly+matched-1; b++ {
			rest := *all
			rest.plus(parts[b], -1)
			f.without[b] = f.warp.plus(rest.solve(k))
		}
		f.warp = f.warp.plus(step)
	}
	return f, nil
}

func (w *warp) plus(x [terms]float64) warp {
	sum := *w
	for k, v := range x {
		sum.by[k] += v
	}
	return sum
}

// isOdd reports whether a triangle has a corner that is not to be fitted to.
func (m *master) isOdd(t int32) bool {
	if m.odd == nil {
		return false
	}
	tri := m.mesh.Tris[t]
	return m.odd[tri[0]] || m.odd[tri[1]] || m.odd[tri[2]]
}

// quarter returns every fourth point.
func quarter(pts []geom.Vec) []geom.Vec {
	some := make([]geom.Vec, 0, len(pts)/4+1)
	for i := 0; i < len(pts); i += 4 {
		some = append(some, pts[i])
	}
	return some
}

// equations sums n.(here + step - partner) = 0 over the points, by pieces.
func (f *fitted) equations(m *master, pts, here []geom.Vec, hits []geom.Hit, k int) (*[blocks]*normal, error) {
	left, sizes := make([]float64, len(pts)), []float64(nil)
	for i, h := range hits {
		if h.Tri >= 0 {
			left[i] = here[i].Sub(h.Point).Dot(m.normalAt(h))
			sizes = append(sizes, math.Abs(left[i]))
		}
	}
	if len(sizes) < 4*terms || len(sizes) < len(pts)/4 {
		return nil, errors.New("less than a quarter of the sample finds the master within reach")
	}
	sorted(sizes)
	f.sigma, f.used = max(1.4826*sizes[len(sizes)/2], 1e-6), float64(len(sizes))/float64(len(pts))
	f.noise = alone(left, hits)
	cut := 4.685 * f.sigma
	parts := &[blocks]*normal{}
	for b := range parts {
		parts[b] = &normal{}
	}
	for i, h := range hits {
		u := left[i] / cut
		if h.Tri < 0 || u*u >= 1 || m.isOdd(h.Tri) {
			continue
		}
		n := m.normalAt(h)
		var row [terms]float64
		for j, v := range f.ways(pts[i]) {
			row[j] = n.Dot(v)
		}
		w := 1 - float64(u*u)
		parts[i*blocks/len(pts)].add(&row, -left[i], float64(w*w), k)
	}
	return parts, nil
}

// alone returns the robust spread of what each of the points, which lie along a
// curve, does not share with those before and after it: noise of the scan has
// it all, a misfit of form or of lines has little.
func alone(left []float64, hits []geom.Hit) float64 {
	var sizes []float64
	for i := 1; i+1 < len(left); i++ {
		if hits[i-1].Tri >= 0 && hits[i].Tri >= 0 && hits[i+1].Tri >= 0 {
			sizes = append(sizes, math.Abs(float64(2*left[i])-left[i-1]-left[i+1]))
		}
	}
	if len(sizes) == 0 {
		return 0
	}
	sorted(sizes)
	return 1.4826 * sizes[len(sizes)/2] / math.Sqrt(6)
}
