package recipe

import (
	"io/fs"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/diag"
	"layette/engine/step"
)

// testdata finds recipes in the testdata folder.
func testdata(name string) (Text, error) {
	data, err := os.ReadFile(filepath.Join("testdata", name+".toml"))
	if err != nil {
		return Text{}, fs.ErrNotExist
	}
	return Text{name + ".toml", data}, nil
}

func good(t testing.TB) *Recipe {
	t.Helper()
	sheet, err := testdata("model")
	if err != nil {
		t.Fatal(err)
	}
	r, err := Read(Sources{Sheet: sheet, Folder: "luna", Find: testdata, Names: []string{"base", "good"}}, fakes)
	if err != nil {
		for _, p := range diag.Of(err) {
			t.Logf("%s\n  %s\n  %s", p, p.Text, p.Hint)
		}
		t.Fatal("the good recipe is refused")
	}
	return r
}

func TestGoodRecipe(t *testing.T) {
	r := good(t)
	var names []string
	for _, s := range r.Stages {
		names = append(names, s.Name)
	}
	if got := strings.Join(names, " "); got != "shaped gaps scaled cuts scanned joined release packed" {
		t.Errorf("order is %s", got)
	}
	if r.Title != "Sleeping newborn" || strings.Join(r.Lines, ";") != "Newborn base" || r.Model.Name != "luna" || r.Model.Title != "Luna, 10 days" {
		t.Errorf("titles: %q %q %+v", r.Title, r.Lines, r.Model)
	}
	wall := r.Quantities["materials.vinyl.wall"]
	if wall.Value != 2.5 || wall.Origin != "factory letter of May" || wall.Was == nil || wall.Was.Value != 2.2 || wall.Was.Pos.File != "base.toml" {
		t.Errorf("wall is %+v, was %+v", wall, wall.Was)
	}
	if q := r.Quantities["materials.vinyl.density"]; q.Value != 1.2 || q.Type != step.Density || q.Origin != "common practice" {
		t.Errorf("density is %+v", q)
	}
	if q := r.Quantities["materials.vinyl.shrinkage.wax"]; q == nil || q.Value != 0.02 || q.Origin != "ask your factory" {
		t.Errorf("wax is %+v", q)
	}
	if q := r.Quantity("part.longest", "left-arm", ""); q == nil || q.Value != 70.0 {
		t.Errorf("the left arm's longest is %+v", q)
	}
	if a, b := r.Quantity("tolerances.gap", "left-arm", ""), r.Quantity("tolerances.gap", "head", ""); a.Value != 1.4 || b.Value != 1.2 || a.Given == nil || a.Was.Value != 1.2 || b.Was.Value != 1.0 {
		t.Errorf("gap is %+v and %+v", a, b)
	}
	if q := r.Quantities["child.head-girth"]; q.Value != 352.0 {
		t.Errorf("girth is %+v", q)
	}
	if q := r.Quantities["child.born"]; q.Value != "2026-03-01" {
		t.Errorf("born is %+v", q)
	}
	if f := r.Folders["second"]; f == nil || f.Path != "/mnt/second/luna" {
		t.Errorf("folder is %+v", f)
	}
}

func stageOf(t *testing.T, r *Recipe, name string) *Stage {
	for _, s := range r.Stages {
		if s.Name == name {
			return s
		}
	}
	t.Fatalf("no stage %s", name)
	return nil
}

func TestGoodStages(t *testing.T) {
	r := good(t)
	gaps := stageOf(t, r, "gaps")
	want := map[string]any{"factor": 2.0, "least": 1.4, "mode": "fine", "samples": int64(700), "wall": 2.5, "note": nil}
	if len(gaps.Values) != len(want) {
		t.Errorf("%d values, want %d", len(gaps.Values), len(want))
	}
	for _, v := range gaps.Values {
		if got, _ := v.At(r, "left-arm", ""); got != want[v.Name] {
			t.Errorf("%s is %v, want %v", v.Name, got, want[v.Name])
		}
	}
	if note, _ := gaps.Values[3].At(r, "head", ""); note != "look at the ears" {
		t.Errorf("the head's note is %v", note)
	}
	if s := gaps.Sign; s.Role != "sculptor" || s.People != 2 || !s.NotMaker || len(s.Questions) != 1 {
		t.Errorf("sign-off is %+v", s)
	}
	if g := gaps.Gates[0]; g.Name != "no-webs" || len(g.Compiled.Names()) != 3 || g.Pos.Line != 44 || g.Pos.Col != 1 {
		t.Errorf("gate is %+v at %v", g, g.Pos)
	}
	cuts := stageOf(t, r, "cuts")
	for _, v := range cuts.Values {
		got, _ := v.At(r, "right-arm", "")
		if v.Name == "name" && got != "right-arm" || v.Name == "near" && got != [3]float64{1, 2.5, -3} || v.Name == "dry" && got != false {
			t.Errorf("%s is %v", v.Name, got)
		}
	}
	links, _ := stageOf(t, r, "scaled").Values[0].At(r, "head", "")
	if tree := links.(step.Table); strings.Join(tree.Names, " ") != "mould wax" || tree.Values[1] != 0.02 || tree.Kinds[0] != step.Share {
		t.Errorf("links are %+v", tree)
	}
	shaped := stageOf(t, r, "shaped").Inputs[0]
	if a, b := shaped.FilesAt("head", ""), shaped.FilesAt("left-arm", ""); a[0] != "sculpt/head-2.stl" || b[0] != "sculpt/left-arm.stl" {
		t.Errorf("files are %s and %s", a, b)
	}
	if s := stageOf(t, r, "scanned"); s.Inputs[0].FilesAt("head", "scans/head/a[1].ply")[0] != `scans/head/a\[1].ply` || len(s.Only) != 1 {
		t.Errorf("scans are %+v", s)
	}
	if in := stageOf(t, r, "packed").Inputs; in[1].Folder != "second" || in[1].Files[0] != "**" || in[0].From[0].Output != "master" {
		t.Errorf("inputs are %+v", in)
	}
}

// TestOptionalInputMadeForSomeParts: what a stage may go without may be made
// for some parts only, as a surface joined from scans is where a casting is all
// there is of the others.
func TestOptionalInputMadeForSomeParts(t *testing.T) {
	const text = `format = 1
title = "One hand from scans"
[parts.head]
[parts.hand]
scans = "scans/hand/*"
[stages.joined]
step = "join"
each = "part"
only = "hand"
scans = { file = "scans/{part}/*", units = "mm" }
[stages.shaped]
step = "shape"
each = "part"
surface = { file = "sculpt/{part}.stl", units = "mm" }
made-from = { from = "joined" }
`
	r, err := Read(Sources{Sheet: Text{"model.toml", []byte("format = 1\nrecipe = \"one\"\n")}, Folder: "luna",
		Find: func(string) (Text, error) { return Text{"one.toml", []byte(text)}, nil }}, fakes)
	if err != nil {
		t.Fatal(diag.Of(err))
	}
	if s := stageOf(t, r, "shaped"); len(s.Only) != 2 || len(s.Inputs) != 2 {
		t.Errorf("shaped is for %v and takes %d inputs", s.Only, len(s.Inputs))
	}
}
