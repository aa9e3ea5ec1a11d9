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
	rising = [][3]uint8{{0xfc, 0xee, 0xba}, {0xf0, 0xcf, 0x87}, {0xda, 0xb3, 0x73}, {0xb0, 0x9d, 0x7b}, {0x7a, 0x89, 0x88}, {0x43, 0x74, 0x8e}, {0x1b, 0x5b, 0x87}, {0x19, 0x41, 0x75}, {0x15, 0x28, 0x5f}}
	apart  = [][3]uint8{{0x07, 0x3d, 0x78}, {0x24, 0x69, 0xa4}, {0x5d, 0x95, 0xc8}, {0xa6, 0xc1, 0xdd}, {0xf0, 0xed, 0xe8}, {0xe0, 0xb8, 0x7f}, {0xbf, 0x85, 0x35}, {0x91, 0x59, 0x16}, {0x5e, 0x33, 0x0a}}
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

// Coloured returns m with each vertex in the colour of its value, for other
// programs to show; what has no value is the grey of paper. Positions and
// triangles are m's own.
func Coloured(m *geom.Mesh, v *Values) *geom.Mesh {
	out := *m
	out.Colours = make([][4]uint8, len(m.Verts))
	for i := range out.Colours {
		c := [3]uint8{0xc9, 0xc5, 0xbd}
		if i < len(v.At) && v.At[i] == v.At[i] {
			c = v.Scale.At(v.share(float64(v.At[i])))
		}
		out.Colours[i] = [4]uint8{c[0], c[1], c[2], 255}
	}
	return &out
}
