package recipe

import (
	"errors"
	"fmt"
	"strings"
	"unicode/utf8"

	"github.com/BurntSushi/toml"

	"layette/engine/diag"
)

// parse reads a TOML text into a tree with places, or tells why it cannot and
// returns nil.
func parse(t Text, bad *diag.Problems) *node {
	if len(t.Data) > maxBytes {
		bad.Addf(diag.Pos{File: t.Name}, "too-large", "the text is larger than 1 MB").Hint = "is it a recipe at all?"
		return nil
	}
	text := string(t.Data)
	bad.Source(t.Name, text)
	s := newSource(t.Name, text)
	if i := strings.IndexFunc(text, func(r rune) bool { return r == utf8.RuneError || r == 0 }); i >= 0 {
		bad.Add(&diag.Problem{Pos: s.pos(i, i+1), Code: "not-text", Msg: "the file is not UTF-8 text", Hint: "save it as UTF-8"})
		return nil
	}
	before := bad.Len()
	root, stop := place(s, bad)
	if stop != nil && stop.code != "toml" {
		bad.Add(&diag.Problem{Pos: s.pos(stop.from, stop.till), Code: stop.code, Msg: stop.msg, Hint: stop.hint})
		return nil
	}
	values, err := decode(text)
	switch {
	case err != nil:
		bad.Add(syntaxProblem(s, err))
		return nil
	case stop != nil: // the library took it, so it is our reading that is short
		bad.Add(&diag.Problem{Pos: s.pos(stop.from, stop.till), Code: stop.code, Msg: stop.msg})
		return nil
	case bad.Len() > before: // arrays of tables: the two views of the text differ
		return nil
	}
	bind(root, values)
	return root
}

// decode reads TOML into maps, lists and plain values.
func decode(text string) (map[string]any, error) {
	var values map[string]any
	_, err := toml.Decode(text, &values)
	return values, err
}

// bind gives every plain value of the tree what the library decoded for it. It
// reports whether both have the same keys everywhere.
func bind(n *node, value any) bool {
	same := true
	switch v := value.(type) {
	case map[string]any:
		same = n.isTable() && len(v) == len(n.kids)
		for _, k := range n.kids {
			inside, ok := v[k.key]
			same = ok && bind(k, inside) && same
		}
	case []map[string]any: // a list of inline tables
		same = n.kind == array && len(v) == len(n.kids)
		for i, k := range n.kids[:min(len(v), len(n.kids))] {
			same = bind(k, v[i]) && same
		}
	case []any:
		same = n.kind == array && len(v) == len(n.kids)
		for i, k := range n.kids[:min(len(v), len(n.kids))] {
			same = bind(k, v[i]) && same
		}
	default:
		n.value = v
		same = n.kind == plain
	}
	return same
}

// syntaxProblem tells an error of the TOML library with its place.
func syntaxProblem(s *source, err error) *diag.Problem {
	var syntax toml.ParseError
	if !errors.As(err, &syntax) {
		return &diag.Problem{Pos: diag.Pos{File: s.file}, Code: "toml", Msg: strings.TrimPrefix(err.Error(), "toml: ")}
	}
	from := min(max(syntax.Position.Start, 0), len(s.data))
	till := min(from+max(syntax.Position.Len, 1), len(s.data))
	for from > 0 && !utf8.RuneStart(s.data[min(from, len(s.data)-1)]) {
		from--
	}
	msg := syntax.Message
	if msg == "" {
		msg = strings.TrimPrefix(err.Error(), "toml: ")
	}
	return &diag.Problem{Pos: s.pos(from, max(from, till)), Code: "toml", Msg: firstLine(msg), Hint: tomlHint(msg)}
}

func firstLine(s string) string {
	s, _, _ = strings.Cut(s, "\n")
	return s
}

