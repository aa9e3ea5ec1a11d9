package geom

import (
	"context"
	"math"
	"slices"
)

// Normal6 holds the normal equations of a small turn and shift of one scan
// against another: least squares of n·(p + turn × arm + shift - q), arms from
// Mid in units of Size so that all six unknowns are mm.
type Normal6 struct {
	A   [6][6]float64
	B   [6]float64
	Sum float64 // of the weights
}

// Add adds one equation.
func (s *Normal6) Add(row [6]float64, rhs, w float64) {
	for i, x := range row {
		wx := float64(w * x)
		for j := i; j < 6; j++ {
			s.A[i][j] += float64(wx * row[j])
		}
		s.B[i] += float64(wx * rhs)
	}
	s.Sum += w
}

// mirror fills the lower half.
func (s *Normal6) mirror() {
	for i := range 6 {
		for j := range i {
			s.A[i][j] = s.A[j][i]
		}
	}
}

// Solve returns the step, held back a little where the equations hardly fix it.
func (s *Normal6) Solve() ([6]float64, bool) {
	var a [36]float64
	trace := 0.0
	for i := range 6 {
		trace += s.A[i][i]
	}
	for i := range 6 {
		for j := range 6 {
			a[i*6+j] = s.A[i][j]
		}
		a[i*6+i] += float64(1e-5 * trace)
	}
	x := s.B
	if trace == 0 || !Cholesky(a[:], 6) {
		return [6]float64{}, false
	}
	CholeskySolve(a[:], 6, x[:])
	return x, true
}

// Weakest returns the direction that the equations fix least, and how well: the
// mean square of the distance that points leave the skin when the scan moves
// one mm that way. 0 for a ball that turns or a plane that slides; 0.03 and
// more where shape holds it.
func (s *Normal6) Weakest() (firm float64, turn, shift Vec) {
	rows := make([][]float64, 6)
	for i := range rows {
		rows[i] = slices.Clone(s.A[i][:])
	}
	values, vectors := Eigen(rows)
	v := vectors[0]
	return values[0] / max(s.Sum, 1e-300), Vec{v[0], v[1], v[2]}, Vec{v[3], v[4], v[5]}
}

// Stepped returns a followed by the small motion x about mid, whose turn is
// measured in mm at the distance size.
func (a Pose) Stepped(x [6]float64, mid Vec, size float64) Pose {
	rot := SmallTurn(Vec{x[0] / size, x[1] / size, x[2] / size})
	return a.Then(Pose{rot, mid.Add(Vec{x[3], x[4], x[5]}).Sub(rot.Apply(mid))})
}

// Touch is a place where two scans lie on each other, in the second one's
// frame: a point of one and the plane of the other nearest to it.
type Touch struct {
	At, Plane, Normal Vec
	From              int32 // which point of the first scan, or -1-k for point k of the second
}

// Off returns how far the point is from the plane, mm, outside positive for
// points of the first scan.
func (t *Touch) Off() float64 { return t.Normal.Dot(t.At.Sub(t.Plane)) }

// Touches lists where a, posed in b's frame, touches b: the nearest point of
// the other within reach mm whose normal is within about 45 degrees, neither on
// a rim, asked both ways for up to about most points each.
func Touches(a, b *Cloud, pose Pose, reach float64, most int) []Touch {
	return NewToucher(a, b, most).Touches(pose, reach)
}

// Toucher asks for the touches of two clouds again and again, as their pose is
// bettered. What was nearest the time before bounds the search for what is
// nearest now, and where nothing was near nothing can be before the point has
// moved so far: that takes off most of the work and changes no answer.
type Toucher struct {
	a, b *Cloud
	most int
	last [2][]partner
	into []Touch
}

// partner is what a Toucher knows of a point it asked for: 1 + the nearest of the
// last time, or, where that is 0, that nothing lay within free mm of at.
type partner struct {
	near int32
	free float64
	at   Vec
}

// NewToucher returns a Toucher for up to about most points of each cloud.
func NewToucher(a, b *Cloud, most int) *Toucher { return &Toucher{a: a, b: b, most: most} }

// Touches is the function Touches; what it returns is good until it is called
// again.
func (t *Toucher) Touches(pose Pose, reach float64) []Touch {
	t.into = t.into[:0]
	t.ask(reach, &t.last[0], t.a, t.b, pose, func(at, plane, normal Vec, k int) Touch {
		return Touch{at, plane, normal, int32(k)}
	})
	t.ask(reach, &t.last[1], t.b, t.a, pose.Inverse(), func(at, plane, normal Vec, k int) Touch {
		return Touch{pose.Apply(plane), pose.Apply(at), pose.Rot.Apply(normal), int32(-1 - k)} // in b's frame, as a pull on a
	})
	return t.into
}

