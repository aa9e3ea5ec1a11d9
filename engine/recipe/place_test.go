package recipe

import (
	"strings"
	"testing"
	"unicode/utf8"

	"layette/engine/diag"
)

const placed = "# a comment with [brackets]\n" +
	"format = 1\n" +
	"title = \"Sl\u00e9eping\" # after\n" +
	"[parts.\"left arm\"]\n" +
	"mirror='right'\n" +
	"[ materials . vinyl ]\n" +
	"shrinkage = { mould = \"2 %\", wax = { deep = [1, 2.5,\n  # inside\n  \"x\"] } }\n" +
	"a.b.c = 1979-05-27 07:32:00\n" +
	"[stages.gaps.gates.no-webs]\n" +
	"rule = \"\"\"\nair.least >= 1 \\\n   and \\u0041 == \"\"2\"\" \n\"\"\"\n"

func TestPlaces(t *testing.T) {
	var bad diag.Problems
	root := parse(Text{"r.toml", []byte(placed)}, &bad)
	if bad.Len() > 0 {
		t.Fatal(bad.Err())
	}
	tests := []struct {
		path string
		want string // what the place underlines
		line int
	}{
		{"format", "1", 2},
		{"title", "\"Sl\u00e9eping\"", 3},
		{"parts/left arm", "\"left arm\"", 4},
		{"parts/left arm/mirror", "'right'", 5},
		{"materials/vinyl", "vinyl", 6},
		{"materials/vinyl/shrinkage/mould", `"2 %"`, 7},
		{"materials/vinyl/shrinkage/wax/deep", "[1, 2.5,", 7},
		{"materials/vinyl/a/b/c", "1979-05-27 07:32:00", 10},
	}
	lines := strings.Split(placed, "\n")
	for _, tt := range tests {
		n := root
		for _, key := range strings.Split(tt.path, "/") {
			n = n.get(key)
		}
		if n == nil {
			t.Fatalf("%s was not found", tt.path)
		}
		got := string([]rune(lines[n.at.Line-1])[n.at.Col-1:][:n.at.Len])
		if got != tt.want || n.at.Line != tt.line {
			t.Errorf("%s is at line %d, %q; want line %d, %q", tt.path, n.at.Line, got, tt.line, tt.want)
		}
	}
	item := root.get("materials").get("vinyl").get("shrinkage").get("wax").get("deep").kids[2]
	if item.at.Line != 9 || item.at.Col != 3 || item.value != "x" {
		t.Errorf("third item of the list is at %v with %v", item.at, item.value)
	}
	rule := root.get("stages").get("gaps").get("gates").get("no-webs").get("rule")
	value := rule.value.(string)
	for _, word := range []string{"least", "and", "A ==", "2"} {
		from := utf8.RuneCountInString(value[:strings.Index(value, word)])
		at := rule.within(from, 1)
		rest := string([]rune(lines[at.Line-1])[at.Col-1:])
		if !strings.HasPrefix(rest, word) && !(word == "A ==" && strings.HasPrefix(rest, `\u0041 ==`)) {
			t.Errorf("%q of the rule is placed at %q", word, rest)
		}
	}
}

// FuzzPlaces: of a text that the TOML library reads, our tree has exactly the
// same keys; a key or value lies where its text is; a string unquotes to the
// same text.
func FuzzPlaces(f *testing.F) {
	f.Add([]byte(placed))
	for _, s := range []string{
		"a = 1", "[a]\nb=2\n[a.c]\n", "a.b = 1\na.c = 2", "x = [ {a=1}, {b=2} ]", "k = '''\nraw\\n'''", "k = \"\"\"a\\\n  b\"\"\"",
		"[[a]]\nb=1\n[[a]]\nb=2", "\"\" = 1", "\"a.b\" = 1", "a = \"\\x41\\e\"", "a = {b = 1,\n c = 2,}", "a = 1979-05-27 07:32:00Z", "a = \"\"\"\"q\"\"\"\"\"",
		"a=\"\"\"x\r\ny\"\"\"\r\n", "\ufeffa=1", "a = inf", "a = +nan", "'k' = 0x1F", "a = []", "a = {}",
	} {
		f.Add([]byte(s))
	}
	f.Fuzz(func(t *testing.T, data []byte) {
		var bad diag.Problems
		root := parse(Text{"f.toml", data}, &bad)
		for _, p := range bad.All() {
			if p.Msg == "" || p.Pos.Line < 0 {
				t.Fatalf("a problem that says nothing: %+v", p)
			}
		}
		values, err := decode(string(data))
		if err != nil {
			if root != nil {
				t.Fatalf("read in spite of %v", err)
			}
			return
		}
		if root == nil {
			for _, p := range bad.All() {
				if p.Code == "toml" {
					t.Fatalf("the library reads it, we do not: %v", p)
				}
			}
			return
		}
		if !bind(root, values) {
			t.Fatalf("the keys differ: %v", values)
		}
		checkPlaces(t, root, string(data))
	})
}

func checkPlaces(t *testing.T, n *node, data string) {
	for _, k := range n.kids {
		if k.at.Line < 1 || k.at.Line > strings.Count(data, "\n")+1 || k.at.Col < 1 || k.from > k.till || k.till > len(data) {
			t.Fatalf("%q has a bad place: %+v", k.key, k)
		}
		raw := data[k.from:k.till]
		if s, ok := k.value.(string); ok {
			if got, places := unquote(raw); got != s || len(places) != utf8.RuneCountInString(s)+1 {
				t.Fatalf("%q unquotes to %q, the library says %q", raw, got, s)
			}
		}
		checkPlaces(t, k, data)
	}
}
