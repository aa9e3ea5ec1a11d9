package trail

import (
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// Subject is exactly what a person's word is about. Files count by digest and
// size, in any order; two subjects are the same if stage, files and state are.
type Subject struct {
	Stage string // such as "gaps/left-arm"
	Files []File
	State string // SHA-256 (64 hex digits) of what is shown beside the files; may be empty
	// Sources are the hand-made files that Files were computed from: who made
	// one of them counts as a maker too.
	Sources []File
}

// Policy is what a stage asks of its sign-offs.
type Policy struct {
	Role      string   // only people of this role count; empty lets anyone enrolled
	People    int      // how many different people must approve; below 1 means 1
	Meaning   string   // what an approval must vouch for, word for word; empty asks nothing
	NotMaker  bool     // who made one of the files may not approve
	Questions []string // each must be ticked in an approval
	// Sealed asks that everybody who signed anything has sealed the trail first,
	// and that no hold or reject on any stage is open.
	Sealed bool
}

// State is where a subject stands.
type State string

// The states of a subject.
const (
	Approved State = "approved" // enough people approved and nothing stops it
	Held     State = "held"     // a hold or a reject stands
	Waiting  State = "waiting"  // more people must sign
	Doubtful State = "doubtful" // the trail is damaged: nothing can be told from it
)

// Signature is what a reader must see of a signature: printed name, date and
// time, and meaning (the three of 21 CFR 11.50(a)).
type Signature struct {
	Name    string    `json:"name"`
	Printed string    `json:"printed"`
	Time    time.Time `json:"time"`
	Meaning string    `json:"meaning"`
	Record  ID        `json:"record"`
}

// Decision is what the trail says of a subject.
type Decision struct {
	State       State
	By          []Signature // the approvals that count, in causal order
	StillNeeded int         // how many more people must approve
	Open        []Record    // holds and rejects that stand, on this content or unanswered on earlier content
	Reasons     []string    // sentences for people: why it is not approved, which approvals do not count
	Records     []ID        // every record about this stage that took part, in order: the decision depends on no other
}

// contentKey is the same for two subjects of the same content.
func contentKey(stage string, files []File, state string) string {
	var list []string
	for _, f := range files {
		list = append(list, f.SHA256+" "+strconv.FormatInt(f.Size, 10))
	}
	slices.Sort(list)
	return stage + "\n" + state + "\n" + strings.Join(list, "\n")
}

func (s Subject) content() string { return contentKey(s.Stage, s.Files, s.State) }

func (r *Record) content() string { return r.about }

// Decide says where a subject stands under a policy. For each person the
// newest verdict on exactly this content counts, of two parallel ones the
// stricter; holds and rejects on other content of the same stage count until
// an approval or their author names them in its answers.
func (t *Trail) Decide(s Subject, p Policy) Decision {
	c := &court{Trail: t, s: s, p: p, about: s.content(), needed: max(p.People, 1)}
	if t.damaged {
		return Decision{State: Doubtful, StillNeeded: c.needed,
			Reasons: []string{"the trail is damaged: nothing can be told from it before it is mended"}}
	}
	c.gather()
	c.holds()
	c.approvals()
	c.conclude()
	return c.d
}

// court hears one subject.
type court struct {
	*Trail
	s      Subject
	p      Policy
	about  string // the subject's content
	needed int
	words  []*Record // verdicts on the stage, "made" left out
	makers map[string]bool
	d      Decision
}

// gather finds the verdicts on the stage and who made the files.
func (c *court) gather() {
	for _, r := range c.byStage[c.s.Stage] {
		if r.Kind == Signoff && r.Verdict != Made {
			c.words = append(c.words, r)
			c.d.Records = append(c.d.Records, r.ID)
		}
	}
	c.makers = map[string]bool{}
	for _, f := range slices.Concat(c.s.Files, c.s.Sources) {
		for _, r := range c.madeBy(f.SHA256) {
			c.makers[r.By] = true
			if c.p.NotMaker && !slices.Contains(c.d.Records, r.ID) {
				c.d.Records = append(c.d.Records, r.ID)
			}
		}
	}
}

// newer reports whether r's author later said something else about the same
// content.
func (c *court) newer(r *Record) bool {
	return slices.ContainsFunc(c.words, func(o *Record) bool {
		return o.By == r.By && o.content() == r.content() && c.follows(o, r)
	})
}

// holds finds the holds and rejects that stand.
func (c *court) holds() {
	for _, r := range c.words {
		stops := r.Verdict == Hold || r.Verdict == Reject
		if stops && !c.newer(r) && !c.settled(r) {
			c.d.Open = append(c.d.Open, *r)
		}
	}
}

// settled reports whether a hold is answered: by its author taking it back,
// or, once it is about other content or its author is retired, by an approval
// of somebody who may approve.
func (c *court) settled(hold *Record) bool {
	mayAnswer := hold.content() != c.about || !c.active(hold.By)
	return slices.ContainsFunc(c.words, func(r *Record) bool {
		switch {
		case !slices.Contains(r.Answers, hold.ID), c.newer(r):
			return false
		case r.By == hold.By:
			return r.Verdict == Withdraw || r.Verdict == Approve
		}
		return r.Verdict == Approve && mayAnswer && c.may(r) == ""
	})
}

// may says why r's author may not approve, "" if she may.
func (c *court) may(r *Record) string {
	switch {
	case c.p.Role != "" && !slices.Contains(c.roles(r), c.p.Role):
		return fmt.Sprintf("%s is not enrolled as %s", r.ByPrinted, c.p.Role)
	case c.p.NotMaker && c.makers[r.By]:
		return fmt.Sprintf("%s made one of the files", r.ByPrinted)
	}
	return ""
}

// approvals counts people, not keys nor records.
func (c *court) approvals() {
	counted := map[string]bool{}
	for _, r := range c.words {
		if r.Verdict != Approve || r.content() != c.about || c.newer(r) || c.stricter(r) {
			continue
		}
		if why := c.short(r); why != "" {
			c.d.Reasons = append(c.d.Reasons, "the approval of "+r.ByPrinted+" does not count: "+why)
		} else if !counted[r.By] {
			counted[r.By] = true
			c.d.By = append(c.d.By, r.signature())
		}
	}
	c.d.StillNeeded = max(0, c.needed-len(c.d.By))
}

// stricter reports whether r's author said something stricter in parallel.
func (c *court) stricter(r *Record) bool {
	return slices.ContainsFunc(c.words, func(o *Record) bool {
		return o.By == r.By && o.Verdict != Approve && o.content() == c.about && !c.newer(o) && !c.follows(r, o)
	})
}

// short says what an approval lacks.
func (c *court) short(r *Record) string {
	if why := c.may(r); why != "" {
		return why
	}
	if c.p.Meaning != "" && r.Meaning != c.p.Meaning {
		return fmt.Sprintf("it vouches for %q, and the recipe asks for %q", r.Meaning, c.p.Meaning)
	}
	for _, q := range c.p.Questions {
		if !slices.Contains(r.Ticks, Tidy(q)) {
			return fmt.Sprintf("%q was not answered yes", q)
		}
	}
	return ""
}

func (r *Record) signature() Signature {
	return Signature{Name: r.By, Printed: r.ByPrinted, Time: r.Time, Meaning: r.Meaning, Record: r.ID}
}

// conclude names the state and its reasons.
func (c *court) conclude() {
	for _, r := range c.d.Open {
		c.d.Reasons = append(c.d.Reasons, c.stop(r))
	}
	var unsealed, unanswered []string
	if c.p.Sealed {
		unsealed, unanswered = c.sealing(c.s.Stage).Waiting, c.elsewhere()
	}
	switch {
	case len(c.d.Open) > 0:
		c.d.State = Held
	case c.d.StillNeeded > 0:
		c.d.State = Waiting
		c.d.Reasons = append(c.d.Reasons, fmt.Sprintf("%s of %d still to approve", people(c.d.StillNeeded, c.p.Role), c.needed))
	case len(unanswered) > 0:
		c.d.State = Waiting
		c.d.Reasons = append(c.d.Reasons, unanswered...)
	case len(unsealed) > 0:
		c.d.State = Waiting
		c.d.Reasons = append(c.d.Reasons, "the trail is not yet sealed by "+strings.Join(unsealed, ", "))
	default:
		c.d.State = Approved
	}
}

// elsewhere says which holds and rejects on other stages are open. A stage that
// is gone from the recipe still holds: somebody must answer for it.
func (c *court) elsewhere() (says []string) {
	for _, r := range c.OpenHolds() {
		if r.Stage != c.s.Stage {
			says = append(says, fmt.Sprintf("the %s of %s on %s (%s) is not answered: %s", r.Verdict, r.ByPrinted, r.Stage, r.ID.Short(), r.Words()))
		}
	}
	return says
}

// stop says in words what a hold or reject is.
func (c *court) stop(r Record) string {
	where := "this content"
	if r.content() != c.about {
		where = "earlier content, not answered yet"
	}
	return fmt.Sprintf("%s by %s on %s (%s): %s", r.Verdict, r.ByPrinted, where, r.ID.Short(), r.Words())
}

// Words returns a record's notes and the words of its places.
func (r *Record) Words() string {
	list := slices.Clone(r.Notes)
	for _, p := range r.Pins {
		list = append(list, p.Words)
	}
	return strings.Join(list, "; ")
}

func people(n int, role string) string {
	if role == "" {
		role = "person"
	}
	if n == 1 {
		return "1 " + role
	}
	return fmt.Sprintf("%d × %s", n, role)
}
