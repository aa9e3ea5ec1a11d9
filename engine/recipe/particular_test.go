package recipe

import (
	"strings"
	"testing"
)

// TestParticular: of several overrides the most particular counts, in whatever
// order they are written.
func TestParticular(t *testing.T) {
	const (
		all  = "[overrides.all]\nset = \"tolerances.gap\"\nvalue = \"1.1 mm\"\nreason = \"a\"\n"
		part = "[overrides.part]\nset = \"tolerances.gap\"\npart = \"head\"\nvalue = \"1.2 mm\"\nreason = \"a\"\n"
		scan = "[overrides.scan]\nset = \"tolerances.gap\"\nscan = \"s.ply\"\nvalue = \"1.3 mm\"\nreason = \"a\"\n"
		both = "[overrides.both]\nset = \"tolerances.gap\"\npart = \"head\"\nscan = \"s.ply\"\nvalue = \"1.4 mm\"\nreason = \"a\"\n"
		text = "format = 1\ntitle = \"t\"\n[parts.head]\n[parts.arm]\n[tolerances]\ngap = \"1 mm\"\n"
	)
	for _, sheet := range []string{all + part + scan + both, both + scan + part + all} {
		r, err := Read(Sources{Recipe: Text{"r.toml", []byte(text)}, Sheet: Text{"model.toml", []byte(sheet)}}, fakes)
		if err != nil {
			t.Fatal(err)
		}
		for _, tt := range []struct {
			part, scan string
			want       float64
		}{{"arm", "", 1.1}, {"head", "", 1.2}, {"arm", "s.ply", 1.3}, {"head", "s.ply", 1.4}} {
			if got := r.Quantity("tolerances.gap", tt.part, tt.scan).Value; got != tt.want {
				t.Errorf("for %s %s it is %v, want %v", tt.part, tt.scan, got, tt.want)
			}
		}
	}
}

// TestTooMany: an input for one file cannot take what a stage makes for every
// part, nor what gives many files, nor two stages.
func TestTooMany(t *testing.T) {
	const head = "format = 1\ntitle = \"t\"\n[parts.head]\n[parts.arm]\n" +
		"[stages.shaped]\nstep = \"shape\"\neach = \"part\"\nsurface = { file = \"{part}.stl\", units = \"mm\" }\n" +
		"[stages.cuts]\nstep = \"slice\"\neach = \"part\"\nsurface = { from = \"shaped\" }\n" +
		"[stages.gaps]\nstep = \"gap\"\nvalues = { least = \"1 mm\" }\n"
	for tail, want := range map[string]string{
		"surface = { from = \"shaped\" }":                              "add each = \"part\"",
		"each = \"part\"\nsurface = { from = \"cuts\" }":               "takes one",
		"each = \"part\"\nsurface = { from = [\"shaped\", \"cuts\"] }": "takes one",
		"each = \"part\"\nsurface = { from = \"shaped\" }":             "",
		"only = [\"head\"]\nsurface = { from = \"shaped\" }":           "",
	} {
		_, err := Read(Sources{Recipe: Text{"r.toml", []byte(head + tail)}}, fakes)
		if want == "" {
			if err != nil {
				t.Errorf("%s: %v", tail, err)
			}
			continue
		}
		if err == nil || !strings.Contains(err.Error()+hints(err), want) {
			t.Errorf("%s: %v, want %q", tail, err, want)
		}
	}
}
