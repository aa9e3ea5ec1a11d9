package trail

import (
	"fmt"
	"slices"
	"time"
)

// skew is how far a clock may lie behind the records it follows, or ahead of
// the reader's.
const skew = 5 * time.Minute

// judge decides which records of a chain count: who was enrolled when, whose
// keys were retired, whose clock was wrong. Only the links between records
// say what came before what; clocks are checked and never believed.
type judge struct {
	*chain
	opening  *Record
	now      time.Time
	enrolled map[string][]*Record // by fingerprint, in causal order
	byName   map[string][]*Record // enrolments by person, in causal order
	retired  map[string][]*Record // retirements by fingerprint
	latest   []time.Time          // by place: the latest time of it and all it follows
	gap      []bool               // by place: something that it follows, near or far, is gone
	problems []Problem
}

// newJudge judges records, some of which may be of other trails: opened names
// the opening record if it is known.
func newJudge(records []*Record, opened ID, now time.Time) *judge {
	j := &judge{chain: newChain(records), now: now}
	j.opening = j.chooseOpening(opened)
	if j.opening == nil {
		if len(records) > 0 {
			j.damage(&Record{}, "no-opening", "the trail's first record is gone: nobody in it can be known")
		}
		return j
	}
	// Twice: what is signed with a retired key counts only if the retirement
	// follows it, and the retirements must be known before that can be told.
	j.pass(nil)
	retired := map[string][]*Record{}
	for _, r := range j.list {
		if r.Kind == Retire && r.Void == "" {
			for _, k := range r.Keys {
				retired[k] = append(retired[k], r)
			}
		}
	}
	j.pass(retired)
	return j
}

// chooseOpening returns the opening record that is remembered, or else the one
// that most records name.
func (j *judge) chooseOpening(opened ID) *Record {
	named := map[ID]int{}
	for _, r := range j.list {
		named[r.opened]++
	}
	var best *Record
	for _, r := range j.list {
		switch {
		case r.Kind != Opening:
		case r.ID == opened:
			return r
		case best == nil || named[r.ID] > named[best.ID]:
			best = r
		}
	}
	return best
}

func (j *judge) pass(retired map[string][]*Record) {
	j.enrolled, j.byName, j.retired = map[string][]*Record{}, map[string][]*Record{}, retired
	j.latest, j.gap, j.problems = make([]time.Time, len(j.list)), make([]bool, len(j.list)), nil
	for i, r := range j.list {
		r.Void, r.foreign = "", false
		j.gap[i] = j.gaps(r)
		j.look(r)
		j.latest[i] = j.before(r)
		if r.Void == "" && r.Time.After(j.latest[i]) {
			j.latest[i] = r.Time
		}
		if r.Void == "" && (r.Kind == Person || r.Kind == Opening) {
			key := r.enrols()
			j.enrolled[key] = append(j.enrolled[key], r)
			j.byName[r.Name] = append(j.byName[r.Name], r)
		}
	}
}

// enrols returns the fingerprint of the key that an opening or person record
// enrols.
func (r *Record) enrols() string {
	if r.Kind == Opening {
		return r.Key
	}
	if r.enrolKey == "" {
		if key, err := parsePublic(r.Public); err == nil {
			r.enrolKey = Fingerprint(key)
		}
	}
	return r.enrolKey
}

// before returns the latest time of all that r follows.
func (j *judge) before(r *Record) (latest time.Time) {
	for _, a := range r.After {
		if i, ok := j.at[a]; ok && j.latest[i].After(latest) {
			latest = j.latest[i]
		}
	}
	return latest
}

func (j *judge) damage(r *Record, code, format string, args ...any) {
	r.foreign = true
	r.Void = fmt.Sprintf(format, args...)
	j.problems = append(j.problems, Problem{Line: r.Line, Code: code, Damage: true, Says: r.Void})
}

func (j *judge) void(r *Record, code, format string, args ...any) {
	r.Void = fmt.Sprintf(format, args...)
	j.problems = append(j.problems, Problem{Line: r.Line, Code: code,
		Says: fmt.Sprintf("record %s of %s does not count: %s", r.Tag, r.ByPrinted, r.Void)})
}

