package geom

import "math"

// Eigen returns the eigenvalues of the symmetric n by n matrix a, smallest
// first, and a unit eigenvector to each; equal values keep their order. a is
// changed. The method is Jacobi's (C. G. J. Jacobi, "Über ein leichtes Verfahren
// …", Crelle's Journal 1846; from memory): square roots and divisions only, so
// the same bits everywhere. Meant for n up to some tens; cost about 10 n³.
func Eigen(a [][]float64) (values []float64, vectors [][]float64) {
	v := jacobi(a)
	for _, k := range ascending(a) {
		values = append(values, a[k][k])
		vec := make([]float64, len(a))
		for i := range vec {
			vec[i] = v[i][k]
		}
		vectors = append(vectors, vec)
	}
	return values, vectors
}

// Eigen3 is Eigen for three by three.
func Eigen3(m Mat) (values [3]float64, vectors [3]Vec) {
	w, v := Eigen([][]float64{m[0][:], m[1][:], m[2][:]})
	for i := range 3 {
		values[i], vectors[i] = w[i], Vec{v[i][0], v[i][1], v[i][2]}
	}
	return values, vectors
}

// ascending returns the order of the diagonal.
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

// sweeps is more than Jacobi's method needs: it converges quadratically, in 5
// to 10 for matrices of some tens.
const sweeps = 60

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
