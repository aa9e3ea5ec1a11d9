package calibrate

import (
	"math"

	"layette/steps/internal/geom"
)

// terms is how many numbers the map from sample to master has: shift 3, linear
// 9, and so that they are not taken for shrinkage, bending, twisting and uneven
// shrinking, which are all that is of second order in place, 18.
const (
	linear = 12
	terms  = 30
)

// warp takes a place of the sample, laid on the master, to where it was on the
// master: first unbent and untwisted, then stretched and shifted. Coefficients
// are lengths at the distance size from the middle, mm.
type warp struct {
	middle geom.Vec
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

// bending returns how far a part is moved by bending at u, in sizes, and how
// that changes with u.
func (w *warp) bending(u geom.Vec) (f geom.Vec, change geom.Mat) {
	x, k := [3]float64{u.X, u.Y, u.Z}, linear
	var far [3]float64
	for a := range 3 {
		for b := range 3 {
			for c := b; c < 3; c++ {
				q := w.by[k] / w.size
				far[a] += float64(q * float64(x[b]*x[c]))
				change[a][b] += float64(q * x[c])
				change[a][c] += float64(q * x[b])
				k++
			}
		}
	}
	return geom.Vec{X: far[0], Y: far[1], Z: far[2]}, change
}

// unbent returns where u, in sizes, was before the part was bent. Along a way
// out of the middle, whose turn W and stretch E grow evenly, bending by f moves u
// to second order to u + f + (W W / 2 + W E) u / 3: for a bend to an arc, towards
// any side, that is the arc. The way back is u - f - g + f' f.
func (w *warp) unbent(u geom.Vec) geom.Vec {
	f, change := w.bending(u)
	back := change.Transposed()
	var turn, pull geom.Mat
	for a := range 3 {
		for b := range 3 {
			turn[a][b] = (change[a][b] - back[a][b]) / 2
			pull[a][b] = (change[a][b] + back[a][b]) / 2
		}
	}
	g := turn.Apply(turn.Apply(u).Mul(0.5).Add(pull.Apply(u))).Mul(1.0 / 3)
	return u.Sub(f).Sub(g).Add(change.Apply(f))
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

// ways returns how a small change of each coefficient moves the place p; for
// bending to first order, which is enough to follow.
func (w *warp) ways(p geom.Vec) (ways [terms]geom.Vec) {
	u := p.Sub(w.middle).Mul(1 / w.size)
	v := w.unbent(u)
	x, y := [3]float64{u.X, u.Y, u.Z}, [3]float64{v.X, v.Y, v.Z}
	k := linear
	for a := range 3 {
		ways[a] = along(a, 1)
		to := w.stretched(along(a, -1))
		for b := range 3 {
			ways[3*(b+1)+a] = along(a, y[b])
			for c := b; c < 3; c++ {
				ways[k] = to.Mul(float64(x[b] * x[c]))
				k++
			}
		}
	}
	return ways
}

// apply returns where p was on the master.
func (w *warp) apply(p geom.Vec) geom.Vec {
	v := w.unbent(p.Sub(w.middle).Mul(1 / w.size)).Mul(w.size)
	return w.middle.Add(w.stretched(v)).Add(geom.Vec{X: w.by[0], Y: w.by[1], Z: w.by[2]})
}

// plus returns the warp with its first coefficients changed by x.
func (w *warp) plus(x []float64) warp {
	sum := *w
	for k := range sum.by {
		sum.by[k] += x[k]
	}
	return sum
}

// stretch returns how much longer the master is than the laid sample along x, y
// and z of the master's frame, at the middle of the master's skin: the
// symmetric part of the map there, by polar decomposition. A part that is bent
// keeps its length along the middle of its skin, and the mean over the skin of
// a stretch that varies evenly is that at its middle.
func (w *warp) stretch() [3]float64 {
	at := w.middle // of the sample, found by going back what is left over
	for range 20 {
		at = at.Add(w.middle.Sub(w.apply(at)))
	}
	var m geom.Mat
	h := float64(w.size / 1024)
	for j := range 3 {
		d := w.apply(at.Add(along(j, h))).Sub(w.apply(at.Sub(along(j, h)))).Mul(0.5 / h)
		m[0][j], m[1][j], m[2][j] = d.X, d.Y, d.Z
	}
	values, v := geom.Eigen3(m.Mul(m.Transposed()))
	var s [3]float64
	for k, e := range v {
		root := math.Sqrt(max(0, values[k]))
		for i, x := range [3]float64{e.X, e.Y, e.Z} {
			s[i] += float64(root * float64(x*x))
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
