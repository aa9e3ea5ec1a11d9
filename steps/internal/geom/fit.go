package geom

import (
	"errors"
	"math"
)

// ErrUndetermined says that the points do not fix what was asked for: too few,
// or all in one place, on one line, or on one plane.
var ErrUndetermined = errors.New("the points do not determine the fit")

// Fit is a similarity: p goes to Scale Rot p + Move.
type Fit struct {
	Pose
	Scale float64 // 1 for a rigid fit
	RMS   float64 // root of the weighted mean squared distance left, mm
	// Firm tells how well the turn is fixed: 0 for points on a line, 1 for
	// points spread alike in all directions (the gap between the best and the
	// next best turn, as a share of the points' spread).
	Firm float64
}

// Apply returns where p goes.
func (f Fit) Apply(p Vec) Vec { return f.Rot.Apply(p).Mul(f.Scale).Add(f.Move) }

// FitRigid returns the rigid motion that brings from nearest to to, pair by
// pair, in the least-squares sense; FitSimilarity also a common scale. weights
// may be nil, else one number >= 0 a pair. At least three pairs not on one
// line are asked for; otherwise ErrUndetermined.
//
// The turn is the leading eigenvector of B. K. P. Horn's 4 by 4 matrix
// ("Closed-form solution of absolute orientation using unit quaternions",
// JOSA A 1987; from memory), never a reflection; the scale is the
// least-squares one of S. Umeyama (PAMI 1991; from memory), which is not
// symmetric: swapping from and to does not give its exact inverse on noisy
// points. Cost: one pass over the pairs, twice.
func FitRigid(from, to []Vec, weights []float64) (Fit, error) { return fit(from, to, weights, false) }

// FitSimilarity is FitRigid with a scale.
func FitSimilarity(from, to []Vec, weights []float64) (Fit, error) {
	return fit(from, to, weights, true)
}

func weightOf(weights []float64, i int) float64 {
	if weights == nil {
		return 1
	}
	return weights[i]
}

// meanOf returns the weighted mean and the sum of weights.
func meanOf(pts []Vec, weights []float64) (Vec, float64) {
	var x, y, z, w Sum
	for i, p := range pts {
		k := weightOf(weights, i)
		x.Add(float64(k * p.X))
		y.Add(float64(k * p.Y))
		z.Add(float64(k * p.Z))
		w.Add(k)
	}
	total := w.Total()
	if !(total > 0) {
		return Vec{}, 0
	}
	return Vec{x.Total() / total, y.Total() / total, z.Total() / total}, total
}

func fit(from, to []Vec, weights []float64, scaled bool) (Fit, error) {
	if len(from) != len(to) || len(from) < 3 {
		return Fit{}, ErrUndetermined
	}
	cf, total := meanOf(from, weights)
	ct, _ := meanOf(to, weights)
	if total == 0 || !cf.Finite() || !ct.Finite() {
		return Fit{}, ErrUndetermined
	}
	s, ff, tt := covariance(from, to, weights, cf, ct)
	h := horn(s)
	values, vectors := Eigen([][]float64{h[0][:], h[1][:], h[2][:], h[3][:]})
	q, last, next := vectors[3], values[3], values[2]
	spread := math.Sqrt(float64(ff * tt))
	f := Fit{Scale: 1}
	if !(spread > 0) {
		return Fit{}, ErrUndetermined
	}
	f.Firm = (last - next) / spread
	if !(f.Firm > 1e-9) { // points on one line: any turn about it is as good
		return Fit{}, ErrUndetermined
	}
	f.Rot = Quaternion{q[0], q[1], q[2], q[3]}.Rot()
	if scaled {
		f.Scale = last / ff
	}
	f.Move = ct.Sub(f.Rot.Apply(cf).Mul(f.Scale))
	f.RMS = rms(f, from, to, weights, total)
	return f, nil
}

// covariance returns sum w (from-cf)(to-ct)^T and both spreads.
func covariance(from, to []Vec, weights []float64, cf, ct Vec) (s Mat, ff, tt float64) {
	var sums [3][3]Sum
	var sf, st Sum
	for i := range from {
		k := weightOf(weights, i)
		a, b := from[i].Sub(cf).Mul(k), to[i].Sub(ct)
		for r, x := range [3]float64{a.X, a.Y, a.Z} {
			sums[r][0].Add(float64(x * b.X))
			sums[r][1].Add(float64(x * b.Y))
			sums[r][2].Add(float64(x * b.Z))
		}
		sf.Add(a.Dot(from[i].Sub(cf)))
		st.Add(float64(k * b.Len2()))
	}
	for r := range 3 {
		for c := range 3 {
			s[r][c] = sums[r][c].Total()
		}
	}
	return s, sf.Total(), st.Total()
}

func horn(s Mat) [4][4]float64 {
	return [4][4]float64{
		{s[0][0] + s[1][1] + s[2][2], s[1][2] - s[2][1], s[2][0] - s[0][2], s[0][1] - s[1][0]},
		{s[1][2] - s[2][1], s[0][0] - s[1][1] - s[2][2], s[0][1] + s[1][0], s[2][0] + s[0][2]},
		{s[2][0] - s[0][2], s[0][1] + s[1][0], s[1][1] - s[0][0] - s[2][2], s[1][2] + s[2][1]},
		{s[0][1] - s[1][0], s[2][0] + s[0][2], s[1][2] + s[2][1], s[2][2] - s[0][0] - s[1][1]},
	}
}

func rms(f Fit, from, to []Vec, weights []float64, total float64) float64 {
	var s Sum
	for i := range from {
		s.Add(float64(weightOf(weights, i) * f.Apply(from[i]).Sub(to[i]).Len2()))
	}
	return math.Sqrt(s.Total() / total)
}
