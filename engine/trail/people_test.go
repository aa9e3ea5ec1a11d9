package trail

import (
	"bytes"
	"encoding/base64"
	"slices"
	"strings"
	"testing"
	"time"

	"github.com/hiddeco/sshsig"
)

// TestForeign: records of other trails, other people and other owners.
func TestForeign(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	arm := subject("hand/left-arm.stl")
	other := newHouse(t, "anna", "ben") // another model, same people, same second
	other.now = other.now.Add(time.Hour)
	theirs := other.forge("ben", word(Approve, arm), nil)
	strangers := newHouse(t)
	strangers.must("wren", Draft{Kind: Person, Name: "anna", Printed: "Anna Berg", Meaning: "m", Public: PublicText(key(t, "forger").PublicKey())})

	for name, tt := range map[string]struct {
		more []byte
		code string
	}{
		"approval from another trail":                {theirs, "other-trail"},
		"a stranger's key":                           {h.forge("carla", word(Approve, arm), nil), "stranger"},
		"Anna's key as Ben":                          {h.forge("anna", word(Approve, arm), func(r *Record) { r.By, r.ByPrinted = "ben", "Ben Okafor" }), "stranger"},
		"Anna under a printed name that is not hers": {h.forge("anna", word(Approve, arm), func(r *Record) { r.ByPrinted = "Ben Okafor" }), "stranger"},
		"Anna's key as ben, printed Anna Berg":       {h.forge("anna", word(Approve, arm), func(r *Record) { r.By = "ben" }), "stranger"},
		"Ben's fingerprint, Anna's signature":        {h.forge("anna", word(Approve, arm), func(r *Record) { r.By, r.ByPrinted, r.Key = "ben", "Ben Okafor", Fingerprint(h.key("ben").PublicKey()) }), "spoilt"},
		"a second opening": {h.forge("anna", Draft{Kind: Opening, Trail: "luna-2026-03", Name: "anna", Printed: "Anna Berg",
			Public: PublicText(h.key("anna").PublicKey()), Meaning: "m"}, nil), "other-trail"},
	} {
		tr := h.with(tt.more)
		if codes(tr) != tt.code || tr.Decide(arm, Policy{}).State != Doubtful {
			t.Errorf("%s: problems %q, want %q", name, codes(tr), tt.code)
		}
	}
	// A stranger's record is not remembered: taken out by hand, it is not missed.
	clean := h.bytes()
	h.write(join(clean, h.forge("carla", word(Approve, arm), nil)))
	h.wantCodes(h.open(), "stranger")
	h.write(clean)
	h.wantCodes(h.open(), "")

	if tr := h.of(strangers.bytes(), h.bytes()); !tr.damaged {
		t.Error("two trails in one file: not told")
	}

	// A whole file by another owner, in the same place.
	h.open()
	h.write(strangers.bytes())
	if c := codes(h.open()); !strings.Contains(c, "replaced") {
		t.Errorf("another owner's file in this one's place: problems %q", c)
	}
	if tr, _ := Open(h.path, Options{Now: h.o.Now, Owner: Fingerprint(key(t, "wren").PublicKey())}); tr.damaged {
		t.Error("the owner's key is as asked")
	}
	if tr, _ := Open(h.path, Options{Now: h.o.Now, Owner: Fingerprint(key(t, "forger").PublicKey())}); codes(tr) != "owner" {
		t.Errorf("the owner's key is not as asked: problems %q", codes(tr))
	}
	if err := Forget(h.o.Private, h.path); err != nil || h.open().damaged {
		t.Errorf("forgotten on purpose: %v, %v", err, h.open().Err())
	}
}

