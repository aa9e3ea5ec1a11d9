package calibrate

import "math"

// band is an estimate with the bounds that are meant to hold the truth with
// 95 %; all three are NaN where the samples cannot tell.
type band struct{ at, from, to float64 }

// student is the two-sided 95 % point of Student's t with blocks - 1 degrees.
const student = 2.0227

// jackknife returns an estimate with its bounds from what it becomes with each
// of the pieces left out (J. W. Tukey, 1958; from memory).
func jackknife(at float64, without []float64) band {
	mean := 0.0
	for _, x := range without {
		mean += x / float64(len(without))
	}
	s := 0.0
	for _, x := range without {
		s += float64((x - mean) * (x - mean))
	}
	n := float64(len(without))
	half := student * math.Sqrt(s*(n-1)/n)
	return band{at, at - half, at + half}
}

// What leaving pieces out does not show, because the whole sample has it. All
// are chosen by us from simulated samples; no source.
const (
	offLeast    = 0.0005 // of a share of length: what was seen to be off with bent samples
	offBend     = 0.1    // of the bending over half the length of the part
	offUnshared = 2.0    // of what is left beyond noise over half the length of the part
	offKept     = 0.05   // of a share of depth
	offDetail   = 0.05   // of the detail
	tells       = 0.005  // a sample that may be off by more cannot tell its shrinkage
	noisier     = 1.1    // how much more than noise may be left by chance
)

// beyond returns how much of what a fit leaves noise does not explain, mm.
func (f *fitted) beyond() float64 {
	usual := noisier * f.noise
	return math.Sqrt(max(0, float64(f.sigma*f.sigma)-float64(usual*usual)))
}

// off returns by how much the shrinkage may be off in all pieces alike.
func (f *fitted) off(bend float64) float64 {
	b, u := offBend*bend/f.size, offUnshared*f.beyond()/f.size
	return math.Sqrt(float64(offLeast*offLeast) + float64(b*b) + float64(u*u))
}

// wider returns the band with off added to its half width as squares add.
func (b band) wider(off float64) band {
	half := (b.to - b.from) / 2
	half = math.Sqrt(float64(half*half) + float64(off*off))
	return band{b.at, b.at - half, b.at + half}
}

// unknown is what a sample says that cannot tell.
var unknown = band{math.NaN(), math.NaN(), math.NaN()}

// known reports whether the samples can tell.
func (b band) known() bool { return b.at == b.at }

// students are the two-sided 95 % points of Student's t for 1, 2, ... degrees
// (tables; from memory).
var students = []float64{12.706, 4.303, 3.182, 2.776, 2.571, 2.447, 2.365, 2.306, 2.262, 2.228}

// together averages the estimates that are known. What may be off in all pieces
// of a sample may be off in all samples alike, so more samples do not narrow
// the bounds below off. Where samples differ by more than their own bounds
// explain, the difference between them sets the bounds.
func together(given []band, off float64) band {
	var all []band
	for _, b := range given {
		if b.known() {
			all = append(all, b)
		}
	}
	if len(all) == 0 {
		return unknown
	}
	n := float64(len(all))
	mean, own := 0.0, 0.0
	for _, b := range all {
		mean += b.at / n
		half := (b.to - b.from) / (2 * student)
		own += float64(half*half) / n
	}
	between := 0.0
	for _, b := range all {
		between += float64((b.at - mean) * (b.at - mean))
	}
	half := max(off, student*math.Sqrt(own/n))
	if len(all) > 1 {
		if spread := between / (n - 1); spread > 2*own {
			t := students[min(len(all)-2, len(students)-1)]
			half = max(half, t*math.Sqrt(spread/n))
		}
	}
	return band{mean, mean - half, mean + half}
}
