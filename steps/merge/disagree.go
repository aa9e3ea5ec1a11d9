package merge

import (
	"math"
	"slices"
)

// disagreement returns the median and the 95th percentile, by vertices, of how
// far scans disagree where two or more saw the skin.
func (s *skin) disagreement() (half, most float64) {
	var all []float32
	for v, d := range s.disagree {
		if s.Seen[v] > 1 {
			all = append(all, d)
		}
	}
	if len(all) == 0 {
		return math.NaN(), math.NaN()
	}
	slices.Sort(all)
	return float64(all[len(all)/2]), float64(all[len(all)*95/100])
}
