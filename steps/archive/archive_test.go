package archive

import (
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

func files(pairs ...string) []step.File {
	var list []step.File
	for i := 0; i < len(pairs); i += 2 {
		list = append(list, steptest.File(pairs[i], []byte(pairs[i+1]), ""))
	}
	return list
}

func TestCopies(t *testing.T) {
	originals := files("scans/head/001.ply", "one", "scans/head/002.ply", "two")
	tests := []struct {
		name          string
		second, third []step.File
		want          map[string]int64
		note          string
	}{
		{"both whole", originals, originals, map[string]int64{"copies.complete": 2}, ""},
		{"no third", originals, nil, map[string]int64{"copies.complete": 1, "missing": 2}, "There is no third copy."},
		{"one missing", originals[:1], originals, map[string]int64{"copies.complete": 1, "missing": 1}, "scans/head/002.ply is missing from the second copy."},
		{"one damaged", files("scans/head/001.ply", "one", "scans/head/002.ply", "tvo"), originals,
			map[string]int64{"copies.complete": 1, "damaged": 1}, "scans/head/002.ply has other bytes in the second copy"},
		{"the original changed", files("scans/head/001.ply", "one", "scans/head/002.ply", "old"), files("scans/head/001.ply", "one", "scans/head/002.ply", "old"),
			map[string]int64{"damaged": 2}, "it may be the original that changed"},
		{"damaged in two ways", files("scans/head/001.ply", "one", "scans/head/002.ply", "a"), files("scans/head/001.ply", "one", "scans/head/002.ply", "b"),
			map[string]int64{"damaged": 2}, "!it may be the original that changed"},
		{"extra does not spoil a copy", append(files("notes.txt", "x"), originals...), originals,
			map[string]int64{"copies.complete": 2, "extra": 1}, "notes.txt is in the second copy and among no originals."},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"originals": originals, "second": tt.second, "third": tt.third}})
			for name, got := range r.Measures {
				want := tt.want[name]
				switch name {
				case "originals.files":
					want = 2
				case "originals.bytes":
					want = 6
				}
				if got != want {
					t.Errorf("%s = %v, want %d", name, got, want)
				}
			}
			notes := strings.Join(r.Notes, "\n")
			if want, not := strings.CutPrefix(tt.note, "!"); strings.Contains(notes, want) == not {
				t.Errorf("notes %q, want %q", notes, tt.note)
			}
		})
	}
}

// TestTagsMakeABag copies the originals under data/, puts the step's tag files
// beside them and finds that the step takes that for a valid second copy.
func TestTagsMakeABag(t *testing.T) {
	originals := files("scans/001.ply", "one", "scans/50 %.ply", "two")
	first := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"originals": originals}})
	bag := files("data/scans/001.ply", "one", "data/scans/50 %.ply", "two")
	for _, name := range []string{"bagit.txt", "bag-info.txt", "manifest-sha256.txt"} {
		bag = append(bag, steptest.File(name, first.Files["tags/"+name], ""))
	}
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"originals": originals, "second": bag}})
	if r.Measures["copies.complete"] != int64(1) || r.Measures["bags.wrong"] != int64(0) {
		t.Errorf("measures %v, notes %q", r.Measures, r.Notes)
	}
	bag[0] = steptest.File("data/scans/001.ply", []byte("0ne"), "")
	r = steptest.Run(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"originals": originals, "second": bag}})
	if r.Measures["copies.complete"] != int64(0) || r.Measures["bags.wrong"] != int64(1) || r.Measures["damaged"] != int64(1) {
		t.Errorf("measures of a damaged bag %v, notes %q", r.Measures, r.Notes)
	}
}
