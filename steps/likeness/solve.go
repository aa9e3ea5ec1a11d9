package likeness

import "layette/steps/internal/geom"

// solveFirm solves the seven equations in the directions that the shape fixes
// and leaves the others at zero, so that a tube does not creep along its axis.
// It returns the least weight of a direction as a share of the greatest.
func solveFirm(s seven) (x [7]float64, firm float64) {
	rows := make([][]float64, 7)
	for i := range rows {
		rows[i] = s.a[i][:]
	}
	weights, directions := geom.Eigen(rows)
	most := weights[6]
	if most <= 0 {
		return x, 0
	}
	for k, d := range directions {
		if weights[k] < 1e-6*most {
			continue
		}
		along := 0.0
		for i := range 7 {
			along += float64(d[i] * s.b[i])
		}
		for i := range 7 {
			x[i] += float64(d[i] * (along / weights[k]))
		}
	}
	return x, max(weights[0], 0) / most
}
