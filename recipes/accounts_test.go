package recipes_test

import (
	"io/fs"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"

	"layette/engine/recipe"
	"layette/recipes"
	"layette/steps"
)

// before returns all that a stage of a line waits for, near or far.
func before(r *recipe.Recipe, name string, found map[string]bool) map[string]bool {
	for _, s := range r.Stages {
		if s.Name != name {
			continue
		}
		next := slices.Clone(s.After)
		for _, in := range s.Inputs {
			for _, from := range in.From {
				next = append(next, from.Stage)
			}
		}
		for _, n := range next {
			if !found[n] {
				found[n] = true
				before(r, n, found)
			}
		}
	}
	return found
}

// TestAccounts: whatever a gate judged or a person signed before the bag is
// packed has its account in the bag, and what came before the factory's sheet
// stands on it, with its concessions: nobody is to look for them elsewhere.
// What is the studio's own stays with it: the session with the child, the care
// of the originals, and whether shots lie well.
func TestAccounts(t *testing.T) {
	files, err := fs.Glob(recipes.Files, "*.toml")
	if err != nil {
		t.Fatal(err)
	}
	demo, err := os.ReadFile(filepath.Join("..", "cmd", "layette", "demo", "wren-sleeping.toml"))
	if err != nil {
		t.Fatal(err)
	}
	texts := []recipe.Text{{Name: "wren-sleeping.toml", Data: demo}}
	for _, file := range files {
		text, err := find(strings.TrimSuffix(file, ".toml"))
		if err != nil {
			t.Fatal(err)
		}
		texts = append(texts, text)
	}
	own := []string{"session-ready", "session-log", "session", "originals", "align", "coverage"}
	for _, text := range texts {
		r, err := recipe.Read(recipe.Sources{Recipe: text, Find: find}, steps.All())
		if err != nil {
			t.Fatal(err)
		}
		for _, s := range r.Stages {
			at := slices.IndexFunc(s.Inputs, func(in *recipe.Input) bool { return in.Name == "accounts" })
			if at < 0 {
				continue
			}
			var told []string
			for _, from := range s.Inputs[at].From {
				told = append(told, from.Stage)
			}
			waits := before(r, s.Name, map[string]bool{})
			for _, b := range r.Stages {
				judged := len(b.Gates) > 0 || b.Sign != nil
				if waits[b.Name] && judged && !slices.Contains(told, b.Name) && !slices.Contains(own, b.Name) {
					t.Errorf("%s: %s does not tell of %s", text.Name, s.Name, b.Name)
				}
			}
		}
	}
}
