package desk

import (
	"cmp"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"net/http"
	"slices"

	"layette/engine"
	"layette/engine/trail"
	"layette/engine/word"
)

// An asking is what a person wants to say: about which stage, and in which
// sense.
type asking struct {
	ID      string        `json:"id"`
	Verdict trail.Verdict `json:"verdict"` // empty for what she most likely has to say
	Gate    string        `json:"gate"`    // for a concession
}

// lookView is all that a word will be bound to, as it is shown before anything
// is signed.
type lookView struct {
	ID        string        `json:"id"`
	Verdict   trail.Verdict `json:"verdict,omitempty"`
	Gate      string        `json:"gate,omitempty"`
	Files     []trail.File  `json:"files"`
	From      []trail.File  `json:"from"`
	Saw       []string      `json:"saw"`
	State     string        `json:"state"`
	Meaning   string        `json:"meaning"`
	Fixed     bool          `json:"fixed"` // the recipe gives the meaning
	Questions []string      `json:"questions"`
	Role      string        `json:"role"` // whose word the recipe asks for, or who may concede
	Fault     string        `json:"fault,omitempty"`
	Open      []openView    `json:"open"` // what stands against it
	Seen      string        `json:"seen"` // stands for all of this; a signature names it
}

// openView is a hold or reject that stands.
type openView struct {
	ID      trail.ID      `json:"-"`
	Record  string        `json:"record"`
	Verdict trail.Verdict `json:"verdict"`
	Name    string        `json:"name"`
	Says    string        `json:"says"`
}

// look reads everything afresh and shows what a word about it will be bound to.
func (d *Desk) look(r *http.Request) (any, error) {
	var a asking
	if err := read(r, &a); err != nil {
		return nil, err
	}
	m, err := d.o.Open(r.Context())
	if err != nil {
		return nil, err
	}
	defer m.Close()
	s, st, err := d.subject(r, m, a.ID)
	if err != nil {
		return nil, err
	}
	return d.view(a, s, st)
}

func (d *Desk) subject(r *http.Request, m *engine.Model, id string) (*engine.Subject, *engine.Status, error) {
	known, _, _, err := d.status(id)
	if err != nil {
		return nil, nil, err
	}
	return m.Subject(r.Context(), known.Node)
}

// view is what is shown of a subject.
func (d *Desk) view(a asking, s *engine.Subject, st *engine.Status) (*lookView, error) {
	v := &lookView{ID: s.Node.String(), Verdict: a.Verdict, Gate: a.Gate, State: s.State, Open: []openView{}}
	if s.Sign != nil {
		v.Role = s.Sign.Role
	}
	if a.Gate != "" {
		if !slices.Contains(s.Gates, a.Gate) {
			return nil, wrong(http.StatusConflict, "gate %q does not hold %s", a.Gate, s.Node)
		}
		if v.Role = st.Concedes(a.Gate); v.Role == "" {
			return nil, &word.Refusal{Says: "the recipe names nobody who may concede gate " + a.Gate, Hint: "cure what it found"}
		}
		v.Files, v.Saw, v.Fault = s.Trail().Files, s.Saw, word.Fault(st, a.Gate)
		v.Meaning, v.Fixed = word.LeaveMeaning, true
		return v.sealed(), nil
	}
	dr, err := word.Word{Verdict: a.Verdict}.Draft(s, st, d.o.Tool)
	if err != nil {
		return nil, err
	}
	v.Verdict, v.Files, v.From, v.Saw, v.Meaning = dr.Verdict, dr.Files, dr.From, dr.Saw, dr.Meaning
	v.Questions = word.Questions(dr, s)
	v.Fixed = dr.Verdict == trail.Approve && s.Sign != nil
	if st.Sign != nil && (dr.Verdict == trail.Approve || dr.Verdict == trail.Withdraw) {
		for _, o := range st.Sign.Open {
			v.Open = append(v.Open, openView{o.ID, o.ID.Short(), o.Verdict, o.ByPrinted, cmp.Or(o.Words(), o.Meaning)})
		}
	}
	return v.sealed(), nil
}

// sealed fills in what stands for all that is shown.
func (v *lookView) sealed() *lookView {
	v.Seen = ""
	text, err := json.Marshal(v)
	if err != nil {
		panic(err) // plain strings and numbers
	}
	sum := sha256.Sum256(text)
	v.Seen = hex.EncodeToString(sum[:])
	return v
}
