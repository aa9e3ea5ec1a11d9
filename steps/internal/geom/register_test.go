package geom

import (
	"math"
	"math/rand/v2"
	"slices"
	"testing"
)

// bumpy is a patch of n by n points over 60 mm without symmetry, seen from +z.
func bumpy(n int, noise float64, seed uint64) *Mesh {
	r := rand.New(rand.NewPCG(seed, 1))
	m := &Mesh{}
	for i := range n {
		for j := range n {
			x, y := 60*float64(i)/float64(n-1)-30, 60*float64(j)/float64(n-1)-30
			z := 4*math.Sin(x/7)*math.Cos(y/9) + 3*math.Sin((x+2*y)/13) + 0.02*x*y/3
			m.Verts = append(m.Verts, Vec{x, y, z + noise*r.NormFloat64()}.Point())
		}
	}
	for i := range n - 1 {
		for j := range n - 1 {
			a := int32(i*n + j)
			m.Tris = append(m.Tris, Tri{a, a + int32(n), a + int32(n) + 1}, Tri{a, a + int32(n) + 1, a + 1})
		}
	}
	return m
}

func posedMesh(m *Mesh, p Pose) *Mesh {
	out := &Mesh{Tris: m.Tris}
	for _, v := range m.Verts {
		out.Verts = append(out.Verts, p.Apply(v.Vec()).Point())
	}
	return out
}

func thinnedAt(t testing.TB, m *Mesh) *Cloud {
	t.Helper()
	c, err := Thinned(t.Context(), m, 1.2, 2)
	if err != nil {
		t.Fatal(err)
	}
	return c
}

var someTurn = Pose{Quaternion{0.3, -0.5, 0.7, 0.2}.Rot(), Vec{40, -70, 110}}

// TestCandidatesFindTheTurn: with no hint the first candidate lies within two
// degrees and a spacing, and registering brings it to the truth.
func TestCandidatesFindTheTurn(t *testing.T) {
	a, b := thinnedAt(t, bumpy(120, 0.05, 1)), thinnedAt(t, posedMesh(bumpy(120, 0.05, 2), someTurn))
	fa, err := NewFeatures(t.Context(), a, 3, 6, 12, 2)
	if err != nil {
		t.Fatal(err)
	}
	fb, err := NewFeatures(t.Context(), b, 3, 6, 12, 2)
	if err != nil {
		t.Fatal(err)
	}
	cs := Candidates(a, b, fa, fb, 5)
	if len(cs) == 0 || !Alike(cs[0].Pose, someTurn, a.Middle(), a.Spacing) {
		t.Fatalf("candidates %v; want one near %v first", cs, someTurn)
	}
	pose, ok := Register(t.Context(), a, b, cs[0].Pose, 4, 1.5, 15, 1000)
	if off := pose.Apply(Vec{}).Sub(someTurn.Apply(Vec{})).Len(); !ok || off > 0.05 {
		t.Errorf("registered %v, %.3f mm off", ok, off)
	}
	right := Meet(View{a, NewSight(a)}, View{b, NewSight(b)}, pose, 0.3, 500)
	if right.Agree() < 0.95 || right.Overlap() < 0.7 || right.Clash > 0 {
		t.Errorf("the right pose: agree %.2f overlap %.2f clash %d", right.Agree(), right.Overlap(), right.Clash)
	}
	flipped := Pose{Rot: Mat{{-1, 0, 0}, {0, -1, 0}, {0, 0, 1}}}.Then(pose) // half a turn about z
	wrong := Meet(View{a, NewSight(a)}, View{b, NewSight(b)}, flipped, 0.3, 500)
	if wrong.Agree() > 0.6 {
		t.Errorf("a wrong pose agrees to %.2f", wrong.Agree())
	}
	mirror := thinnedAt(t, bumpy(120, 0.05, 3).MirroredX())
	fm, _ := NewFeatures(t.Context(), mirror, 3, 6, 12, 2)
	if ms := Candidates(a, mirror, fa, fm, 5); len(ms) > 0 && ms[0].Votes > cs[0].Votes/3 {
		t.Errorf("the mirror image gets %d votes, the copy %d", ms[0].Votes, cs[0].Votes)
	}
}

