package steps_test

import (
	"fmt"
	"math"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// tally counts what was planted for one step, and what it made of it.
type tally struct{ parts, sound, planted, hit, wrong, invented int }

// want is a spot that a planted fault must give.
type want struct {
	what   []string // one of these
	value  float64  // NaN if only the spot counts
	within float64
	at     geom.Vec
	reach  float64
	fault  bool
}

const (
	seen   = 0.1 // mm, of a line on the finished part
	wall   = 2.5
	detail = 2.0
)

// share is 2 % of x, or what a measure is rounded to by the eye at least.
func share(x, least float64) float64 { return max(0.02*x, least) }

// wants lists what a step must find for a planted fault; none if it is not its
// to find.
func (c child) wants(name string, q specimen.Planted) []want {
	w := want{value: q.Value, within: share(q.Value, 0.02), at: q.At, reach: q.Radius + 4, fault: true}
	one := func(what ...string) []want { w.what = what; return []want{w} }
	switch name + " " + string(q.What) {
	case "gaps finger-gap":
		return one("finger gap")
	case "gaps curled":
		return one("curled finger")
	case "bends curled":
		return one("curled over")
	case "gaps thin-plate":
		w.fault = false
		return one("close cavity walls")
	case "hollow thin-plate", "hollow rod":
		if q.Value >= 2*wall {
			return nil
		}
		w.fault = false
		return one("solid")
	case "gaps crevice":
		if q.Value < 45 {
			w.within = share(q.Value, 1)
			return one("crevice")
		}
		w.value, w.within = 0, 0.3
		return one("line", "tight corner")
	case "gaps slot": // wider ones than the least air are remarks; slot.ratio is what a gate judges
		w.fault = false
		return one("fold", "gap", "finger gap", "curled finger")
	case "relief slot":
		w.value = math.NaN()
		return one("line too deep")
	case "hollow knob":
		w.value, w.within = knobVoid(q.Value/2, q.Depth), 0.02*knobVoid(q.Value/2, q.Depth)
		return one("trapped chamber")
	case "hollow waist":
		if q.Value > 2*wall {
			return nil
		}
		w.value, w.reach = math.NaN(), 400
		return one("trapped chamber")
	case "stripping waist":
		stretch := c.stretch(q)
		if stretch < 1.5 {
			return nil
		}
		w.value, w.within, w.reach = 100*stretch, 2*(1+stretch), 400
		return one("stretch")
	case "stripping hook":
		w.within = 5
		return one("catches")
	case "relief furrow":
		if q.Value < seen || furrowAfter(q.Value, q.Depth) > seen {
			return nil
		}
		w.within = 0.15 * q.Value // the line is two edges wide
		return one("line that vanishes")
	}
	return nil
}

// judge compares what a step found with what was planted.
func (n *tally) judge(t *testing.T, name string, c child, r *steptest.Result) {
	n.parts++
	if len(c.planted) == 0 && c.joint < 100 {
		n.sound++
	}
	var wants []want
	for _, q := range c.planted {
		wants = append(wants, c.wants(name, q)...)
	}
	if name == "bends" && c.joint > 100 {
		wants = append(wants, want{what: []string{"sharp bend"}, value: c.joint, within: 8, at: c.bent(), reach: 30, fault: true})
	}
	for _, w := range wants {
		n.planted++
		best := -1
		for i, s := range r.Spots {
			if w.meets(s) && (best < 0 || math.Abs(width(s)-w.value) < math.Abs(width(r.Spots[best])-w.value)) {
				best = i
			}
		}
		switch {
		case best < 0:
			t.Logf("seed %d, %s: %s missed %v of %.3f at %.1f", c.seed, c.part.Name, name, w.what, w.value, w.at)
			for _, s := range r.Spots {
				if place(s).Sub(w.at).Len() < w.reach {
					t.Logf("      there is %s: %s", s.What, s.Says)
				}
			}
		case math.Abs(width(r.Spots[best])-w.value) > w.within:
			n.wrong++
			t.Logf("seed %d, %s: %s finds %s of %.3f at %.1f, want %.3f: %s", c.seed, c.part.Name, name, w.what, r.Spots[best].Value, w.at, w.value, r.Spots[best].Says)
		default:
			n.hit++
		}
	}
	for _, s := range r.Spots {
		if s.Fault && !c.has(name, s) {
			n.invented++
			t.Logf("seed %d, %s: %s invents %s at %.1f: %s", c.seed, c.part.Name, name, s.What, s.At, s.Says)
		}
	}
}

func (w want) meets(s step.Spot) bool {
	at := place(s)
	if s.To != [3]float64{} && w.reach < 100 {
		if to := (geom.Vec{X: s.To[0], Y: s.To[1], Z: s.To[2]}); to.Sub(w.at).Len() < at.Sub(w.at).Len() {
			at = to
		}
	}
	for _, what := range w.what {
		if s.What == what && (s.Fault || !w.fault) && at.Sub(w.at).Len() < w.reach {
			return true
		}
	}
	return false
}

// width is a spot's value, or of a fold, whose value is depth over width, how wide it is.
func width(s step.Spot) float64 {
	if s.What == "fold" {
		var wide float64
		fmt.Sscanf(s.Says, "a fold %f mm", &wide)
		return wide
	}
	return s.Value
}

func place(s step.Spot) geom.Vec { return geom.Vec{X: s.At[0], Y: s.At[1], Z: s.At[2]} }

// has reports whether a fault lies where one was planted, or where the child has
// one by nature: the V between splayed fingers, the creases of bent ones and of
// toes, its own lines, the folds of face and ears.
func (c child) has(name string, s step.Spot) bool {
	at := place(s)
	if to := (geom.Vec{X: s.To[0], Y: s.To[1], Z: s.To[2]}); name == "bends" && to.Sub(c.bent()).Len() < at.Sub(c.bent()).Len() {
		at = to // inside a fold, skin lies far from the joint
	}
	for _, q := range c.planted {
		if at.Sub(q.At).Len() < q.Radius+7 || q.What == specimen.Waist && (name == "stripping" || name == "hollow") {
			return true
		}
	}
	digits := c.digits(at)
	switch {
	case name == "gaps" && (s.What == "crevice" || s.What == "line" || s.What == "tight corner"):
		if digits || !c.plain && s.What != "crevice" {
			return true
		}
	case name == "relief" && (digits && s.What == "line too deep" || !c.plain || s.Value < 1.3*seen):
		return true
	case name == "bends" && c.joint > 100 && at.Sub(c.bent()).Len() < 30:
		return true
	}
	return c.part.Name == "head" && c.featured(at)
}

// digits reports whether a place is on fingers or toes.
func (c child) digits(at geom.Vec) bool {
	if wrist, ok := c.part.Marks["wrist"]; ok {
		return at.Sub(wrist).Len() > 25
	}
	ankle, ok := c.part.Marks["ankle"]
	return ok && at.Sub(ankle).Len() > 24
}

// featured reports whether a place is on the face or the ears.
func (c child) featured(at geom.Vec) bool {
	for _, mark := range c.part.Marks {
		if mark.Z > 5 && mark != c.part.Marks["crown"] && mark.Sub(at).Len() < 26 {
			return true
		}
	}
	return false
}

// bent is the middle of elbow or knee.
func (c child) bent() geom.Vec {
	if e, ok := c.part.Marks["elbow"]; ok {
		return e
	}
	return c.part.Marks["knee"]
}
