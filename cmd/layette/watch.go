package main

import (
	"fmt"

	"github.com/spf13/cobra"

	"layette/engine"
)

// watch runs the model again whenever something changes, until Ctrl-C.
func (a *app) watch(cmd *cobra.Command, m *engine.Model, o engine.RunOptions) error {
	show := a.progress()
	return m.Watch(cmd.Context(), o, show, func(b *engine.Board, err error) {
		show.end()
		if err != nil {
			if err = a.modelError(err); err.Error() != "" {
				fmt.Fprintf(a.stderr, "layette: %v\n", err)
			}
		} else {
			writeSummary(a.stdout, b)
		}
		fmt.Fprintf(a.stdout, "\n%s watching; Ctrl-C ends it\n\n", a.now().Format("15:04"))
	})
}
