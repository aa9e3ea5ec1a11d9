package word

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"layette/engine"
	"layette/engine/trail"
)

// NoAction is what is done about a fault unless the person says.
const NoAction = "none: it goes on as it is"

// LeaveMeaning is what a concession vouches for.
const LeaveMeaning = "I have the authority to let this go on although the gate does not hold"

// Leave is what a person says who lets work go on although a gate does not
// hold.
type Leave struct {
	Gate   string
	Reason string // why it may go on
	Fault  string // what is wrong; what the gate found if empty
	Action string // what is done about it
	Role   string // decides as this; the role that the recipe lets concede the gate, if empty
	Notes  []string
}

// Draft writes down the concession that is to be signed of a subject.
func (l Leave) Draft(s *engine.Subject, st *engine.Status, who trail.Member, tool string) (trail.Draft, error) {
	d := about(s, tool)
	d.Kind, d.Gates, d.Notes = trail.Concession, []string{l.Gate}, l.Notes
	d.Fault, d.Action, d.Reason, d.Authority = l.Fault, l.Action, l.Reason, cmp.Or(l.Role, st.Concedes(l.Gate))
	d.Meaning = LeaveMeaning
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
	may := st.Concedes(l.Gate)
	switch {
	case may == "":
		return d, &Refusal{Says: fmt.Sprintf("the recipe names nobody who may concede gate %s of %s", l.Gate, s.Node), Hint: fmt.Sprintf("cure it; or write concede = \"ROLE\" under [stages.%s.gates.%s]", s.Node.Stage, l.Gate)}
	case d.Authority != may:
		return d, &Refusal{Says: fmt.Sprintf("gate %s of %s is conceded by a %s, not by a %s", l.Gate, s.Node, may, d.Authority), Hint: "leave --role out"}
	case !slices.Contains(who.Roles, may):
		return d, &Refusal{Says: fmt.Sprintf("%s has not the authority: it takes a %s", who.Printed, may), Hint: "the trail's owner gives roles: layette people add"}
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
