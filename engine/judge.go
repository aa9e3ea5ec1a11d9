package engine

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine/gate"
	"layette/engine/recipe"
)

// judge judges a node's gates by what it found. Judging takes microseconds and
// is not stored; what comes after depends on the verdict alone.
func (w *walk) judge(n *node, st *Status) {
	st.Gates = nil
	for _, g := range n.stage.Gates {
		v := Verdict{Gate: g.Name, Why: g.Why}
		rule := w.rule(n, g)
		if rule == nil {
			v.Verdict = gate.Verdict{State: gate.Unknown, Rule: g.Rule, Says: "the rule cannot be judged"}
		} else {
			v.Verdict = rule.Judge(w.values(n, st, rule))
		}
		v.text()
		st.Gates = append(st.Gates, v)
	}
}

// rule compiles a gate against what its stage may speak of. The recipe was
// refused if it did not compile there.
func (w *walk) rule(n *node, g *recipe.Gate) *gate.Rule {
	var scope []gate.Name
	for _, m := range n.book.Measures {
		scope = append(scope, gate.Name{Name: m.Name, Type: m.Type, Unit: m.Unit, Many: m.Many})
	}
	for name, q := range w.plan.recipe.Quantities {
		scope = append(scope, gate.Name{Name: name, Type: q.Type})
	}
	rule, _ := gate.Compile(g.Rule, scope)
	return rule
}

// values gives the names a rule uses their values.
func (w *walk) values(n *node, st *Status, rule *gate.Rule) map[string]any {
	values := map[string]any{}
	for _, name := range rule.Names() {
		if i := slices.IndexFunc(st.Measures, func(m Measure) bool { return m.Name == name.Name }); i >= 0 {
			values[name.Name] = st.Measures[i].Value
		} else if q := w.plan.recipe.Quantity(name.Name, n.Part, n.Scan); q != nil {
			values[name.Name] = q.Value
		}
	}
	return values
}

// text puts the verdict in words, with the numbers that decided it.
func (v *Verdict) text() {
	var numbers []string
	for _, s := range v.Saw {
		m := Measure{Type: s.Type, Unit: s.Unit, Value: s.Value}
		numbers = append(numbers, s.Name+" = "+m.Text())
	}
	v.Numbers = strings.Join(numbers, ", ")
	if v.Margin != nil {
		v.Spare = Quantity(v.Margin.By, v.Margin.Type, v.Margin.Unit)
	}
}

// Line is the verdict as it is shown and signed for.
func (v Verdict) Line() string {
	line := fmt.Sprintf("gate %s: %s | %s | %s", v.Gate, v.Rule, v.Numbers, v.State)
	if v.Says != "" {
		line += ": " + v.Says
	}
	return line
}
