package recipe

import (
	"strings"
	"unicode/utf8"

	"layette/engine/diag"
)

// A node is a key of a TOML text with its value and both their places: a table
// with members, an array with items, or a plain value.
type node struct {
	key   string
	keyAt diag.Pos // where the key is written; for a table, its first header
	at    diag.Pos // where the value is written; for a table by header, the header's last word
	from  int      // byte offsets of the value's text
	till  int
	kind  shape
	value any // of a plain value, as BurntSushi/toml decodes it
	kids  []*node
	text  *source
	was   *node // what a recipe that this one's recipe extends had here
}

type shape byte

const (
	plain shape = iota
	table       // by header or dotted key
	inner       // an inline table: { ... }
	array
)

func (n *node) isTable() bool { return n != nil && (n.kind == table || n.kind == inner) }

// get returns the member called key, or nil.
func (n *node) get(key string) *node {
	if n == nil {
		return nil
	}
	for _, k := range n.kids {
		if k.key == key {
			return k
		}
	}
	return nil
}

// A source is a text that is being placed.
type source struct {
	file  string
	data  string
	lines []int // byte offset of each line's first character
}

func newSource(file, data string) *source {
	s := &source{file: file, data: data, lines: []int{0}}
	for i := range len(data) {
		if data[i] == '\n' {
			s.lines = append(s.lines, i+1)
		}
	}
	return s
}

// pos returns the place of the text between two byte offsets, underlined no
// further than its line.
func (s *source) pos(from, till int) diag.Pos {
	lo, hi := 0, len(s.lines)
	for hi-lo > 1 {
		if mid := (lo + hi) / 2; s.lines[mid] <= from {
			lo = mid
		} else {
			hi = mid
		}
	}
	end := len(s.data)
	if lo+1 < len(s.lines) {
		end = s.lines[lo+1] - 1
	}
	from = min(from, end)
	return diag.Pos{File: s.file, Line: lo + 1,
		Col: utf8.RuneCountInString(s.data[s.lines[lo]:from]) + 1,
		Len: utf8.RuneCountInString(s.data[from:min(max(till, from), end)])}
}

// Bounds of a recipe's text: far beyond any real one.
const (
	maxBytes  = 1 << 20
	maxDepth  = 8      // tables and arrays within one another, and words in a key
	maxValues = 20_000 // keys and items in all
)

// A placer finds the place of every key and value of a TOML text. It knows
// just enough of TOML to do so and leaves judging the text to the TOML
// library: of a text that the library accepts it finds exactly the same keys
// (FuzzPlaces).
type placer struct {
	*source
	off   int
	count int
	root  *node
	open  *node // the table that keys go to
	bad   *diag.Problems
}

// misfit ends placing: the text is not TOML, or past our bounds.
type misfit struct {
	from, till      int
	code, msg, hint string
}

// place returns the tree of a TOML text, as far as it could be read, and what
// stopped it; arrays of tables are told to bad.
func place(s *source, bad *diag.Problems) (root *node, stop *misfit) {
	root = &node{kind: table, text: s, at: diag.Pos{File: s.file}, keyAt: diag.Pos{File: s.file}}
	p := &placer{source: s, root: root, open: root, bad: bad}
	defer func() {
		if r := recover(); r != nil {
			m, ok := r.(misfit)
			if !ok {
				panic(r)
			}
			stop = &m
		}
	}()
	p.off = len(s.data) - len(strings.TrimPrefix(s.data, "\ufeff"))
	for p.blank(true); p.off < len(p.data); p.blank(true) {
		if p.peek() == '[' {
			p.header()
		} else {
			p.pair(p.open, 1)
		}
		p.lineEnd()
	}
	return root, nil
}

func (p *placer) peek() byte {
	if p.off < len(p.data) {
		return p.data[p.off]
	}
	return 0
}

func (p *placer) fail(code, msg, hint string) {
	panic(misfit{p.off, p.off + 1, code, msg, hint})
}

func (p *placer) syntax(msg string) { p.fail("toml", msg, "") }

// blank passes over blanks and, if lines is set, comments and line ends.
func (p *placer) blank(lines bool) {
	for p.off < len(p.data) {
		switch c := p.data[p.off]; {
		case c == ' ' || c == '\t':
		case lines && (c == '\n' || c == '\r'):
		case lines && c == '#':
			for p.off < len(p.data) && p.data[p.off] != '\n' {
				p.off++
			}
			continue
		default:
			return
		}
		p.off++
	}
}

func (p *placer) lineEnd() {
	p.blank(false)
	switch p.peek() {
	case 0, '\n', '\r', '#':
	default:
		p.syntax("the line goes on after its end")
	}
}

func (p *placer) want(c byte) {
	if p.peek() != c {
		p.syntax("expected '" + string(rune(c)) + "'")
	}
	p.off++
}

// A word is one part of a key.
type word struct {
	text       string
	from, till int
}

// words reads a key: words parted by dots.
func (p *placer) words() []word {
	var list []word
	for {
		p.blank(false)
		list = append(list, p.word())
		if len(list) > maxDepth {
			p.fail("too-deep", "tables lie too deep within one another", "a recipe needs four at most")
		}
		p.blank(false)
		if p.peek() != '.' {
			return list
		}
		p.off++
	}
}

