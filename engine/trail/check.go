package trail

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// faults says all that is wrong with what r says by itself, seen without the
// rest of the trail. Writer and reader ask the same.
func (r *Record) faults() []string {
	c := &faults{}
	c.need(titleForm.MatchString(r.Trail), "the trail's name must be letters, digits, dots and dashes")
	c.need(tagForm.MatchString(r.Tag), "the tag must be eight of a-z and 2-7")
	c.name("by", r.By)
	c.text("the signer's printed name", r.ByPrinted)
	c.text("meaning", r.Meaning)
	c.need(printForm.MatchString(r.Key), "key must be a fingerprint, SHA256:…")
	c.need(r.Time.Year() >= 2000 && r.Time.Year() < 10000 && r.Time.Nanosecond() == 0, "time must be a date and time in whole seconds")
	c.need((r.Kind == Opening) == (len(r.After) == 0), "every record but the first must say what it follows")
	c.need(slices.Equal(r.After, sortedIDs(r.After)), "the records that it follows must be in order, each once")
	switch r.Kind {
	case Opening, Person:
		c.enrolment(r)
	case Retire:
		c.retirement(r)
	case Signoff:
		c.signoff(r)
	case Concession:
		c.concession(r)
	case Seal:
		c.need(r.Count > 0, "count must be how many records came before")
	default:
		c.add("%q is no kind of record", clip(string(r.Kind)))
	}
	c.texts("note", r.Notes)
	if r.Tool != "" {
		c.text("tool", r.Tool)
	}
	return c.list
}

type faults struct{ list []string }

func (c *faults) add(format string, args ...any) {
	c.list = append(c.list, fmt.Sprintf(format, args...))
}

func (c *faults) need(ok bool, says string) {
	if !ok {
		c.list = append(c.list, says)
	}
}

func (c *faults) text(what, s string) {
	if why := textFault(s); why != "" {
		c.add("%s %s", what, why)
	}
}

func (c *faults) texts(what string, list []string) {
	for _, s := range list {
		c.text(what, s)
	}
}

func (c *faults) name(what, s string) {
	if !nameForm.MatchString(s) {
		c.add("%s %q must be small letters, digits and dashes, a letter first", what, clip(s))
	}
}

func (c *faults) digest(what, s string) {
	if !hexForm.MatchString(s) {
		c.add("%s must be a SHA-256 in 64 small hex digits, not %q", what, clip(s))
	}
}

func (c *faults) enrolment(r *Record) {
	if r.Kind == Person {
		c.name("person", r.Name)
		c.text("the printed name", r.Printed)
	}
	for i, role := range r.Roles {
		c.name("role", role)
		c.need(!slices.Contains(r.Roles[:i], role), "a role is named twice: "+clip(role))
	}
	key, err := parsePublic(r.Public)
	if err != nil {
		c.add("public key: %v", err)
	} else if r.Kind == Opening {
		c.need(Fingerprint(key) == r.Key, "the first record must be signed by the key that it enrols")
	}
}

func (c *faults) retirement(r *Record) {
	c.name("person", r.Name)
	c.text("the printed name", r.Printed)
	c.text("reason", r.Reason)
	c.need(len(r.Keys) > 0, "a retirement must name at least one key")
	for _, k := range r.Keys {
		c.need(printForm.MatchString(k), "what is retired must be a fingerprint, SHA256:…")
	}
}

func (c *faults) signoff(r *Record) {
	switch r.Verdict {
	case Made:
		c.need(len(r.Files) > 0, "\"made\" must name the file that was made")
	case Approve, Withdraw:
	case Hold, Reject:
		c.need(len(r.Notes)+len(r.Pins) > 0, "a hold or reject must say why: a note or a place")
	default:
		c.add("%q is no verdict: made, approve, hold, reject or withdraw", clip(string(r.Verdict)))
	}
	c.need(len(r.From) == 0 || r.Verdict == Made, "only \"made\" says what the files were made from")
	c.content(r)
	c.texts("tick", r.Ticks)
	for _, p := range r.Pins {
		c.pin(p, len(r.Files))
	}
	c.need(slices.Equal(r.Answers, sortedIDs(r.Answers)), "the records that it answers must be in order, each once")
	c.need(len(r.Answers) == 0 || r.Verdict == Approve || r.Verdict == Withdraw, "only an approval or a withdrawal answers other records")
}

func (c *faults) concession(r *Record) {
	c.content(r)
	c.need(len(r.Gates) > 0, "a concession must name its gates")
	c.texts("gate", r.Gates)
	c.text("fault", r.Fault)
	c.text("action", r.Action)
	c.text("reason", r.Reason)
	c.name("authority", r.Authority)
}

func (c *faults) content(r *Record) {
	c.text("stage", r.Stage)
	c.need(len(r.Files) > 0 || r.State != "", "it must name the files, or the state, that it is about")
	c.need(len(r.Files)+len(r.From) <= longestList, fmt.Sprintf("at most %d files", longestList))
	for _, f := range slices.Concat(r.Files, r.From) {
		c.digest("a file's digest", f.SHA256)
		c.need(f.Size >= 0, "a file's size is below nothing")
		c.text("a file's label", f.Label)
	}
	if r.State != "" {
		c.digest("state", r.State)
	}
	c.texts("saw", r.Saw)
}

func (c *faults) pin(p Pin, files int) {
	c.need(p.File >= 1 && p.File <= files, "a place must lie on one of the record's files, counted from 1")
	for _, v := range append(p.At[:], p.Radius) {
		c.need(!math.IsNaN(v) && math.Abs(v) <= 1e6, "a place must lie within a kilometre")
	}
	c.need(p.Radius >= 0, "a radius is below nothing")
	c.text("the words of a place", p.Words)
}

// say joins sentences for a message.
func say(list []string) string { return strings.Join(list, "; ") }
