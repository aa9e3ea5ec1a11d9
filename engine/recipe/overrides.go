package recipe

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strings"

	"layette/engine/diag"
	"layette/engine/step"
)

// overrides lays the model sheet's values over the recipe's.
func (r *reader) overrides() {
	if r.sheet == nil {
		return
	}
	seen := map[[3]string]*node{}
	for _, n := range r.tables(r.sheet, "overrides", "override") {
		g := r.override(n)
		if g == nil {
			continue
		}
		key := [3]string{g.Sets, g.Part, g.Scan}
		if first := seen[key]; first != nil {
			r.at(n.get("set"), "set-twice", fmt.Sprintf("%s is set by %q too", g.Sets, first.key), "keep one of them")
			continue
		}
		seen[key] = n
		r.out.Given = append(r.out.Given, g)
		r.lay(n, g)
	}
	slices.SortFunc(r.out.Given, func(a, b *Given) int { return cmp.Compare(a.Name, b.Name) })
}

func (r *reader) override(n *node) *Given {
	what := fmt.Sprintf("override %q", n.key)
	before := r.bad.Len()
	r.only(n, "an override", "set", "part", "scan", "value", "reason")
	r.need(n, what, "set", `write set = "tolerances.gap"`)
	r.need(n, what, "value", "")
	r.need(n, what, "reason", "say why this child differs: the sheet shows it")
	g := &Given{Name: n.key, Sets: r.text(n, "set"), Part: r.text(n, "part"), Scan: r.text(n, "scan"), Pos: n.keyAt}
	if text, ok := n.get("reason").text1(); !ok || strings.TrimSpace(text) != "" {
		g.Reason = r.line(n, "reason")
	} else {
		r.at(n.get("reason"), "missing-reason", what+" gives no reason", "say why this child differs: the sheet shows it")
	}
	if g.Part != "" && r.part(g.Part) == nil {
		r.unknownPart(n.get("part"), g.Part)
	}
	if r.bad.Len() > before || g.Sets == "" {
		return nil
	}
	return g
}

// lay finds what an override sets and sets it.
func (r *reader) lay(n *node, g *Given) {
	words := strings.Split(g.Sets, ".")
	if q := r.out.Quantities[g.Sets]; q != nil {
		r.layQuantity(n, g, q)
		return
	}
	if words[0] == "stages" && len(words) == 4 {
		s := r.stage(words[1])
		switch {
		case s != nil && words[2] == "values" && r.layValue(n, g, s, words[3]):
			return
		case s != nil && words[3] == "file" && r.layFile(n, g, s, words[2]):
			return
		}
	}
	r.at(n.get("set"), "unknown-target", fmt.Sprintf("nothing is called %s", g.Sets),
		cmpHint(diag.DidYouMean(g.Sets, r.targets()), "an override sets materials.NAME.KEY, tolerances.KEY, parts.NAME.KEY, stages.NAME.values.KEY or stages.NAME.INPUT.file"))
}

// targets are all names that an override may set.
func (r *reader) targets() []string {
	list := slices.Collect(maps.Keys(r.out.Quantities))
	for _, s := range r.stages {
		for _, v := range s.book.Values {
			list = append(list, "stages."+s.Name+".values."+v.Name)
		}
		for _, in := range s.Inputs {
			if len(in.Files) > 0 {
				list = append(list, "stages."+s.Name+"."+in.Name+".file")
			}
		}
	}
	return list
}

// layQuantity sets a quantity for all, or for one part or scan.
func (r *reader) layQuantity(n *node, g *Given, q *Quantity) {
	set, value := n.get("set"), n.get("value")
	if strings.HasPrefix(q.Name, "child.") || strings.HasPrefix(q.Name, "model.") {
		r.at(set, "unknown-target", "what the sheet itself says needs no override", "write it under [child], or title at the top")
		return
	}
	if whole := r.wholeOf(q.Name); whole != "" {
		r.at(set, "unknown-target", fmt.Sprintf("%s is one line of a table", q.Name), fmt.Sprintf("set the whole table: set = %q", whole))
		return
	}
	kind, v, ok := r.free(value)
	if !ok {
		return
	}
	if kind == step.Count && q.Type == step.Number {
		kind, v = q.Type, fit(v, kind, q.Type)
	}
	if kind != q.Type {
		r.at(value, "wrong-type", fmt.Sprintf("%s is %s in the recipe, and here %s", q.Name, aKind(q.Type), aKind(kind)), "").
			Also = []diag.Note{{Pos: q.Pos, Msg: "the recipe's value"}}
		return
	}
	was := *q
	over := &Quantity{Name: q.Name, Type: kind, Value: v, Pos: value.at, Origin: "model sheet: " + g.Reason, Given: g, Was: &was}
	if strings.HasPrefix(q.Name, "tolerances.") {
		r.notNegative(value, over)
	}
	r.replace(q, over)
}

