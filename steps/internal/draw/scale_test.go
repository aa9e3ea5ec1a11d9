package draw

import (
	"math"
	"testing"
)

// lab returns CIELAB L* of stored bytes (CIE 15 and IEC 61966-2-1, from
// memory; white is D65).
func lab(c [3]float64) (l, a, b float64) {
	f := func(t float64) float64 {
		if t > 216.0/24389 {
			return math.Cbrt(t)
		}
		return (24389.0/27*t + 16) / 116
	}
	x := (0.4124564*c[0] + 0.3575761*c[1] + 0.1804375*c[2]) / 0.95047
	y := 0.2126729*c[0] + 0.7151522*c[1] + 0.0721750*c[2]
	z := (0.0193339*c[0] + 0.1191920*c[1] + 0.9503041*c[2]) / 1.08883
	return 116*f(y) - 16, 500 * (f(x) - f(y)), 200 * (f(y) - f(z))
}

func linear(c [3]uint8) (out [3]float64) {
	for i, v := range c {
		if x := float64(v) / 255; x > 0.04045 {
			out[i] = math.Pow((x+0.055)/1.055, 2.4)
		} else {
			out[i] = x / 12.92
		}
	}
	return out
}

// dichromat is the look of a colour to eyes without long-wave (protan) or
// medium-wave (deutan) cones: the matrices in linear RGB of Viénot, Brettel and
// Mollon 1999 (from memory).
func dichromat(c [3]float64, protan bool) [3]float64 {
	m := [2][3]float64{{0.29275, 0.70725, 0}, {-0.02234, 0.02234, 1}} // deutan
	if protan {
		m = [2][3]float64{{0.11238, 0.88762, 0}, {0.00401, -0.00401, 1}}
	}
	dot := func(r [3]float64) float64 { return max(0, r[0]*c[0]+r[1]*c[1]+r[2]*c[2]) }
	return [3]float64{dot(m[0]), dot(m[0]), dot(m[1])}
}

// A rising scale darkens evenly: one step of the value is one step of
// lightness everywhere.
func TestRisingScaleDarkensEvenly(t *testing.T) {
	last := math.Inf(1)
	first, _, _ := lab(linear(Rising.At(0)))
	end, _, _ := lab(linear(Rising.At(1)))
	for i := range 101 {
		s := float64(i) / 100
		l, _, _ := lab(linear(Rising.At(s)))
		if l >= last {
			t.Errorf("at %g no darker than before", s)
		}
		if want := first + s*(end-first); !(math.Abs(l-want) <= 2) {
			t.Errorf("at %g lightness %.1f, want %.1f", s, l, want)
		}
		last = l
		if Falling.At(s) != Rising.At(1-s) {
			t.Errorf("falling at %g is not rising at %g", s, 1-s)
		}
	}
	if first-end < 70 {
		t.Errorf("lightness runs over %.0f steps only", first-end)
	}
}

// Both arms of the scale that parts darken evenly, and eyes of every kind tell
// equal values above and below the middle apart.
func TestApartScale(t *testing.T) {
	middle, _, _ := lab(linear(Apart.At(0.5)))
	for i := 1; i <= 50; i++ {
		s := float64(i) / 100
		lo, hi := linear(Apart.At(0.5-s)), linear(Apart.At(0.5+s))
		l1, _, _ := lab(lo)
		l2, _, _ := lab(hi)
		if !(math.Abs(l1-l2) <= 3) || !(math.Abs(l1-(middle-s*2*68)) <= 3) {
			t.Errorf("%g from the middle: lightness %.1f and %.1f", s, l1, l2)
		}
		for eyes, look := range map[string]func([3]float64) [3]float64{
			"all cones": func(c [3]float64) [3]float64 { return c },
			"protan":    func(c [3]float64) [3]float64 { return dichromat(c, true) },
			"deutan":    func(c [3]float64) [3]float64 { return dichromat(c, false) },
		} {
			_, a1, b1 := lab(look(lo))
			_, a2, b2 := lab(look(hi))
			if d := math.Hypot(a1-a2, b1-b2); s >= 0.1 && d < 20 {
				t.Errorf("%s: %g below and above the middle differ by only %.0f", eyes, s, d)
			}
		}
	}
}

// What is written on paper can be read: contrast of at least 4.5 to 1 (WCAG
// 2.1, success criterion 1.4.3).
func TestInkContrast(t *testing.T) {
	y := func(c [3]uint8) float64 {
		l := linear(c)
		return 0.2126*l[0] + 0.7152*l[1] + 0.0722*l[2]
	}
	bg := y([3]uint8{paperColour.R, paperColour.G, paperColour.B})
	for _, c := range [][3]uint8{{inkColour.R, inkColour.G, inkColour.B}, {greyColour.R, greyColour.G, greyColour.B}, {faultColour.R, faultColour.G, faultColour.B}} {
		if r := (bg + 0.05) / (y(c) + 0.05); r < 4.5 {
			t.Errorf("%v on paper: contrast %.1f", c, r)
		}
	}
}
