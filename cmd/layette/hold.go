package main

import (
	"errors"

	"github.com/spf13/cobra"

	"layette/engine/trail"
)

func newHoldCmd(a *app) *cobra.Command {
	w := &said{}
	var reject bool
	cmd := &cobra.Command{
		Use:   "hold STAGE [PART] [SCAN] --note WHY",
		Short: "Stop a stage, signed, until the hold is answered",
		Long: `Stop a stage, signed, until the hold is answered: by you taking it back
(layette sign --verdict withdraw --answer HOLD), by you approving the same
content after all, or, once the content has changed, by an approval that
names it (layette sign --answer HOLD).

` + keyHelp,
		Args: cobra.RangeArgs(1, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			if len(w.notes)+len(w.at) == 0 {
				return usage(errors.New("a hold must say why"), `--note "…", or a place: --at spot:1`)
			}
			w.verdict = trail.Hold
			if reject {
				w.verdict = trail.Reject
			}
			return a.say(cmd.Context(), w, args)
		},
	}
	w.flags(cmd)
	cmd.Flags().BoolVar(&reject, "reject", false, "reject: it must be made anew")
	return cmd
}
