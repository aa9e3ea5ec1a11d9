package trail

import "time"

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
	Sealed    bool     // everybody who signed anything must have sealed the trail first
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

// Decide says where a subject stands under a policy. For each person the
// newest verdict on exactly this content counts, of two parallel ones the
// stricter; holds and rejects on other content of the same stage count until
// an approval or their author names them in its answers.
func (t *Trail) Decide(s Subject, p Policy) Decision {
	return Decision{State: Waiting, StillNeeded: max(p.People, 1)}
}

// Conceded returns the standing concession for a gate on exactly this content
// by somebody of the role, and whether there is one; reasons say why a
// concession that is there does not count.
func (t *Trail) Conceded(s Subject, gate, role string) (r Record, ok bool, reasons []string) {
	return Record{}, false, nil
}

// MadeBy returns the standing records in which people say they made the file
// with this digest, newest last: its From says what it was made from.
func (t *Trail) MadeBy(sha256 string) []Record { return nil }

// Made returns the standing records of verdict Made about a stage, whatever
// the content, newest last.
func (t *Trail) Made(stage string) []Record { return nil }

// Sealing says whose seal the trail awaits.
type Sealing struct {
	Records int      // how many records the trail holds
	Heads   []ID     // its newest records
	Waiting []string // names of people who signed something and whose seal does not cover it all
}

// Sealing returns how far the trail is sealed. It is sealed when everybody who
// signed anything and is not retired has a seal that follows every other
// record but seals.
func (t *Trail) Sealing() Sealing { return Sealing{} }
