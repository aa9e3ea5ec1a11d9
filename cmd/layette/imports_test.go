package main

import (
	"go/parser"
	"go/token"
	"io/fs"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

// A rule says what the files of one folder (and those below it) may not
// import, and why. Standard library paths are given whole.
type rule struct {
	folder string
	forbid []string // prefixes of import paths
	allow  []string // prefixes that forbid would catch but are allowed
	why    string
}

var rules = []rule{
	{folder: "engine", forbid: []string{"layette/steps", "layette/cmd", "layette/recipes"}, why: "the engine knows no geometry: cmd hands it the steps"},
	{folder: "engine/step", forbid: []string{"layette/"}, why: "the contract between engine and steps knows neither"},
	{folder: "engine/diag", forbid: []string{"layette/"}, why: "places and problems know nothing of ours"},
	{folder: "engine/unit", forbid: []string{"layette/"}, allow: []string{"layette/engine/step"}, why: "quantities know only how a value may be written"},
	{folder: "engine/graph", forbid: []string{"layette/"}, why: "order and cycles are about names alone"},
	{folder: "engine/store", forbid: []string{"layette/"}, allow: []string{"layette/engine/step"}, why: "the store does not know what its bytes mean"},
	{folder: "engine/trail", forbid: []string{"layette/"}, why: "an auditor's code must be readable alone"},
	{folder: "engine/word", forbid: []string{"os", "net", "net/http", "layette/engine/store", "layette/engine/sheet"}, why: "words become drafts: nothing is asked, read or signed for it"},
	{folder: "engine/sheet", forbid: []string{"os", "net", "net/http", "layette/engine/store", "layette/engine/trail"}, why: "the sheet is plain data in words"},
	{folder: "engine/desk", forbid: []string{"os", "layette/engine/store", "layette/engine/recipe"}, why: "the desk reads no file: it asks the engine and the keys it was given"},
	{folder: "engine/recipe", forbid: []string{"net", "layette/engine/store", "layette/engine/trail", "layette/engine/sheet"}, why: "a recipe is text: nothing is run or stored to read it"},
	{folder: "steps", forbid: []string{"layette/engine", "layette/cmd", "layette/recipes"}, allow: []string{"layette/engine/step", "layette/engine/unit"}, why: "a step knows nothing of recipes, store, trail or sheet"},
	{folder: "steps", forbid: []string{"os", "time", "net", "net/http", "log"}, why: "a step knows no clock, network, environment or file but its job's"},
	{folder: "steps/internal/geom", forbid: []string{"layette/", "os", "log"}, why: "geometry knows numbers and slices"},
	{folder: "steps/internal/meshio", forbid: []string{"layette/"}, allow: []string{"layette/steps/internal/geom"}, why: "readers turn bytes into surfaces and know nothing else"},
	{folder: "steps/internal/draw", forbid: []string{"layette/"}, allow: []string{"layette/steps/internal/geom"}, why: "pictures are made of surfaces and nothing else"},
}

func under(folder, dir string) bool {
	return dir == folder || strings.HasPrefix(dir, folder+"/")
}

func hit(prefixes []string, path string) bool {
	for _, p := range prefixes {
		if path == p || strings.HasPrefix(path, strings.TrimSuffix(p, "/")+"/") {
			return true
		}
	}
	return false
}

// broken returns the rule that an import in dir breaks, or nil.
func broken(dir, path string) *rule {
	for i, r := range rules {
		if !under(r.folder, dir) || !hit(r.forbid, path) || hit(r.allow, path) {
			continue
		}
		if path == "layette/"+dir || strings.HasPrefix(path, "layette/"+r.folder+"/") && under(r.folder, dir) && strings.HasPrefix(r.folder, "engine/") {
			continue
		}
		return &rules[i]
	}
	return nil
}

// TestImports reads every file's imports and quotes the reason of the rule
// that one breaks. Test files may read the disk and the clock.
func TestImports(t *testing.T) {
	root := filepath.Join("..", "..")
	files := 0
	err := filepath.WalkDir(root, func(name string, d fs.DirEntry, err error) error {
		if err != nil || d.IsDir() || !strings.HasSuffix(name, ".go") || strings.HasSuffix(name, "_test.go") {
			return err
		}
		rel, err := filepath.Rel(root, name)
		if err != nil {
			return err
		}
		dir := filepath.ToSlash(filepath.Dir(rel))
		f, err := parser.ParseFile(token.NewFileSet(), name, nil, parser.ImportsOnly)
		if err != nil {
			return err
		}
		files++
		for _, im := range f.Imports {
			path, _ := strconv.Unquote(im.Path.Value)
			if r := broken(dir, path); r != nil {
				t.Errorf("%s imports %s: %s", filepath.ToSlash(rel), path, r.why)
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	if files < 10 {
		t.Fatalf("read only %d files: is the test looking at the right folder?", files)
	}
}

// TestImportRulesBite shows each rule an import that breaks it and one that does not.
func TestImportRulesBite(t *testing.T) {
	tests := []struct {
		dir, path string
		bad       bool
	}{
		{"engine", "layette/steps/gaps", true},
		{"engine", "layette/engine/store", false},
		{"engine/sheet", "layette/steps", true},
		{"engine/sheet", "layette/engine/trail", true},
		{"engine/desk", "layette/steps/gallery", true},
		{"engine/desk", "layette/engine/word", false},
		{"engine/desk", "os", true},
		{"engine/word", "layette/engine/trail", false},
		{"engine/word", "os", true},
		{"engine/trail", "layette/engine/store", true},
		{"engine/diag", "layette/engine/step", true},
		{"engine/unit", "layette/engine/step", false},
		{"steps/gaps", "layette/engine/recipe", true},
		{"steps/gaps", "layette/engine/step", false},
		{"steps/gaps", "os", true},
		{"steps/gaps", "time", true},
		{"steps/gaps", "net/http", true},
		{"steps/internal/geom", "layette/engine/step", true},
		{"steps/internal/meshio", "layette/steps/internal/geom", false},
		{"steps/internal/meshio", "layette/engine/step", true},
		{"cmd/layette", "layette/steps", false},
	}
	for _, tt := range tests {
		if got := broken(tt.dir, tt.path) != nil; got != tt.bad {
			t.Errorf("broken(%q, %q) = %v, want %v", tt.dir, tt.path, got, tt.bad)
		}
	}
}
