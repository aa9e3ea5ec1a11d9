package geom

import "context"

// Link is the pull between two bodies of a Joint: the normal equations of a
// small motion of body A against body B, both in the common frame, arms from
// one place in units of one size for all links.
type Link struct {
	A, B int
	Pull Normal6
}

// Moved brings a link's equations up to what they are after its bodies moved by
// the steps a and b: to first order, which saves seeking partners anew.
func (l *Link) Moved(a, b [6]float64) {
	for x := range 6 {
		for y := range 6 {
			l.Pull.B[x] -= float64(l.Pull.A[x][y] * (a[y] - b[y]))
		}
	}
}

// Joint moves many bodies at once so that all their links are satisfied as
// well as they can be together: least squares over all poses, as in F. Lu and
// E. Milios, "Globally consistent range scan alignment for environment
// mapping", Autonomous Robots 1997 (from memory), with the links' equations
// taken from the surfaces rather than from fixed relative poses.
type Joint struct {
	Bodies int
	Fixed  int // the body that stays
	Links  []Link
}

// Accuracy of Solve: the equations are taken afresh after a step anyway.
const (
	jointRest   = 1e-16 // of the squared residual at the beginning
	jointRounds = 3000
	heldBack    = 1e-6 // of the mean weight, against motion that no link fixes
)

// Solve returns each body's small motion; false where the equations hold what
// is not a number, or ctx is done. It goes by conjugate gradients, each body's
// own six equations solved exactly in every round (textbook method): of two
// hundred scans each touches a dozen others, so that nearly all of the whole
// matrix would be nought.
func (j *Joint) Solve(ctx context.Context) ([][6]float64, bool) {
	own, rest, held := j.own()
	steps, push, better := make(motions, j.Bodies), make(motions, j.Bodies), make(motions, j.Bodies)
	if !own.factor() {
		return nil, false
	}
	own.solve(rest, better)
	way := append(motions(nil), better...)
	left := rest.dot(better)
	for enough, round := float64(jointRest*left), 0; left > enough && round < jointRounds; round++ {
		if ctx.Err() != nil {
			return nil, false
		}
		j.push(way, push, held)
		far := left / way.dot(push)
		steps.add(far, way)
		rest.add(-far, push)
		own.solve(rest, better)
		now := rest.dot(better)
		for i := range way {
			for x := range 6 {
				way[i][x] = better[i][x] + float64(now/left*way[i][x])
			}
		}
		left = now
	}
	return steps, left == left
}

// motions are six unknowns for each body.
type motions [][6]float64

func (m motions) dot(o motions) float64 {
	s := 0.0
	for i := range m {
		for x := range 6 {
			s += float64(m[i][x] * o[i][x])
		}
	}
	return s
}

// add adds o, so many times over.
func (m motions) add(times float64, o motions) {
	for i := range m {
		for x := range 6 {
			m[i][x] += float64(times * o[i][x])
		}
	}
}

// blocks are each body's own six equations.
type blocks [][36]float64

// own gathers the equations of each body by itself and what pulls it; held is
// added to the diagonal, so that nothing moves without need.
func (j *Joint) own() (own blocks, pull motions, held float64) {
	own, pull = make(blocks, j.Bodies), make(motions, j.Bodies)
	trace := 0.0
	for k := range j.Links {
		l := &j.Links[k]
		for x := range 6 {
			pull[l.A][x] += l.Pull.B[x]
			pull[l.B][x] -= l.Pull.B[x]
			for y := range 6 {
				own[l.A][6*x+y] += l.Pull.A[x][y]
				own[l.B][6*x+y] += l.Pull.A[x][y]
			}
			trace += 2 * l.Pull.A[x][x]
		}
	}
	held = float64(heldBack*trace)/float64(6*max(1, j.Bodies)) + 1e-12
	for i := range own {
		for x := range 6 {
			own[i][7*x] += held
		}
	}
	pull[j.Fixed] = [6]float64{}
	return own, pull, held
}

func (b blocks) factor() bool {
	for i := range b {
		if !Cholesky(b[i][:], 6) {
			return false
		}
	}
	return true
}

func (b blocks) solve(pull, into motions) {
	copy(into, pull)
	for i := range b {
		CholeskySolve(b[i][:], 6, into[i][:])
	}
}

// push multiplies motions by the whole matrix; the fixed body feels nothing.
func (j *Joint) push(way, into motions, held float64) {
	for i := range into {
		for x := range 6 {
			into[i][x] = float64(held * way[i][x])
		}
	}
	for k := range j.Links {
		l := &j.Links[k]
		a, b := &way[l.A], &way[l.B]
		var d [6]float64
		for x := range 6 {
			d[x] = a[x] - b[x]
		}
		for x := range 6 {
			r := &l.Pull.A[x]
			f := float64(r[0]*d[0]) + float64(r[1]*d[1]) + float64(r[2]*d[2]) + float64(r[3]*d[3]) + float64(r[4]*d[4]) + float64(r[5]*d[5])
			into[l.A][x] += f
			into[l.B][x] -= f
		}
	}
	into[j.Fixed] = [6]float64{}
}
