package recipe

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strings"
	"unicode"

	"layette/engine/step"
	"layette/engine/unit"
)

// reference is the form of a text that refers to a quantity.
var reference = regexp.MustCompile(`^(materials|tolerances|parts|part|child|model|scan)(\.[a-z0-9-]+)+$`)

// quantity reads a quantity of [materials], [tolerances], [parts] or [child]
// into r.out.Quantities. origin is what its table says for all in it.
func (r *reader) quantity(n *node, name, origin string) *Quantity {
	n, origin = r.unwrap(n, origin)
	if n == nil {
		return nil
	}
	kind, value, ok := r.free(n)
	if !ok {
		return nil
	}
	q := &Quantity{Name: name, Type: kind, Value: value, Pos: n.at, Origin: origin}
	if strings.HasPrefix(name, "tolerances.") {
		r.notNegative(n, q)
	}
	return q
}

// unwrap takes { value = ..., origin = "..." } apart.
func (r *reader) unwrap(n *node, origin string) (*node, string) {
	if !n.isTable() || n.get("value") == nil {
		return n, origin
	}
	r.only(n, "a quantity", "value", "origin", "note")
	r.text(n, "note")
	if own := r.text(n, "origin"); own != "" {
		origin = own
	}
	return n.get("value"), origin
}

func (r *reader) notNegative(n *node, q *Quantity) {
	if x, ok := number(q.Value); ok && x < 0 && q.Type != step.Temperature {
		r.at(n, "negative-tolerance", fmt.Sprintf("%s is negative", q.Name), "a tolerance says how much is allowed: write it without the minus")
	}
}

func number(value any) (float64, bool) {
	switch n := value.(type) {
	case float64:
		return n, true
	case int64:
		return float64(n), true
	}
	return 0, false
}

// free reads a value whose type is what it was written as.
func (r *reader) free(n *node) (step.ValueType, any, bool) {
	switch n.kind {
	case array:
		return r.freeList(n)
	case inner, table:
		t, ok := r.tree(n)
		return step.Tree, t, ok
	}
	switch v := n.value.(type) {
	case string:
		return r.freeText(n, v)
	case int64:
		return step.Count, v, true
	case float64:
		return step.Number, v, r.finite(n, v)
	case bool:
		return step.Flag, v, true
	}
	return step.String, n.text.data[n.from:n.till], true // a date
}

func (r *reader) finite(n *node, v float64) bool {
	if math.IsNaN(v) || math.IsInf(v, 0) {
		r.at(n, "not-finite", "the number is not finite", "")
		return false
	}
	return true
}

// freeText reads a text: one that begins like a number must be a quantity.
func (r *reader) freeText(n *node, s string) (step.ValueType, any, bool) {
	if reference.MatchString(s) {
		r.at(n, "reference", "a quantity cannot refer to another", "write its value; stages and rules may refer to it by name")
		return "", nil, false
	}
	trimmed := strings.TrimLeft(s, " +-.")
	if trimmed == "" || !unicode.IsDigit(rune(trimmed[0])) {
		return step.String, s, true
	}
	q, err := unit.Parse(s)
	if err != nil {
		r.badUnit(n, err)
		return "", nil, false
	}
	return q.Type, q.Value, true
}

func (r *reader) badUnit(n *node, err error) {
	says := err.(*unit.Error)
	r.at(n, "bad-quantity", says.Says, says.Hint)
}

// freeList reads a list of texts, or three numbers: a point.
func (r *reader) freeList(n *node) (step.ValueType, any, bool) {
	if texts, ok := textsOf(n); ok {
		return step.Strings, texts, true
	}
	if p, ok := pointOf(n); ok {
		return step.Point, p, true
	}
	r.at(n, "wrong-type", "a list must be of texts, or of three numbers: a point in mm", "")
	return "", nil, false
}

func textsOf(n *node) ([]string, bool) {
	texts := make([]string, 0, len(n.kids))
	for _, k := range n.kids {
		s, ok := k.text1()
		if !ok {
			return nil, false
		}
		texts = append(texts, s)
	}
	return texts, n.kind == array
}

