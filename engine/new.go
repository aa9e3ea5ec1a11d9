package engine

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"layette/engine/recipe"
	"layette/engine/step"
)

// New makes a model's folder in dir: a model sheet that names a recipe, and the
// folders in which the recipe looks for files. It returns what it made, below
// dir. A folder that has a model sheet is left alone.
func New(dir, recipeName string, kinds []step.Kind, recipes fs.FS) ([]string, error) {
	if _, err := os.Lstat(filepath.Join(dir, SheetName)); err == nil {
		return nil, fmt.Errorf("%s has a %s already", dir, SheetName)
	} else if !errors.Is(err, fs.ErrNotExist) {
		return nil, err
	}
	abs, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	shelf := NewShelf(abs, recipes)
	text, err := shelf.Find(recipeName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, &UnknownRecipe{recipeName, shelf.Names()}
	} else if err != nil {
		return nil, err
	}
	r, err := recipe.Read(recipe.Sources{Recipe: text, Find: shelf.Find, Names: shelf.Names()}, kinds)
	if err != nil {
		return nil, err
	}
	sheet := newSheet(recipeName, filepath.Base(abs), r)
	made := []string{SheetName}
	for _, folder := range foldersOf(r) {
		if err := os.MkdirAll(filepath.Join(dir, filepath.FromSlash(folder)), 0o777); err != nil {
			return nil, err
		}
		made = append(made, folder+"/")
	}
	if err := os.MkdirAll(dir, 0o777); err != nil {
		return nil, err
	}
	return made, os.WriteFile(filepath.Join(dir, SheetName), []byte(sheet), 0o666)
}

// UnknownRecipe says that there is no recipe of a name.
type UnknownRecipe struct {
	Name  string
	Names []string // those there are
}

// Error names the recipes there are.
func (e *UnknownRecipe) Error() string {
	return fmt.Sprintf("there is no recipe %q; there are %q", e.Name, e.Names)
}

// newSheet is a model sheet with what a recipe asks of one.
func newSheet(recipeName, model string, r *recipe.Recipe) string {
	var b strings.Builder
	fmt.Fprintf(&b, "# What is this child's and this kit's own; the recipe says the rest.\nformat = 1\nrecipe = %q\n", recipeName)
	for _, name := range foldersOutside(r) {
		fmt.Fprintf(&b, "\n# Where this folder lies, from the root or from here on. While its disk is away, what needs it waits.\n")
		fmt.Fprintf(&b, "[folders.%s]\npath = %q\n", name, "/mnt/"+name+"/"+model)
	}
	return b.String()
}

// foldersOutside lists the folders outside the model that a recipe reads.
func foldersOutside(r *recipe.Recipe) []string {
	var names []string
	for _, s := range r.Stages {
		for _, in := range s.Inputs {
			if in.Folder != "" && !slices.Contains(names, in.Folder) {
				names = append(names, in.Folder)
			}
		}
	}
	return names
}

// foldersOf lists the folders in which a recipe looks for people's files.
func foldersOf(r *recipe.Recipe) []string {
	var list []string
	seen := map[string]bool{}
	add := func(globs ...string) {
		for _, glob := range globs {
			if i := strings.IndexAny(glob, `*?[\`); i >= 0 {
				glob = glob[:i] + "x"
			}
			if dir := path.Dir(glob); dir != "." && !seen[dir] {
				seen[dir] = true
				list = append(list, dir)
			}
		}
	}
	for _, p := range r.Parts {
		add(p.Scans)
	}
	for _, s := range r.Stages {
		for _, in := range s.Inputs {
			if len(in.From) > 0 || in.Folder != "" || strings.Contains(strings.Join(in.Files, " "), "{scan}") {
				continue
			}
			if s.Each == "" {
				add(in.FilesAt("", "")...)
			}
			for _, part := range s.Only {
				add(in.FilesAt(part, "")...)
			}
		}
	}
	return list
}
