package main

import (
	"fmt"
	"io"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"layette/engine/step"
)

func newStepsCmd(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "steps [NAME]",
		Short: "List the steps a recipe may name, or print one's handbook",
		Args:  cobra.MaximumNArgs(1),
		RunE: func(_ *cobra.Command, args []string) error {
			if len(args) == 0 {
				return listSteps(a.stdout, a.kinds)
			}
			for _, k := range a.kinds {
				if h := k.Handbook(); h.Name == args[0] {
					return printHandbook(a.stdout, h)
				}
			}
			return usage(fmt.Errorf("there is no step %q", args[0]), "layette steps lists them")
		},
	}
}

func listSteps(w io.Writer, kinds []step.Kind) error {
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, k := range kinds {
		h := k.Handbook()
		fmt.Fprintf(t, "%s\t%s\n", h.Name, h.Summary)
	}
	return t.Flush()
}

// printHandbook prints what a step says of itself, section by section.
func printHandbook(w io.Writer, h step.Handbook) error {
	fmt.Fprintf(w, "%s (version %d)\n%s\n", h.Name, h.Version, h.Summary)
	if h.Hand {
		fmt.Fprintln(w, "The work is a person's: the stage waits for a file and never writes it.")
	}
	if h.Word {
		fmt.Fprintln(w, "Nothing is computed: the stage is a person's word over what it names.")
	}
	section(w, "Inputs", h.Inputs, func(in step.Input) (string, string, string) {
		return in.Name, inputNote(in), in.Doc
	})
	section(w, "Values", h.Values, func(v step.Value) (string, string, string) {
		return v.Name, valueNote(v), v.Doc
	})
	section(w, "Measures", h.Measures, func(m step.Measure) (string, string, string) {
		return m.Name, measureNote(m), m.Doc
	})
	section(w, "Outputs", h.Outputs, func(o step.Output) (string, string, string) {
		return o.Name, outputNote(o), o.Doc
	})
	if h.Method != "" {
		fmt.Fprintf(w, "\nMethod\n  %s\n", strings.ReplaceAll(strings.TrimSpace(h.Method), "\n", "\n  "))
	}
	list(w, "Sources", h.Sources)
	list(w, "Cautions", h.Cautions)
	return nil
}

func section[T any](w io.Writer, title string, items []T, row func(T) (name, note, doc string)) {
	if len(items) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", title)
	t := tabwriter.NewWriter(w, 0, 0, 2, ' ', 0)
	for _, it := range items {
		name, note, doc := row(it)
		fmt.Fprintf(t, "  %s\t%s\t%s\n", name, note, doc)
	}
	t.Flush()
}

func list(w io.Writer, title string, lines []string) {
	if len(lines) == 0 {
		return
	}
	fmt.Fprintf(w, "\n%s\n", title)
	for _, l := range lines {
		fmt.Fprintf(w, "  - %s\n", l)
	}
}

func inputNote(in step.Input) string {
	note := string(in.Kind)
	if in.Many {
		note += ", any number"
	}
	if in.Optional {
		note += ", may be absent"
	}
	return note
}

func valueNote(v step.Value) string {
	note := string(v.Type)
	if len(v.OneOf) > 0 {
		note = strings.Join(v.OneOf, " or ")
	}
	switch {
	case v.Default != "":
		note += ", " + v.Default + " unless given"
	case v.Optional:
		note += ", may be absent"
	default:
		note += ", must be given"
	}
	if v.Min != "" {
		note += ", at least " + v.Min
	}
	if v.Max != "" {
		note += ", at most " + v.Max
	}
	if v.Origin != "" {
		note += " (" + v.Origin + ")"
	}
	return note
}

func measureNote(m step.Measure) string {
	note := string(m.Type)
	if m.Many {
		note = "list of " + note
	}
	if m.Unit != "" {
		note += " in " + m.Unit
	}
	if m.Resolution != 0 {
		note += fmt.Sprintf(", to %g", m.Resolution)
	}
	return note
}

func outputNote(o step.Output) string {
	note := string(o.Kind)
	if o.Many {
		note = "any number of " + note + " files"
	}
	if o.Units != "" {
		note += " in " + o.Units
	}
	return note
}
