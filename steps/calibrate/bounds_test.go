package calibrate

import (
	"math"
	"os"
	"strconv"
	"testing"

	"layette/steps/internal/form"
	"layette/steps/internal/geom"
)

// elsewhere turns the sample's triangles away from the master's.
var elsewhere = geom.Vec{X: 0.3, Y: 0.2, Z: -0.4}

// trial is the sample of one seed: shrinking by 1 to 6 % along each axis, detail
// 1 to 2 mm, 0.05 mm of noise, bent to a radius of 0.7 m or more and twisted,
// with flash and four holes.
func trial(seed int) truth {
	share := func(n int) float64 { return float64(seed%n) / float64(n-1) }
	return truth{
		shrink: [3]float64{0.01 + 0.05*share(7), 0.01 + 0.05*share(5), 0.01 + 0.05*share(3)},
		detail: 1 + share(4), noise: 0.05, bend: 0.0014 * share(9), twist: 0.001 * share(11),
		flash: true, holes: true, seed: uint64(seed),
	}
}

// TestBoundsHoldTheTruth counts over many seeds how often the bounds hold the
// truth. It takes minutes: LAYETTE_SEEDS says how many seeds, LAYETTE_FIRST the
// first of them; with LAYETTE_SCATTER noise lies alike in every direction.
func TestBoundsHoldTheTruth(t *testing.T) {
	seeds, _ := strconv.Atoi(os.Getenv("LAYETTE_SEEDS"))
	first, _ := strconv.Atoi(os.Getenv("LAYETTE_FIRST"))
	if seeds == 0 {
		t.Skip("set LAYETTE_SEEDS=100 to count how often the bounds hold the truth")
	}
	c := &calibration{reach: 2, workers: 2}
	if err := c.prepare(t.Context(), lump(64, geom.Vec{})); err != nil {
		t.Fatal(err)
	}
	names := append([]string{"x", "y", "z", "mean", "detail"}, "1.0 mm", "1.4 mm", "2.0 mm", "2.8 mm", "4.0 mm", "5.7 mm")
	held, worst, squares := make([]int, len(names)), make([]float64, len(names)), make([]float64, len(names))
	soft := map[float64]*geom.Mesh{}
	for seed := first; seed < first+seeds; seed++ {
		w := trial(seed)
		if os.Getenv("LAYETTE_SCATTER") != "" {
			w.noise, w.scatter, c.scatter = 0, w.noise, 1
		}
		if soft[w.detail] == nil {
			soft[w.detail] = softFine(t, 90, 2, w.detail)
		}
		f, err := c.study(t.Context(), "sample", scanned(soft[w.detail], w))
		if err != nil {
			t.Fatalf("seed %d: %v", seed, err)
		}
		mean := (w.shrink[0] + w.shrink[1] + w.shrink[2]) / 3
		bands, want := append(f.shrink[:], f.mean, f.detail), append(w.shrink[:], mean, w.detail*(1-mean))
		for k, b := range f.share {
			bands, want = append(bands, b), append(want, form.Passed(w.detail, cutoffAt(firstBand+k)))
		}
		for k, b := range bands {
			off := b.at - want[k]
			t.Logf("seed %d %s off %+.6f bound %.6f", seed, names[k], off, (b.to-b.from)/2)
			worst[k], squares[k] = max(worst[k], math.Abs(off)), squares[k]+off*off
			if b.from <= want[k] && want[k] <= b.to {
				held[k]++
			}
		}
		t.Logf("seed %d sigma %.4f noise %.4f misfit %.5f bend %.3f free %v covered %.2f", seed, f.sigma, f.noise, f.misfit, f.bend, f.free, f.covered)
	}
	for k, name := range names {
		t.Logf("of %d seeds the bounds of %s hold %d; worst %.5f, root of mean square %.5f", seeds, name, held[k], worst[k], math.Sqrt(squares[k]/float64(seeds)))
		// A bound that truly holds 95 of 100 holds fewer than this by chance in
		// one of a thousand runs.
		if least := 0.95 - 3.1*math.Sqrt(0.95*0.05/float64(seeds)); float64(held[k]) < least*float64(seeds) {
			t.Errorf("the bounds of %s hold %d of %d", name, held[k], seeds)
		}
	}
}
