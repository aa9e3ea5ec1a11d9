package geom

import "math"

// Eigen3 returns the eigenvalues of the symmetric matrix m, smallest first, and
// unit eigenvectors to match; ties keep their order. The method is Jacobi's
// (C. G. J. Jacobi, "Über ein leichtes Verfahren …", Crelle's Journal 1846; from
// memory): square roots and divisions only, so the same bits everywhere.
func Eigen3(m Mat) (values [3]float64, vectors [3]Vec) {
	a := [][]float64{m[0][:], m[1][:], m[2][:]}
	v := jacobi(a)
	order := ascending(a)
	for i, k := range order {
		values[i] = a[k][k]
		vectors[i] = Vec{v[0][k], v[1][k], v[2][k]}
	}
	return values, vectors
}

// eigenLast returns the eigenvector of the largest eigenvalue of a symmetric
// 4 by 4 matrix, and the two largest eigenvalues.
func eigenLast(m [4][4]float64) (vec [4]float64, last, next float64) {
	a := [][]float64{m[0][:], m[1][:], m[2][:], m[3][:]}
	v := jacobi(a)
	order := ascending(a)
	k := order[3]
	for i := range vec {
		vec[i] = v[i][k]
	}
	return vec, a[k][k], a[order[2]][order[2]]
}

func ascending(a [][]float64) []int {
	order := make([]int, len(a))
	for i := range order {
		order[i] = i
		for j := i; j > 0 && a[order[j]][order[j]] < a[order[j-1]][order[j-1]]; j-- {
			order[j], order[j-1] = order[j-1], order[j]
		}
	}
	return order
}

// sweeps is more than Jacobi's method needs for any 4 by 4 matrix: it
// converges quadratically, in 5 or 6.
const sweeps = 30

// jacobi turns a into its diagonal form in place and returns the rotations
// gathered, eigenvectors in columns.
func jacobi(a [][]float64) [][]float64 {
	n := len(a)
	v := make([][]float64, n)
	for i := range v {
		v[i] = make([]float64, n)
		v[i][i] = 1
	}
	for range sweeps {
		done := true
		for p := range n {
			for q := p + 1; q < n; q++ {
				if a[p][q] != 0 {
					done = false
					jacobiTurn(a, v, p, q)
				}
			}
		}
		if done {
			break
		}
	}
	return v
}

// jacobiTurn makes a[p][q] zero.
func jacobiTurn(a, v [][]float64, p, q int) {
	apq := a[p][q]
	theta := (a[q][q] - a[p][p]) / (2 * apq)
	var t float64
	if math.Abs(theta) > 1e150 { // its square would overflow
		t = 1 / (2 * theta)
	} else {
		t = 1 / (math.Abs(theta) + math.Sqrt(float64(theta*theta)+1))
		if theta < 0 {
			t = -t
		}
	}
	c := 1 / math.Sqrt(float64(t*t)+1)
	s := float64(t * c)
	app, aqq := a[p][p], a[q][q]
	a[p][p], a[q][q] = app-float64(t*apq), aqq+float64(t*apq)
	a[p][q], a[q][p] = 0, 0
	if app == a[p][p] && aqq == a[q][q] && math.Abs(apq) < 1e-300 {
		return
	}
	for k := range a {
		if k != p && k != q {
			akp, akq := a[k][p], a[k][q]
			a[k][p] = float64(c*akp) - float64(s*akq)
			a[k][q] = float64(s*akp) + float64(c*akq)
			a[p][k], a[q][k] = a[k][p], a[k][q]
		}
		vkp, vkq := v[k][p], v[k][q]
		v[k][p] = float64(c*vkp) - float64(s*vkq)
		v[k][q] = float64(s*vkp) + float64(c*vkq)
	}
}
