package main

import (
	"errors"
	"fmt"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"layette/engine"
)

func newNewCmd(a *app) *cobra.Command {
	var recipe string
	cmd := &cobra.Command{
		Use:   "new DIR --recipe NAME",
		Short: "Make a model's folder, with the folders its recipe looks for files in",
		Args:  cobra.ExactArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if recipe == "" {
				return usage(errors.New("which recipe?"), "layette new "+args[0]+" --recipe NAME; recipes here: "+strings.Join(a.recipeNames(args[0]), ", "))
			}
			made, err := engine.New(a.path(args[0]), recipe, a.kinds, a.modelOptions().Recipes)
			if unknown, ok := errors.AsType[*engine.UnknownRecipe](err); ok {
				return usage(unknown, "layette new "+args[0]+" --recipe "+strings.Join(unknown.Names, " or "))
			}
			if err != nil {
				return a.recipeError(err)
			}
			for _, m := range made {
				fmt.Fprintf(a.stdout, "made %s\n", filepath.Join(args[0], m))
			}
			fmt.Fprintf(a.stdout, "\nnext\n  put the files there, then: layette run --model %s\n", args[0])
			return nil
		},
	}
	cmd.Flags().StringVar(&recipe, "recipe", "", "the `name` of the product line's recipe")
	return cmd
}

func (a *app) recipeNames(dir string) []string {
	return engine.NewShelf(a.path(dir), a.modelOptions().Recipes).Names()
}
