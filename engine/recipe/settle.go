package recipe

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"layette/engine/diag"
	"layette/engine/gate"
	"layette/engine/step"
)

// settle works out, when all is read, what each stage's values come to, and
// checks them as each part will have them; then the gates.
func (r *reader) settle() {
	quantities := r.everywhere()
	for _, s := range r.stages {
		if s.Kind == nil {
			continue
		}
		for _, v := range s.Values {
			if q := r.out.Quantities[v.Refer]; v.Refer != "" && q != nil {
				v.Value = fit(q.Value, q.Type, v.Type)
			}
		}
		for _, part := range instances(s) {
			r.limits(s, part)
			r.complaints(s, part)
		}
		r.gates(s, quantities)
	}
}

// instances are the parts that a stage is run for; one without a name if it
// does not fan out.
func instances(s *staged) []string {
	if s.Each == "" {
		return []string{""}
	}
	return s.Only
}

// limits checks each value against the least and greatest its step allows.
func (r *reader) limits(s *staged, part string) {
	for _, v := range s.Values {
		decl := s.book.Values[slices.IndexFunc(s.book.Values, func(d step.Value) bool { return d.Name == v.Name })]
		value, q := v.At(r.out, part, "")
		says := outside(decl, value)
		if says == "" {
			continue
		}
		pos := v.Pos
		if n := len(v.Given); n > 0 && v.Given[n-1].Value == value {
			pos = r.valuePos(v.Given[n-1].Given)
		}
		p := &diag.Problem{Pos: pos, Code: "out-of-range", Msg: fmt.Sprintf("stage %q: %s", s.Name, says)}
		if q != nil {
			p.Also = []diag.Note{{Pos: q.Pos, Msg: q.Name + " is written here"}}
		}
		r.bad.Add(p)
	}
}

// valuePos is the place of an override's value.
func (r *reader) valuePos(g *Given) diag.Pos {
	if n := r.sheet.get("overrides").get(g.Name).get("value"); n != nil {
		return n.at
	}
	return g.Pos
}

// complaints asks the step itself about a stage's values.
func (r *reader) complaints(s *staged, part string) {
	checker, ok := s.Kind.(step.Checker)
	if !ok {
		return
	}
	values := step.Values{}
	for _, v := range s.Values {
		value, _ := v.At(r.out, part, "")
		switch {
		case value != nil:
			values[v.Name] = value
		case v.Refer != "":
			return // it depends on the child, or was told already
		}
	}
	for _, decl := range s.book.Values {
		if !values.Has(decl.Name) && !decl.Optional {
			return // told already
		}
	}
	for _, c := range checker.Check(values) {
		pos := s.Pos
		if n := s.values[c.Value]; n != nil {
			pos = n.at
		}
		r.bad.Add(&diag.Problem{Pos: pos, Code: "bad-value", Msg: fmt.Sprintf("stage %q: %s: %s", s.Name, c.Value, c.Says), Hint: c.Hint})
	}
}

// gates reads a stage's gates and compiles their rules.
func (r *reader) gates(s *staged, quantities *gate.Scope) {
	gates := r.table(s.node, "gates")
	if gates == nil {
		return
	}
	scope := r.scope(s, quantities)
	for _, n := range kids(gates) {
		what := fmt.Sprintf("gate %q of stage %q", n.key, s.Name)
		if !n.isTable() {
			r.at(n, "wrong-type", what+" must be a table", fmt.Sprintf("write [stages.%s.gates.%s] with rule and why", s.Name, n.key))
			continue
		}
		if !r.named(n, "gate") {
			continue
		}
		r.only(n, "a gate", "rule", "why", "concede")
		r.need(n, what, "rule", `write rule = "air.least >= tolerances.gap"`)
		rule := n.get("rule")
		g := &Gate{Name: n.key, Rule: r.text(n, "rule"), Why: r.line(n, "why"), Concede: r.concede(s, n)}
		if _, ok := rule.text1(); ok {
			g.Pos = rule.within(0, 1)
			g.Compiled = r.compile(scope, rule, g.Rule)
		}
		s.Gates = append(s.Gates, g)
	}
	slices.SortFunc(s.Gates, func(a, b *Gate) int { return cmp.Compare(a.Name, b.Name) })
}

// concede returns the role that may concede a gate.
func (r *reader) concede(s *staged, gate *node) string {
	if gate.get("concede") != nil {
		return r.role(gate, "concede")
	}
	if s.Sign != nil {
		return s.Sign.Role
	}
	return ""
}

// compile checks a rule and tells its faults at their places in the recipe.
func (r *reader) compile(scope *gate.Scope, n *node, rule string) *gate.Rule {
	compiled, faults := gate.Compile(rule, scope)
	for _, f := range faults {
		if r.sheet == nil && f.Code == "unknown-name" && strings.HasPrefix(string([]rune(rule)[f.From:]), "child.") {
			continue // the sheet is read another time
		}
		r.bad.Add(&diag.Problem{Pos: n.within(f.From, f.Len), Code: f.Code, Msg: f.Says, Hint: f.Hint})
	}
	return compiled
}

// everywhere is what the rules of every stage may speak of.
func (r *reader) everywhere() *gate.Scope {
	var list []gate.Name
	for name, q := range r.out.Quantities {
		list = append(list, ruled(name, q))
	}
	return gate.NewScope(nil, list...)
}

// scope is what a stage's rules may speak of: its step's measures, all
// quantities, and as part.NAME what all of its parts have.
func (r *reader) scope(s *staged, quantities *gate.Scope) *gate.Scope {
	var list []gate.Name
	for _, m := range s.book.Measures {
		list = append(list, gate.Name{Name: m.Name, Type: m.Type, Unit: m.Unit, Many: m.Many})
	}
	if s.Each != "" {
		list = append(list, gate.Name{Name: "part.name", Type: step.String})
		list = append(list, r.shared(s)...)
	}
	if s.Each == "scan" {
		list = append(list, gate.Name{Name: "scan.name", Type: step.String})
	}
	return gate.NewScope(quantities, list...)
}

// shared are the quantities that all parts of a stage have.
func (r *reader) shared(s *staged) []gate.Name {
	var list []gate.Name
	if len(s.Only) == 0 {
		return nil
	}
	first := "parts." + s.Only[0] + "."
	for name, q := range r.out.Quantities {
		if own, ok := strings.CutPrefix(name, first); ok && r.allHave(s, "part."+own, q.Type) {
			list = append(list, ruled("part."+own, q))
		}
	}
	return list
}

// ruled is a quantity as rules see it.
func ruled(name string, q *Quantity) gate.Name {
	if q.Type == step.Strings {
		return gate.Name{Name: name, Type: step.String, Many: true}
	}
	return gate.Name{Name: name, Type: q.Type}
}

func (r *reader) allHave(s *staged, name string, kind step.ValueType) bool {
	return !slices.ContainsFunc(s.Only, func(part string) bool {
		q := r.out.Quantity(name, part, "")
		return q == nil || q.Type != kind
	})
}
