package main

import (
	"fmt"
	"io"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"layette/engine/diag"
	"layette/engine/recipe"
	"layette/engine/step"
)

func newStepsCmd(a *app) *cobra.Command {
	var schema string
	cmd := &cobra.Command{
		Use:   "steps [NAME]",
		Short: "List the steps a recipe may name, or print one's handbook",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			switch {
			case schema != "":
				return writeSchema(a.stdout, schema, a.kinds)
			case len(args) == 0:
				return listSteps(a.stdout, a.kinds)
			}
			return writeStep(a.stdout, args[0], a.kinds)
		},
	}
	cmd.Flags().StringVar(&schema, "schema", "", `print the JSON Schema of a "recipe" or a model "sheet", for editors`)
	return cmd
}

// writeStep prints the handbook of the step called name.
func writeStep(w io.Writer, name string, kinds []step.Kind) error {
	var known []string
	for _, k := range kinds {
		h := k.Handbook()
		if h.Name == name {
			return recipe.WriteHandbook(w, h)
		}
		known = append(known, h.Name)
	}
	hint := diag.DidYouMean(name, known)
	if hint == "" {
		hint = "layette steps lists them"
	}
	return usage(fmt.Errorf("there is no step %q", name), hint)
}

func writeSchema(w io.Writer, of string, kinds []step.Kind) error {
	var text []byte
	switch of {
	case "recipe":
		text = recipe.Schema(kinds)
	case "sheet":
		text = recipe.SheetSchema()
	default:
		return usage(fmt.Errorf("there is no schema of %q", of), `write --schema recipe or --schema sheet`)
	}
	_, err := w.Write(text)
	return err
}

func listSteps(w io.Writer, kinds []step.Kind) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, k := range kinds {
		h := k.Handbook()
		fmt.Fprintf(t, "%s\t%s\n", h.Name, h.Summary)
	}
	return t.Flush()
}
