package main

import (
	"context"
	"encoding/json"
	"fmt"
	"path/filepath"
	"strings"

	"layette/engine"
	"layette/steps/specimen"
)

// unplaced looks for a good shot that align did not place, and writes pins for
// it as a person would: three places of it that she found again in a placed
// one. It returns the shot's name, empty if all good shots are placed.
func (d *demo) unplaced(ctx context.Context) (string, error) {
	placed, err := d.placed(ctx)
	if err != nil {
		return "", err
	}
	for _, a := range d.shots {
		if a.Fault != "" || placed[a.Name] {
			continue
		}
		for _, b := range d.shots {
			if !placed[b.Name] || b.Fault != "" {
				continue
			}
			if here, there, ok := specimen.Again(a, b); ok {
				return a.Name, d.write("changed/pins.toml", pinsFor(a.Name, b.Name, here, there))
			}
		}
	}
	return "", nil
}

// placed reads which shots of the hand align has placed.
func (d *demo) placed(ctx context.Context) (map[string]bool, error) {
	sub := *d.app
	sub.model = d.at(demoModel)
	m, err := sub.openModel(ctx, nil)
	if err != nil {
		return nil, err
	}
	defer m.Close()
	b, err := m.Look(ctx)
	if err != nil {
		return nil, err
	}
	placed := map[string]bool{}
	st := b.Find(engine.Node{Stage: "align", Part: scanned})
	for _, f := range st.Files {
		if f.Role != "poses" {
			continue
		}
		data, err := readFile(f)
		if err != nil {
			return nil, err
		}
		var poses struct {
			Scans []struct {
				Name   string
				Placed bool
			}
		}
		if err := json.Unmarshal(data, &poses); err != nil {
			return nil, err
		}
		for _, s := range poses.Scans {
			placed[s.Name] = s.Placed
		}
	}
	return placed, nil
}

// pinsFor is the part of a model sheet that pins one shot onto another.
func pinsFor(shot, onto string, here, there []float64) []byte {
	list := func(xs []float64) string {
		var words []string
		for _, x := range xs {
			words = append(words, fmt.Sprintf("%.2f", x))
		}
		return "[" + strings.Join(words, ", ") + "]"
	}
	return fmt.Appendf(nil, `
# Three places of one shot, found again in another: x, y, z in mm, each in its
# own file's numbers.
[overrides.pinned]
set    = "stages.align.values.pins"
part   = "%s"
value  = { %s = { onto = "%s", here = %s, there = %s } }
reason = "I know the folds of the wrist again"
`, scanned, shot, onto, list(here), list(there))
}

// next prints the lines that lead from here to a checked bag. Pinned is the
// shot that is pinned by hand, if any.
func (d *demo) next(pinned string) {
	var b strings.Builder
	line := func(words, why string) { fmt.Fprintf(&b, "  %-59s # %s\n", words, why) }
	bare := func(format string, args ...any) { fmt.Fprintf(&b, "  "+format+"\n", args...) }
	sign := func(words, who string) { bare("layette sign %s --as ../../keys/%s --yes", words, who) }
	fmt.Fprintf(&b, "\nThe lines from here to a checked bag; everything is invented, so sign freely:\n\n")
	bare("cd %s", filepath.Join(d.shown, demoModel))
	line("layette sheet -o ../../sheet.html", "open it: the hand as joined, what nobody saw, the shots worst first")
	if pinned != "" {
		line("layette show align "+scanned, pinned+" is not placed, and why")
		line("cat ../../changed/pins.toml >> model.toml", "three places of it, found again in another shot")
		line("layette run", "it lies where its pins have it; no shot is judged again")
	}
	line("layette show coverage "+scanned, "what nobody saw, and where to stand for it")
	sign("coverage "+scanned+" --tick all", "ada")
	line("cp ../../changed/"+scanned+"-rebuilt.stl sculpt/"+scanned+".stl", "what she makes of it")
	line("layette run", "asks what it was made from")
	sign("sculpt "+scanned+" --verdict made", "ada")
	line("layette run", "it is like the child, and two fingers are too close")
	line("layette show likeness "+scanned, "against the hand as joined")
	line("layette show gaps "+scanned, "where and how near")
	line("cp ../../changed/"+scanned+"-parted.stl sculpt/"+scanned+".stl", "she sets them apart")
	line("layette run", "asks again")
	sign("sculpt "+scanned+" --verdict made", "ada")
	line("layette run", "only the right arm runs again")
	bare("for part in %s; do layette sign gaps $part --as ../../keys/ada --tick all --yes; done", strings.Join(specimen.Parts, " "))
	line("layette run", "cuts the hands off and stands them on a printer")
	bare(`layette hold test-print %s --as ../../keys/tom --yes --at "%s,6:does the wrist bend right?"`, scanned, d.pin)
	line("layette show test-print "+scanned, "held; layette sheet shows the note where it is pinned")
	bare(`layette sign test-print %s --as ../../keys/tom --yes --verdict withdraw --note "it does" \`, scanned)
	bare(`  --answer $(layette trail --csv | grep ',hold,' | cut -d, -f1)`)
	bare("for arm in left-arm right-arm; do layette sign test-print $arm --as ../../keys/ada --tick all --yes; done")
	bare("for part in %s; do layette sign second-look $part --as ../../keys/tom --tick all --yes; done", strings.Join(specimen.Parts, " "))
	line("layette run", "writes the factory's sheet, page and print")
	bare("for who in ada tom ida; do layette seal --as ../../keys/$who --yes; done # who signed anything has seen it all")
	bare("layette sign release --as ../../keys/ida --tick all --yes   # masters and sheet, as they are")
	line("layette run", "packs the bag")
	bare("cd out/kit/kit/for-the-factory && sha256sum -c manifest-sha256.txt")
	fmt.Fprint(d.stdout, b.String())
}
