// Package diag says what is wrong in a text and where: problems with a place,
// a code to look up and a way out, gathered, sorted and shown all at once.
package diag

import (
	"cmp"
	"fmt"
	"slices"
	"strings"
)

// Pos is a place in a text file; Line and Col count from 1, Col in runes. Len
// is how many runes to underline; 0 means to the end of the word. The zero
// Line means the file as a whole.
type Pos struct {
	File string `json:"file"`
	Line int    `json:"line,omitempty"`
	Col  int    `json:"col,omitempty"`
	Len  int    `json:"len,omitempty"`
}

// String returns file:line:col, as far as it is known.
func (p Pos) String() string {
	switch {
	case p.Line == 0:
		return p.File
	case p.Col == 0:
		return fmt.Sprintf("%s:%d", p.File, p.Line)
	}
	return fmt.Sprintf("%s:%d:%d", p.File, p.Line, p.Col)
}

// Problem is one thing wrong at one place.
type Problem struct {
	Pos  Pos    `json:"pos"`
	Code string `json:"code"`           // constant words to look up, such as "unknown-stage"
	Msg  string `json:"msg"`            // what is wrong, in the recipe's words
	Hint string `json:"hint,omitempty"` // what to write instead
	Also []Note `json:"also,omitempty"` // other places that took part
	// Text is the line of the text at Pos, for showing; empty if not known.
	Text string `json:"-"`
}

// Note is a second place that a problem speaks of.
type Note struct {
	Pos  Pos    `json:"pos"`
	Msg  string `json:"msg"`
	Text string `json:"-"` // the line of the text at Pos; empty if not known
}

// Error returns the problem in one line.
func (p *Problem) Error() string {
	return fmt.Sprintf("%s: %s [%s]", p.Pos, p.Msg, p.Code)
}

// Problems gathers problems; the zero value is ready. It is not for use by
// several goroutines at once.
type Problems struct {
	list  []*Problem
	texts map[string][]string // lines by file
}

// Source tells the text of a file, so that All can show the lines problems are in.
func (ps *Problems) Source(file, text string) {
	if ps.texts == nil {
		ps.texts = map[string][]string{}
	}
	ps.texts[file] = strings.Split(text, "\n")
}

// line returns the line at pos, or nothing.
func (ps *Problems) line(pos Pos) string {
	lines := ps.texts[pos.File]
	if pos.Line < 1 || pos.Line > len(lines) {
		return ""
	}
	return strings.TrimSuffix(lines[pos.Line-1], "\r")
}

// Add gathers p.
func (ps *Problems) Add(p *Problem) { ps.list = append(ps.list, p) }

// Addf gathers a problem without a hint.
func (ps *Problems) Addf(pos Pos, code, format string, args ...any) *Problem {
	p := &Problem{Pos: pos, Code: code, Msg: fmt.Sprintf(format, args...)}
	ps.Add(p)
	return p
}

// Len returns how many were gathered.
func (ps *Problems) Len() int { return len(ps.list) }

// All returns the problems in order of place, without repetitions.
func (ps *Problems) All() []*Problem {
	for _, p := range ps.list {
		if p.Text == "" {
			p.Text = ps.line(p.Pos)
		}
		for i := range p.Also {
			if p.Also[i].Text == "" {
				p.Also[i].Text = ps.line(p.Also[i].Pos)
			}
		}
	}
	return inOrder(ps.list)
}

func inOrder(list []*Problem) []*Problem {
	sorted := slices.Clone(list)
	slices.SortStableFunc(sorted, func(a, b *Problem) int {
		return cmp.Or(
			cmp.Compare(a.Pos.File, b.Pos.File), cmp.Compare(a.Pos.Line, b.Pos.Line),
			cmp.Compare(a.Pos.Col, b.Pos.Col), cmp.Compare(a.Code, b.Code), cmp.Compare(a.Msg, b.Msg))
	})
	return slices.CompactFunc(sorted, func(a, b *Problem) bool {
		return a.Pos == b.Pos && a.Code == b.Code && a.Msg == b.Msg
	})
}
