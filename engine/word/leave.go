package word

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine"
	"layette/engine/trail"
)

// NoAction is what is done about a fault unless the person says.
const NoAction = "none: it goes on as it is"

// Leave is what a person says who lets work go on although a gate does not
// hold.
type Leave struct {
	Gate   string
	Reason string // why it may go on
	Fault  string // what is wrong; what the gate found if empty
	Action string // what is done about it
	Role   string // decides as this; the role that signs for the stage, or her only one, if empty
	Notes  []string
}

// Draft writes down the concession that is to be signed of a subject.
func (l Leave) Draft(s *engine.Subject, st *engine.Status, who trail.Member, tool string) (trail.Draft, error) {
	d := about(s, tool)
	d.Kind, d.Gates, d.Notes = trail.Concession, []string{l.Gate}, l.Notes
	d.Fault, d.Action, d.Reason, d.Authority = l.Fault, l.Action, l.Reason, l.authority(s, who)
	d.Meaning = "I have the authority to let this go on although the gate does not hold"
	if !slices.Contains(s.Gates, l.Gate) {
		held := "no gate holds this stage"
		if len(s.Gates) > 0 {
			held = "gates that hold it: " + strings.Join(s.Gates, ", ")
		}
		return d, &Refusal{Says: fmt.Sprintf("gate %q does not hold %s", l.Gate, s.Node), Hint: held, Wrong: true}
	}
	if d.Fault == "" {
		d.Fault = Fault(st, l.Gate)
	}
	if !slices.Contains(who.Roles, d.Authority) {
		return d, &Refusal{Says: fmt.Sprintf("%s has not the authority: it takes a %s", who.Printed, d.Authority), Hint: "the trail's owner gives roles: layette people add"}
	}
	return d, nil
}

// Fault is what a gate that does not hold found wrong.
func Fault(st *engine.Status, gate string) string {
	for _, v := range st.Gates {
		if v.Gate == gate {
			return fmt.Sprintf("%s, but the rule is %s", v.Numbers, v.Rule)
		}
	}
	return ""
}

func (l Leave) authority(s *engine.Subject, who trail.Member) string {
	switch {
	case l.Role != "":
		return l.Role
	case s.Sign != nil && s.Sign.Role != "":
		return s.Sign.Role
	case len(who.Roles) == 1:
		return who.Roles[0]
	}
	return "named role (--role)"
}
