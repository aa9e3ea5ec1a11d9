package geom

import "context"

// Link is the pull between two bodies of a Joint: the normal equations of a
// small motion of body A against body B, both in the common frame, arms from
// Mid in units of Size.
type Link struct {
	A, B   int
	Pull   Normal6
	Weight float64 // of its equations against those of other links
}

// Joint moves many bodies at once so that all their links are satisfied as
// well as they can be together: least squares over all poses, as in F. Lu and
// E. Milios, "Globally consistent range scan alignment for environment
// mapping", Autonomous Robots 1997 (from memory), with the links' equations
// taken afresh from the surfaces rather than from fixed relative poses.
type Joint struct {
	Bodies int
	Fixed  int // the body that stays
	Mid    Vec
	Size   float64
	a, b   []float64
}

// row returns where body i's unknowns begin; -1 for the fixed one.
func (j *Joint) row(i int) int {
	switch {
	case i == j.Fixed:
		return -1
	case i > j.Fixed:
		return 6 * (i - 1)
	}
	return 6 * i
}

// Sum lays the links into one system. Links are added in their order.
func (j *Joint) Sum(links []Link) {
	n := 6 * (j.Bodies - 1)
	j.a, j.b = make([]float64, n*n), make([]float64, n)
	for k := range links {
		l := &links[k]
		ra, rb := j.row(l.A), j.row(l.B)
		for x := range 6 {
			if ra >= 0 {
				j.b[ra+x] += float64(l.Weight * l.Pull.B[x])
			}
			if rb >= 0 {
				j.b[rb+x] -= float64(l.Weight * l.Pull.B[x])
			}
			for y := range 6 {
				v := float64(l.Weight * l.Pull.A[x][y])
				j.put(ra+x, ra+y, ra, ra, v)
				j.put(rb+x, rb+y, rb, rb, v)
				j.put(ra+x, rb+y, ra, rb, -v)
				j.put(rb+x, ra+y, rb, ra, -v)
			}
		}
	}
}

func (j *Joint) put(x, y, r, c int, v float64) {
	if r >= 0 && c >= 0 {
		j.a[x*len(j.b)+y] += v
	}
}

// Solve returns each body's small motion; false where the links leave a body
// free even after holding every motion back by a millionth.
func (j *Joint) Solve(ctx context.Context) ([][6]float64, bool) {
	n := len(j.b)
	trace := 0.0
	for i := range n {
		trace += j.a[i*n+i]
	}
	for i := range n {
		j.a[i*n+i] += 1e-6*trace/float64(max(1, n)) + 1e-12
	}
	if ctx.Err() != nil || !Cholesky(j.a, n) {
		return nil, false
	}
	CholeskySolve(j.a, n, j.b)
	steps := make([][6]float64, j.Bodies)
	for i := range steps {
		if r := j.row(i); r >= 0 {
			copy(steps[i][:], j.b[r:r+6])
		}
	}
	return steps, true
}

// Spread returns, after Solve, how uncertain body i's six unknowns are for
// equations that scatter by one mm: its block of the inverse, mm².
func (j *Joint) Spread(i int) [6][6]float64 {
	var c [6][6]float64
	r, n := j.row(i), len(j.b)
	if r < 0 {
		return c
	}
	for x := range 6 {
		e := make([]float64, n)
		e[r+x] = 1
		CholeskySolve(j.a, n, e)
		copy(c[x][:], e[r:r+6])
	}
	return c
}