// tomlHint says the usual cure for the mistakes people make most.
func tomlHint(msg string) string {
	switch {
	case strings.Contains(msg, "already been defined") || strings.Contains(msg, "already defined") || strings.Contains(msg, "duplicate"):
		return "each key and each [table] may be written once"
	case strings.Contains(msg, "expected value but found"):
		return `texts and quantities stand in double quotes: gap = "1.2 mm"`
	}
	return ""
}

// extend lays a recipe's tree over the tree it extends: tables that list
// things by name are joined, and whatever else is written again replaces what
// was there, which is kept as was.
func extend(base, over *node, path []string) *node {
	joined := *over
	joined.kids = nil
	joined.was = base
	for _, b := range base.kids {
		o := over.get(b.key)
		switch {
		case o == nil:
			joined.kids = append(joined.kids, b)
		case b.isTable() && o.isTable() && joins(append(path, b.key)):
			joined.kids = append(joined.kids, extend(b, o, append(path, b.key)))
		default:
			replaced := *o
			replaced.was = b
			joined.kids = append(joined.kids, &replaced)
		}
	}
	for _, o := range over.kids {
		if base.get(o.key) == nil {
			joined.kids = append(joined.kids, o)
		}
	}
	return &joined
}

// joins reports whether the tables at a path are joined member by member.
func joins(path []string) bool {
	switch path[0] {
	case "tolerances":
		return len(path) == 1
	case "parts", "materials", "roles", "photos":
		return len(path) <= 2
	case "stages":
		return len(path) <= 2 || len(path) <= 4 && path[2] == "gates" || len(path) == 3 && (path[2] == "values" || path[2] == "sign")
	}
	return false
}

// maxLines is how many recipes may extend one another.
const maxLines = 8

// lineage reads a recipe and all it extends, and returns their joined tree and
// the titles of those extended, nearest first. If one of them cannot be read
// the tree is nil: what it lacks would only be told again and again.
func (r *reader) lineage(t Text) (*node, []string) {
	var trees []*node
	var titles, names []string
	for more := true; more; {
		n := parse(t, &r.bad)
		if n == nil {
			return nil, nil
		}
		r.format(n)
		if title, ok := n.get("title").text1(); ok && len(trees) > 0 {
			titles = append(titles, title)
		}
		trees = append(trees, n)
		if more = n.get("extends") != nil; more {
			var ok bool
			if t, ok = r.parent(n.get("extends"), &names); !ok {
				return nil, nil
			}
		}
	}
	joined := trees[len(trees)-1]
	for i := len(trees) - 2; i >= 0; i-- {
		joined = extend(joined, trees[i], nil)
	}
	return joined, titles
}

// parent finds the recipe that is extended, given those on the way so far.
func (r *reader) parent(ext *node, names *[]string) (Text, bool) {
	name, ok := ext.text1()
	if !ok {
		r.at(ext, "wrong-type", "extends must be the name of a recipe", `write extends = "newborn-base"`)
		return Text{}, false
	}
	for i, seen := range *names {
		if seen == name {
			circle := append((*names)[i:], name)
			r.at(ext, "cycle", "the recipe extends itself: "+strings.Join(circle, " -> "), "")
			return Text{}, false
		}
	}
	*names = append(*names, name)
	if len(*names) > maxLines {
		r.at(ext, "too-deep", fmt.Sprintf("more than %d recipes extend one another", maxLines), "")
		return Text{}, false
	}
	return r.find(ext, name)
}

// find asks the caller for a recipe by its name.
func (r *reader) find(at *node, name string) (Text, bool) {
	if r.src.Find == nil {
		r.at(at, "unknown-recipe", fmt.Sprintf("there is no recipe %q here", name), "")
		return Text{}, false
	}
	t, err := r.src.Find(name)
	if err != nil {
		r.at(at, "unknown-recipe", fmt.Sprintf("recipe %q: %v", name, err), diag.DidYouMean(name, r.src.Names))
		return Text{}, false
	}
	return t, true
}

// text1 returns the value of a text, and whether it is one.
func (n *node) text1() (string, bool) {
	if n == nil || n.kind != plain {
		return "", false
	}
	s, ok := n.value.(string)
	return s, ok
}
