package factorysheet

import (
	"math"
	"slices"
)

// circle is a circle of radius 1 about nothing, in 48 corners made by halving
// the sixth of a circle, so that no trigonometry differs between processors.
var circle = roundCorners()

func roundCorners() [][2]float64 {
	half := math.Sqrt(3) / 2
	corners := [][2]float64{{1, 0}, {0.5, half}, {-0.5, half}, {-1, 0}, {-0.5, -half}, {0.5, -half}}
	for range 3 {
		var finer [][2]float64
		for i, a := range corners {
			b := corners[(i+1)%len(corners)]
			x, y := a[0]+b[0], a[1]+b[1]
			l := math.Sqrt(float64(x*x) + float64(y*y))
			finer = append(finer, a, [2]float64{x / l, y / l})
		}
		corners = finer
	}
	return corners
}

// crossings returns where the line x + y = level runs inside the rings, as
// pairs of x.
func crossings(rings [][]at, level float64) [][2]float64 {
	var xs []float64
	for _, r := range rings {
		for i, a := range r {
			b := r[(i+1)%len(r)]
			da, db := a.x+a.y-level, b.x+b.y-level
			if (da < 0) == (db < 0) {
				continue
			}
			xs = append(xs, a.x+float64((b.x-a.x)*(da/(da-db))))
		}
	}
	slices.Sort(xs)
	var pairs [][2]float64
	for i := 0; i+1 < len(xs); i += 2 {
		pairs = append(pairs, [2]float64{xs[i], xs[i+1]})
	}
	return pairs
}

// thinned returns a ring without the corners that stray less than far from the
// line through those kept: a scan's outline has thousands.
//
// D. H. Douglas and T. K. Peucker, "Algorithms for the reduction of the number
// of points required to represent a digitized line or its caricature", The
// Canadian Cartographer 1973 (from memory).
func thinned(ring []at, far float64) []at {
	if len(ring) < 8 {
		return ring
	}
	keep := make([]bool, len(ring))
	half := 0 // the corner farthest from the first
	for i, p := range ring {
		if dist2(p, ring[0]) > dist2(ring[half], ring[0]) {
			half = i
		}
	}
	keep[0], keep[half] = true, true
	type span struct{ from, to int }
	spans := []span{{0, half}, {half, len(ring)}}
	for len(spans) > 0 {
		s := spans[len(spans)-1]
		spans = spans[:len(spans)-1]
		worst, most := -1, far*far
		for i := s.from + 1; i < s.to; i++ {
			if off := offLine2(ring[i], ring[s.from], ring[s.to%len(ring)]); off > most {
				worst, most = i, off
			}
		}
		if worst >= 0 {
			keep[worst] = true
			spans = append(spans, span{s.from, worst}, span{worst, s.to})
		}
	}
	var out []at
	for i, p := range ring {
		if keep[i] {
			out = append(out, p)
		}
	}
	return out
}

func dist2(a, b at) float64 { return float64((a.x-b.x)*(a.x-b.x)) + float64((a.y-b.y)*(a.y-b.y)) }

// offLine2 is the squared distance of p from the segment a to b.
func offLine2(p, a, b at) float64 {
	long := dist2(a, b)
	if long == 0 {
		return dist2(p, a)
	}
	t := (float64((p.x-a.x)*(b.x-a.x)) + float64((p.y-a.y)*(b.y-a.y))) / long
	t = min(max(t, 0), 1)
	return dist2(p, at{a.x + float64(t*(b.x-a.x)), a.y + float64(t*(b.y-a.y))})
}

// span is the least and greatest of something.
type span struct{ Lo, Hi float64 }

func nothing() span { return span{math.Inf(1), math.Inf(-1)} }

func (s span) with(x float64) span { return span{min(s.Lo, x), max(s.Hi, x)} }

func (s span) size() float64 { return s.Hi - s.Lo }
func (s span) mid() float64  { return (s.Lo + s.Hi) / 2 }
