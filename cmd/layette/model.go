package main

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"layette/engine"
	"layette/engine/diag"
	"layette/recipes"
)

// findModel returns the model's folder: the one --model names, or the first
// from here upwards with a model sheet in it.
func (a *app) findModel() (string, error) {
	if a.model != "" {
		return a.path(a.model), a.isModel(a.path(a.model))
	}
	for dir := a.dir; ; dir = filepath.Dir(dir) {
		if a.isModel(dir) == nil {
			return dir, nil
		}
		if dir == filepath.Dir(dir) {
			return "", usage(fmt.Errorf("neither this folder nor one above it has a %s", engine.SheetName),
				"go into a model's folder, name one with --model, or make one: layette new DIR --recipe NAME")
		}
	}
}

func (a *app) isModel(dir string) error {
	_, err := os.Stat(filepath.Join(dir, engine.SheetName))
	if errors.Is(err, fs.ErrNotExist) {
		return usage(fmt.Errorf("%s has no %s", dir, engine.SheetName), "layette new DIR --recipe NAME makes a model's folder")
	}
	return err
}

// modelOptions are what commands open a model with, unless flags say otherwise.
func (a *app) modelOptions() engine.Options {
	return engine.Options{Memory: a.env("LAYETTE_MEMORY"), Trail: a.trailOptions(), Now: a.now, Tool: version(), Recipes: recipes.Files}
}

// openModel opens the model; change, if not nil, may alter the usual options.
// What is wrong in the recipe is shown, each problem with its line.
func (a *app) openModel(ctx context.Context, change func(*engine.Options)) (*engine.Model, error) {
	dir, err := a.findModel()
	if err != nil {
		return nil, err
	}
	o := a.modelOptions()
	if change != nil {
		change(&o)
	}
	m, err := engine.Open(ctx, dir, a.kinds, o)
	return m, a.recipeError(err)
}

// recipeError shows the problems of a recipe and returns exit code 2 for them;
// any other error it returns as it is.
func (a *app) recipeError(err error) error {
	if len(diag.Of(err)) == 0 {
		return err
	}
	if err := diag.Render(a.stderr, err); err != nil {
		return err
	}
	return quiet(exitUsage)
}
