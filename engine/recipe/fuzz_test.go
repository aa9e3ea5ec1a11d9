package recipe

import (
	"fmt"
	"reflect"
	"strings"
	"testing"

	"layette/engine/diag"
)

// FuzzRead: whatever the two texts, no panic; every problem says something at
// a place that exists; what is read is read the same again, has its stages in
// an order in which each comes after what it needs, and every value there.
func FuzzRead(f *testing.F) {
	goodRecipe, _ := testdata("good")
	sheet, _ := testdata("model")
	base, _ := testdata("base")
	f.Add(goodRecipe.Data, sheet.Data)
	f.Add(base.Data, []byte("recipe = \"good\"\n[child]\na = 1\n"))
	for _, name := range []string{"stages", "tables", "circle", "arrays", "overrides.model"} {
		text, err := testdata("wrong/" + name)
		if err != nil {
			f.Fatal(err)
		}
		f.Add(text.Data, sheet.Data)
		f.Add(goodRecipe.Data, text.Data)
	}
	f.Fuzz(func(t *testing.T, recipe, sheet []byte) {
		src := Sources{Sheet: Text{"model.toml", sheet}, Recipe: Text{"r.toml", recipe}, Folder: "luna", Find: testdata}
		r, err := Read(src, fakes)
		if err != nil {
			list := diag.Of(err)
			if len(list) == 0 {
				t.Fatalf("an error without a problem: %v", err)
			}
			for _, p := range list {
				if p.Msg == "" || p.Code == "" || p.Pos.File == "" {
					t.Fatalf("a problem that says nothing: %+v", p)
				}
			}
			var b strings.Builder
			diag.Render(&b, err)
			return
		}
		again, err := Read(src, fakes)
		if err != nil || !reflect.DeepEqual(account(r), account(again)) {
			t.Fatalf("read again, %v:\n%v\n%v", err, account(r), account(again))
		}
		sound(t, r)
	})
}

// account is what of a recipe can be compared.
func account(r *Recipe) string {
	var b strings.Builder
	for _, s := range r.Stages {
		fmt.Fprintf(&b, "%s %s %s %v %v\n", s.Name, s.Step, s.Each, s.Only, s.After)
		for _, in := range s.Inputs {
			fmt.Fprintf(&b, "  %s %v %s %s %s %v %d\n", in.Name, in.From, in.Files, in.Folder, in.Units, in.Pos, len(in.Given))
		}
		for _, v := range s.Values {
			value, _ := v.At(r, "", "")
			fmt.Fprintf(&b, "  %s %s %v %v\n", v.Name, v.Refer, v.Value, value)
		}
		for _, g := range s.Gates {
			fmt.Fprintf(&b, "  %s %q %v\n", g.Name, g.Rule, g.Pos)
		}
	}
	return b.String()
}

func sound(t *testing.T, r *Recipe) {
	seen := map[string]bool{}
	for _, s := range r.Stages {
		for _, need := range s.needs() {
			if !seen[need.Stage] {
				t.Fatalf("stage %s comes before %s, which it needs", s.Name, need.Stage)
			}
		}
		seen[s.Name] = true
		parts := s.Only
		if s.Each == "" {
			parts = []string{""}
		}
		for _, part := range parts {
			for _, v := range s.Values {
				if value, _ := v.At(r, part, ""); value == nil && len(v.Given) == 0 && !strings.HasPrefix(v.Refer, "child.") {
					t.Fatalf("stage %s has no value %s for part %q", s.Name, v.Name, part)
				}
			}
		}
		for _, g := range s.Gates {
			if g.Compiled == nil {
				t.Fatalf("gate %s has no rule", g.Name)
			}
		}
	}
}

// TestCutAnywhere: a good recipe cut off at any byte is read, or refused with
// problems, and never panics.
func TestCutAnywhere(t *testing.T) {
	text, _ := testdata("good")
	for i := range len(text.Data) {
		r, err := Read(Sources{Recipe: Text{"r.toml", text.Data[:i:i]}, Find: testdata}, fakes)
		if err == nil {
			sound(t, r)
		} else if len(diag.Of(err)) == 0 {
			t.Fatalf("cut at %d: %v", i, err)
		}
	}
}

