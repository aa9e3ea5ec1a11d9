package deepen

import (
	"bytes"
	"image/png"
	"math"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// inked returns the share of a picture that is not its paper.
func inked(t *testing.T, b []byte) float64 {
	t.Helper()
	p, err := png.Decode(bytes.NewReader(b))
	if err != nil {
		t.Fatal(err)
	}
	paper, n := p.At(1, 1), 0
	box := p.Bounds()
	for y := box.Min.Y; y < box.Max.Y; y++ {
		for x := box.Min.X; x < box.Max.X; x++ {
			if p.At(x, y) != paper {
				n++
			}
		}
	}
	return float64(n) / float64(box.Dx()*box.Dy())
}

// TestPicturesOfFarParts: a part that lies eight metres from the origin of its
// file is drawn as large as one beside it, near the gravest place as well as about
// a region.
func TestPicturesOfFarParts(t *testing.T) {
	line := func(x, y float64) float64 { return -0.4 * math.Exp(-math.Pow((x-6)/0.4, 2)) }
	region := func(at []float64) step.Table {
		ball := step.Table{Names: []string{"at", "radius"}, Kinds: []step.ValueType{step.Point, step.Length}, Values: []any{at, 4.0}}
		return step.Table{Names: []string{"chin"}, Kinds: []step.ValueType{step.Tree}, Values: []any{ball}}
	}
	near := run(t, bowl(12, 0.2, line), step.Values{"allow": 0.001, "regions": region([]float64{0, 6, 40})})
	m := bowl(12, 0.2, line)
	m.Origin = geom.Vec{Y: 8192}
	far := run(t, m, step.Values{"allow": 0.001, "regions": region([]float64{0, 8198, 40})})
	for _, name := range []string{"deepened", "forecast", "forecast-1"} {
		name = "pictures/hand-" + name + ".png"
		if a, b := inked(t, near.Files[name]), inked(t, far.Files[name]); !(a > 0.3) || !(math.Abs(a-b) <= 0.02) {
			t.Errorf("%s: %.3f of it is drawn near by, %.3f far off", name, a, b)
		}
	}
}