// TestOnlyOwnerEnrols: enrolment by others does not count, nor what their
// protégés sign.
func TestOnlyOwnerEnrols(t *testing.T) {
	h := newHouse(t, "anna")
	if _, err := h.add("anna", h.enrolment("ben")); err == nil || !strings.Contains(err.Error(), "owner") {
		t.Errorf("Anna enrols Ben: %v", err)
	}
	b := h.forge("anna", h.enrolment("ben"), nil)
	h.wantCodes(h.with(b), "not-owner")
	if !strings.Contains(h.with(b).Report(nil), "DOES NOT COUNT: only the trail's owner") {
		t.Error("the report shows a record that does not count as if it did")
	}
	ben := h.forge("ben", word(Approve, subject("a")), func(r *Record) { r.After = h.with(b).heads() })
	h.wantCodes(h.with(b, ben), "not-owner stranger")
}

// TestOnlyOwnerRetires: nobody else ends a person's keys.
func TestOnlyOwnerRetires(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	end := Draft{Kind: Retire, Name: "ben", Printed: "Ben Okafor", Keys: []string{Fingerprint(h.key("ben").PublicKey())}, Reason: "r", Meaning: "m"}
	if _, err := h.add("anna", end); err == nil {
		t.Error("Anna retired Ben")
	}
	b := h.forge("anna", end, nil)
	h.wantCodes(h.with(b), "not-owner")
	if !strings.Contains(h.with(b).Report(nil), "DOES NOT COUNT: only the trail's owner") {
		t.Error("the report shows a record that does not count as if it did")
	}
	ben := h.forge("ben", word(Approve, subject("a")), nil)
	h.wantState(h.with(b, ben), subject("a"), Policy{}, Approved)
}

// TestEnrolledBefore: an enrolment that a record does not follow proves nothing
// for it.
func TestEnrolledBefore(t *testing.T) {
	h := newHouse(t, "anna")
	heads := h.open().heads()
	h.must("wren", h.enrolment("ben"))
	h.wantCodes(h.with(h.forge("ben", word(Approve, subject("a")), func(r *Record) { r.After = heads })), "stranger")
}

// TestKeysStay: a key stays with one person, even if the owner says otherwise.
func TestKeysStay(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	rebind := Draft{Kind: Person, Name: "ben", Printed: "Ben Okafor", Public: PublicText(h.key("anna").PublicKey()), Meaning: "m"}
	if _, err := h.add("wren", rebind); err == nil {
		t.Error("Anna's key was enrolled for Ben too")
	}
	h.wantCodes(h.with(h.forge("wren", rebind, nil)), "key-taken")

	// Two people's keys swapped throughout the file.
	h.must("anna", word(Approve, subject("a")))
	a, b := PublicText(h.key("anna").PublicKey()), PublicText(h.key("ben").PublicKey())
	swapped := strings.NewReplacer(a, b, b, a).Replace(string(h.bytes()))
	if tr := h.of([]byte(swapped)); !tr.damaged {
		t.Error("two people's keys swapped: not told")
	}
}

// TestMakers: who made a file cannot approve it where two pairs of eyes are
// asked; people count, not keys and not records.
func TestMakers(t *testing.T) {
	h := newHouse(t, "anna", "ben", "carla")
	arm := subject("hand/left-arm.stl")
	h.must("anna", word(Made, arm))
	old := h.must("anna", word(Approve, arm))
	h.wantState(h.open(), arm, Policy{NotMaker: true}, Waiting)
	h.wantState(h.open(), arm, Policy{}, Approved)
	// The stage's own file is another one, computed from hers.
	cut := subject("out/wrist.stl")
	cut.Stage = "cut/left-arm"
	h.must("anna", word(Approve, cut))
	h.wantState(h.open(), cut, Policy{NotMaker: true}, Approved)
	cut.Sources = arm.Files
	h.wantState(h.open(), cut, Policy{NotMaker: true}, Waiting)

	// The same person with two keys, and a third time.
	two := Policy{People: 2}
	h.must("wren", Draft{Kind: Person, Name: "anna", Printed: "Anna Berg", Roles: []string{"sculptor"}, Public: PublicText(h.key("anna-2").PublicKey()), Meaning: "m"})
	h.must("anna-2", word(Approve, arm))
	h.must("anna-2", word(Approve, arm))
	if d := h.wantState(h.open(), arm, two, Waiting); d.StillNeeded != 1 {
		t.Errorf("Anna with two keys counts as %d people", 2-d.StillNeeded)
	}
	// A copy of an old approval behind a reject brings nothing back.
	h.must("anna", word(Reject, arm, "no"))
	i := slices.IndexFunc(h.open().list, func(r *Record) bool { return r.ID == old.ID })
	h.wantState(h.with(blocks(h.bytes())[i]), arm, Policy{}, Held)
}

