package form

import (
	"math"
	"testing"
)

// TestCoarse: on a skin so fine that the filter goes by way of patches, waves
// pass as they should (ISO 16610-21), as on the triangles themselves.
func TestCoarse(t *testing.T) {
	const side, cutoff = 48.0, 6.0
	for _, wave := range []float64{4.5, 6} {
		s := skinOf(t, sheet(side, 0.095, func(x, _ float64) float64 { return 0.01 * math.Sin(2*math.Pi*x/wave) }))
		o, err := s.Operator(t.Context(), s.Places(), cutoff)
		if err != nil {
			t.Fatal(err)
		}
		if c, err := o.coarser(t.Context(), cutoff); c == nil || err != nil {
			t.Fatalf("no patches: %v", err)
		} else {
			t.Logf("%d patches of %d vertices, spread %.5f of %.5f", len(c.whole), len(o.places), c.spread, time(cutoff))
		}
		x := make([]float64, len(o.places))
		for v, p := range o.places {
			x[v] = p.Z
		}
		got, err := o.Gauss(t.Context(), x, cutoff)
		if err != nil {
			t.Fatal(err)
		}
		var num, den, most, squares, n float64
		for v, p := range o.places {
			if p.X > 2*cutoff && p.X < side-2*cutoff && p.Y > 2*cutoff && p.Y < side-2*cutoff {
				w := math.Sin(2 * math.Pi * p.X / wave)
				num += got[v] * w
				den += 0.01 * w * w
				off := got[v]/0.01 - Transmission(cutoff, wave)*w
				most, squares, n = max(most, math.Abs(off)), squares+off*off, n+1
			}
		}
		if !(math.Abs(num/den-Transmission(cutoff, wave)) <= 0.001) || most > 0.025 || math.Sqrt(squares/n) > 0.004 {
			t.Errorf("a wave of %v passes with %.4f, want %.4f; off by %.4f at most and %.4f as a rule", wave, num/den, Transmission(cutoff, wave), most, math.Sqrt(squares/n))
		}
	}
}
