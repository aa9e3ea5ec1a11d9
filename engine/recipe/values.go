package recipe

import (
	"cmp"
	"fmt"
	"maps"
	"slices"
	"strconv"
	"strings"

	"layette/engine/diag"
	"layette/engine/step"
	"layette/engine/unit"
)

// stageValues reads the values a stage is given and adds its step's defaults.
func (r *reader) stageValues(s *staged) {
	given := r.table(s.node, "values")
	if s.Kind == nil {
		return
	}
	var known []string
	for _, decl := range s.book.Values {
		known = append(known, decl.Name)
		n := given.get(decl.Name)
		if n == nil {
			r.absent(s, decl)
			continue
		}
		s.values[decl.Name] = n
		if v := r.stageValue(s, decl, n); v != nil {
			s.Values = append(s.Values, v)
		}
	}
	if given != nil {
		r.only(given, fmt.Sprintf("step %s", s.Step), known...)
	}
	slices.SortFunc(s.Values, func(a, b *StageValue) int { return cmp.Compare(a.Name, b.Name) })
}

// absent puts a default in the place of a value that was not given.
func (r *reader) absent(s *staged, decl step.Value) {
	switch {
	case decl.Default != "":
		if value, err := Default(decl); err == nil {
			s.Values = append(s.Values, &StageValue{Name: decl.Name, Type: decl.Type, Value: value, Pos: s.Pos})
		}
	case !decl.Optional:
		r.bad.Add(&diag.Problem{Pos: s.node.keyAt, Code: "missing-value",
			Msg:  fmt.Sprintf("stage %q lacks its value %s: %s", s.Name, decl.Name, decl.Doc),
			Hint: fmt.Sprintf("write values = { %s = %s }", decl.Name, example(decl))})
	}
}

// example is how a value of a type may be written.
func example(decl step.Value) string {
	switch decl.Type {
	case step.Number:
		return "1.5"
	case step.Count:
		return "3"
	case step.Flag:
		return "true"
	case step.OneWord:
		return strconv.Quote(decl.OneOf[0])
	case step.String:
		return `"..."`
	case step.Strings:
		return `["..."]`
	case step.Point:
		return "[0, 0, 0]"
	case step.Tree:
		return "{ name = \"2 %\" }"
	}
	return strconv.Quote(unit.Format(map[step.ValueType]float64{step.Share: 0.02, step.Temperature: 20, step.Angle: 15}[decl.Type]+map[bool]float64{true: 1.2}[decl.Type == step.Length], decl.Type))
}

// stageValue reads one value: written out, or a reference to a quantity.
func (r *reader) stageValue(s *staged, decl step.Value, n *node) *StageValue {
	v := &StageValue{Name: decl.Name, Type: decl.Type, Pos: n.at}
	if text, ok := n.text1(); ok && reference.MatchString(text) {
		v.Refer = text
		return r.refer(s, decl, n, v)
	}
	value, ok := r.typed(n, decl)
	if !ok {
		return nil
	}
	v.Value = value
	return v
}

// refer checks a reference; what it stands for is settled later, when the
// model sheet has been read.
func (r *reader) refer(s *staged, decl step.Value, n *node, v *StageValue) *StageValue {
	word, own, _ := strings.Cut(v.Refer, ".")
	if word != "part" && word != "scan" {
		return r.referTo(decl, n, v, r.out.Quantities[v.Refer])
	}
	if s.Each == "" || word == "scan" && s.Each != "scan" {
		r.at(n, "no-"+word, fmt.Sprintf("stage %q is not for each %s, so %s means nothing", s.Name, word, v.Refer), fmt.Sprintf("add each = %q to the stage, or name one: parts.NAME.%s", word, own))
		return nil
	}
	for _, p := range s.Only {
		q := r.out.Quantity(v.Refer, p, "")
		if q == nil {
			r.at(n, "missing-quantity", fmt.Sprintf("part %q has no %s", p, own), fmt.Sprintf("write it under [parts.%s]", p))
			return nil
		}
		if !r.fits(n, decl, q) {
			return nil
		}
	}
	return v
}

// referTo checks a reference to a quantity that is the same for all instances.
func (r *reader) referTo(decl step.Value, n *node, v *StageValue, q *Quantity) *StageValue {
	if q == nil {
		r.unknownQuantity(n, v.Refer)
		return nil
	}
	if !r.fits(n, decl, q) {
		return nil
	}
	return v
}

// unknownQuantity tells a reference to nothing by what it seems to mean.
func (r *reader) unknownQuantity(n *node, name string) {
	known := slices.Collect(maps.Keys(r.out.Quantities))
	words := strings.Split(name, ".")
	hint := diag.DidYouMean(name, known)
	if words[0] == "child" && r.sheet == nil {
		return // the sheet is read another time
	}
	if hint == "" {
		hint = map[string]string{
			"materials":  "write it under [materials." + words[1] + "]",
			"tolerances": "write it under [tolerances]",
			"parts":      "write it under [parts." + words[1] + "]",
			"child":      "write it under [child] in the model sheet",
		}[words[0]]
	}
	code := map[string]string{"materials": "unknown-material", "tolerances": "unknown-tolerance"}[words[0]]
	r.at(n, cmp.Or(code, "unknown-quantity"), fmt.Sprintf("nothing is called %s", name), hint)
}

