package cut

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// plan is one cut as the recipe gives it.
type plan struct {
	name   string // of the piece that comes off
	at     geom.Vec
	toward geom.Vec
	within float64 // mm to search; 0 cuts just there
	lean   float64 // tangent of how far the plane may lean
	all    bool    // cut everything that the plane meets
}

// plansOf reads the cuts in the recipe's order and says all that is wrong.
func plansOf(values step.Values) (plans []plan, wrong []step.Complaint) {
	if !values.Has("cuts") {
		return nil, nil
	}
	t := values.Table("cuts")
	complain := func(format string, args ...any) {
		wrong = append(wrong, step.Complaint{Value: "cuts", Says: fmt.Sprintf(format, args...), Hint: `such as left-hand = { at = [120, 4, 30], toward = [1, 0, 0], within = "15 mm", lean = "20 deg" }`})
	}
	if len(t.Names) == 0 {
		complain("there are no cuts")
	}
	for i, name := range t.Names {
		inner, ok := t.Values[i].(step.Table)
		if !ok {
			complain("%s: a cut is a table with at and toward", name)
			continue
		}
		p, err := planOf(name, inner)
		if err != nil {
			complain("%s: %v", name, err)
		}
		if !plain(name) || values.Has("rest") && name == values.Text("rest") {
			complain("%q cannot name a piece: letters, digits, dots and dashes, and not the name of the rest", name)
		}
		plans = append(plans, p)
	}
	if values.Has("rest") && !plain(values.Text("rest")) {
		wrong = append(wrong, step.Complaint{Value: "rest", Says: fmt.Sprintf("%q cannot name a piece: letters, digits, dots and dashes", values.Text("rest"))})
	}
	return plans, wrong
}

// plain reports whether a name can stand in a file name anywhere.
func plain(name string) bool {
	return name != "" && name[0] != '.' && !strings.ContainsFunc(name, func(c rune) bool {
		return !(c >= 'a' && c <= 'z' || c >= 'A' && c <= 'Z' || c >= '0' && c <= '9' || c == '-' || c == '.' || c == '_')
	})
}

func planOf(name string, t step.Table) (plan, error) {
	p := plan{name: name}
	for i, key := range t.Names {
		if want := map[string]step.ValueType{"within": step.Length, "lean": step.Angle}[key]; want != "" && i < len(t.Kinds) && t.Kinds[i] != want {
			return p, fmt.Errorf("%s must be written with its unit, as a %s", key, want)
		}
		if !slices.Contains([]string{"at", "toward", "within", "lean", "all"}, key) {
			return p, fmt.Errorf("%s is not known of a cut: at, toward, within, lean, all are", key)
		}
	}
	var ok bool
	if p.at, ok = vector(t, "at"); !ok {
		return p, fmt.Errorf("at must be a point of three numbers in mm")
	}
	if p.toward, ok = vector(t, "toward"); !ok || p.toward.Unit() == (geom.Vec{}) {
		return p, fmt.Errorf("toward must be a direction of three numbers, from the rest to the piece that comes off")
	}
	p.toward = p.toward.Unit()
	if v, given := t.Get("within"); given {
		if p.within, ok = v.(float64); !ok || !(p.within > 0 && p.within <= 1000) {
			return p, fmt.Errorf("within must be a length above zero, up to 1000 mm")
		}
	}
	if v, given := t.Get("lean"); given {
		deg, ok := v.(float64)
		if !ok || !(deg >= 0 && deg <= 60) {
			return p, fmt.Errorf("lean must be an angle from 0 to 60 deg")
		}
		p.lean = tangent(deg)
	}
	if v, given := t.Get("all"); given {
		if p.all, ok = v.(bool); !ok {
			return p, fmt.Errorf("all must be true or false")
		}
	}
	return p, nil
}

func vector(t step.Table, key string) (geom.Vec, bool) {
	v, _ := t.Get(key)
	x, ok := v.([]float64)
	if !ok || len(x) != 3 {
		return geom.Vec{}, false
	}
	u := geom.Vec{X: x[0], Y: x[1], Z: x[2]}
	return u, u.Finite()
}

// tangent returns the tangent of an angle up to 60 degrees by the power series
// of sine and cosine, of the same bits on every processor, which math.Tan does
// not promise.
func tangent(deg float64) float64 {
	x := float64(deg*3.14159265358979323846) / 180
	sine, cosine, term := 0.0, 0.0, 1.0
	for k := range 24 {
		switch k % 4 {
		case 0:
			cosine += term
		case 1:
			sine += term
		case 2:
			cosine -= term
		case 3:
			sine -= term
		}
		term = float64(term*x) / float64(k+1)
	}
	return sine / cosine
}