// pointOf reads three numbers in mm, or lengths with their units.
func pointOf(n *node) (p [3]float64, ok bool) {
	if n.kind != array || len(n.kids) != 3 {
		return p, false
	}
	for i, k := range n.kids {
		if s, isText := k.text1(); isText {
			v, err := unit.ParseAs(s, step.Length)
			if err != nil {
				return p, false
			}
			p[i] = v
			continue
		}
		v, isNumber := number(k.value)
		if !isNumber || math.IsNaN(v) || math.IsInf(v, 0) {
			return p, false
		}
		p[i] = v + 0
	}
	return p, true
}

// tree reads a table of quantities, in the order of the text.
func (r *reader) tree(n *node) (step.Table, bool) {
	var t step.Table
	good := true
	for _, k := range n.kids {
		kind, value, ok := r.member(k)
		if !ok {
			good = false
			continue
		}
		if i, whole := value.(int64); whole {
			kind, value = step.Number, float64(i)
		}
		t.Names = append(t.Names, k.key)
		t.Kinds = append(t.Kinds, kind)
		t.Values = append(t.Values, value)
	}
	return t, good
}

// member reads a member of a table: a list of numbers, or as free.
func (r *reader) member(n *node) (step.ValueType, any, bool) {
	if n.kind == array && len(n.kids) > 0 {
		if list, ok := numbersOf(n); ok {
			return step.Number, list, true
		}
	}
	kind, value, ok := r.free(n)
	if p, isPoint := value.([3]float64); isPoint { // lengths with units
		return step.Length, p[:], ok
	}
	return kind, value, ok
}

func numbersOf(n *node) ([]float64, bool) {
	var list []float64
	for _, k := range n.kids {
		v, ok := number(k.value)
		if !ok || math.IsNaN(v) || math.IsInf(v, 0) {
			return nil, false
		}
		list = append(list, v+0)
	}
	return list, true
}

// put keeps a quantity, and the members of a table by their own names.
func (r *reader) put(q *Quantity) {
	if q == nil {
		return
	}
	r.out.Quantities[q.Name] = q
	for _, m := range members(q) {
		r.put(m)
	}
}

// members returns the quantities within a table.
func members(q *Quantity) []*Quantity {
	t, ok := q.Value.(step.Table)
	if !ok {
		return nil
	}
	var list []*Quantity
	for i, name := range t.Names {
		if _, isList := t.Values[i].([]float64); isList || !goodName(name) {
			continue
		}
		m := *q
		m.Name, m.Type, m.Value, m.Was, m.For = q.Name+"."+name, t.Kinds[i], t.Values[i], nil, nil
		list = append(list, &m)
	}
	return list
}

// quantities reads the quantities of a table other than its reserved keys. What
// a recipe extended had for one of them is kept as Was.
func (r *reader) quantities(n *node, prefix string, reserved ...string) {
	origin := r.text(n, "origin")
	for _, k := range n.kids {
		if k.key == "origin" || k.key == "note" || slices.Contains(reserved, k.key) {
			continue
		}
		if !r.named(k, "quantity") {
			continue
		}
		q := r.quantity(k, prefix+"."+k.key, origin)
		if q == nil {
			continue
		}
		q.Was = r.earlier(k, q.Name)
		r.put(q)
	}
}

// earlier reads what a recipe that was extended had in a key's place, quietly:
// its faults, if any, no longer matter.
func (r *reader) earlier(n *node, name string) *Quantity {
	if n.was == nil {
		return nil
	}
	quiet := &reader{out: r.out}
	q := quiet.quantity(n.was, name, "")
	if q != nil {
		q.Was = quiet.earlier(n.was, name)
	}
	return q
}

// oneLine reports whether a text can be shown, and signed, as one line.
func oneLine(s string) bool {
	return strings.TrimSpace(s) == s && strings.IndexFunc(s, func(c rune) bool {
		return unicode.IsControl(c) || unicode.Is(unicode.Cf, c) || unicode.Is(unicode.Zl, c) || unicode.Is(unicode.Zp, c)
	}) < 0
}
