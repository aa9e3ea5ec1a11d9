package limb

import (
	"math"
	"testing"

	"layette/steps/internal/geom"
)

// TestSeat: signs, and that a seat laid onto another lies there.
func TestSeat(t *testing.T) {
	s, ok := NewSeat(geom.Vec{X: 1}, geom.Vec{Z: 2}, geom.Vec{Y: 3, Z: 1})
	if !ok || s.Right != (geom.Vec{X: 1}) || s.Front != (geom.Vec{Y: 1}) {
		t.Fatalf("%+v", s)
	}
	front, right := s.Lean(geom.Vec{X: -1, Y: 1, Z: 1})
	if !(math.Abs(front-45) <= 1e-9) || !(math.Abs(right+45) <= 1e-9) {
		t.Errorf("leans %g to the front and %g to the right", front, right)
	}
	if r := s.Roll(geom.Vec{X: -1, Y: 1}); !(math.Abs(r-45) <= 1e-9) {
		t.Errorf("rolled %g, to its left from above is counter-clockwise", r)
	}
	to, _ := NewSeat(geom.Vec{Y: 9}, geom.Vec{X: 1, Y: 1}, geom.Vec{Z: 1})
	p := s.Onto(to)
	for _, d := range [][2]geom.Vec{{s.Up, to.Up}, {s.Front, to.Front}, {s.Right, to.Right}} {
		if p.Rot.Apply(d[0]).Sub(d[1]).Len() > 1e-12 || p.Apply(s.At).Sub(to.At).Len() > 1e-12 {
			t.Errorf("%v", p)
		}
	}
	if _, ok := NewSeat(geom.Vec{}, geom.Vec{Z: 1}, geom.Vec{Z: -4, X: 0.1}); ok {
		t.Error("a front square to the opening is one")
	}
}

// TestMiddle: an L of three unit squares has its middle at 5/6, wherever it begins.
func TestMiddle(t *testing.T) {
	ring := []geom.Vec{{}, {X: 2}, {X: 2, Y: 1}, {X: 1, Y: 1}, {X: 1, Y: 2}, {Y: 2}}
	for range ring {
		if m := Middle(ring, geom.Vec{Z: 1}); m.Sub(geom.Vec{X: 5.0 / 6, Y: 5.0 / 6}).Len() > 1e-12 {
			t.Errorf("middle %v", m)
		}
		ring = append(ring[1:], ring[0])
	}
}