// TestHostile: texts meant to cost time or memory are refused quickly.
func TestHostile(t *testing.T) {
	for name, text := range map[string]string{
		"brackets":      "a = " + strings.Repeat("[", 500_000),
		"braces":        "a = " + strings.Repeat("{a=", 300_000),
		"dots":          strings.Repeat("a.", 400_000) + "a = 1",
		"headers":       strings.Repeat("[[a]]\n", 100_000),
		"many tables":   manyTables(30_000),
		"too large":     strings.Repeat("#", maxBytes+1),
		"not UTF-8":     "title = \"\xff\"",
		"binary":        "\x00\x01\x02",
		"UTF-16":        "\xff\xfef\x00o\x00",
		"long rule":     "format=1\ntitle=\"a\"\n[stages.a]\nstep=\"gap\"\n[stages.a.gates.b]\nrule=\"" + strings.Repeat("(", 100_000) + "\"",
		"open text":     "title = \"\"\"" + strings.Repeat("x", 100_000),
		"empty":         "",
		"date and tail": "a = 1979-05-27 ",
	} {
		t.Run(name, func(t *testing.T) {
			_, err := Read(Sources{Recipe: Text{"r.toml", []byte(text)}, Find: testdata}, fakes)
			if len(diag.Of(err)) == 0 {
				t.Fatalf("read without a problem: %v", err)
			}
			if name == "many tables" && !strings.Contains(err.Error(), "too many keys") {
				t.Fatal("many tables are not refused for their number")
			}
		})
	}
}

func manyTables(n int) string {
	var b strings.Builder
	for i := range n {
		fmt.Fprintf(&b, "[stages.s%d]\n", i)
	}
	return b.String()
}

func TestLineage(t *testing.T) {
	chain := func(name string) (Text, error) {
		next := map[string]string{"a": "b", "b": "c", "c": "a"}[name]
		return Text{name + ".toml", []byte("format = 1\ntitle = \"" + name + "\"\nextends = \"" + next + "\"\n")}, nil
	}
	first, _ := chain("a")
	_, err := Read(Sources{Recipe: first, Find: chain}, fakes)
	if err == nil || !strings.Contains(err.Error(), "extends itself: b -> c -> a -> b") {
		t.Errorf("a circle: %v", err)
	}
	old := func(string) (Text, error) { return Text{"old", []byte("format = 3\ntitle = \"old\"\n")}, nil }
	_, err = Read(Sources{Recipe: first, Find: old}, fakes)
	if err == nil || !strings.Contains(err.Error(), "old:1:10: this tool reads format 1") {
		t.Errorf("an extended recipe of another format: %v", err)
	}
	n := 0
	endless := func(name string) (Text, error) {
		n++
		return Text{name, []byte(fmt.Sprintf("format = 1\ntitle = \"t\"\nextends = \"n%d\"\n", n))}, nil
	}
	first, _ = endless("n0")
	_, err = Read(Sources{Recipe: first, Find: endless}, fakes)
	if err == nil || !strings.Contains(err.Error(), "more than 8 recipes") {
		t.Errorf("an endless chain: %v", err)
	}
}

func TestMatch(t *testing.T) {
	for _, tt := range []struct {
		glob, name string
		want       bool
	}{
		{"scans/*.ply", "scans/a.ply", true}, {"scans/*.ply", "scans/b/a.ply", false}, {"scans/**", "scans/b/a.ply", true},
		{"**", "a", true}, {"**", "a/b", true}, {"**/a.ply", "a.ply", true}, {"**/a.ply", "x/y/a.ply", true}, {"scans/**", "scans", false},
		{"a/**/b/**/c", "a/b/c", true}, {"a/**/b/**/c", "a/1/2/b/3/c", true}, {"a/**/b", "a/c", false}, {`a\[1].ply`, "a[1].ply", true}, {"[", "[", false},
	} {
		if got := Match(tt.glob, tt.name); got != tt.want {
			t.Errorf("Match(%q, %q) = %v", tt.glob, tt.name, got)
		}
	}
}

// BenchmarkRead reads a recipe of 150 stages with two gates each over five
// parts, and its sheet: it must leave most of the 100 ms of a run with nothing
// to do to others.
func BenchmarkRead(b *testing.B) {
	var text strings.Builder
	text.WriteString("format = 1\ntitle = \"x\"\n[tolerances]\ngap = \"1.2 mm\"\n")
	for i := range 5 {
		fmt.Fprintf(&text, "[parts.part-%d]\nlongest = \"120 mm\"\n", i)
	}
	for i := range 30 {
		fmt.Fprintf(&text, "[materials.m%d]\nwall = \"2 mm\"\nmould = \"2 %%\"\n", i)
	}
	for i := range 150 {
		fmt.Fprintf(&text, "[stages.s%d]\nstep = \"gap\"\neach = \"part\"\nsurface = { file = \"sculpt/{part}.stl\", units = \"mm\" }\nvalues = { least = \"tolerances.gap\" }\n"+
			"[stages.s%d.gates.webs]\nrule = \"air.least >= tolerances.gap or air.spots == 0\"\n[stages.s%d.gates.bend]\nrule = \"closed and area > 0\"\n", i, i, i)
	}
	src := Sources{Recipe: Text{"r.toml", []byte(text.String())}, Find: testdata}
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Read(src, fakes); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(150*float64(b.N)/b.Elapsed().Seconds(), "stages/s")
}
