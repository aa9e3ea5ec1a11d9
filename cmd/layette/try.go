package main

import (
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"

	"github.com/spf13/cobra"

	"layette/engine"
	"layette/engine/recipe"
)

func newTryCmd(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "try [RECIPE.toml | model folder]",
		Short: "Check a recipe, its rules and a model sheet without running anything",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			r, err := a.try(args)
			if err != nil {
				return a.recipeError(err)
			}
			gates, signs := 0, 0
			for _, s := range r.Stages {
				gates += len(s.Gates)
				if s.Sign != nil {
					signs++
				}
			}
			fmt.Fprintf(a.stdout, "%s: %d parts, %d stages, %d gates, %d sign-offs; nothing is wrong with it\n", r.Title, len(r.Parts), len(r.Stages), gates, signs)
			return nil
		},
	}
}

// try reads a recipe's file, or a model with its recipe.
func (a *app) try(args []string) (*recipe.Recipe, error) {
	dir := ""
	if len(args) == 1 {
		at := a.path(args[0])
		info, err := os.Stat(at)
		if errors.Is(err, fs.ErrNotExist) {
			return nil, usage(fmt.Errorf("there is no %s", args[0]), "name a recipe's file or a model's folder")
		}
		if err != nil {
			return nil, err
		}
		if !info.IsDir() {
			return a.tryFile(args[0], at)
		}
		dir = at
	}
	if dir == "" {
		var err error
		if dir, err = a.findModel(); err != nil {
			return nil, err
		}
	}
	return engine.ReadRecipe(dir, a.kinds, a.modelOptions().Recipes)
}

// tryFile reads a recipe on its own; what it extends is looked for beside it.
func (a *app) tryFile(name, at string) (*recipe.Recipe, error) {
	data, err := os.ReadFile(at)
	if err != nil {
		return nil, err
	}
	shelf := engine.NewShelf(filepath.Dir(filepath.Dir(at)), a.modelOptions().Recipes)
	return recipe.Read(recipe.Sources{
		Recipe: recipe.Text{Name: name, Data: data},
		Find: func(other string) (recipe.Text, error) {
			beside, err := os.ReadFile(filepath.Join(filepath.Dir(at), filepath.Base(other)+".toml"))
			if err == nil {
				return recipe.Text{Name: filepath.Join(filepath.Dir(name), other+".toml"), Data: beside}, nil
			}
			return shelf.Find(other)
		},
		Names: shelf.Names(),
	}, a.kinds)
}