func (p *placer) word() word {
	from := p.off
	if c := p.peek(); c == '"' || c == '\'' {
		p.str()
		text, _ := unquote(p.data[from:p.off])
		return word{text, from, p.off}
	}
	for p.off < len(p.data) && bare(p.data[p.off]) {
		p.off++
	}
	if p.off == from {
		p.syntax("expected a key")
	}
	return word{p.data[from:p.off], from, p.off}
}

func bare(c byte) bool {
	return c == '-' || c == '_' || '0' <= c && c <= '9' || 'a' <= c && c <= 'z' || 'A' <= c && c <= 'Z'
}

// child returns the member of n for a word, made if there is none.
func (p *placer) child(n *node, w word, kind shape) *node {
	if k := n.get(w.text); k != nil {
		return k
	}
	at := p.pos(w.from, w.till)
	k := &node{key: w.text, keyAt: at, at: at, from: w.from, till: w.till, kind: kind, text: p.source}
	p.add(n, k)
	return k
}

func (p *placer) add(n, k *node) {
	n.kids = append(n.kids, k)
	if p.count++; p.count > maxValues {
		p.fail("too-large", "too many keys and values", "")
	}
}

func (p *placer) header() {
	from := p.off
	p.want('[')
	twice := p.peek() == '['
	if twice {
		p.off++
	}
	p.open = p.root
	for _, w := range p.words() {
		p.open = p.child(p.open, w, table)
	}
	p.want(']')
	if !twice {
		return
	}
	p.want(']')
	words := strings.Trim(p.data[from:p.off], "[]")
	p.bad.Add(&diag.Problem{Pos: p.pos(from, p.off), Code: "array-of-tables",
		Msg:  "a recipe has named tables only, not [[" + words + "]]",
		Hint: "give it a name: [" + words + ".NAME]"})
	p.open = &node{kind: table, text: p.source} // its keys would clash with its sisters'
}

// pair reads key = value into n.
func (p *placer) pair(n *node, depth int) {
	words := p.words()
	for _, w := range words[:len(words)-1] {
		n = p.child(n, w, table)
	}
	last := words[len(words)-1]
	p.want('=')
	p.blank(false)
	k := &node{key: last.text, keyAt: p.pos(last.from, last.till), text: p.source}
	p.val(k, depth)
	p.add(n, k)
}

// val reads a value into n.
func (p *placer) val(n *node, depth int) {
	if depth > maxDepth {
		p.fail("too-deep", "tables and lists lie too deep within one another", "a recipe needs four at most")
	}
	n.from = p.off
	switch p.peek() {
	case '"', '\'':
		p.str()
	case '[':
		n.kind = array
		p.items(n, depth)
	case '{':
		n.kind = inner
		p.members(n, depth)
	default:
		p.scalar()
	}
	n.till = p.off
	n.at = p.pos(n.from, n.till)
}

func (p *placer) items(n *node, depth int) {
	p.want('[')
	for p.blank(true); p.peek() != ']'; p.blank(true) {
		k := &node{text: p.source}
		p.val(k, depth+1)
		k.keyAt = k.at
		p.add(n, k)
		if p.blank(true); p.peek() != ']' {
			p.want(',')
		}
	}
	p.want(']')
}

func (p *placer) members(n *node, depth int) {
	p.want('{')
	for p.blank(true); p.peek() != '}'; p.blank(true) {
		p.pair(n, depth+1)
		if p.blank(true); p.peek() != '}' {
			p.want(',')
		}
	}
	p.want('}')
}

// scalar passes over a number, a flag or a date; a date may hold one blank.
func (p *placer) scalar() {
	from := p.off
	for p.off < len(p.data) && !strings.ContainsRune(",]}#\n\r\t ", rune(p.data[p.off])) {
		p.off++
	}
	if p.off == from {
		p.syntax("expected a value")
	}
	rest := p.data[p.off:]
	if p.off-from == 10 && p.data[from+4] == '-' && len(rest) > 1 && rest[0] == ' ' && '0' <= rest[1] && rest[1] <= '9' {
		p.off++
		for p.off < len(p.data) && !strings.ContainsRune(",]}#\n\r\t ", rune(p.data[p.off])) {
			p.off++
		}
	}
}

// str passes over a string of any of the four sorts.
func (p *placer) str() {
	rest := p.data[p.off:]
	quote := rest[:1]
	if three := strings.Repeat(quote, 3); strings.HasPrefix(rest, three) {
		p.off += 3
		p.until(three)
		for range 2 { // up to two more quotes belong to the string
			if p.peek() == quote[0] {
				p.off++
			}
		}
		return
	}
	p.off++
	p.until(quote)
}

// until passes over the string's text and its closing quotes.
func (p *placer) until(quotes string) {
	for p.off < len(p.data) {
		switch {
		case strings.HasPrefix(p.data[p.off:], quotes):
			p.off += len(quotes)
			return
		case p.data[p.off] == '\\' && quotes[0] == '"':
			p.off++
		case p.data[p.off] == '\n' && len(quotes) == 1:
			p.syntax("the text has no closing quote on its line")
		}
		p.off++
	}
	p.off = len(p.data)
	p.syntax("the text has no closing quotes")
}
