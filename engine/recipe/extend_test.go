package recipe

import (
	"strings"
	"testing"

	"layette/engine/diag"
)

// TestExtend: a variant changes what it names and keeps the rest, down to one
// value of a stage; what it replaces is kept as what was.
func TestExtend(t *testing.T) {
	const variant = `
format = 1
title = "Variant"
extends = "good"
[tolerances]
gap = "1.5 mm"
[materials.vinyl]
shrinkage = { mould = "3 %", season = "1 %" }
[stages.gaps]
values = { samples = 9 }
[stages.gaps.gates.no-webs]
why = "another reason"
[stages.gaps.gates.more]
rule = "closed"
[stages.gaps.sign]
people = 3
[stages.shaped]
surface = { file = "shape/{part}.ply", units = "cm" }
`
	r, err := Read(Sources{Recipe: Text{"variant.toml", []byte(variant)}, Find: testdata}, fakes)
	if err != nil {
		for _, p := range diag.Of(err) {
			t.Log(p)
		}
		t.Fatal("the variant is refused")
	}
	if got := strings.Join(r.Lines, ", "); got != "Sleeping newborn, Newborn base" {
		t.Errorf("it extends %s", got)
	}
	gap := r.Quantities["tolerances.gap"]
	if gap.Value != 1.5 || gap.Was.Value != 1.2 || gap.Was.Was.Value != 1.0 || gap.Was.Was.Pos.File != "base.toml" {
		t.Errorf("gap is %+v", gap)
	}
	if r.Quantities["materials.vinyl.shrinkage.wax"] != nil || r.Quantities["materials.vinyl.shrinkage.mould"].Value != 0.03 {
		t.Error("a table of quantities is replaced as a whole")
	}
	gaps := stageOf(t, r, "gaps")
	for _, v := range gaps.Values {
		if v.Name == "samples" && v.Value != int64(9) || v.Name == "least" && v.Value != 1.5 || v.Name == "factor" && v.Value != 2.0 {
			t.Errorf("%s is %v", v.Name, v.Value)
		}
	}
	if len(gaps.Gates) != 3 || gaps.Gates[1].Why != "another reason" || !strings.Contains(gaps.Gates[1].Rule, "air.least") || gaps.Gates[1].Pos.File != "good.toml" {
		t.Errorf("gates are %+v", gaps.Gates[1])
	}
	if gaps.Sign.People != 3 || gaps.Sign.Role != "sculptor" {
		t.Errorf("sign-off is %+v", gaps.Sign)
	}
	if in := stageOf(t, r, "shaped").Inputs[0]; in.Files[0] != "shape/{part}.ply" || in.Units != "cm" {
		t.Errorf("input is %+v", in)
	}
}
