package geom

import "math"

// Sum adds numbers one after the other and carries what rounding loses: A.
// Neumaier, "Rundungsfehleranalyse einiger Verfahren zur Summation endlicher
// Summen", ZAMM 1974 (from memory). The total depends on the order of adding
// only in its last bit, and the order is the caller's.
type Sum struct{ total, lost float64 }

// Add adds x.
func (s *Sum) Add(x float64) {
	t := s.total + x
	if math.Abs(s.total) >= math.Abs(x) {
		s.lost += (s.total - t) + x
	} else {
		s.lost += (x - t) + s.total
	}
	s.total = t
}

// Total returns the sum so far.
func (s *Sum) Total() float64 { return s.total + s.lost }
