package desk

import (
	"fmt"
	"net/http"
	"slices"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"

	"layette/engine"
	"layette/engine/trail"
	"layette/engine/word"
)

// A signing is a person's word as the page sends it, after she was shown what
// it is bound to and agreed.
type signing struct {
	asking
	Seen    string   `json:"seen"` // of what was shown
	Meaning string   `json:"meaning"`
	Notes   []string `json:"notes"`
	Pins    []pin    `json:"pins"`
	Ticks   []string `json:"ticks"`
	Answers []string `json:"answers"` // first digits of holds and rejects that this settles

	Reason string `json:"reason"` // for a concession
	Fault  string `json:"fault"`
	Action string `json:"action"`

	Key        string `json:"key"`    // its name
	Person     string `json:"person"` // whom the page named as the signer
	Passphrase []byte `json:"passphrase"`
}

// pin is a note pinned to the skin.
type pin struct {
	File   string     `json:"file"` // digest of the file it is on
	At     [3]float64 `json:"at"`   // mm
	Radius float64    `json:"radius"`
	Words  string     `json:"words"`
}

// signedView is what the page tells after a signature.
type signedView struct {
	Record  string `json:"record"`
	Name    string `json:"name"`
	Time    string `json:"time"`
	Meaning string `json:"meaning"`
	State   string `json:"state"` // where the stage stands now
	Says    string `json:"says"`
}

// sign looks once more at every file and, if all is as it was shown, unlocks
// the key for this one signature.
func (d *Desk) sign(r *http.Request) (any, error) {
	d.words.Lock()
	defer d.words.Unlock()
	var w signing
	if err := read(r, &w); err != nil {
		return nil, err
	}
	defer clear(w.Passphrase)
	m, err := d.o.Open(r.Context())
	if err != nil {
		return nil, err
	}
	defer m.Close()
	s, st, err := d.subject(r, m, w.ID)
	if err != nil {
		return nil, err
	}
	now, err := d.view(w.asking, s, st)
	if err != nil {
		return nil, err
	}
	if now.Seen != w.Seen {
		return nil, word.Changed(s.Node)
	}
	t, err := m.OpenTrail()
	if err != nil {
		return nil, err
	}
	key, who, done, err := d.person(t, &w)
	if err != nil {
		return nil, err
	}
	defer done()
	draft, err := w.draft(d, now, s, st, who)
	if err != nil {
		return nil, err
	}
	if err := word.Unchanged(r.Context(), m, s); err != nil {
		return nil, err
	}
	rec, err := t.Append(r.Context(), draft, key)
	if err != nil {
		return nil, &word.Refusal{Says: err.Error(), Hint: "nothing was signed"}
	}
	return told(r, m, rec, s.Node), nil
}

// told says what was signed and where the stage stands now.
func told(r *http.Request, m *engine.Model, rec trail.Record, n engine.Node) signedView {
	v := signedView{Record: rec.ID.Short(), Name: rec.ByPrinted, Time: rec.Time.Format(time.DateTime + " UTC"), Meaning: rec.Meaning}
	if b, err := m.Look(r.Context()); err == nil {
		if st := b.Find(n); st != nil {
			v.State, v.Says = string(st.State), st.Says
		}
	}
	return v
}

// person unlocks the key and finds whose it is.
func (d *Desk) person(t *trail.Trail, w *signing) (ssh.Signer, trail.Member, func(), error) {
	none := trail.Member{}
	if err := word.May(t); err != nil {
		return nil, none, nil, err
	}
	if w.Key == "" {
		return nil, none, nil, wrong(http.StatusBadRequest, "choose the key to sign with")
	}
	key, done, err := d.o.Keys.Unlock(w.Key, w.Passphrase)
	if err != nil {
		return nil, none, nil, &word.Refusal{Says: err.Error(), Hint: "nothing was signed"}
	}
	who, ok := t.Who(trail.Fingerprint(key.PublicKey()))
	switch {
	case !ok:
		err = &word.Refusal{Says: fmt.Sprintf("the key %s is not enrolled in this trail", trail.Fingerprint(key.PublicKey())), Hint: "its owner enrols people: layette people add"}
	case who.Name != w.Person:
		err = &word.Refusal{Says: "that key is " + who.Printed + "'s, and another name stood beside the button", Hint: "nothing was signed"}
	}
	if err != nil {
		done()
		return nil, none, nil, err
	}
	return key, who, done, nil
}

// draft writes down what is to be signed.
func (w *signing) draft(d *Desk, v *lookView, s *engine.Subject, st *engine.Status, who trail.Member) (trail.Draft, error) {
	notes := slices.DeleteFunc(slices.Clone(w.Notes), func(n string) bool { return strings.TrimSpace(n) == "" })
	if w.Gate != "" {
		if strings.TrimSpace(w.Reason) == "" {
			return trail.Draft{}, wrong(http.StatusBadRequest, "a concession must say why it may go on")
		}
		l := word.Leave{Gate: w.Gate, Reason: w.Reason, Fault: w.Fault, Action: w.Action, Notes: notes}
		if l.Action == "" {
			l.Action = word.NoAction
		}
		return l.Draft(s, st, who, d.o.Tool)
	}
	says := word.Word{Verdict: v.Verdict, Meaning: w.Meaning, Notes: notes, Ticks: w.Ticks}
	var err error
	if says.Pins, err = pins(w.Pins, v.Files); err != nil {
		return trail.Draft{}, err
	}
	if says.Answers, err = answers(w.Answers, v.Open); err != nil {
		return trail.Draft{}, err
	}
	if (v.Verdict == trail.Hold || v.Verdict == trail.Reject) && len(notes)+len(says.Pins) == 0 {
		return trail.Draft{}, wrong(http.StatusBadRequest, "a hold must say why: write a note, or pin one")
	}
	draft, err := says.Draft(s, st, d.o.Tool)
	if err != nil {
		return draft, err
	}
	if open := word.Unticked(draft, s); len(open) > 0 {
		return draft, wrong(http.StatusConflict, "this is not answered yes: %s", open[0])
	}
	return draft, nil
}

// pins finds the files that notes are on among those that are signed.
func pins(list []pin, files []trail.File) (out []trail.Pin, err error) {
	for _, p := range list {
		i := slices.IndexFunc(files, func(f trail.File) bool { return f.SHA256 == p.File })
		if i < 0 {
			return nil, wrong(http.StatusConflict, "the note %q is on a surface that this word is not about: pin it again", p.Words)
		}
		out = append(out, trail.Pin{File: i + 1, At: p.At, Radius: p.Radius, Words: p.Words})
	}
	return out, nil
}

// answers finds what a word settles among what was shown to stand against it.
func answers(list []string, open []openView) (out []trail.ID, err error) {
	for _, short := range list {
		i := slices.IndexFunc(open, func(o openView) bool { return o.Record == short })
		if i < 0 {
			return nil, wrong(http.StatusConflict, "record %s does not stand against this", short)
		}
		out = append(out, open[i].ID)
	}
	return out, nil
}