// TestFirmness: a plane slides, a ball turns, bumps hold.
func TestFirmness(t *testing.T) {
	hold := func(m *Mesh) float64 { c := thinnedAt(t, m); return Firmness(c, c, NoMove, 1000) }
	plane, round := bumpy(100, 0, 1), bumpy(100, 0, 1)
	for i, p := range plane.Verts {
		plane.Verts[i][2] = 0
		x, y := float64(p[0]), float64(p[1])
		round.Verts[i] = Vec{x, y, math.Sqrt(50*50 - x*x - y*y)}.Point()
	}
	if f := hold(plane); f > 1e-5 {
		t.Errorf("a plane is held by %g", f)
	}
	if f := hold(round); f > 1e-3 {
		t.Errorf("a ball is held by %g", f)
	}
	if f := hold(bumpy(100, 0, 1)); f < 0.005 {
		t.Errorf("bumps hold by only %g", f)
	}
}

// TestInFront: what hangs between skin and eye cannot be; what hides behind
// the skin, or beside the picture, may be.
func TestInFront(t *testing.T) {
	s := NewSight(thinnedAt(t, posedMesh(bumpy(120, 0, 1), Pose{Identity, Vec{0, 0, -300}}))) // faces the frame's zero
	for _, tt := range []struct {
		at   Vec
		want bool
	}{
		{Vec{0, 0, -250}, true}, {Vec{5, -5, -200}, true}, {Vec{0, 0, -360}, false}, {Vec{80, 0, -250}, false}, {Vec{0, 0, 50}, false},
	} {
		if gap, ok := s.InFront(tt.at); (ok && gap > 0) != tt.want {
			t.Errorf("%v: %.2f %v, want in front %v", tt.at, gap, ok, tt.want)
		}
	}
}

// TestCholesky: a random positive definite system is solved, one that is not is
// refused.
func TestCholesky(t *testing.T) {
	const n = 37
	r := rand.New(rand.NewPCG(3, 4))
	m := make([]float64, n*n)
	for i := range m {
		m[i] = r.NormFloat64()
	}
	a, want, b := make([]float64, n*n), make([]float64, n), make([]float64, n)
	for i := range n {
		want[i] = r.NormFloat64()
		for j := range n {
			for k := range n {
				a[i*n+j] += m[i*n+k] * m[j*n+k]
			}
		}
	}
	for i := range n {
		for j := range n {
			b[i] += a[i*n+j] * want[j]
		}
	}
	if !Cholesky(a, n) {
		t.Fatal("refused")
	}
	CholeskySolve(a, n, b)
	for i := range n {
		if !(math.Abs(b[i]-want[i]) <= 1e-7) {
			t.Errorf("x[%d] = %g, want %g", i, b[i], want[i])
		}
	}
	if Cholesky([]float64{1, 2, 2, 1}, 2) {
		t.Error("an indefinite matrix passed")
	}
}

// TestJointClosesLoops: three bodies whose pairwise pulls disagree settle at the
// least-squares place: a chain 0-1-2 asks for shifts 1 and 1, the loop 0-2 for
// 1.7, so each link gives by 0.1.
func TestJointClosesLoops(t *testing.T) {
	link := func(a, b int, shift float64) Link {
		l := Link{A: a, B: b}
		for k := range 6 {
			l.Pull.A[k][k] = 1
		}
		l.Pull.B[3] = shift
		return l
	}
	j := Joint{Bodies: 3, Links: []Link{link(1, 0, 1), link(2, 1, 1), link(2, 0, 1.7)}}
	steps, ok := j.Solve(t.Context())
	if !ok || !(math.Abs(steps[1][3]-0.9) <= 1e-4) || !(math.Abs(steps[2][3]-1.8) <= 1e-4) || steps[0] != [6]float64{} {
		t.Errorf("steps %v, want shifts 0, 0.9, 1.8", steps)
	}
	for k := range j.Links {
		l := &j.Links[k]
		l.Moved(steps[l.A], steps[l.B])
	}
	if rest := j.Links[0].Pull.B[3]; !(math.Abs(rest-0.1) <= 1e-4) {
		t.Errorf("after the step link 1-0 pulls by %v, want 0.1", rest)
	}
	if again, _ := j.Solve(t.Context()); !(math.Abs(again[2][3]) <= 1e-4) {
		t.Errorf("settled bodies move once more: %v", again)
	}
}

