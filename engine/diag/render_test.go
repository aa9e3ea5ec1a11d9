package diag

import (
	"errors"
	"fmt"
	"strings"
	"testing"
	"unicode/utf8"
)

func shownAs(err error) string {
	var b strings.Builder
	Render(&b, err)
	return b.String()
}

func TestRender(t *testing.T) {
	tests := []struct {
		name string
		p    Problem
		want string
	}{
		{"plain", Problem{Pos: Pos{"a.toml", 3, 7, 4}, Code: "c", Msg: "wrong", Hint: "do this", Text: `gap = "1mm"`},
			"a.toml:3:7: wrong [c]\n    3 | gap = \"1mm\"\n      |       ^^^^\nhint: do this\n"},
		{"tab", Problem{Pos: Pos{"a", 1, 2, 3}, Code: "c", Msg: "m", Text: "\tgap"},
			"a:1:2: m [c]\n    1 |     gap\n      |     ^^^\n"},
		{"tab within the line", Problem{Pos: Pos{"a", 1, 3, 1}, Code: "c", Msg: "m", Text: "a\tb"},
			"a:1:3: m [c]\n    1 | a   b\n      |     ^\n"},
		{"wide runes", Problem{Pos: Pos{"a", 1, 3, 2}, Code: "c", Msg: "m", Text: "新生児x"},
			"a:1:3: m [c]\n    1 | 新生児x\n      |     ^^^\n"},
		{"combining mark", Problem{Pos: Pos{"a", 1, 3, 1}, Code: "c", Msg: "m", Text: "e\u0301x"},
			"a:1:3: m [c]\n    1 | e\u0301x\n      |  ^\n"},
		{"to the end of the word", Problem{Pos: Pos{"a", 1, 1, 0}, Code: "c", Msg: "m", Text: "left-arm = 1"},
			"a:1:1: m [c]\n    1 | left-arm = 1\n      | ^^^^^^^^\n"},
		{"past the end", Problem{Pos: Pos{"a", 1, 9, 4}, Code: "c", Msg: "m", Text: "ab"},
			"a:1:9: m [c]\n    1 | ab\n      |   ^\n"},
		{"escape sequences and direction marks", Problem{Pos: Pos{"a", 1, 1, 1}, Code: "c", Msg: "m\x1b[31m", Text: "\x1b[31m\u202ered"},
			"a:1:1: m·[31m [c]\n    1 | ·[31m·red\n      | ^\n"},
		{"no line", Problem{Pos: Pos{File: "a"}, Code: "c", Msg: "m"}, "a: m [c]\n"},
		{"several lines", Problem{Pos: Pos{"a", 2, 0, 0}, Code: "cycle", Msg: "round:\n  a needs b"}, "a:2: round: [cycle]\n    a needs b\n"},
		{"a second place", Problem{Pos: Pos{"a", 1, 1, 1}, Code: "c", Msg: "m", Text: "x", Also: []Note{{Pos{"b", 2, 1, 1}, "here", "y"}}},
			"a:1:1: m [c]\n    1 | x\n      | ^\nsee also b:2:1: here\n    2 | y\n      | ^\n"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			if got := shownAs(&tt.p); got != tt.want {
				t.Errorf("shown as\n%s\nwant\n%s", got, tt.want)
			}
		})
	}
}

func TestRenderCutsLongLines(t *testing.T) {
	line := strings.Repeat("x", 5000) + "HERE" + strings.Repeat("y", 5000)
	got := shownAs(&Problem{Pos: Pos{"a", 1, 5001, 4}, Code: "c", Msg: "m", Text: line})
	lines := strings.Split(got, "\n")
	at := strings.Index(lines[1], "HERE")
	if !strings.Contains(lines[1], "xxxxHERE") || at < 0 || lines[2][at:] != "^^^^" || len(lines[1]) > 120 {
		t.Errorf("shown as\n%s", got)
	}
}

func TestErr(t *testing.T) {
	var ps Problems
	if ps.Err() != nil {
		t.Error("nothing wrong, and yet an error")
	}
	ps.Source("a", "first\nsecond\r\nthird")
	for i := 25; i > 0; i-- {
		ps.Addf(Pos{"b", i, 1, 0}, "c", "number %d", i)
	}
	ps.Addf(Pos{"a", 2, 1, 0}, "c", "twice")
	ps.Addf(Pos{"a", 2, 1, 0}, "c", "twice")
	err := ps.Err()
	if list := Of(fmt.Errorf("wrapped: %w", err)); len(list) != 26 || list[0].Text != "second" || list[1].Msg != "number 1" {
		t.Errorf("got back %d problems, first %+v", len(list), list[0])
	}
	var p *Problem
	if !errors.As(err, &p) || p.Msg != "twice" {
		t.Errorf("errors.As finds %v", p)
	}
	text := err.Error()
	if !strings.HasPrefix(text, "26 problems:\n  a:2:1: twice [c]\n  b:1:1") || !strings.HasSuffix(text, "... and 6 more") {
		t.Errorf("printed as\n%s", text)
	}
	if got := shownAs(err); !strings.HasSuffix(got, "\n... and 6 more\n") {
		t.Errorf("shown as\n%s", got)
	}
	if got := shownAs(errors.New("plain")); got != "plain\n" {
		t.Errorf("a plain error is shown as %q", got)
	}
	if got := Of(errors.Join(&Problem{Msg: "b"}, &Problem{Msg: "a"})); len(got) != 2 || got[0].Msg != "a" {
		t.Errorf("joined errors: %v", got)
	}
}

func TestDidYouMean(t *testing.T) {
	known := []string{"soundness", "gaps", "cut", "left-arm", "right-arm"}
	for word, want := range map[string]string{"gasp": "gaps", "soundnes": "soundness", "left-amr": "left-arm", "cut-": "cut", "wholly": "", "xx": "", "": ""} {
		got := DidYouMean(word, known)
		if want == "" && got != "" || want != "" && got != fmt.Sprintf("did you mean %q?", want) {
			t.Errorf("%q: %q, want %q", word, got, want)
		}
	}
}

func TestA(t *testing.T) {
	for noun, want := range map[string]string{"angle": "an angle", "length": "a length", "": "a "} {
		if got := A(noun); got != want {
			t.Errorf("A(%q) = %q", noun, got)
		}
	}
}

// FuzzRender: whatever the text and place, the screen is plain lines with the
// caret below something, and no line is longer than the bound.
func FuzzRender(f *testing.F) {
	f.Add("a.toml", 3, 7, 4, "gap = \"1mm\"", "wrong", "do")
	f.Add("", -1, 0, 0, "\t\t\x1b", "m\nn", "")
	f.Add("新", 1, 1<<40, 1<<40, "e\u0301新", "", "h")
	f.Fuzz(func(t *testing.T, file string, line, col, length int, text, msg, hint string) {
		got := shownAs(&Problem{Pos: Pos{file, line, col, length}, Code: "c", Msg: msg, Hint: hint, Text: text})
		if !utf8.ValidString(got) {
			t.Fatalf("not UTF-8: %q", got)
		}
		for _, l := range strings.Split(strings.TrimSuffix(got, "\n"), "\n") {
			if strings.ContainsFunc(l, hidden) {
				t.Fatalf("a hidden sign in %q", l)
			}
		}
		if strings.TrimSpace(text) != "" && line > 0 && !strings.Contains(got, "| ") {
			t.Fatalf("the line is not shown: %q", got)
		}
	})
}
