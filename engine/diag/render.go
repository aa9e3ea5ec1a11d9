package diag

import (
	"fmt"
	"io"
	"strings"
	"unicode"
	"unicode/utf8"
)

// Bounds of what is shown.
const (
	wide   = 100 // columns of a source line
	before = 30  // columns kept before the underlined word when a line is cut
	tab    = 4
)

// Render shows every problem within err to a person: place, message and code,
// the line it is in with the word underlined, and what to do; at most 20 of
// them. Errors that are no Problem are shown as they are.
func Render(w io.Writer, err error) error {
	if err == nil {
		return nil
	}
	var b strings.Builder
	list := Of(err)
	if len(list) == 0 {
		b.WriteString(clean(err.Error()) + "\n")
	}
	for i, p := range list[:min(len(list), shown)] {
		if i > 0 {
			b.WriteByte('\n')
		}
		p.render(&b)
	}
	if more := len(list) - shown; more > 0 {
		fmt.Fprintf(&b, "\n... and %d more\n", more)
	}
	_, werr := io.WriteString(w, b.String())
	return werr
}

func (p *Problem) render(b *strings.Builder) {
	first, rest, more := strings.Cut(p.Msg, "\n")
	fmt.Fprintf(b, "%s: %s [%s]\n", clean(p.Pos.String()), clean(first), clean(p.Code))
	if more {
		for line := range strings.SplitSeq(rest, "\n") {
			b.WriteString("  " + strings.TrimRight(clean(line), " ") + "\n")
		}
	}
	excerpt(b, p.Pos, p.Text)
	for _, note := range p.Also {
		fmt.Fprintf(b, "see also %s: %s\n", clean(note.Pos.String()), clean(note.Msg))
		excerpt(b, note.Pos, note.Text)
	}
	if p.Hint != "" {
		b.WriteString("hint: " + clean(p.Hint) + "\n")
	}
}

// excerpt shows the line at pos with carets under what is meant.
func excerpt(b *strings.Builder, pos Pos, line string) {
	if pos.Line < 1 || strings.TrimSpace(line) == "" {
		return
	}
	cells := layOut(line)
	from := min(max(pos.Col-1, 0), len(cells))
	till := min(from+max(pos.Len, 1), len(cells))
	if pos.Len == 0 {
		till = wordEnd(cells, from)
	}
	cells, from, till, cutLeft, cutRight := window(cells, from, till)
	gutter := fmt.Sprintf("%5d | ", pos.Line)
	b.WriteString(gutter + cutLeft)
	for _, c := range cells {
		b.WriteString(c.text)
	}
	b.WriteString(cutRight + "\n")
	b.WriteString(strings.Repeat(" ", len(gutter)-2) + "| ")
	b.WriteString(strings.Repeat(" ", len(cutLeft)+width(cells[:from])))
	b.WriteString(strings.Repeat("^", max(width(cells[from:till]), 1)) + "\n")
}

// A cell is a rune as it is shown, and how many columns that takes.
type cell struct {
	text  string
	width int
	word  bool
}

func width(cells []cell) int {
	n := 0
	for _, c := range cells {
		n += c.width
	}
	return n
}

// layOut turns a line into cells: tabs become blanks, signs that move the
// cursor or hide are shown as a dot.
func layOut(line string) []cell {
	var cells []cell
	column := 0
	for _, r := range line {
		c := cell{text: string(r), width: columns(r), word: unicode.IsLetter(r) || unicode.IsDigit(r) || r == '-' || r == '_'}
		switch {
		case r == '\t':
			c.width = tab - column%tab
			c.text = strings.Repeat(" ", c.width)
		case hidden(r):
			c.text, c.width = "·", 1
		}
		column += c.width
		cells = append(cells, c)
	}
	return cells
}

func wordEnd(cells []cell, from int) int {
	till := from
	for till < len(cells) && cells[till].word {
		till++
	}
	return max(till, min(from+1, len(cells)))
}

// window cuts a long line down to what stands round the underlined word.
func window(cells []cell, from, till int) (part []cell, f, t int, left, right string) {
	if width(cells) <= wide {
		return cells, from, till, "", ""
	}
	start := from
	for start > 0 && width(cells[start:from]) < before {
		start--
	}
	end, room := start, wide
	for end < len(cells) && room >= cells[end].width {
		room -= cells[end].width
		end++
	}
	if start > 0 {
		left = "..."
	}
	if end < len(cells) {
		right = "..."
	}
	return cells[start:end], from - start, max(min(till, end)-start, from-start), left, right
}

// hidden reports whether a rune is better not sent to a terminal.
func hidden(r rune) bool {
	return unicode.IsControl(r) || unicode.Is(unicode.Cf, r) || unicode.Is(unicode.Zl, r) || unicode.Is(unicode.Zp, r) || r == utf8.RuneError
}

// columns returns how many columns a terminal gives a rune: none to a mark
// that sits on the letter before, two to the wide scripts of East Asia and to
// pictures (blocks of Unicode Standard Annex 11, wide ranges from memory).
func columns(r rune) int {
	switch {
	case unicode.In(r, unicode.Mn, unicode.Me):
		return 0
	case r >= 0x1100 && r <= 0x115f, r >= 0x2e80 && r <= 0x303e, r >= 0x3041 && r <= 0xa4cf,
		r >= 0xac00 && r <= 0xd7a3, r >= 0xf900 && r <= 0xfaff, r >= 0xfe30 && r <= 0xfe6f,
		r >= 0xff00 && r <= 0xff60, r >= 0xffe0 && r <= 0xffe6, r >= 0x1f300 && r <= 0x1f64f,
		r >= 0x1f900 && r <= 0x1f9ff, r >= 0x20000 && r <= 0x3fffd:
		return 2
	}
	return 1
}

// clean makes a text fit for one line of a terminal.
func clean(s string) string {
	return strings.Map(func(r rune) rune {
		if r == '\n' || r == '\t' {
			return ' '
		}
		if hidden(r) {
			return '·'
		}
		return r
	}, s)
}