// TestJointLong: a chain of two hundred bodies, each held six ways by a matrix
// of its own, comes to where a dense solution of the same equations has it.
func TestJointLong(t *testing.T) {
	const n = 200
	r := rand.New(rand.NewPCG(1, 2))
	j := Joint{Bodies: n, Fixed: 7}
	dense, pull := make([]float64, 36*n*n), make([]float64, 6*n)
	link := func(a, b int) {
		l := Link{A: a, B: b}
		for range 20 {
			var row [6]float64
			for x := range row {
				row[x] = r.NormFloat64()
			}
			l.Pull.Add(row, r.NormFloat64(), 1)
		}
		l.Pull.mirror()
		j.Links = append(j.Links, l)
		for x := range 6 {
			pull[6*a+x] += l.Pull.B[x]
			pull[6*b+x] -= l.Pull.B[x]
			for y := range 6 {
				for _, at := range [4][3]int{{a, a, 1}, {b, b, 1}, {a, b, -1}, {b, a, -1}} {
					dense[(6*at[0]+x)*6*n+6*at[1]+y] += float64(at[2]) * l.Pull.A[x][y]
				}
			}
		}
	}
	for k := range n - 1 {
		link(k+1, k)
	}
	link(0, n-1)
	trace := 0.0
	for x := range 6 * n {
		trace += dense[x*6*n+x]
	}
	for x := range 6 * n {
		dense[x*6*n+x] += heldBack * trace / (6 * n)
		if x/6 == j.Fixed {
			dense[x*6*n+x] += 1e12
		}
	}
	steps, ok := j.Solve(t.Context())
	if !ok || !Cholesky(dense, 6*n) {
		t.Fatal("not solved")
	}
	CholeskySolve(dense, 6*n, pull)
	for k := range n {
		for x := range 6 {
			if want := pull[6*k+x]; !(math.Abs(steps[k][x]-want) <= 1e-5) {
				t.Fatalf("body %d moves %v, want %v in place %d", k, steps[k], want, x)
			}
		}
	}
}

// BenchmarkFeatures describes a scan of some 4,000 thinned points.
func BenchmarkFeatures(b *testing.B) {
	c, err := Thinned(b.Context(), bumpy(320, 0.05, 1), 1, 2)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		if _, err := NewFeatures(b.Context(), c, 2.5, 5, 10, 2); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(c.Points))*float64(b.N)/b.Elapsed().Seconds()/1e3, "kpoints/s")
}

// TestToucherRemembers: whatever a Toucher was asked before, it answers as one
// that was asked nothing; and a cloud that was made ready as one with its tree.
func TestToucherRemembers(t *testing.T) {
	a, err := Thinned(t.Context(), bumpy(160, 0.05, 1), 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	b, err := Thinned(t.Context(), bumpy(150, 0.05, 2), 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	ready := &Cloud{Points: b.Points, Normals: b.Normals, Rim: b.Rim, Spacing: b.Spacing}
	if err := ready.Ready(t.Context(), 1); err != nil || ready.Tree != nil {
		t.Fatal(err)
	}
	r := rand.New(rand.NewPCG(9, 1))
	for range 20 {
		asked, pose := NewToucher(a, ready, 300), NoMove
		pose.Move = Vec{20 * r.NormFloat64(), 20 * r.NormFloat64(), 3 * r.NormFloat64()}
		for _, reach := range []float64{3, 2.7, 2.4, 0.5, 2, 1.5, 4} {
			want := Touches(a, b, pose, reach, 300)
			if got := asked.Touches(pose, reach); !slices.Equal(got, want) {
				t.Fatalf("%d touches within %v, want %d", len(got), reach, len(want))
			}
			var x [6]float64
			for k := range x {
				x[k] = 0.3 * r.NormFloat64()
			}
			pose = pose.Stepped(x, pose.Apply(a.Middle()), a.Size())
		}
	}
}
