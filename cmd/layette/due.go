package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"layette/engine"
)

func newDueCmd(a *app) *cobra.Command {
	var all, asJSON bool
	cmd := &cobra.Command{
		Use:   "due",
		Short: "Say where every stage stands, and what would run now, without running anything",
		Args:  cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			m, err := a.openModel(cmd.Context(), nil)
			if err != nil {
				return err
			}
			defer m.Close()
			return a.due(cmd, m, nil, all, asJSON)
		},
	}
	cmd.Flags().BoolVar(&all, "all", false, "list what is done too")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print where everything stands as JSON")
	return cmd
}

// dry is run --dry: due, for the stages asked for.
func (a *app) dry(cmd *cobra.Command, m *engine.Model, f runFlags) error {
	return a.due(cmd, m, f.only, false, f.json)
}

func (a *app) due(cmd *cobra.Command, m *engine.Model, only []string, all, asJSON bool) error {
	b, err := m.LookAt(cmd.Context(), only)
	if err != nil {
		return a.modelError(err)
	}
	if asJSON {
		if err := writeJSON(a.stdout, b); err != nil {
			return err
		}
		return quiet(exitCodeOf(b))
	}
	for _, st := range b.Stages {
		if all || st.State != engine.Done || len(st.Causes) > 0 {
			writeStatusLine(a, st)
		}
	}
	writeSummaryLine(a, b)
	return quiet(exitCodeOf(b))
}

func writeStatusLine(a *app, st *engine.Status) {
	says := st.Says
	if says == "" && len(st.Causes) > 0 {
		says = st.Causes[0].Says
	}
	if says != "" {
		says = ": " + says
	}
	fmt.Fprintf(a.stdout, "%-9s %s%s\n", st.State, st.Node, says)
}

func writeSummaryLine(a *app, b *engine.Board) {
	n := b.Count()
	fmt.Fprintf(a.stdout, "%s: %d of %d stages done, %d due\n", title(b), n[engine.Done], len(b.Stages), n[engine.Due])
	writeNext(a.stdout, b)
}
