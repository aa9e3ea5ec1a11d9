package main

import (
	"context"
	"errors"

	"github.com/spf13/cobra"

	"layette/engine/trail"
	"layette/engine/word"
)

// A leave is a concession as the flags give it.
type leave struct {
	word.Leave
	as  string // --as
	yes bool
}

func newConcedeCmd(a *app) *cobra.Command {
	l := &leave{}
	cmd := &cobra.Command{
		Use:   "concede STAGE [PART] [SCAN] GATE --reason WHY",
		Short: "Let work go on although a gate does not hold, signed by who may decide that",
		Long: `Let work go on although a gate does not hold, signed by who may decide that.
The record says what is wrong, what is done about it, why it may go on, and
who decided. It holds for exactly this content. Who may decide is for the
recipe to say: concede = "role" under the gate, else the role that signs for
the stage, else nobody.

` + keyHelp,
		Args: cobra.RangeArgs(2, 4),
		RunE: func(cmd *cobra.Command, args []string) error {
			if l.Reason == "" {
				return usage(errors.New("a concession must say why"), `--reason "…"`)
			}
			return a.concede(cmd.Context(), l, args[:len(args)-1], args[len(args)-1])
		},
	}
	f := cmd.Flags()
	f.StringVar(&l.as, "as", "", "sign with this key `file`")
	f.StringVar(&l.Reason, "reason", "", "why it may go on")
	f.StringVar(&l.Fault, "fault", "", "what is wrong (default: what the gate found)")
	f.StringVar(&l.Action, "action", word.NoAction, "what is done about it")
	f.StringVar(&l.Role, "role", "", "decide as this role (default: the role that the recipe lets concede the gate)")
	f.StringArrayVar(&l.Notes, "note", nil, "a `sentence` to go with it; may be given often")
	f.BoolVar(&l.yes, "yes", false, "do not ask before signing (for scripts)")
	return cmd
}

func (a *app) concede(ctx context.Context, l *leave, args []string, gate string) error {
	l.Gate = gate
	return a.speak(ctx, l.as, l.yes, args, func(s speech) (trail.Draft, error) {
		d, err := l.Draft(s.seen, s.st, s.who, tool())
		if err != nil {
			return d, refused(err)
		}
		return d, nil
	}, nil)
}
