package draw

import (
	"math"

	"layette/steps/internal/geom"
)

// Values are numbers to show on the skin, one a vertex.
type Values struct {
	At   []float32 // NaN where nothing is known: plain clay
	Name string    // such as "air gap"
	Unit string    // such as "mm"
	Low  float64   // the value at the scale's foot; what is lower looks the same
	High float64   // the value at its head
	// Scale is how colours run; the zero value is Rising.
	Scale Scale
	// Limits are values to mark on the legend, such as a gate's limit.
	Limits []float64
}

// Scale is a run of colours. The stops of each stand at equal steps of CIELAB
// lightness (CIE 15, from memory), along yellow and blue, which people who
// cannot tell red from green tell apart: the choice of hues follows F.
// Viénot, H. Brettel and J. D. Mollon, "Digital video colourmaps for checking
// the legibility of displays by dichromats", Color Research and Application
// 1999 (from memory). Both are checked in the tests.
type Scale int

// The scales.
const (
	Rising  Scale = iota // pale to dark: more is darker
	Falling              // dark to pale: less is darker, for gaps and walls
	Apart                // blue below the middle, paper at it, amber-brown above
)

// Stops of the scales, as stored bytes; between them colours run straight.
var (
	rising = [][3]uint8{{0xfb, 0xef, 0xb9}, {0xee, 0xd0, 0x80}, {0xd6, 0xb3, 0x62}, {0xa9, 0x9f, 0x6f}, {0x73, 0x8c, 0x82}, {0x40, 0x76, 0x8f}, {0x25, 0x5c, 0x88}, {0x1f, 0x40, 0x73}, {0x19, 0x26, 0x55}}
	apart  = [][3]uint8{{0x12, 0x3c, 0x78}, {0x2e, 0x63, 0xa1}, {0x62, 0x90, 0xc4}, {0xa6, 0xc0, 0xdc}, {0xf1, 0xef, 0xe8}, {0xe6, 0xc4, 0x8c}, {0xcb, 0x93, 0x45}, {0x99, 0x66, 0x1e}, {0x68, 0x3b, 0x07}}
)

// At returns the colour of a share of the scale, 0 at its foot and 1 at its
// head, as stored bytes. A share outside is drawn as the nearer end.
func (s Scale) At(share float64) [3]uint8 {
	stops := rising
	switch s {
	case Falling:
		share = 1 - share
	case Apart:
		stops = apart
	}
	x := min(max(share, 0), 1) * float64(len(stops)-1)
	i := min(int(x), len(stops)-2)
	x -= float64(i)
	var out [3]uint8
	for k := range out {
		lo, hi := float64(stops[i][k]), float64(stops[i+1][k])
		out[k] = uint8(lo + float64(x*(hi-lo)) + 0.5)
	}
	return out
}

// share returns where v stands on the scale.
func (v *Values) share(x float64) float64 {
	if v.High == v.Low {
		return 0.5
	}
	return (x - v.Low) / (v.High - v.Low)
}

// tone returns the light of a value.
func (v *Values) tone(x float64) rgb {
	c := v.Scale.At(v.share(x))
	return colour(c[0], c[1], c[2])
}

// at returns the value at a point of a triangle, if it is known at its corners.
func (v *Values) at(t geom.Tri, wa, wb, wc float64) (float64, bool) {
	x := float64(float64(v.At[t[0]])*wa) + float64(float64(v.At[t[1]])*wb) + float64(float64(v.At[t[2]])*wc)
	return x, !math.IsNaN(x)
}