// TestRoles: approvals count by the roles the signer had when signing.
func TestRoles(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	arm := subject("hand/left-arm.stl")
	p := Policy{Role: "reviewer"}
	h.must("anna", word(Approve, arm))
	d := h.wantState(h.open(), arm, p, Waiting)
	if len(d.Reasons) == 0 || !strings.Contains(d.Reasons[0], "Anna Berg is not enrolled as reviewer") {
		t.Errorf("reasons %q", d.Reasons)
	}
	promoted := h.enrolment("anna")
	promoted.Roles = []string{"reviewer"}
	h.must("wren", promoted)
	h.wantState(h.open(), arm, p, Waiting) // what she signed before stays what it was
	h.must("anna", word(Approve, arm))
	h.wantState(h.open(), arm, p, Approved)
	if m, _ := h.open().Who(Fingerprint(h.key("anna").PublicKey())); !slices.Equal(m.Roles, []string{"reviewer"}) || len(m.Keys) != 1 {
		t.Errorf("Anna is %+v", m)
	}
}

// TestRetired: a retired key signs nothing more, whatever its clock says;
// what it signed before, by its place in the trail, stays.
func TestRetired(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	arm := subject("hand/left-arm.stl")
	h.must("anna", word(Approve, arm))
	heads := h.open().heads()
	end := Draft{Kind: Retire, Name: "anna", Printed: "Anna Berg", Keys: []string{Fingerprint(h.key("anna").PublicKey())}, Reason: "key lost", Meaning: "m"}
	h.must("wren", end)
	h.wantState(h.open(), arm, Policy{}, Approved)

	other := subject("other")
	for name, change := range map[string]func(*Record){
		"later":                    nil,
		"backdated, on old heads":  func(r *Record) { r.After, r.Time = heads, h.now.Add(-3*time.Minute) },
		"on old heads, same clock": func(r *Record) { r.After = heads },
	} {
		tr := h.with(h.forge("anna", word(Approve, other), change))
		if codes(tr) != "retired" || tr.Decide(other, Policy{}).State != Waiting {
			t.Errorf("%s: problems %q", name, codes(tr))
		}
	}
	if _, err := h.add("anna", word(Approve, other)); err == nil || !strings.Contains(err.Error(), "key lost") {
		t.Errorf("Anna signs with a retired key: %v", err)
	}
	// Another person's hold cannot be answered by a key that ended, nor can
	// the owner lock everybody out.
	if _, err := h.add("wren", Draft{Kind: Retire, Name: "wren", Printed: "Wren Hollis", Keys: []string{Fingerprint(h.key("wren").PublicKey())}, Reason: "r", Meaning: "m"}); err == nil {
		t.Error("the owner's last key was retired")
	}
	h.must("wren", Draft{Kind: Person, Name: "wren", Printed: "Wren Hollis", Roles: []string{"owner"}, Public: PublicText(h.key("wren-2").PublicKey()), Meaning: "m"})
	h.must("wren-2", Draft{Kind: Retire, Name: "wren", Printed: "Wren Hollis", Keys: []string{Fingerprint(h.key("wren").PublicKey())}, Reason: "new laptop", Meaning: "m"})
	h.must("wren-2", h.enrolment("carla"))
	if _, err := h.add("wren-2", Draft{Kind: Retire, Name: "ben", Printed: "Ben Okafor", Keys: []string{Fingerprint(h.key("carla").PublicKey())}, Reason: "r", Meaning: "m"}); err == nil {
		t.Error("Carla's key was retired as Ben's")
	}
	h.wantCodes(h.open(), "")
}

