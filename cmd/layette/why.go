package main

import (
	"fmt"
	"strings"

	"github.com/spf13/cobra"

	"layette/engine"
)

func newWhyCmd(a *app) *cobra.Command {
	var whole, asJSON bool
	cmd := &cobra.Command{
		Use:   "why STAGE [PART] [SCAN]",
		Short: "Say why a stage is due, or why it last ran, down to the first cause",
		Args:  cobra.RangeArgs(1, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			m, err := a.openModel(cmd.Context(), nil)
			if err != nil {
				return err
			}
			defer m.Close()
			reasons, err := m.Why(cmd.Context())
			if err != nil {
				return a.modelError(err)
			}
			list, err := named(reasons.Board, args)
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(a.stdout, list)
			}
			for _, st := range list {
				a.why(reasons, st, whole)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&whole, "whole", false, "print the whole fingerprint: all that the result depends on")
	cmd.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	return cmd
}

func (a *app) why(r *engine.Reasons, st *engine.Status, whole bool) {
	fmt.Fprintf(a.stdout, "%s %s", st.Node, st.State)
	if st.Says != "" && st.State != engine.Due {
		fmt.Fprintf(a.stdout, ": %s", st.Says)
	}
	fmt.Fprintln(a.stdout)
	for _, line := range r.Of(st) {
		fmt.Fprintf(a.stdout, "  %s\n", line)
	}
	if whole {
		fmt.Fprintf(a.stdout, "  %s\n", strings.ReplaceAll(strings.TrimSpace(r.Fingerprint(st)), "\n", "\n  "))
	}
}
