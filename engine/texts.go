package engine

import (
	"bytes"
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

// recipesFolder is where a studio keeps its recipes: in the model's own folder
// or in one of the three above it, as studio/models/luna has studio/recipes.
const recipesFolder = "recipes"

// Shelf finds recipes by name: in the studio's folders, nearest first, then
// among those that come with the program.
type Shelf struct {
	folders []string
	shipped fs.FS
	read    map[string][]byte // what Find gave, by the name it gave
}

// NewShelf returns the shelf for a model in dir.
func NewShelf(dir string, shipped fs.FS) *Shelf {
	s := &Shelf{shipped: shipped, read: map[string][]byte{}}
	for range 4 {
		s.folders = append(s.folders, filepath.Join(dir, recipesFolder))
		dir = filepath.Dir(dir)
	}
	return s
}

// Find returns the recipe of a name, without ".toml" or with it.
func (s *Shelf) Find(name string) (recipe.Text, error) {
	file := strings.TrimSuffix(name, ".toml") + ".toml"
	if !fs.ValidPath(file) {
		return recipe.Text{}, fmt.Errorf("%q is not the name of a recipe", name)
	}
	for _, folder := range s.folders {
		data, err := readBelow(folder, file)
		if err == nil {
			return s.found(path.Join(recipesFolder, file), data), nil
		}
		if !errors.Is(err, fs.ErrNotExist) {
			return recipe.Text{}, err
		}
	}
	if s.shipped == nil {
		return recipe.Text{}, fs.ErrNotExist
	}
	data, err := fs.ReadFile(s.shipped, file)
	if err != nil {
		return recipe.Text{}, err
	}
	return s.found(file, data), nil
}

func (s *Shelf) found(name string, data []byte) recipe.Text {
	s.read[name] = data
	return recipe.Text{Name: name, Data: data}
}

func readBelow(folder, name string) ([]byte, error) {
	root, err := os.OpenRoot(folder)
	if err != nil {
		return nil, err
	}
	defer root.Close()
	return root.ReadFile(filepath.FromSlash(name))
}

// Names returns the recipes that Find knows, in order.
func (s *Shelf) Names() []string {
	var names []string
	add := func(fsys fs.FS) {
		found, _ := fs.Glob(fsys, "*.toml")
		for _, f := range found {
			names = append(names, strings.TrimSuffix(f, ".toml"))
		}
	}
	for _, folder := range s.folders {
		add(os.DirFS(folder))
	}
	if s.shipped != nil {
		add(s.shipped)
	}
	slices.Sort(names)
	return slices.Compact(names)
}

// Recipe returns the recipe with the model sheet over it as the files have it
// now; what did not change since is not read again.
func (m *Model) Recipe() (*recipe.Recipe, error) {
	m.mu.Lock()
	defer m.mu.Unlock()
	sheet, err := m.root.ReadFile(SheetName)
	if errors.Is(err, fs.ErrNotExist) {
		return nil, fmt.Errorf("%s has no %s: it is not a model's folder: %w", m.Dir, SheetName, err)
	}
	if err != nil {
		return nil, err
	}
	if m.recipe != nil && bytes.Equal(sheet, m.sheet) && m.shelf.unchanged() {
		return m.recipe, nil
	}
	shelf := NewShelf(m.Dir, m.opts.Recipes)
	r, err := readRecipe(m.Dir, sheet, shelf, m.kinds)
	if err != nil {
		return nil, err
	}
	m.recipe, m.sheet, m.shelf = r, sheet, shelf
	return r, nil
}

// ReadRecipe reads the recipe and the model sheet of the model in dir and
// touches nothing.
func ReadRecipe(dir string, kinds []step.Kind, recipes fs.FS) (*recipe.Recipe, error) {
	sheet, err := readBelow(dir, SheetName)
	if err != nil {
		return nil, err
	}
	return readRecipe(dir, sheet, NewShelf(dir, recipes), kinds)
}

func readRecipe(dir string, sheet []byte, shelf *Shelf, kinds []step.Kind) (*recipe.Recipe, error) {
	return recipe.Read(recipe.Sources{
		Sheet:  recipe.Text{Name: SheetName, Data: sheet},
		Folder: filepath.Base(dir),
		Find:   shelf.Find,
		Names:  shelf.Names(),
	}, kinds)
}

// unchanged reports whether every recipe that was found is what it was.
func (s *Shelf) unchanged() bool {
	again := &Shelf{folders: s.folders, shipped: s.shipped, read: map[string][]byte{}}
	for name, data := range s.read {
		t, err := again.Find(path.Base(name))
		if err != nil || t.Name != name || !bytes.Equal(t.Data, data) {
			return false
		}
	}
	return true
}
