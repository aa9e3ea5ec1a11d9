package process

import (
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/engine/unit"
)

// The least and the greatest share that a curve may give: what lies beyond says
// no more than "nothing" and "all".
const (
	leastKept = 0.001
	mostKept  = 0.9999
	mostWaves = 50
)

// keeps reads a measured curve, such as ["12 % at 1 mm", "60 % at 2 mm"].
func (l *Link) keeps(value any) error {
	texts, ok := value.([]string)
	if !ok || len(texts) == 0 || len(texts) > mostWaves {
		return fmt.Errorf("%s: kept is a list such as [\"12 %% at 1 mm\", \"60 %% at 2 mm\"], of %d at most", l.Name, mostWaves)
	}
	last := 0.0
	for i, text := range texts {
		share, wave, err := kept(text)
		if err != nil {
			return fmt.Errorf("%s: %w", l.Name, err)
		}
		if i > 0 && (wave <= l.Waves[i-1] || share < last) {
			return fmt.Errorf("%s: kept goes from short waves to long ones, of which no less survives; %q comes after %q", l.Name, text, texts[i-1])
		}
		last = share
		l.Waves = append(l.Waves, wave)
		l.Details = append(l.Details, float64(wave*math.Sqrt(halvings(share))))
	}
	return nil
}

// kept reads "60 % at 2 mm".
func kept(text string) (share, wave float64, err error) {
	first, second, _ := strings.Cut(text, " at ")
	share, err = unit.ParseAs(strings.TrimSpace(first), step.Share)
	if err == nil {
		wave, err = unit.ParseAs(strings.TrimSpace(second), step.Length)
	}
	if err != nil || !(share >= 0 && share <= 1) || !(wave >= 0.01 && wave <= 100) {
		return 0, 0, fmt.Errorf("kept has %q, which is not a share from 0 to 100 %% at a wavelength from 0.01 to 100 mm, such as \"60 %% at 2 mm\"", text)
	}
	return max(leastKept, min(mostKept, share)), wave, nil
}

// halvings returns how often a depth was halved when a share of it is left:
// -log2 of it, by bisection, of the same bits on every processor.
func halvings(share float64) float64 {
	lo, hi := 0.0, 16.0
	for range 60 {
		if mid := (lo + hi) / 2; halved(mid) > share {
			lo = mid
		} else {
			hi = mid
		}
	}
	return (lo + hi) / 2
}

// halved returns 2^-n for 0 <= n <= 16, by square roots.
func halved(n float64) float64 {
	x := 1.0
	for n >= 1 {
		x, n = x/2, n-1
	}
	for root := math.Sqrt(0.5); n > 0 && root < 1; root = math.Sqrt(root) {
		if n *= 2; n >= 1 {
			x, n = float64(x*root), n-1
		}
	}
	return x
}

// at returns the detail that the link holds for waves of a length on its copy:
// what was measured at the nearest, or gently from one to the next.
func (l Link) at(length float64) float64 {
	n := len(l.Waves)
	switch {
	case n == 0:
		return l.Detail
	case length <= l.Waves[0]:
		return l.Details[0]
	case length >= l.Waves[n-1]:
		return l.Details[n-1]
	}
	i := 1
	for l.Waves[i] < length {
		i++
	}
	u := (length - l.Waves[i-1]) / (l.Waves[i] - l.Waves[i-1])
	u = float64(u*u) * (3 - 2*u)
	return l.Details[i-1] + float64(u*(l.Details[i]-l.Details[i-1]))
}
