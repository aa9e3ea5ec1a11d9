package recipe

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine/diag"
	"layette/engine/step"
)

// A reader reads one recipe and gathers what is wrong with it.
type reader struct {
	src   Sources
	kinds map[string]step.Kind
	bad   diag.Problems
	out   *Recipe
	// where each quantity, and each value and input of a stage, was written
	stages []*staged
	sheet  *node // nil without a model sheet
}

// at gathers a problem with a value.
func (r *reader) at(n *node, code, msg, hint string) *diag.Problem {
	p := &diag.Problem{Pos: n.at, Code: code, Msg: msg, Hint: hint}
	r.bad.Add(p)
	return p
}

// atKey gathers a problem with a key.
func (r *reader) atKey(n *node, code, msg, hint string) *diag.Problem {
	p := &diag.Problem{Pos: n.keyAt, Code: code, Msg: msg, Hint: hint}
	r.bad.Add(p)
	return p
}

// only tells every member of n that is none of the known keys.
func (r *reader) only(n *node, what string, known ...string) {
	for _, k := range n.kids {
		if !slices.Contains(known, k.key) {
			r.unknownKey(k, what, known)
		}
	}
}

func (r *reader) unknownKey(k *node, what string, known []string) {
	hint := diag.DidYouMean(k.key, known)
	if hint == "" && len(known) <= 12 {
		hint = what + " may have " + strings.Join(known, ", ")
	}
	r.atKey(k, "unknown-key", fmt.Sprintf("%s has no key %q", what, k.key), hint)
}

// table returns the member called key if it is a table; anything else that is
// there is told.
func (r *reader) table(n *node, key string) *node {
	k := n.get(key)
	if k == nil {
		return nil
	}
	if !k.isTable() {
		r.at(k, "wrong-type", fmt.Sprintf("%s must be a table", key), fmt.Sprintf("it begins with a line of its own: a header in brackets that ends in %s]", key))
		return nil
	}
	return k
}

// tables returns the tables within the table called key, such as each
// [parts.NAME], whose names are well formed.
func (r *reader) tables(n *node, key, what string) []*node {
	var list []*node
	for _, k := range kids(r.table(n, key)) {
		if !k.isTable() {
			r.at(k, "wrong-type", fmt.Sprintf("%s %q must be a table", what, k.key), fmt.Sprintf("write [%s.%s] on a line of its own", key, k.key))
		} else if r.named(k, what) {
			list = append(list, k)
		}
	}
	return list
}

func kids(n *node) []*node {
	if n == nil {
		return nil
	}
	return n.kids
}

const maxName = 64

// named tells a name that recipes cannot refer to.
func (r *reader) named(n *node, what string) bool {
	if goodName(n.key) {
		return true
	}
	hint := strings.Trim(strings.Map(func(c rune) rune {
		switch {
		case 'a' <= c && c <= 'z' || '0' <= c && c <= '9':
			return c
		case 'A' <= c && c <= 'Z':
			return c + 'a' - 'A'
		}
		return '-'
	}, n.key), "-")
	if goodName(hint) {
		hint = fmt.Sprintf("write %q", hint)
	} else {
		hint = ""
	}
	r.atKey(n, "bad-name", fmt.Sprintf("%s %q: a name is small letters, digits and hyphens, beginning with a letter", what, n.key), hint)
	return false
}

func goodName(s string) bool {
	for i, c := range s {
		if !('a' <= c && c <= 'z' || i > 0 && ('0' <= c && c <= '9' || c == '-')) {
			return false
		}
	}
	return s != "" && len(s) <= maxName && s[len(s)-1] != '-'
}

// text returns a member that must be a text, or "".
func (r *reader) text(n *node, key string) string {
	k := n.get(key)
	if k == nil {
		return ""
	}
	s, ok := k.text1()
	if !ok {
		r.at(k, "wrong-type", fmt.Sprintf("%s must be a text", key), fmt.Sprintf("write %s = \"...\"", key))
	}
	return s
}

// line returns a member that must be a text of one line that a person can
// read aloud: it is shown to whoever signs, and signed.
func (r *reader) line(n *node, key string) string {
	s := r.text(n, key)
	if s != "" && !oneLine(s) {
		r.at(n.get(key), "not-one-line", key+" must be one line of plain text", "leave out line ends, tabs and invisible signs")
	}
	return s
}

// texts returns a member that must be a text or a list of texts, as nodes.
func (r *reader) texts(n *node, key string) []*node {
	k := n.get(key)
	if k == nil {
		return nil
	}
	if _, ok := k.text1(); ok {
		return []*node{k}
	}
	for _, item := range k.kids {
		if _, ok := item.text1(); !ok || k.kind != array {
			r.at(item, "wrong-type", fmt.Sprintf("%s must be a list of texts", key), fmt.Sprintf("write %s = [\"...\"]", key))
			return nil
		}
	}
	if k.kind != array {
		r.at(k, "wrong-type", fmt.Sprintf("%s must be a list of texts", key), fmt.Sprintf("write %s = [\"...\"]", key))
		return nil
	}
	return k.kids
}

func (r *reader) flag(n *node, key string) bool {
	k := n.get(key)
	if k == nil {
		return false
	}
	yes, ok := k.value.(bool)
	if !ok {
		r.at(k, "wrong-type", key+" must be true or false", "")
	}
	return yes
}

// need tells that a key is missing.
func (r *reader) need(n *node, what, key, hint string) {
	if n.get(key) == nil {
		r.bad.Add(&diag.Problem{Pos: n.keyAt, Code: "missing-key", Msg: fmt.Sprintf("%s lacks its %s", what, key), Hint: hint})
	}
}
