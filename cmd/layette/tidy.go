package main

import (
	"fmt"

	"github.com/spf13/cobra"
)

func newTidyCmd(a *app) *cobra.Command {
	var dry, list bool
	cmd := &cobra.Command{
		Use:   "tidy",
		Short: "Move stored results that nothing needs to the trash",
		Long: `Move stored results that nothing needs to the trash, and delete what has
lain there for a week. What the recipe uses now, the results of each stage
before that, whatever a sign-off ever named, and all that is younger than a
day stays.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			m, err := a.openModel(cmd.Context(), nil)
			if err != nil {
				return err
			}
			defer m.Close()
			t, err := m.Tidy(cmd.Context(), true)
			if err != nil {
				return a.modelError(err)
			}
			fmt.Fprintf(a.stdout, "%d files, %.3f GB, are needed by nothing\n", len(t.Files), float64(t.Bytes)/1e9)
			for i := 0; list && i < len(t.Files); i++ {
				fmt.Fprintf(a.stdout, "  %s (%d bytes)\n", t.Files[i].Name, t.Files[i].Size)
			}
			if dry {
				return nil
			}
			if _, err := m.Tidy(cmd.Context(), false); err != nil {
				return err
			}
			fmt.Fprintln(a.stdout, "moved to .layette/trash; deleted from there after 7 days")
			return nil
		},
	}
	cmd.Flags().BoolVar(&dry, "dry", false, "only say what would be moved")
	cmd.Flags().BoolVar(&list, "list", false, "name every file")
	return cmd
}