func (t *Toucher) ask(reach float64, last *[]partner, p, q *Cloud, to Pose, say func(at, plane, normal Vec, k int) Touch) {
	step := 1 + len(p.Points)/t.most
	if *last == nil {
		*last = make([]partner, len(p.Points)/step+1)
	}
	for k := 0; k < len(p.Points); k += step {
		if p.Rim[k] {
			continue
		}
		at := to.Apply(p.Points[k].Vec())
		before := &(*last)[k/step]
		bound := Near{-1, float64(reach * reach)}
		if before.near > 0 {
			bound.Dist2 = min(bound.Dist2, q.Points[before.near-1].Vec().Sub(at).Len2())
		} else if way := before.free - reach; way > 0 && at.Sub(before.at).Len2() < float64(way*way)*(1-1e-9) {
			continue
		}
		near := q.nearest(at, bound)
		*before = partner{near: near.ID + 1}
		if near.ID < 0 {
			before.free, before.at = reach*(1-1e-9), at
			continue
		}
		if q.Rim[near.ID] {
			continue
		}
		n := q.Normals[near.ID].Vec()
		if to.Rot.Apply(p.Normals[k].Vec()).Dot(n) < 0.7 {
			continue
		}
		t.into = append(t.into, say(at, q.Points[near.ID].Vec(), n, k))
	}
}

// Equations sums the touches' equations with Tukey's biweight, whose spread is
// the median distance but at least least mm.
func Equations(touches []Touch, mid Vec, size, least float64) (Normal6, float64) {
	var s Normal6
	sigma := max(medianOff(touches), least)
	cut := 4.685 * sigma
	for i := range touches {
		t := &touches[i]
		r := t.Off()
		u := r / cut
		if u*u >= 1 {
			continue
		}
		w := 1 - float64(u*u)
		turn := t.At.Sub(mid).Mul(1 / size).Cross(t.Normal)
		s.Add([6]float64{turn.X, turn.Y, turn.Z, t.Normal.X, t.Normal.Y, t.Normal.Z}, -r, float64(w*w))
	}
	s.mirror()
	return s, sigma
}

// medianOff returns 1.4826 times the median distance.
func medianOff(touches []Touch) float64 {
	off := make([]float64, len(touches))
	for i := range touches {
		off[i] = math.Abs(touches[i].Off())
	}
	slices.Sort(off)
	if len(off) == 0 {
		return 0
	}
	return 1.4826 * off[len(off)/2]
}

// Register moves a onto b, starting from pose: point to plane (Y. Chen and G.
// Medioni, "Object modelling by registration of multiple range images", Image
// and Vision Computing 1992), both ways, with Tukey's biweight, partners sought
// afresh in each of rounds rounds within a reach that shrinks from first to
// last mm. It returns false when fewer than 30 places touch. The paper and the
// biweight's constant 4.685 are from memory.
//
// Cost: about 1.5 ms a round for 1,000 points each way.
func Register(ctx context.Context, a, b *Cloud, pose Pose, first, last float64, rounds, most int) (Pose, bool) {
	mid := a.Middle()
	size := a.Size()
	asked := NewToucher(a, b, most)
	for k := range rounds {
		if ctx.Err() != nil {
			return pose, false
		}
		t := min(1, float64(k)/max(1, 0.7*float64(rounds)))
		reach := first + float64(t*(last-first))
		touches := asked.Touches(pose, reach)
		if len(touches) < 30 {
			return pose, false
		}
		at := pose.Apply(mid)
		s, _ := Equations(touches, at, size, 0.02*a.Spacing)
		x, ok := s.Solve()
		if !ok {
			return pose, false
		}
		pose = pose.Stepped(x, at, size)
		if k >= rounds*7/10 && StepLength(x) < 1e-4*a.Spacing {
			break
		}
	}
	return pose, true
}

// StepLength returns how large a small motion is, mm.
func StepLength(x [6]float64) float64 {
	s := 0.0
	for _, v := range x {
		s += float64(v * v)
	}
	return math.Sqrt(s)
}

// Size returns half the diagonal of the cloud's box, mm, never 0.
func (c *Cloud) Size() float64 {
	b := EmptyBox()
	for _, p := range c.Points {
		b = b.Include(p.Vec())
	}
	return max(b.Size().Len()/2, 1e-6)
}