// TestClocks: a clock is checked against what was followed, never believed.
func TestClocks(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	arm := subject("hand/left-arm.stl")
	h.must("ben", word(Approve, arm))
	for name, by := range map[string]time.Duration{"an hour before what it follows": -time.Hour, "in the future": time.Hour} {
		tr := h.with(h.forge("anna", word(Approve, arm), func(r *Record) { r.Time = r.Time.Add(by) }))
		if d := tr.Decide(arm, Policy{People: 2}); d.State != Waiting || codes(tr) != "clock" {
			t.Errorf("%s: %s, problems %q", name, d.State, codes(tr))
		}
	}
	if tr := h.with(h.forge("anna", word(Approve, arm), func(r *Record) { r.Time = r.Time.Add(-5 * time.Minute) })); len(tr.Problems()) != 0 {
		t.Errorf("four minutes before what it follows is let pass: %v", tr.Err())
	}
	// Five minutes are not to be had at every step again.
	var all [][]byte
	for range 3 {
		all = append(all, h.forge("anna", word(Approve, arm), func(r *Record) {
			tr := h.with(all...)
			r.After = tr.heads()
			r.Time = tr.list[tr.at[r.After[0]]].Time.Add(-3 * time.Minute)
		}))
	}
	h.wantCodes(h.with(all...), "clock")

	h.now = h.now.Add(-time.Hour)
	if _, err := h.add("anna", word(Approve, arm)); err == nil || !strings.Contains(err.Error(), "your clock is") {
		t.Errorf("a writer whose clock is behind: %v", err)
	}
	h.now = h.now.Add(2 * time.Hour)
	h.write(join(h.bytes(), h.forge("ben", word(Reject, arm, "no"), func(r *Record) { r.Time = r.Time.AddDate(1, 0, 0) })))
	if _, err := h.add("anna", word(Approve, arm)); err == nil {
		t.Error("Anna's clock or Ben's is wrong by a year: not told")
	}
	h.o.SureOfClock = true
	if r := h.must("anna", word(Approve, arm)); len(r.After) != 1 {
		t.Errorf("follows %d records, want only those that count", len(r.After))
	}
}

// TestForks: records signed on three workstations at once are all good, in any
// order; the stricter verdict stands; the next record joins them.
func TestForks(t *testing.T) {
	h := newHouse(t, "anna", "ben", "carla")
	arm := subject("hand/left-arm.stl")
	base := len(blocks(h.bytes()))
	var parts [][]byte
	for name, v := range map[string]Verdict{"anna": Approve, "ben": Hold, "carla": Approve} {
		f := h.fork("at-" + name)
		f.must(name, word(v, arm, "look"))
		parts = append(parts, blocks(f.bytes())[base])
	}
	// Ben, on another machine at the same time, approves.
	f := h.fork("ben-at-home")
	f.must("ben", word(Approve, arm))
	parts = append(parts, blocks(f.bytes())[base])
	for i := range parts {
		order := slices.Concat(parts[i:], parts[:i])
		tr := h.with(order...)
		h.wantCodes(tr, "")
		d := h.wantState(tr, arm, Policy{}, Held)
		if len(d.By) != 2 {
			t.Errorf("%d approvals count, want Anna's and Carla's", len(d.By))
		}
	}
	h.write(join(h.bytes(), join(parts...)))
	h.now = h.now.Add(5 * time.Minute)
	r := h.must("ben", word(Approve, arm))
	if len(r.After) != 4 {
		t.Errorf("the next record follows %d, want all 4", len(r.After))
	}
	h.wantState(h.open(), arm, Policy{People: 3}, Approved)
}

// TestParallelApprovals: one person at two workstations is one person.
func TestParallelApprovals(t *testing.T) {
	h := newHouse(t, "ben")
	arm := subject("a")
	one := h.forge("ben", word(Approve, arm), nil)
	two := h.forge("ben", word(Approve, arm, "at home"), nil)
	if d := h.wantState(h.with(one, two), arm, Policy{People: 2}, Waiting); len(d.By) != 1 {
		t.Errorf("Ben counts as %d people", len(d.By))
	}
}

