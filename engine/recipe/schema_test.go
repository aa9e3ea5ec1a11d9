package recipe

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"github.com/santhosh-tekuri/jsonschema/v6"

	"layette/engine/step"
)

// compiled checks a schema against the meta-schema of draft 2020-12, with a
// general-purpose library, and returns it ready for use.
func compiled(t *testing.T, data []byte) *jsonschema.Schema {
	t.Helper()
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("s.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("s.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asJSON turns TOML into what a JSON Schema library looks at.
func asJSON(t *testing.T, text string) any {
	t.Helper()
	values, err := decode(text)
	if err != nil {
		t.Fatal(err)
	}
	data, err := json.Marshal(values)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	return doc
}

func TestSchema(t *testing.T) {
	s := compiled(t, Schema(fakes))
	for _, name := range []string{"base", "good"} {
		text, _ := testdata(name)
		if err := s.Validate(asJSON(t, string(text.Data))); err != nil {
			t.Errorf("%s: %v", name, err)
		}
	}
	const head = "format = 1\ntitle = \"x\"\n[stages.gaps]\nstep = \"gap\"\n"
	for text, bad := range map[string]bool{
		head:                                     false,
		head + "values = { least = \"1.2 mm\" }": false,
		head + "values = { least = \"1.2 deg\" }":                              true,
		head + "values = { least = \"tolerances.x\" }":                         false,
		head + "values = { leest = \"1.2 mm\" }":                               true,
		head + "values = { mode = \"fien\" }":                                  true,
		head + "surfce = { from = \"a\" }":                                     true,
		head + "surface = { from = \"a\" }":                                    false,
		head + "surface = { form = \"a\" }":                                    true,
		"format = 2\ntitle = \"x\"":                                            true,
		"title = \"x\"":                                                        true,
		"format = 1\ntitle = \"x\"\n[stages.gaps]\nsurface = { from = \"a\" }": false, // fills up an extended one
		"format = 1\ntitle = \"x\"\n[colours]":                                 true,
	} {
		if err := s.Validate(asJSON(t, text)); (err != nil) != bad {
			t.Errorf("%q: %v, want an error: %v", text, err, bad)
		}
	}
}

func TestSheetSchema(t *testing.T) {
	s := compiled(t, SheetSchema())
	text, _ := testdata("model")
	if err := s.Validate(asJSON(t, string(text.Data))); err != nil {
		t.Error(err)
	}
	if err := s.Validate(asJSON(t, "recipe = \"x\"\n[overrides.a]\nset = \"tolerances.gap\"\nvalue = 1")); err == nil {
		t.Error("an override without a reason is taken")
	}
}

func TestWriteHandbook(t *testing.T) {
	var b strings.Builder
	if err := WriteHandbook(&b, fakes[1].Handbook()); err != nil {
		t.Fatal(err)
	}
	for _, want := range []string{"gap (version 3)\n", "  surface: surface, one file, units needed for files\n      a closed surface\n",
		"  least: length, at least 0.05 mm, at most 50 mm, must be given\n", "default 2.2 mm\n      (default: common practice)\n",
		"  mode: one of fine, coarse, default fine\n", "  air.least: length in mm, rounded to 0.001\n", "  air.all: list: length in mm\n", "  area: number in mm²\n",
		"  spots: table\n", "Method\n  By balls.\n"} {
		if !strings.Contains(b.String(), want) {
			t.Errorf("lacks %q:\n%s", want, b.String())
		}
	}
	long := step.Handbook{Name: "x", Version: 1, Summary: strings.Repeat("words and words ", 40)}
	b.Reset()
	WriteHandbook(&b, long)
	for line := range strings.Lines(b.String()) {
		if len(line) > columns+1 {
			t.Errorf("a line of %d columns: %q", len(line), line)
		}
	}
}

func TestFaults(t *testing.T) {
	if err := Faults(fakes); err != nil {
		t.Error(err)
	}
	bad := fake{step.Handbook{Name: "Bad", Inputs: []step.Input{{Name: "step"}},
		Values:   []step.Value{{Name: "a", Type: step.Length, Default: "1mm"}, {Name: "b", Type: step.Count, Default: "0", Min: "1"}, {Name: "c", Type: step.OneWord}},
		Measures: []step.Measure{{Name: "part.x"}, {Name: "Air"}}, Outputs: []step.Output{{Name: ""}}}}
	err := Faults([]step.Kind{bad})
	for _, want := range []string{"Bad: the name", "a version", `input "step"`, `default "1mm"`, "may not be less than 1", "no words", `"part.x"`, `"Air"`, `output ""`} {
		if err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%q is not told: %v", want, err)
		}
	}
}
