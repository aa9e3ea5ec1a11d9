package bag

import (
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/bagit"
	"layette/steps/internal/steptest"
)

func input(name, text, part, stage string) step.File {
	f := steptest.File(name, []byte(text), "mm")
	f.Part, f.Stage = part, stage
	return f
}

func account(t *testing.T, a step.Account) step.File {
	t.Helper()
	text, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	return input("account.json", string(text), a.Part, a.Stage)
}

// kit is what a small kit hands the step.
func kit(t *testing.T) map[string][]step.File {
	return map[string][]step.File{
		"masters": {input("master.stl", "head", "head", "shrinkage"), input("master.stl", "arm", "left-arm", "shrinkage")},
		"pieces":  {input("hand.ply", "hand", "left-arm", "cut")},
		"trail":   {input("trail.txt", "abc record", "", "")},
		"accounts": {account(t, step.Account{Stage: "gaps", Part: "left-arm", State: "done",
			Gates: []step.AccountGate{{Name: "no-webs", Rule: "air.least >= tolerances.gap", Verdict: "holds back", Saw: []string{"air.least = 0.800 mm"},
				Concession: &step.AccountWord{Name: "Ida Thistle", Time: "2026-03-04T10:05:00Z", Note: "the factory has seen it"}}},
			Words: []step.AccountWord{{Name: "Ada Wren", Time: "2026-03-04T10:00:00Z", Verdict: "approve", Meaning: "I looked at every spot"}}})},
	}
}

func chain() step.Table {
	return step.Table{Names: []string{"mould", "wax", "vinyl"}, Kinds: []step.ValueType{step.Share, step.Share, step.Share}, Values: []any{0.02, 0.02, 0.02}}
}

// TestStockToolsAcceptTheBag unpacks a bag to disk and lets sha256sum (GNU
// coreutils) check both manifests.
func TestStockToolsAcceptTheBag(t *testing.T) {
	tool, err := exec.LookPath("sha256sum")
	if err != nil {
		t.Skip("SKIPPED: there is no sha256sum on this machine; the bag is not checked from outside")
	}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: kit(t), Values: step.Values{"shrinkage": chain()}})
	dir := t.TempDir()
	for _, name := range r.Order {
		path := filepath.Join(dir, filepath.FromSlash(strings.TrimPrefix(name, "bag/")))
		if err := os.MkdirAll(filepath.Dir(path), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(path, r.Files[name], 0o666); err != nil {
			t.Fatal(err)
		}
	}
	for _, manifest := range []string{bagit.ManifestFile, bagit.TagManifestFile} {
		cmd := exec.Command(tool, "--strict", "-c", manifest)
		cmd.Dir = filepath.Join(dir, "for-the-factory")
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Errorf("%s: %v\n%s", manifest, err, out)
		}
	}
}

func TestBagIsValid(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: kit(t)})
	var files []bagit.File
	byPath := map[string][]byte{}
	for name, data := range r.Files {
		path := strings.TrimPrefix(name, "bag/for-the-factory/")
		f := steptest.File(path, data, "")
		files = append(files, bagit.File{Path: path, SHA256: f.SHA256, Size: f.Size})
		byPath[path] = data
	}
	if rep := bagit.Check(files, func(p string) ([]byte, error) { return byPath[p], nil }); !rep.Valid() {
		t.Errorf("the bag is not valid: %+v", rep)
	}
	for _, want := range []string{"data/masters/head-master.stl", "data/masters/left-arm-master.stl", "data/pieces/left-arm-hand.ply",
		"data/accounts/gaps-left-arm.json", "data/papers/trail.txt", "data/NOTE.txt"} {
		if byPath[want] == nil {
			t.Errorf("%s is not in the bag: %v", want, r.Order)
		}
	}
	if r.Measures["concessions"] != int64(1) || r.Measures["masters"] != int64(2) || r.Measures["files"] != int64(6) {
		t.Errorf("measures %v", r.Measures)
	}
}

// TestNote: the factory is told units, the chain (fact: three links of 2 % are
// 5.8808 % together and a scale of 1.062482; arithmetic on the definition of
// ISO 294-4), the concession with who and why, and the cautions; nothing is
// called safe or compliant.
func TestNote(t *testing.T) {
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: kit(t), Values: step.Values{"shrinkage": chain(), "wall": 2.2, "title": "Ottilie"}})
	note := string(r.Files["bag/for-the-factory/data/NOTE.txt"])
	for _, want := range []string{"Ottilie\n=======", "millimetres", "20 degrees C", "5.8808 %", "1.062482", "Wall wanted: 2.20 mm",
		"air.least = 0.800 mm", "CONCEDED by Ida Thistle on 2026-03-04T10:05:00Z: the factory has seen it", "Ada Wren", "accredited laboratory"} {
		if !strings.Contains(note, want) {
			t.Errorf("the note does not say %q:\n%s", want, note)
		}
	}
	for _, never := range []string{"compliant", " safe"} {
		if strings.Contains(strings.ToLower(note), never) {
			t.Errorf("the note says %q", never)
		}
	}
}

// TestLinksInTables: links given as tables with a detail are told like plain
// ones: 2 % and 2 % are 3.96 %; wax that grows by 0.3 % is told so; one by axis
// is left to the account.
func TestLinksInTables(t *testing.T) {
	link := func(name string, share float64) step.Table {
		return step.Table{Names: []string{name, "detail", "origin"}, Kinds: []step.ValueType{step.Share, step.Length, step.String}, Values: []any{share, 0.4, "ask your factory"}}
	}
	links := step.Table{Names: []string{"wax", "mould"}, Kinds: []step.ValueType{step.Tree, step.Share}, Values: []any{link("shrinks", 0.02), 0.02}}
	note := func() string {
		r := steptest.Run(t, Kind{}, steptest.Given{Inputs: kit(t), Values: step.Values{"shrinkage": links}})
		return string(r.Files["bag/for-the-factory/data/NOTE.txt"])
	}
	if n := note(); !strings.Contains(n, "  wax              2 %\n") || !strings.Contains(n, "3.9600 %") || strings.Contains(n, "by axis, see") {
		t.Errorf("%s", n)
	}
	links.Values[0] = link("grows", 0.003)
	links.Values[1] = step.Table{Names: []string{"x", "y", "z", "frame"}, Values: []any{0.01, 0.02, 0.03, "mould"}}
	if n := note(); !strings.Contains(n, "wax              grows by 0.3 %") || !strings.Contains(n, "mould            by axis, see") {
		t.Errorf("%s", n)
	}
}

func TestRefusals(t *testing.T) {
	tests := []struct {
		name   string
		change func(map[string][]step.File)
		want   string
	}{
		{"no masters", func(in map[string][]step.File) { delete(in, "masters") }, "no masters"},
		{"two of one name", func(in map[string][]step.File) {
			in["masters"] = append(in["masters"], input("MASTER.stl", "x", "head", "shrinkage-again"))
		},
			"two files would be data/masters/head-MASTER.stl"},
		{"a damaged account", func(in map[string][]step.File) { in["accounts"] = []step.File{input("account.json", "{", "", "gaps")} }, "account account.json"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			in := kit(t)
			tt.change(in)
			if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: in}); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want %q", err, tt.want)
			}
		})
	}
}

func TestCheckName(t *testing.T) {
	for name, bad := range map[string]bool{"for-the-factory": false, "Ottilie_2.1": false, "": true, "..": true, "a/b": true, "a b": true, `a\b`: true} {
		if got := len(Kind{}.Check(step.Values{"name": name})) > 0; got != bad {
			t.Errorf("name %q refused: %v, want %v", name, got, bad)
		}
	}
}