// TestHoldsOnEarlierContent must be answered by name before anything is approved.
func TestHoldsOnEarlierContent(t *testing.T) {
	h := newHouse(t, "anna", "ben", "carla")
	v1, v2 := subject("v1"), subject("v2")
	hold := h.must("ben", word(Hold, v1, "web"))
	h.must("carla", word(Approve, v2))
	h.wantState(h.open(), v2, Policy{}, Held)
	h.must("anna", answering(word(Approve, v2), hold.ID))
	h.wantState(h.open(), v2, Policy{}, Approved)
	h.wantState(h.open(), v2, Policy{Role: "reviewer"}, Held) // Anna may not answer for reviewers
	h.wantState(h.open(), v1, Policy{}, Held)                 // back to v1: the hold is about exactly this
	h.must("anna", word(Withdraw, v2))
	h.wantState(h.open(), v2, Policy{}, Held) // her answer went with her approval
	h.must("ben", answering(word(Withdraw, v1), hold.ID))
	h.wantState(h.open(), v2, Policy{}, Approved)
	h.wantState(h.open(), v1, Policy{}, Waiting)

	// A hold whose author is gone can be answered by others on the same content.
	last := h.must("ben", word(Reject, v2, "no"))
	h.must("carla", answering(word(Approve, v2), last.ID))
	h.wantState(h.open(), v2, Policy{}, Held)
	h.must("wren", Draft{Kind: Retire, Name: "ben", Printed: "Ben Okafor", Keys: []string{Fingerprint(h.key("ben").PublicKey())}, Reason: "r", Meaning: "m"})
	h.wantState(h.open(), v2, Policy{}, Approved)

	if _, err := h.add("anna", answering(word(Approve, v2), ID{1})); err == nil {
		t.Error("an answer to a record that nobody has seen was written")
	}
}

// TestContent: an approval holds for exactly its bytes, sizes and state.
func TestContent(t *testing.T) {
	h := newHouse(t, "anna")
	arm := subject("hand/left-arm.stl", "hand/right-arm.stl")
	h.must("anna", word(Approve, arm))
	h.wantState(h.open(), arm, Policy{}, Approved)
	same := subject("hand/right-arm.stl", "hand/left-arm.stl")
	same.Files[0].Label = "elsewhere/renamed.stl"
	h.wantState(h.open(), same, Policy{}, Approved) // order and names are labels
	for name, change := range map[string]func(*Subject){
		"other bytes under the same name": func(s *Subject) { s.Files[0].SHA256 = file("x").SHA256 },
		"another size":                    func(s *Subject) { s.Files[0].Size++ },
		"another state":                   func(s *Subject) { s.State = file("x").SHA256 },
		"one file less":                   func(s *Subject) { s.Files = s.Files[:1] },
		"one file more":                   func(s *Subject) { s.Files = append(s.Files, file("x")) },
		"a file twice":                    func(s *Subject) { s.Files = append(s.Files, s.Files[0]) },
		"another stage":                   func(s *Subject) { s.Stage = "gaps/right-arm" },
	} {
		s := subject("hand/left-arm.stl", "hand/right-arm.stl")
		change(&s)
		if d := h.open().Decide(s, Policy{}); d.State == Approved {
			t.Errorf("%s: approved", name)
		}
	}
}

// TestQuestions: every question of the recipe is answered yes, and the
// meaning is the recipe's.
func TestQuestions(t *testing.T) {
	h := newHouse(t, "anna")
	arm := subject("a")
	p := Policy{Questions: []string{"Are all spots seen?", "Is the scale right?"}, Meaning: "I looked at every spot and judged it mouldable"}
	d := word(Approve, arm)
	d.Ticks = p.Questions[:1]
	h.must("anna", d)
	if got := h.wantState(h.open(), arm, p, Waiting); !strings.Contains(say(got.Reasons), "Is the scale right?") {
		t.Errorf("reasons %q", got.Reasons)
	}
	d.Ticks = p.Questions
	h.must("anna", d)
	h.wantState(h.open(), arm, p, Approved)
	p.Meaning = "I compared it with the photographs"
	h.wantState(h.open(), arm, p, Waiting)
	p.Meaning = ""
	d.Ticks = nil // the newest word counts, not the best
	h.must("anna", d)
	h.wantState(h.open(), arm, p, Waiting)
}

