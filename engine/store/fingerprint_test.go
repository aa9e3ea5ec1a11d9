package store

import (
	"math"
	"reflect"
	"strings"
	"testing"

	"pgregory.net/rapid"

	"layette/engine/step"
)

func example() *Fingerprint {
	return &Fingerprint{
		Kind: "gaps", Version: 3,
		Values: []Value{{"least", "length", "1.2"}, {"mode", "word", `"fine"`}},
		Inputs: []Input{
			{Role: "surface", SHA256: strings.Repeat("ab", 32), Size: 4711, Units: "mm"},
			{Role: "originals", Index: 1, SHA256: strings.Repeat("cd", 32), Size: 12, Named: true, Name: "scans/a \"b\".ply", Part: "head", Scan: "scans/a.ply", Stage: "intake"},
		},
		Outputs: []string{"map"},
	}
}

// TestGolden pins a key. If it fails, every stored result of every model is
// lost: change fingerprintHead on purpose, or undo.
func TestGolden(t *testing.T) {
	const want = `engine-fp v1
kind "gaps" version 3
value "least" length 1.2
value "mode" word "fine"
in "surface" 0 sha256:abababababababababababababababababababababababababababababababab 4711 "mm"
in "originals" 1 sha256:cdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcdcd 12 "" name "scans/a \"b\".ply" "head" "scans/a.ply" "intake"
out "map"
`
	text := example().Text()
	if text != want {
		t.Errorf("text is\n%s", text)
	}
	if key := KeyOf(text); key != goldenKey {
		t.Errorf("key is %s", key)
	}
}

// TestEveryFieldCounts changes one field after the other and wants another key
// each time, and a difference told.
func TestEveryFieldCounts(t *testing.T) {
	changes := map[string]func(f *Fingerprint){
		KindChanged:    func(f *Fingerprint) { f.Kind = "bends" },
		VersionChanged: func(f *Fingerprint) { f.Version++ },
		ValueChanged:   func(f *Fingerprint) { f.Values[0].Text = "1.3" },
		"type":         func(f *Fingerprint) { f.Values[0].Type = "number" },
		ValueNew:       func(f *Fingerprint) { f.Values = append(f.Values, Value{"wall", "length", "2"}) },
		ValueGone:      func(f *Fingerprint) { f.Values = f.Values[:1] },
		InputChanged:   func(f *Fingerprint) { f.Inputs[0].SHA256 = strings.Repeat("00", 32) },
		"units":        func(f *Fingerprint) { f.Inputs[0].Units = "cm" },
		"role":         func(f *Fingerprint) { f.Inputs[0].Role = "other" },
		InputRenamed:   func(f *Fingerprint) { f.Inputs[1].Name = "x" },
		"part":         func(f *Fingerprint) { f.Inputs[1].Part = "x" },
		"scan":         func(f *Fingerprint) { f.Inputs[1].Scan = "x" },
		"stage":        func(f *Fingerprint) { f.Inputs[1].Stage = "x" },
		InputAdded: func(f *Fingerprint) {
			f.Inputs = append(f.Inputs, Input{Role: "originals", SHA256: strings.Repeat("ef", 32)})
		},
		InputRemoved:   func(f *Fingerprint) { f.Inputs = f.Inputs[:1] },
		OutputsChanged: func(f *Fingerprint) { f.Outputs = nil },
	}
	for name, change := range changes {
		f := example()
		change(f)
		if KeyOf(f.Text()) == KeyOf(example().Text()) {
			t.Errorf("%s: the same key", name)
		}
		ds := Differences(example(), f)
		if len(ds) == 0 {
			t.Errorf("%s: no difference told", name)
		} else if strings.Contains(name, " ") && ds[0].What != name {
			t.Errorf("%s: told as %s", name, ds[0].What)
		}
	}
	if ds := Differences(example(), example()); ds != nil {
		t.Errorf("differences of equals: %v", ds)
	}
}

func TestNamesDoNotCountUnlessNamed(t *testing.T) {
	a, b := example(), example()
	b.Inputs[0].Name, b.Inputs[0].Part, b.Inputs[0].Stage = "x", "y", "z"
	if a.Text() != b.Text() {
		t.Error("a label changed the fingerprint")
	}
}

func TestCanonical(t *testing.T) {
	tests := []struct {
		value any
		want  string
	}{
		{1.0, "1"}, {0.1, "0.1"}, {1e300, "1e+300"}, {math.Copysign(0, -1), "0"}, {int64(3), "3"}, {true, "true"},
		{"a\nb", `"a\nb"`}, {[]string{"a,b", "c"}, `["a,b", "c"]`}, {[3]float64{1, 2.5, 3}, "[1, 2.5, 3]"},
		{step.Table{Names: []string{"b", "a"}, Kinds: []step.ValueType{step.Share, step.Number}, Values: []any{0.02, 1.0}}, `{"b" share 0.02, "a" number 1}`},
	}
	for _, tt := range tests {
		if got, err := Canonical(tt.value); got != tt.want || err != nil {
			t.Errorf("Canonical(%v) = %s, %v; want %s", tt.value, got, err, tt.want)
		}
	}
	for _, bad := range []any{math.NaN(), math.Inf(1), []float64{math.NaN()}, struct{}{}, nil, step.Table{Names: []string{"a"}, Kinds: []step.ValueType{"x"}, Values: []any{math.Inf(-1)}}} {
		if got, err := Canonical(bad); err == nil {
			t.Errorf("Canonical(%v) = %s, want an error", bad, got)
		}
	}
}

// TestParseReadsWhatTextWrites whatever the texts hold.
func TestParseReadsWhatTextWrites(t *testing.T) {
	rapid.Check(t, func(t *rapid.T) {
		f := &Fingerprint{Kind: rapid.String().Draw(t, "kind"), Version: rapid.Int().Draw(t, "version")}
		for range rapid.IntRange(0, 3).Draw(t, "values") {
			text, _ := Canonical(rapid.String().Draw(t, "value"))
			f.Values = append(f.Values, Value{rapid.String().Draw(t, "name"), "text", text})
		}
		for range rapid.IntRange(0, 3).Draw(t, "inputs") {
			in := Input{Role: rapid.String().Draw(t, "role"), Index: rapid.Int().Draw(t, "index"), SHA256: "00", Size: 3, Units: rapid.String().Draw(t, "units"), Named: rapid.Bool().Draw(t, "named")}
			if in.Named {
				in.Name, in.Part, in.Scan, in.Stage = rapid.String().Draw(t, "n"), rapid.String().Draw(t, "p"), rapid.String().Draw(t, "s"), rapid.String().Draw(t, "g")
			}
			f.Inputs = append(f.Inputs, in)
		}
		got, err := ParseFingerprint(f.Text())
		if err != nil || !reflect.DeepEqual(got, f) {
			t.Fatalf("%+v, %v; want %+v", got, err, f)
		}
	})
}

func FuzzParseFingerprint(f *testing.F) {
	f.Add(example().Text())
	f.Add("engine-fp v1\nin \"a\" 0 sha256:")
	f.Fuzz(func(t *testing.T, text string) {
		fp, err := ParseFingerprint(text)
		if err != nil {
			return
		}
		again, err := ParseFingerprint(fp.Text())
		if err != nil || !reflect.DeepEqual(again, fp) {
			t.Errorf("%+v read back as %+v, %v", fp, again, err)
		}
	})
}

// goldenKey is what sha256sum says of the text in TestGolden.
const goldenKey = "757a20983e822d8035ff82748f09c327ca5403fddd89dc15ac2ff194fee9a242"
