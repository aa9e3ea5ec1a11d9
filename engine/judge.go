package engine

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine/gate"
)

// judge judges a node's gates by what it found. Judging takes microseconds and
// is not stored; what comes after depends on the verdict alone.
func (w *walk) judge(n *node, st *Status) {
	st.Gates = nil
	for _, g := range n.stage.Gates {
		v := Verdict{Gate: g.Name, Why: g.Why, Concede: g.Concede}
		v.Verdict = g.Compiled.Judge(w.values(n, st, g.Compiled))
		v.text()
		st.Gates = append(st.Gates, v)
	}
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