// TestSeal: a release waits for everybody's seal over everything else, and a
// seal's count must be right.
func TestSeal(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	arm, p := subject("a"), Policy{Sealed: true}
	h.must("anna", word(Approve, arm))
	seal := Draft{Kind: Seal, Meaning: SealMeaning}
	if d := h.wantState(h.open(), arm, p, Waiting); !strings.Contains(say(d.Reasons), "Wren Hollis") {
		t.Errorf("reasons %q", d.Reasons)
	}
	h.must("wren", seal)
	r := h.must("anna", seal)
	if r.Count != 5 {
		t.Errorf("the seal counts %d records, want 5", r.Count)
	}
	h.wantState(h.open(), arm, p, Approved)
	if s := h.open().Sealing(); len(s.Waiting) != 0 || s.Records != 6 {
		t.Errorf("sealing %+v", s)
	}
	h.must("ben", word(Approve, subject("b")))
	h.wantState(h.open(), arm, p, Approved) // same stage: it waits for the seals itself
	other := subject("b")
	other.Stage = "cut/left-arm"
	h.must("ben", word(Approve, other))
	if s := h.open().Sealing(); len(s.Waiting) != 3 {
		t.Errorf("three have not seen Ben's record: %v", s.Waiting)
	}
	h.wantState(h.open(), arm, p, Waiting)
	h.wantCodes(h.with(h.forge("anna", seal, func(r *Record) { r.Count = 4 })), "count")
	if text := h.open().SealText(r); !strings.Contains(text, "records 6\n") || !strings.Contains(text, r.ID.String()) {
		t.Errorf("seal on paper:\n%s", text)
	}
}

// TestReleaseAwaitsAnswers: a release waits until every hold and reject of any
// stage is answered, also of a stage that nothing else asks for any more.
func TestReleaseAwaitsAnswers(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	kit, p := subject("kit"), Policy{Sealed: true}
	kit.Stage = "release"
	first, changed := subject("print"), subject("print, changed")
	first.Stage, changed.Stage = "test-print/left-arm", "test-print/left-arm"
	hold := h.must("ben", word(Hold, first, "the thumb is too thin"))
	seals := func() {
		for _, name := range []string{"wren", "anna", "ben"} {
			h.must(name, Draft{Kind: Seal, Meaning: SealMeaning})
		}
	}
	h.must("anna", word(Approve, kit))
	seals()
	if d := h.wantState(h.open(), kit, p, Waiting); !strings.Contains(say(d.Reasons), "hold of Ben Okafor on test-print/left-arm") || !strings.Contains(say(d.Reasons), "the thumb is too thin") {
		t.Errorf("reasons %q", d.Reasons)
	}
	h.wantState(h.open(), kit, Policy{}, Approved) // what is not sealed asks about itself alone
	h.must("anna", word(Approve, changed))         // looked at, but the hold is not named
	seals()
	h.wantState(h.open(), kit, p, Waiting)
	h.must("anna", answering(word(Approve, changed), hold.ID))
	seals()
	h.wantState(h.open(), kit, p, Approved)
}

