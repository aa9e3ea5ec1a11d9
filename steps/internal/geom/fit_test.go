package geom

import (
	"errors"
	"math"
	"math/rand/v2"
	"testing"
)

func cloud(r *rand.Rand, n int) []Vec {
	pts := make([]Vec, n)
	for i := range pts {
		pts[i] = Vec{40 * r.NormFloat64(), 25 * r.NormFloat64(), 10 * r.NormFloat64()}
	}
	return pts
}

func randomPose(r *rand.Rand) Pose {
	q := Quaternion{r.NormFloat64(), r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}
	return Pose{q.Rot(), Vec{100 * r.NormFloat64(), 100 * r.NormFloat64(), 100 * r.NormFloat64()}}
}

// TestFitRecovers: exact copies are brought back exactly; a scale is found.
func TestFitRecovers(t *testing.T) {
	r := rand.New(rand.NewPCG(1, 2))
	for range 200 {
		from := cloud(r, 3+r.IntN(40))
		truth := randomPose(r)
		scale := 0.5 + r.Float64()
		var rigid, similar []Vec
		for _, p := range from {
			rigid = append(rigid, truth.Apply(p))
			similar = append(similar, truth.Rot.Apply(p).Mul(scale).Add(truth.Move))
		}
		f, err := FitRigid(from, rigid, nil)
		if err != nil {
			t.Fatal(err)
		}
		if d := f.Then(truth.Inverse()); d.Turn() > 1e-7 || f.RMS > 1e-9 {
			t.Fatalf("turn left %g, RMS %g", d.Turn(), f.RMS)
		}
		f, err = FitSimilarity(from, similar, nil)
		if err != nil || !(math.Abs(f.Scale-scale) <= 1e-12*10) || f.RMS > 1e-9 {
			t.Fatalf("scale %g, want %g; RMS %g; %v", f.Scale, scale, f.RMS, err)
		}
	}
}

// TestFitIsLeast: no small turn or move of the fitted pose does better.
func TestFitIsLeast(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 4))
	from := cloud(r, 50)
	truth := randomPose(r)
	to := make([]Vec, len(from))
	for i, p := range from {
		to[i] = truth.Apply(p).Add(Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()})
	}
	f, err := FitRigid(from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	for range 300 {
		g := f
		g.Rot = SmallTurn(Vec{r.NormFloat64() / 1e4, r.NormFloat64() / 1e4, r.NormFloat64() / 1e4}).Mul(f.Rot)
		g.Move = f.Move.Add(Vec{r.NormFloat64() / 100, r.NormFloat64() / 100, r.NormFloat64() / 100})
		if got := rms(g, from, to, nil, 50); got < f.RMS {
			t.Fatalf("a pose nearby leaves %g, the fit %g", got, f.RMS)
		}
	}
}

// TestFitNeverMirrors: onto a mirror image the fit is still a turn.
func TestFitNeverMirrors(t *testing.T) {
	r := rand.New(rand.NewPCG(5, 6))
	from := cloud(r, 30)
	to := make([]Vec, len(from))
	for i, p := range from {
		to[i] = Vec{-p.X, p.Y, p.Z}
	}
	f, err := FitRigid(from, to, nil)
	if err != nil {
		t.Fatal(err)
	}
	m := f.Rot
	det := m[0][0]*(m[1][1]*m[2][2]-m[1][2]*m[2][1]) - m[0][1]*(m[1][0]*m[2][2]-m[1][2]*m[2][0]) + m[0][2]*(m[1][0]*m[2][1]-m[1][1]*m[2][0])
	if !(math.Abs(det-1) <= 1e-12) || f.RMS < 1 {
		t.Errorf("determinant %g, RMS %g", det, f.RMS)
	}
}

func TestFitUndetermined(t *testing.T) {
	line := []Vec{{0, 0, 0}, {1, 2, 3}, {2, 4, 6}, {3, 6, 9}}
	same := []Vec{{1, 1, 1}, {1, 1, 1}, {1, 1, 1}}
	nan := []Vec{{math.NaN(), 0, 0}, {1, 0, 0}, {0, 1, 0}}
	for _, pts := range [][]Vec{nil, line[:2], line, same, nan} {
		if _, err := FitRigid(pts, pts, nil); !errors.Is(err, ErrUndetermined) {
			t.Errorf("fit of %v: %v", pts, err)
		}
	}
	if _, _, err := FitPlane(line, nil); !errors.Is(err, ErrUndetermined) {
		t.Errorf("plane through a line: %v", err)
	}
	flat := []Vec{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {1, 1, 0}, {3, 2, 0}}
	if _, _, err := FitSphere(flat); !errors.Is(err, ErrUndetermined) {
		t.Errorf("sphere through a plane: %v", err)
	}
}

