package recipe

import (
	"strconv"
	"strings"
	"unicode/utf8"

	"layette/engine/diag"
)

// unquote returns what a TOML string's text stands for, and for each of its
// runes the byte offset in the text that it comes from, with one more for the
// end. The text is known to be well formed.
func unquote(text string) (string, []int) {
	quotes, multi := 1, false
	if len(text) >= 6 && text[1] == text[0] && text[2] == text[0] {
		quotes, multi = 3, true
	}
	off, end := quotes, len(text)-quotes
	if multi {
		off += len(firstLineEnd(text[off:end]))
	}
	var b strings.Builder
	var places []int
	for off < end {
		places = append(places, off)
		if text[off] != '\\' || text[0] == '\'' {
			r, n := utf8.DecodeRuneInString(text[off:end])
			b.WriteRune(r)
			off += n
			continue
		}
		r, n := escaped(text[off+1 : end])
		if n == 0 { // a backslash at a line's end: the break and all blanks after it vanish
			places = places[:len(places)-1]
			off += 1 + len(text[off+1:end]) - len(strings.TrimLeft(text[off+1:end], " \t\r\n"))
			continue
		}
		b.WriteRune(r)
		off += 1 + n
	}
	return b.String(), append(places, end)
}

// firstLineEnd returns the line end that a multi-line string begins with.
func firstLineEnd(s string) string {
	for _, end := range []string{"\r\n", "\n"} {
		if strings.HasPrefix(s, end) {
			return end
		}
	}
	return ""
}

// escaped returns the rune that an escape stands for and its length after the
// backslash; 0 for the backslash that joins lines.
func escaped(s string) (rune, int) {
	if s == "" {
		return 0, 0
	}
	if i := strings.IndexByte(`btnfre"\`, s[0]); i >= 0 {
		return []rune("\b\t\n\f\r\x1b\"\\")[i], 1
	}
	if digits := map[byte]int{'x': 2, 'u': 4, 'U': 8}[s[0]]; digits > 0 && len(s) > digits {
		r, _ := strconv.ParseUint(s[1:1+digits], 16, 32)
		return rune(r), 1 + digits
	}
	return 0, 0
}

// within returns the place of runes from..from+length of a string value.
func (n *node) within(from, length int) diag.Pos {
	raw := n.text.data[n.from:n.till]
	if n.kind != plain || len(raw) < 2 || raw[0] != '"' && raw[0] != '\'' {
		return n.at
	}
	_, places := unquote(raw)
	from = min(max(from, 0), len(places)-1)
	till := min(from+max(length, 1), len(places)-1)
	return n.text.pos(n.from+places[from], n.from+max(places[till], places[from]+1))
}