// TestConcession: a gate that does not hold may be passed only by a record
// with all four fields of ISO 9001:2015, 8.7.2, of somebody with the authority
// (check value 20: refuse; refuse; allow).
func TestConcession(t *testing.T) {
	h := newHouse(t, "anna", "dov")
	arm := subject("a")
	asks := func(want bool, why string) {
		t.Helper()
		if _, ok, reasons := h.open().Conceded(arm, "no-webs", "release"); ok != want {
			t.Errorf("%s: conceded %v, %q", why, ok, reasons)
		}
	}
	asks(false, "no concession")
	for name, drop := range map[string]func(*Draft){
		"what is wrong": func(d *Draft) { d.Fault = "" }, "what is done": func(d *Draft) { d.Action = "" },
		"the reason": func(d *Draft) { d.Reason = "" }, "the authority": func(d *Draft) { d.Authority = "" }, "the gate": func(d *Draft) { d.Gates = nil },
	} {
		d := concession(arm)
		drop(&d)
		if _, err := h.add("dov", d); err == nil {
			t.Errorf("a concession without %s was written", name)
		}
	}
	if _, err := h.add("anna", concession(arm)); err == nil {
		t.Error("Anna conceded without the authority")
	}
	h.wantCodes(h.with(h.forge("anna", concession(arm), nil)), "authority")
	other := concession(subject("b"))
	h.must("dov", other)
	asks(false, "a concession on other content")
	mine := concession(arm)
	mine.Gates = []string{"walls"}
	h.must("dov", mine)
	asks(false, "a concession for another gate")
	r := h.must("dov", concession(arm))
	asks(true, "a full concession")
	if _, ok, _ := h.open().Conceded(arm, "no-webs", "owner"); ok {
		t.Error("a concession of another authority counts")
	}
	h.must("dov", answering(word(Withdraw, arm), r.ID))
	asks(false, "taken back")
}

// TestSignatureFields models on 21 CFR 11.50, 11.70 and 11.10(e) (check value
// 19): a signature without its name, time or meaning is invalid, so is one
// moved to another trail or edited; a correction is a new record and the old
// one stays readable.
func TestSignatureFields(t *testing.T) {
	h := newHouse(t, "anna")
	arm := subject("a")
	h.must("anna", word(Approve, arm))
	list := blocks(h.bytes())
	last := string(list[len(list)-1])
	tag := last[:8]
	for _, field := range []string{"by", "time", "meaning"} {
		var kept []string
		for line := range strings.Lines(last[:strings.Index(last, tag+" sig ")]) {
			if !strings.HasPrefix(line, tag+" "+field+" ") {
				kept = append(kept, line)
			}
		}
		without := h.seal("anna", &Record{Tag: tag}, []byte(strings.Join(kept, "")))
		if tr := h.of(join(list[:2]...), without); !tr.damaged {
			t.Errorf("a signature without %s passes", field)
		}
	}
	correction := word(Withdraw, arm, "I had looked at the wrong part")
	h.must("anna", correction)
	tr := h.open()
	h.wantCodes(tr, "")
	h.wantState(tr, arm, Policy{}, Waiting)
	if !strings.Contains(tr.Report(nil), "APPROVE  "+arm.Stage) {
		t.Error("the corrected record is no longer readable")
	}
}

// TestReserved: what the signature does not cover (text in the reserved part
// of its blob, bytes behind the inner signature; ssh-keygen or the library let
// them pass) is refused here.
func TestReserved(t *testing.T) {
	h := newHouse(t, "anna")
	list := blocks(h.bytes())
	last := list[len(list)-1]
	tag := string(last[:8])
	cut := bytes.Index(last, []byte(tag+" sig "))
	blob, err := base64.StdEncoding.DecodeString(strings.NewReplacer(tag+" sig ", "", "\n", "").Replace(string(last[cut:])))
	if err != nil {
		t.Fatal(err)
	}
	at := bytes.Index(blob, []byte(Namespace)) + len(Namespace)
	reserved := slices.Concat(blob[:at], []byte{0, 0, 0, 2, 'h', 'i'}, blob[at+4:])
	s, err := sshsig.ParseSignature(blob)
	if err != nil {
		t.Fatal(err)
	}
	s.Signature.Rest = []byte("hi")
	for name, smuggled := range map[string][]byte{"the reserved part": reserved, "behind the inner signature": s.Marshal()} {
		if tr := h.of(join(list[:len(list)-1]...), last[:cut], sigLines(tag, smuggled)); !tr.damaged {
			t.Errorf("text in %s passes", name)
		}
	}
}