// TestSixPointSphere: six points about a sphere of 12.5 mm, the geometric fit
// as against the algebraic one, 12.500002667 (arithmetic; the definition of
// probing error form is VDI/VDE 2634's, from memory). Two such spheres 100 mm
// apart and scaled by 1.001 show a spacing error of 0.1 and a size error of
// 0.025 mm.
func TestSixPointSphere(t *testing.T) {
	six := []Vec{{12.51, 0, 0}, {-12.51, 0, 0}, {0, 12.49, 0}, {0, -12.49, 0}, {0, 0, 12.5}, {0, 0, -12.5}}
	s, sigma, err := FitSphere(six)
	if err != nil {
		t.Fatal(err)
	}
	if s.Centre.Len() > 1e-9 || !(math.Abs(s.Radius-12.5) <= 1e-6) || !(math.Abs(sigma-0.0081650) <= 1e-6) {
		t.Errorf("centre %v, radius %.9f, sigma %.7f", s.Centre, s.Radius, sigma)
	}
	if a, _ := algebraicSphere(six); !(math.Abs(a.Radius-12.500002667) <= 1e-8) {
		t.Errorf("algebraic radius %.9f, want 12.500002667", a.Radius)
	}
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range six {
		lo, hi = min(lo, s.Dist(p)), max(hi, s.Dist(p))
	}
	if !(math.Abs(hi-lo-0.02) <= 1e-6) {
		t.Errorf("range of distances %.6f, want 0.02", hi-lo)
	}
	var a, b []Vec
	for _, p := range six {
		a = append(a, p.Mul(1.001))
		b = append(b, p.Add(Vec{100, 0, 0}).Mul(1.001))
	}
	sa, _, _ := FitSphere(a)
	sb, _, _ := FitSphere(b)
	if d := sb.Centre.Sub(sa.Centre).Len() - 100; !(math.Abs(d-0.1) <= 1e-6) {
		t.Errorf("spacing error %.7f, want 0.1", d)
	}
	if d := 2*sa.Radius - 25; !(math.Abs(d-0.025) <= 1e-6) {
		t.Errorf("size error %.7f, want 0.025", d)
	}
}

func TestPlane(t *testing.T) {
	r := rand.New(rand.NewPCG(7, 8))
	for range 50 {
		pose := randomPose(r)
		var pts []Vec
		for range 30 {
			pts = append(pts, pose.Apply(Vec{30 * r.NormFloat64(), 20 * r.NormFloat64(), 0}))
		}
		pl, left, err := FitPlane(pts, nil)
		if err != nil || left > 1e-6 {
			t.Fatalf("RMS %g, %v", left, err)
		}
		if c := math.Abs(pl.Normal.Dot(pose.Rot.Apply(Vec{0, 0, 1}))); !(math.Abs(c-1) <= 1e-9) {
			t.Fatalf("normal off: cosine %g", c)
		}
	}
}

// TestEigen3 compares with the definition: m v = value v, vectors at right angles.
func TestEigen3(t *testing.T) {
	r := rand.New(rand.NewPCG(9, 10))
	for range 500 {
		var m Mat
		for i := range 3 {
			for j := i; j < 3; j++ {
				m[i][j] = r.NormFloat64() * math.Pow(10, float64(r.IntN(7)-3))
				m[j][i] = m[i][j]
			}
		}
		values, vectors := Eigen3(m)
		size := math.Abs(values[0]) + math.Abs(values[2])
		for i, v := range vectors {
			if d := m.Apply(v).Sub(v.Mul(values[i])).Len(); d > 1e-13*size+1e-300 {
				t.Fatalf("m v - value v = %g of %g", d, size)
			}
			if d := math.Abs(v.Dot(vectors[(i+1)%3])) + math.Abs(v.Len()-1); d > 1e-12 {
				t.Fatalf("vectors are %g from right angles", d)
			}
		}
	}
}
