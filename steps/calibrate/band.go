package calibrate

import "math"

// band is an estimate with the bounds that are meant to hold the truth with
// 95 %; all three are NaN where the samples cannot tell.
type band struct{ at, from, to float64 }

// students are the two-sided 95 % points of Student's t for 1, 2, ... degrees
// (tables; from memory); after 40 those of 40 are taken.
var students = [...]float64{12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228,
	2.201, 2.179, 2.160, 2.145, 2.131, 2.120, 2.110, 2.101, 2.093, 2.086,
	2.080, 2.074, 2.069, 2.064, 2.060, 2.056, 2.052, 2.048, 2.045, 2.042,
	2.040, 2.037, 2.035, 2.032, 2.030, 2.028, 2.026, 2.024, 2.023, 2.021}

func student(degrees int) float64 { return students[min(degrees, len(students))-1] }

// jackknife returns an estimate with its bounds from what it becomes with each
// of the pieces left out (J. W. Tukey, 1958; from memory). Pieces that weigh
// unevenly are worth fewer: a sum of n squares spreads by (kurtosis - 1)/n, one of
// d degrees by 2/d (F. E. Satterthwaite, 1946; from memory).
func jackknife(at float64, without []float64) band {
	n, mean, s, fourth := float64(len(without)), 0.0, 0.0, 0.0
	for _, x := range without {
		mean += x / n
	}
	for _, x := range without {
		d := float64((x - mean) * (x - mean))
		s, fourth = s+d, fourth+float64(d*d)
	}
	degrees := n - 1
	if kurtosis := n * fourth / float64(s*s); kurtosis > 3 {
		degrees = min(degrees, 2*n/(kurtosis-1))
	}
	half := student(max(1, int(degrees))) * math.Sqrt(s*(n-1)/n)
	return band{at, at - half, at + half}
}

// Chosen by us, no source.
const (
	tells   = 0.005 // a sample that may be off by more cannot tell its shrinkage
	noisier = 1.1   // how much more than noise may be left by chance
)

// What leaving pieces out does not show, because the whole sample has it: seen
// on simulated samples, no source.
const (
	offShape   = 0.0005 // mm over half the size: of shrinkage
	offDetail  = 0.002  // of the squared detail
	offFacets  = 0.1    // of what the facets soften: triangles are not even
	offNoise   = 4.0    // of the square of the noise: it never lies quite across the skin
	offScatter = 0.2    // of what scatter hides
)

// wider returns the band with off added to its half width as squares add.
func (b band) wider(off float64) band {
	half := hypot((b.to-b.from)/2, off)
	return band{b.at, b.at - half, b.at + half}
}

// unknown is what a sample says that cannot tell.
var unknown = band{math.NaN(), math.NaN(), math.NaN()}

// known reports whether the samples can tell.
func (b band) known() bool { return b.at == b.at }

// together joins the estimates that are known, each weighed by its own bounds.
// Where samples differ by more than these explain, a spread between samples is
// added to each (R. DerSimonian and N. Laird, "Meta-analysis in clinical
// trials", 1986), and as few samples tell little of that spread, the bounds are
// Student's (G. Knapp and J. Hartung, 2003), no narrower than without; both
// from memory.
func together(given []band) band {
	var all []band
	for _, b := range given {
		if b.known() {
			all = append(all, b)
		}
	}
	switch len(all) {
	case 0:
		return unknown
	case 1:
		return all[0]
	}
	own := make([]float64, len(all)) // variances
	for k, b := range all {
		s := (b.to - b.from) / 2 / student(blocks-1)
		own[k] = max(float64(s*s), 1e-18)
	}
	fixed, weights, spread := weighed(all, own, 0)
	degrees := float64(len(all) - 1)
	squares := 0.0
	for _, v := range own {
		squares += 1 / float64(v*v)
	}
	if more := (spread - degrees) / (weights - squares/weights); more > 0 {
		at, weights, spread := weighed(all, own, more)
		half := student(len(all)-1) * math.Sqrt(max(1, spread/degrees)/weights)
		return band{at, at - half, at + half}
	}
	half := student(blocks-1) / math.Sqrt(weights)
	return band{fixed, fixed - half, fixed + half}
}

// weighed returns the mean weighed by one over the variances, each with more
// added, the sum of weights and the weighed sum of squares about the mean.
func weighed(all []band, own []float64, more float64) (mean, weights, spread float64) {
	for k, b := range all {
		w := 1 / (own[k] + more)
		mean, weights = mean+float64(w*b.at), weights+w
	}
	mean /= weights
	for k, b := range all {
		spread += float64((b.at-mean)*(b.at-mean)) / (own[k] + more)
	}
	return mean, weights, spread
}

// hypot adds as squares add; math.Hypot has not the same bits everywhere.
func hypot(a, b float64) float64 { return math.Sqrt(float64(a*a) + float64(b*b)) }