// look judges one record, all that it follows being judged.
func (j *judge) look(r *Record) {
	if r.Kind == Opening {
		if r != j.opening {
			j.damage(r, "other-trail", "record %s opens another trail (%s, by %s)", r.Tag, r.Trail, r.ByPrinted)
		}
		return
	}
	if r.opened != j.opening.ID || r.Trail != j.opening.Trail {
		j.damage(r, "other-trail", "record %s was signed for another trail (%s)", r.Tag, r.Trail)
		return
	}
	if !j.known(r) {
		return
	}
	switch before := j.before(r); {
	case before.Sub(r.Time) > skew:
		j.void(r, "clock", "its time lies %s before a record that it follows", before.Sub(r.Time).Round(time.Second))
	case r.Time.Sub(j.now) > skew && (r.Kind == Person || r.Kind == Retire):
		// Gains nobody anything, and a reader whose own clock is slow must not
		// take everybody for a stranger.
		j.problems = append(j.problems, Problem{Line: r.Line, Code: "clock", Says: fmt.Sprintf("record %s of %s is dated in the future", r.Tag, r.ByPrinted)})
		j.ended(r)
	case r.Time.Sub(j.now) > skew:
		j.void(r, "clock", "its time lies %s in the future of this machine's clock", r.Time.Sub(j.now).Round(time.Second))
	default:
		j.ended(r)
	}
	if r.Void == "" {
		j.kind(r)
	}
}

// gaps reports whether something that r follows is gone, and tells it where r
// itself names it.
func (j *judge) gaps(r *Record) (gap bool) {
	for _, a := range r.After {
		i, ok := j.at[a]
		if !ok && r.opened == j.opening.ID {
			j.problems = append(j.problems, Problem{Line: r.Line, Code: "gone", Damage: true,
				Says: fmt.Sprintf("record %s, which record %s of %s follows, is gone", a.Short(), r.Tag, r.ByPrinted)})
		}
		gap = gap || !ok || j.gap[i]
	}
	return gap
}

// known checks that r is signed by somebody enrolled before it, under the
// same names. Where the way back is broken by a record that is gone, which is
// damage enough, it is not asked what came before.
func (j *judge) known(r *Record) bool {
	for _, e := range j.enrolled[r.Key] {
		if (j.follows(r, e) || j.gap[j.at[r.ID]]) && e.Name == r.By && e.Printed == r.ByPrinted {
			return true
		}
	}
	why := "nobody enrolled that key before it"
	if list := j.enrolled[r.Key]; len(list) > 0 && j.follows(r, list[0]) {
		why = fmt.Sprintf("the key is enrolled for %s, %s", list[0].Name, list[0].Printed)
	}
	j.damage(r, "stranger", "record %s, signed as %s, %s, is a stranger's: %s", r.Tag, r.By, r.ByPrinted, why)
	return false
}

// ended voids r if its key was retired and the retirement does not follow it.
func (j *judge) ended(r *Record) {
	for _, end := range j.retired[r.Key] {
		if end != r && !j.follows(end, r) {
			j.void(r, "retired", "%s retired that key and had not seen this; it must be signed again", end.ByPrinted)
			return
		}
	}
}

// kind judges what only one kind of record must obey.
func (j *judge) kind(r *Record) {
	switch r.Kind {
	case Person:
		j.person(r)
	case Retire:
		j.retirement(r)
	case Concession:
		if !slices.Contains(j.roles(r), r.Authority) {
			j.void(r, "authority", "%s is not enrolled as %s", r.ByPrinted, r.Authority)
		}
	case Seal:
		if n := j.past[j.at[r.ID]].count(); n != r.Count {
			j.void(r, "count", "it seals %d records, but follows %d", r.Count, n)
		}
	}
	for _, a := range r.Answers {
		if i, ok := j.at[a]; !ok || !j.past[j.at[r.ID]].has(i) {
			j.void(r, "answers", "it answers record %s, which it does not follow", a.Short())
			return
		}
	}
}

func (j *judge) person(r *Record) {
	if r.By != j.opening.By {
		j.void(r, "not-owner", "only the trail's owner, %s, enrols people", j.opening.ByPrinted)
		return
	}
	for _, e := range j.enrolled[r.enrols()] {
		if e.Name != r.Name {
			j.void(r, "key-taken", "that key is enrolled for %s, and a key stays with one person", e.Printed)
			return
		}
	}
}

func (j *judge) retirement(r *Record) {
	if r.By != j.opening.By {
		j.void(r, "not-owner", "only the trail's owner, %s, retires keys", j.opening.ByPrinted)
		return
	}
	for _, k := range r.Keys {
		if !slices.ContainsFunc(j.enrolled[k], func(e *Record) bool { return e.Name == r.Name && j.follows(r, e) }) {
			j.void(r, "no-such-key", "%s has no key %s", r.Name, k)
			return
		}
	}
}

// roles returns what the signer of r was enrolled for when r was signed: the
// roles of the newest enrolment that r follows; of two parallel ones, those
// that both give.
func (j *judge) roles(r *Record) []string {
	before := slices.DeleteFunc(slices.Clone(j.byName[r.By]), func(e *Record) bool { return e != r && !j.follows(r, e) })
	newest := j.newest(before)
	if len(newest) == 0 {
		return nil
	}
	roles := slices.Clone(newest[0].Roles)
	for _, e := range newest[1:] {
		roles = slices.DeleteFunc(roles, func(x string) bool { return !slices.Contains(e.Roles, x) })
	}
	return roles
}
