package recipe

import (
	"errors"

	"layette/engine/step"
)

// Text is a text and the name to call it by in problems, such as "recipes/base.toml".
type Text struct {
	Name string
	Data []byte
}

// Sources are the texts a recipe is read from. Nothing else is read.
type Sources struct {
	// Sheet is the model sheet; without Data the recipe is read on its own.
	Sheet Text
	// Folder is the name of the model's folder, which names the model unless the sheet does.
	Folder string
	// Recipe is the recipe; without Data it is found by the name the sheet gives.
	Recipe Text
	// Find returns the recipe of a name; it answers fs.ErrNotExist when there is none.
	Find func(name string) (Text, error)
	// Names are the recipes that Find knows, for "did you mean".
	Names []string
}

// Read reads a recipe, those it extends, and the model sheet over it. All that
// is wrong comes as one error; diag.Of lists its problems.
func Read(src Sources, kinds []step.Kind) (*Recipe, error) {
	return nil, errors.New("not built yet")
}