// replace puts an override where a quantity was, or beside it if it is only for
// one part or scan; members of a table follow.
func (r *reader) replace(q, over *Quantity) {
	if over.Given.Part == "" && over.Given.Scan == "" {
		over.For = q.For
		r.put(over)
		return
	}
	q.For = append(q.For, over)
	slices.SortStableFunc(q.For, func(a, b *Quantity) int { return particular(a.Given) - particular(b.Given) })
	for _, m := range members(over) {
		if whole := r.out.Quantities[m.Name]; whole != nil {
			r.replace(whole, m)
		}
	}
}

// wholeOf returns the table that a name is a member of, or "".
func (r *reader) wholeOf(name string) string {
	head := name[:strings.LastIndexByte(name, '.')]
	if q := r.out.Quantities[head]; q != nil {
		return cmp.Or(r.wholeOf(head), head)
	}
	return ""
}

// particular is how closely an override is meant: a scan more than a part.
func particular(g *Given) int { return one(g.Part != "") + 2*one(g.Scan != "") }

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// aimed checks that an override for a part or scan meets a stage that has such.
func (r *reader) aimed(n *node, g *Given, s *staged) bool {
	switch {
	case g.Scan != "" && s.Each != "scan":
		r.at(n.get("scan"), "no-scan", fmt.Sprintf("stage %q is not for each scan", s.Name), "leave scan out")
	case g.Part != "" && s.Each == "":
		r.at(n.get("part"), "no-part", fmt.Sprintf("stage %q is not for each part", s.Name), "leave part out")
	case g.Part != "" && !slices.Contains(s.Only, g.Part):
		r.at(n.get("part"), "no-part", fmt.Sprintf("stage %q is not for part %q", s.Name, g.Part), "it is for "+strings.Join(s.Only, ", "))
	default:
		return true
	}
	return false
}

// layValue sets a stage's value; false if the step has none of that name.
func (r *reader) layValue(n *node, g *Given, s *staged, name string) bool {
	i := slices.IndexFunc(s.book.Values, func(v step.Value) bool { return v.Name == name })
	if i < 0 {
		return false
	}
	decl := s.book.Values[i]
	value, ok := r.typed(n.get("value"), decl)
	if !ok || !r.aimed(n, g, s) {
		return true
	}
	at := slices.IndexFunc(s.Values, func(v *StageValue) bool { return v.Name == name })
	if at < 0 {
		at = len(s.Values)
		s.Values = append(s.Values, &StageValue{Name: name, Type: decl.Type, Pos: n.get("value").at})
	}
	v := s.Values[at]
	v.Given = append(v.Given, &Override{g, value})
	slices.SortStableFunc(v.Given, func(a, b *Override) int { return particular(a.Given) - particular(b.Given) })
	slices.SortFunc(s.Values, func(a, b *StageValue) int { return cmp.Compare(a.Name, b.Name) })
	return true
}

// layFile sets where an input's files are; false if the stage has no such input.
func (r *reader) layFile(n *node, g *Given, s *staged, name string) bool {
	i := slices.IndexFunc(s.Inputs, func(in *Input) bool { return in.Name == name && len(in.Files) > 0 })
	if i < 0 {
		return false
	}
	if globs := r.globs(s, n, "value"); r.aimed(n, g, s) {
		in := s.Inputs[i]
		in.Given = append(in.Given, &Override{g, globs})
		slices.SortStableFunc(in.Given, func(a, b *Override) int { return particular(a.Given) - particular(b.Given) })
	}
	return true
}
