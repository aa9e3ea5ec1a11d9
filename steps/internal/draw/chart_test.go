package draw

import (
	"encoding/xml"
	"errors"
	"io"
	"math"
	"strings"
	"testing"
)

// well reads s to its end as XML.
func well(t *testing.T, s string) {
	t.Helper()
	d := xml.NewDecoder(strings.NewReader(s))
	for {
		_, err := d.Token()
		if errors.Is(err, io.EOF) {
			return
		}
		if err != nil {
			t.Fatalf("%v in %s", err, s)
		}
	}
}

func TestCount(t *testing.T) {
	b := Count([]float64{-5, 0, 0.5, 1, 1.99, 2, 9, math.NaN(), math.Inf(1)}, 0, 2, 4)
	want := []int{2, 1, 1, 4}
	for i, n := range b.Counts {
		if n != want[i] {
			t.Errorf("bar %d: %d, want %d (all %v)", i, n, want[i], b.Counts)
		}
	}
}

func TestChartsAreWellFormed(t *testing.T) {
	nasty := `<script>&"x`
	for _, c := range []Chart{
		{},
		{Title: nasty, X: nasty, Y: nasty, Curves: []Curve{{Name: nasty, Points: [][2]float64{{0, 1}, {1, math.NaN()}, {2, 3}, {math.Inf(1), 0}}}}, Limits: []float64{2}},
		{Curves: []Curve{{Points: [][2]float64{{5, 5}}}}},
	} {
		s := c.SVG()
		well(t, s)
		if strings.Contains(s, "<script") || strings.Contains(s, "NaN") || strings.Contains(s, "Inf") {
			t.Errorf("bad chart: %s", s)
		}
	}
	b := Count([]float64{1, 2, 3}, 0, 4, 8)
	b.Title, b.Name, b.Limits = nasty, nasty, []float64{1.2}
	well(t, b.SVG())
	well(t, Bars{}.SVG())
}

// The tallest bar reaches the top and an empty one the foot.
func TestBarHeights(t *testing.T) {
	s := Bars{Low: 0, Step: 1, Counts: []int{4, 0, 2}}.SVG()
	for _, want := range []string{`height="154.00"`, `height="0.00"`, `height="77.00"`} {
		if !strings.Contains(s, want) {
			t.Errorf("no bar of %s in %s", want, s)
		}
	}
}

func TestNumber(t *testing.T) {
	for x, want := range map[float64]string{math.Copysign(0, -1): "0", 1.25: "1.25", 2.957: "2.96", 0.5: "0.5", 1234: "1234", -20: "-20", 100: "100"} {
		if got := number(x); got != want {
			t.Errorf("%g is written %q, want %q", x, got, want)
		}
	}
}

func TestRound125(t *testing.T) {
	for x, want := range map[float64]float64{1: 1, 1.9: 1, 2: 2, 4.99: 2, 5: 5, 9.99: 5, 10: 10, 0.03: 0.02, 37: 20} {
		if got := round125(x); !(math.Abs(got-want) <= 1e-12*want) {
			t.Errorf("%g is rounded to %g, want %g", x, got, want)
		}
	}
}
