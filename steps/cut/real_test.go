package cut

import (
	"math"
	"os"
	"path/filepath"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

// TestRealBody takes head, hand and foot off a whole figure of 35,000
// triangles, taken to be one metre tall: the narrowest place is found each
// time, every piece is closed, and volumes add up.
func TestRealBody(t *testing.T) {
	dir := os.Getenv("LAYETTE_DATA")
	if dir == "" {
		t.Skip("SKIPPED: set LAYETTE_DATA to the folder of open test data to run this")
	}
	b, err := os.ReadFile(filepath.Join(dir, "cgal-bodies", "man.off"))
	if err != nil {
		t.Fatal(err)
	}
	r := steptest.Run(t, Kind{}, steptest.Given{
		Inputs: map[string][]step.File{"surface": {steptest.File("hand.off", b, "m")}},
		Values: step.Values{"rest": "body", "cuts": table(
			"head", table("at", at(0, 0, 370), "toward", at(0, 0, 1), "within", 40.0, "lean", 25.0),
			"left-foot", table("at", at(180, -60, -420), "toward", at(0, 0, -1), "within", 40.0, "lean", 25.0),
		)},
	})
	for name, least := range map[string]float64{"head": 0.06, "left-foot": 0.013, "body": 0.85} {
		if m := piece(t, r, name); m.Volume() < least*r.Measures["volume.whole"].(float64) {
			t.Errorf("%s has only %.0f mm³", name, m.Volume())
		}
	}
	// The neck and the ankle, not the crown or the sole: a plane square to the
	// direction at the points given has outlines of 310 and 135 mm.
	if g := r.Measures["cuts.girth"].([]float64); g[0] < 180 || g[0] > 225 || g[1] < 100 || g[1] > 132 {
		t.Errorf("girths %v", g)
	}
	if off := r.Measures["volume.off"].(float64); !(math.Abs(off) <= 0.5) {
		t.Errorf("volumes are off by %v mm³ of %v", off, r.Measures["volume.whole"])
	}
}
