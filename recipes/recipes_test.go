package recipes_test

import (
	"io/fs"
	"slices"
	"strings"
	"testing"

	"layette/engine/diag"
	"layette/engine/recipe"
	"layette/recipes"
	"layette/steps"
)

func find(name string) (recipe.Text, error) {
	data, err := recipes.Files.ReadFile(name + ".toml")
	return recipe.Text{Name: name + ".toml", Data: data}, err
}

// TestRecipesRead reads every recipe that comes along, over the real steps.
func TestRecipesRead(t *testing.T) {
	files, err := fs.Glob(recipes.Files, "*.toml")
	if err != nil || len(files) < 2 {
		t.Fatalf("%d recipes, %v", len(files), err)
	}
	for _, file := range files {
		text, err := find(strings.TrimSuffix(file, ".toml"))
		if err != nil {
			t.Fatal(err)
		}
		if _, err := recipe.Read(recipe.Sources{Recipe: text, Find: find}, steps.All()); err != nil {
			var b strings.Builder
			diag.Render(&b, err)
			t.Errorf("%s:\n%s", file, b.String())
		}
	}
}

// origins are what an origin may begin with, up to its colon.
var origins = []string{"published", "common practice", "common practice, no source", "ask your factory", "ask your pattern maker", "ask your sculptor", "ask your printer's maker"}

// TestOrigins: every number of every line says where it comes from.
func TestOrigins(t *testing.T) {
	files, err := fs.Glob(recipes.Files, "*.toml")
	if err != nil {
		t.Fatal(err)
	}
	for _, file := range files {
		line := strings.TrimSuffix(file, ".toml")
		text, err := find(line)
		if err != nil {
			t.Fatal(err)
		}
		r, err := recipe.Read(recipe.Sources{Recipe: text, Find: find}, steps.All())
		if err != nil {
			t.Fatal(err)
		}
		for name, q := range r.Quantities {
			origin, _, _ := strings.Cut(q.Origin, ":")
			if !strings.HasPrefix(name, "model.") && !slices.Contains(origins, origin) {
				t.Errorf("%s: %s has the origin %q", line, name, q.Origin)
			}
		}
	}
}

// TestHandbooks: what the steps say of themselves can be written in recipes.
func TestHandbooks(t *testing.T) {
	if err := recipe.Faults(steps.All()); err != nil {
		t.Error(err)
	}
}

// TestSheet lays a model sheet over the sleeping newborn: a hand that was cast
// carries its own links, and the disks with the copies are named.
func TestSheet(t *testing.T) {
	const sheet = `
recipe = "sleeping-newborn"
title  = "Wren & Thistle, Linnet"
[folders.second]
path = "/media/second/linnet"
[folders.third]
path = "/media/third/linnet"
[overrides.cast-hand]
set    = "stages.shrinkage.values.source"
part   = "left-arm"
value  = "cast"
reason = "the left hand moved under the scanner and was cast"
`
	r, err := recipe.Read(recipe.Sources{Sheet: recipe.Text{Name: "model.toml", Data: []byte(sheet)}, Folder: "linnet", Find: find}, steps.All())
	if err != nil {
		var b strings.Builder
		diag.Render(&b, err)
		t.Fatal(b.String())
	}
	for _, s := range r.Stages {
		for _, v := range s.Values {
			if s.Name != "shrinkage" || v.Name != "source" {
				continue
			}
			left, _ := v.At(r, "left-arm", "")
			right, _ := v.At(r, "right-arm", "")
			if left != "cast" || right != nil {
				t.Errorf("sources are %v and %v", left, right)
			}
			return
		}
	}
	t.Error("shrinkage has no source")
}
