package align

import (
	"math"
	"math/rand/v2"
	"testing"

	"layette/steps/internal/geom"
)

// TestDrift: two shots of the same smooth skin drift by what noise leaves, however
// much noise there is; where one shows other skin, that rises and falls by waves
// hardly larger than the noise, they drift by the root of the waves' variance
// (half the square of their height) over that of how firmly they are held.
func TestDrift(t *testing.T) {
	const height, wave, firm = 0.08, 30.0, 0.001
	for _, noise := range []float64{0.02, 0.05, 0.1} {
		r := rand.New(rand.NewPCG(7, math.Float64bits(noise)))
		skin := func(waves float64) *scan {
			m := patch(150, 60, func(x, y float64) float64 {
				return float64(x*x)/120 + float64(y*y)/150 + float64(waves*math.Sin(2*math.Pi*x/wave)) + float64(noise*r.NormFloat64())
			})
			c, err := geom.Thinned(t.Context(), m, 1, 1)
			if err != nil {
				t.Fatal(err)
			}
			return &scan{view: geom.View{Cloud: c}}
		}
		s := &session{scans: []*scan{skin(0), skin(0), skin(height)}, ratio: 1, spacing: 1}
		g := s.newGroup()
		g.in[0], g.at[0] = true, geom.NoMove
		drift := func(i int) float64 {
			return g.drift(&place{scan: i, at: geom.NoMove, firm: firm}, []int{0})
		}
		same, other, want := drift(1), drift(2), height/math.Sqrt(2*firm)
		t.Logf("noise %.2f: %.2f mm on the same skin, %.2f on other, %.2f by the closed form", noise, same, other, want)
		if !(same < 0.4*want) {
			t.Errorf("noise %.2f: the same skin drifts by %.2f mm", noise, same)
		}
		if !(math.Abs(other-want) < 0.15*want) {
			t.Errorf("noise %.2f: other skin drifts by %.2f mm, want %.2f", noise, other, want)
		}
	}
}

// TestVariance: worked by hand. Of 1 and 3 in one patch and 6, 8 and 10 in another
// the squares sum to 210, the patches give 4²/2 + 24²/3 = 200; within them 10 is left
// for 5 - 2 values, and (200 - 2·10/3)/5 = 38.667 lies between.
func TestVariance(t *testing.T) {
	v := variance{patches: map[[3]int32]int{}}
	for patch, list := range [][]float64{{1, 3}, {6, 8, 10}} {
		for _, x := range list {
			v.add([3]int32{int32(patch)}, x)
		}
	}
	if got := v.between(); !(math.Abs(got-38.6667) < 1e-4) {
		t.Errorf("%.4f lies between patches, want 38.6667", got)
	}
	alone := variance{patches: map[[3]int32]int{}}
	alone.add([3]int32{}, 3)
	if got := alone.between(); got != 0 {
		t.Errorf("%v lies between patches of one point each, want 0", got)
	}
}

// TestTurned: a shot of 20 mm that noise lets slip by 0.25 mm may turn by 0.7
// degrees and is not placed; one of 60 mm turns by a third of that.
func TestTurned(t *testing.T) {
	for size, ok := range map[float64]bool{20: false, 60: true} {
		p := &place{ok: true, firm: 0.001, meeting: geom.Meeting{On: 1000, Off: []float32{0.25 * 0.632 / 1.4826}}}
		if slip := p.slip(); !(math.Abs(slip-0.25) < 0.001) {
			t.Fatalf("it slips by %.4f mm, want 0.25", slip)
		}
		if (&scan{size: size}).turned(p); p.ok != ok {
			t.Errorf("a shot of %g mm: %v %q, want %v", size, p.ok, p.why, ok)
		}
	}
}
