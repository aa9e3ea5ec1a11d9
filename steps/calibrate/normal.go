package calibrate

import (
	"math"

	"layette/steps/internal/geom"
)

// What is solved for: the warp, the squared detail, how much of the skin is
// softened by more and less than that, and how the transfer departs from that
// curve about three wavelengths.
const (
	detailed = terms // the column of the squared detail
	widened  = terms + 1
	freed    = terms + 2
	frees    = 3
	unknowns = freed + frees
)

// Sets of columns that are solved for together.
var (
	forShift  = upTo(linear)
	forForm   = upTo(terms)
	forDetail = upTo(detailed + 1)
	forWide   = upTo(widened + 1)
	forFree   = append(upTo(terms), freed, freed+1, freed+2)
)

func upTo(n int) []int {
	all := make([]int, n)
	for k := range all {
		all[k] = k
	}
	return all
}

// held says with what weights a solution is held where it is expected to be:
// bending at nothing, and the curve of transfer at a Gaussian one.
type held struct{ shape, curve float64 }

// normal holds normal equations; the lower half of a is kept.
type normal struct {
	a [unknowns][unknowns]float64
	b [unknowns]float64
}

func (n *normal) add(row *[unknowns]float64, rhs, w float64) {
	for i, x := range row {
		wx := float64(w * x)
		n.b[i] += float64(wx * rhs)
		for j, y := range row[:i+1] {
			n.a[i][j] += float64(wx * y)
		}
	}
}

// plus adds share of m.
func (n *normal) plus(m *normal, share float64) {
	for i := range n.a {
		n.b[i] += float64(share * m.b[i])
		for j := range n.a[i][:i+1] {
			n.a[i][j] += float64(share * m.a[i][j])
		}
	}
}

// solve returns steps of the columns given, nothing for the others; by is how far
// the warp has come. What nothing fixes stays as it is.
func (n *normal) solve(of []int, hold held, by *[terms]float64) []float64 {
	k := len(of)
	l, x := make([]float64, k*k), make([]float64, k)
	for i, p := range of {
		for j, q := range of[:i+1] {
			l[i*k+j] = n.a[p][q]
		}
		x[i] = n.b[p]
		l[i*k+i] += float64(1e-9*n.a[p][p]) + 1e-300
		switch {
		case p < linear:
			l[i*k+i] += hold.shape / 100
		case p < terms:
			l[i*k+i] += hold.shape
			x[i] -= float64(hold.shape * by[p])
		case p == widened:
			l[i*k+i] += hold.curve
		}
	}
	out := make([]float64, unknowns)
	if !geom.Cholesky(l, k) {
		return out
	}
	geom.CholeskySolve(l, k, x)
	for i, p := range of {
		if out[p] = x[i]; math.IsNaN(x[i]) || math.IsInf(x[i], 0) {
			return make([]float64, unknowns)
		}
	}
	return out
}