// fits checks that a quantity is of the type a value wants.
func (r *reader) fits(n *node, decl step.Value, q *Quantity) bool {
	x, isNumber := number(q.Value)
	switch {
	case q.Type == decl.Type, q.Type == step.Count && decl.Type == step.Number:
		return true
	case q.Type == step.Number && decl.Type == step.Count && isNumber && x == float64(int64(x)):
		return true
	case q.Type == step.String && decl.Type == step.OneWord && slices.Contains(decl.OneOf, q.Value.(string)):
		return true
	}
	r.at(n, "wrong-type", fmt.Sprintf("%s is %s; %s must be %s", q.Name, aKind(q.Type), decl.Name, aKind(decl.Type)), "").
		Also = []diag.Note{{Pos: q.Pos, Msg: q.Name + " is written here"}}
	return false
}

// typed reads a value of a declared type.
func (r *reader) typed(n *node, decl step.Value) (any, bool) {
	text, isText := n.text1()
	switch {
	case unit.Is(decl.Type):
		return r.quantityOf(n, decl.Type)
	case decl.Type == step.Number:
		if v, ok := number(n.value); ok {
			return v + 0, r.finite(n, v)
		}
	case decl.Type == step.OneWord:
		if isText && slices.Contains(decl.OneOf, text) {
			return text, true
		}
		r.at(n, "wrong-word", fmt.Sprintf("%s must be one of %s", decl.Name, strings.Join(decl.OneOf, ", ")), diag.DidYouMean(text, decl.OneOf))
		return nil, false
	case decl.Type == step.Count:
		if v, ok := n.value.(int64); ok {
			return v, true
		}
	case decl.Type == step.Flag:
		if v, ok := n.value.(bool); ok {
			return v, true
		}
	case decl.Type == step.String:
		if isText {
			return text, true
		}
	case decl.Type == step.Strings:
		if v, ok := textsOf(n); ok {
			return v, true
		}
	case decl.Type == step.Point:
		if v, ok := pointOf(n); ok {
			return v, true
		}
	case decl.Type == step.Tree && n.isTable():
		return r.tree(n)
	}
	r.at(n, "wrong-type", fmt.Sprintf("%s must be %s", decl.Name, aKind(decl.Type)), "such as "+example(decl))
	return nil, false
}

// aKind names a type for people.
func aKind(kind step.ValueType) string {
	if kind == step.Strings {
		return "a list of texts"
	}
	return diag.A(string(kind))
}

// quantityOf reads a text with a unit.
func (r *reader) quantityOf(n *node, kind step.ValueType) (any, bool) {
	text, isText := n.text1()
	if !isText {
		hint := ""
		if x, ok := number(n.value); ok {
			hint = fmt.Sprintf("write %q, if that is what is meant", unit.Digits(x, 0)+" "+unit.Symbol(kind))
		}
		r.at(n, "missing-unit", fmt.Sprintf("%s needs its unit", diag.A(string(kind))), hint)
		return nil, false
	}
	v, err := unit.ParseAs(text, kind)
	if err != nil {
		r.badUnit(n, err)
		return nil, false
	}
	return v, true
}

// Default returns a declared value's default as step.Values holds it. The
// error is a fault in the step's handbook.
func Default(decl step.Value) (any, error) { return literal(decl, decl.Default) }

// literal reads a value written in a handbook, where texts have no quotes.
func literal(decl step.Value, text string) (any, error) {
	switch {
	case unit.Is(decl.Type):
		return unit.ParseAs(text, decl.Type)
	case decl.Type == step.Count:
		return strconv.ParseInt(text, 10, 64)
	case decl.Type == step.String || decl.Type == step.OneWord:
		text = strconv.Quote(text)
	}
	var quiet reader
	root := parse(Text{decl.Name, []byte("v = " + text)}, &quiet.bad)
	if root == nil {
		return nil, quiet.bad.Err()
	}
	value, _ := quiet.typed(root.get("v"), decl)
	return value, quiet.bad.Err()
}

// outside says how a value lies beyond its least and greatest, or nothing.
func outside(decl step.Value, value any) string {
	x, ok := number(value)
	if !ok {
		return ""
	}
	for _, limit := range []struct {
		text, says string
		sign       float64
	}{{decl.Min, "less than", -1}, {decl.Max, "more than", 1}} {
		if limit.text == "" {
			continue
		}
		bound, err := literal(decl, limit.text)
		if b, isNumber := number(bound); err == nil && isNumber && (x-b)*limit.sign > 0 {
			return fmt.Sprintf("%s is %s; it may not be %s %s", decl.Name, unit.Format(x, decl.Type), limit.says, limit.text)
		}
	}
	return ""
}
