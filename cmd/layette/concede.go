package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"layette/engine"
	"layette/engine/trail"
)

// A leave is a concession as the flags give it.
type leave struct {
	word
	reason, fault, action, role string
}

func newConcedeCmd(a *app) *cobra.Command {
	l := &leave{}
	cmd := &cobra.Command{
		Use:   "concede STAGE [PART] [SCAN] GATE --reason WHY",
		Short: "Let work go on although a gate does not hold, signed by who may decide that",
		Long: `Let work go on although a gate does not hold, signed by who may decide that.
The record says what is wrong, what is done about it, why it may go on, and
who decided. It holds for exactly this content.

` + keyHelp,
		Args: cobra.RangeArgs(2, 4),
		RunE: func(cmd *cobra.Command, args []string) error {
			if l.reason == "" {
				return usage(errors.New("a concession must say why"), `--reason "…"`)
			}
			return a.concede(cmd.Context(), l, args[:len(args)-1], args[len(args)-1])
		},
	}
	f := cmd.Flags()
	f.StringVar(&l.as, "as", "", "sign with this key `file`")
	f.StringVar(&l.reason, "reason", "", "why it may go on")
	f.StringVar(&l.fault, "fault", "", "what is wrong (default: what the gate found)")
	f.StringVar(&l.action, "action", "none: it goes on as it is", "what is done about it")
	f.StringVar(&l.role, "role", "", "decide as this role (default: the role that signs for the stage, or your only one)")
	f.StringArrayVar(&l.notes, "note", nil, "a `sentence` to go with it; may be given often")
	f.BoolVar(&l.yes, "yes", false, "do not ask before signing (for scripts)")
	return cmd
}

func (a *app) concede(ctx context.Context, l *leave, args []string, gate string) error {
	m, err := a.openModel(ctx, nil)
	if err != nil {
		return err
	}
	defer m.Close()
	seen, st, err := a.subject(ctx, m, args)
	if err != nil {
		return err
	}
	t, err := m.OpenTrail()
	if err != nil {
		return err
	}
	key, who, done, err := a.person(t, l.as)
	if err != nil {
		return err
	}
	defer done()
	d, err := l.draft(seen, st, who, gate)
	if err != nil {
		return err
	}
	a.showDraft(d, who, seen)
	if !l.yes {
		if err := a.agree(fmt.Sprintf("\nSign this as %s?", who.Printed)); err != nil {
			return err
		}
	}
	if err := a.unchanged(ctx, m, seen); err != nil {
		return err
	}
	return a.append(ctx, m, t, d, key)
}

func (l *leave) draft(s *engine.Subject, st *engine.Status, who trail.Member, gate string) (trail.Draft, error) {
	about := s.Trail()
	d := trail.Draft{Kind: trail.Concession, Stage: about.Stage, Files: about.Files, State: about.State, Saw: s.Saw, Gates: []string{gate},
		Fault: l.fault, Action: l.action, Reason: l.reason, Authority: l.authority(s, who), Notes: l.notes,
		Meaning: "I have the authority to let this go on although the gate does not hold", Tool: "layette " + version()}
	if !slices.Contains(s.Gates, gate) {
		held := "no gate holds this stage"
		if len(s.Gates) > 0 {
			held = "gates that hold it: " + strings.Join(s.Gates, ", ")
		}
		return d, usage(fmt.Errorf("gate %q does not hold %s", gate, s.Node), held)
	}
	for _, v := range st.Gates {
		if v.Gate == gate && d.Fault == "" {
			d.Fault = fmt.Sprintf("%s, but the rule is %s", v.Numbers, v.Rule)
		}
	}
	if !slices.Contains(who.Roles, d.Authority) {
		return d, failed(exitHeld, fmt.Errorf("%s has not the authority: it takes a %s", who.Printed, d.Authority), "the trail's owner gives roles: layette people add")
	}
	return d, nil
}

func (l *leave) authority(s *engine.Subject, who trail.Member) string {
	switch {
	case l.role != "":
		return l.role
	case s.Sign != nil && s.Sign.Role != "":
		return s.Sign.Role
	case len(who.Roles) == 1:
		return who.Roles[0]
	}
	return "named role (--role)"
}
