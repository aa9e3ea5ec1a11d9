package engine

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"encoding/json"
	"path"
	"time"

	"layette/engine/step"
	"layette/engine/trail"
)

// accountFile is the name of a stage's account.
const accountFile = "account.json"

// account returns the stage's own account as a file: the implicit output that
// every stage has. It is made anew from the status whenever it is asked for,
// and its bytes are equal when what it tells is.
func (st *Status) account() (File, error) {
	data, err := json.MarshalIndent(st.told(), "", "  ")
	if err != nil {
		return File{}, err
	}
	data = append(data, '\n')
	sum := sha256.Sum256(data)
	return File{
		Role: step.AccountOutput, Name: accountFile, Path: path.Join(st.Node.String(), accountFile), Kind: step.Rows,
		SHA256: hex.EncodeToString(sum[:]), Size: int64(len(data)), From: st.Node,
		part: st.Part, scan: st.Scan, bytes: where{data: data},
	}, nil
}

// told is what an account tells. A stage is asked for its account when it is
// done, so its state is no news and is left out of what could change.
func (st *Status) told() step.Account {
	a := step.Account{
		Stage: st.Stage, Step: st.Step, Part: st.Part, Scan: st.Scan, State: string(st.State),
		Spots: len(st.Spots), Notes: st.Notes,
	}
	for _, m := range st.Measures {
		a.Measures = append(a.Measures, step.AccountMeasure{Name: m.Name, Text: m.Text(), Doc: m.Doc})
	}
	for _, v := range st.Gates {
		a.Gates = append(a.Gates, v.told())
	}
	if st.Sign != nil {
		for _, by := range st.Sign.By {
			a.Words = append(a.Words, step.AccountWord{
				Name: by.Printed, Role: st.Sign.Role, Time: stamp(by.Time), Verdict: string(trail.Approve), Meaning: by.Meaning, Record: by.Record.Short(),
			})
		}
		if st.Sign.Made != nil {
			a.Words = append(a.Words, word(*st.Sign.Made))
		}
	}
	for _, f := range st.Files {
		a.Files = append(a.Files, step.AccountFile{Name: f.Name, Size: f.Size, SHA256: f.SHA256})
	}
	return a
}

func (v Verdict) told() step.AccountGate {
	g := step.AccountGate{Name: v.Gate, Rule: v.Rule, Why: v.Why, Verdict: string(v.State)}
	for _, s := range v.Saw {
		m := Measure{Type: s.Type, Unit: s.Unit, Value: s.Value}
		g.Saw = append(g.Saw, s.Name+" = "+m.Text())
	}
	if v.Conceded != nil {
		w := word(*v.Conceded)
		g.Concession = &w
	}
	return g
}

// word tells a signed record with its printed name, time and meaning.
func word(r trail.Record) step.AccountWord {
	w := step.AccountWord{
		Name: r.ByPrinted, Role: r.Authority, Time: stamp(r.Time),
		Verdict: string(r.Verdict), Meaning: r.Meaning, Record: r.ID.Short(),
	}
	switch {
	case r.Reason != "":
		w.Note = r.Reason
	case len(r.Notes) > 0:
		w.Note = r.Notes[0]
	}
	return w
}

func stamp(t time.Time) string { return t.UTC().Format(time.RFC3339) }

// memoryReader reads a file that is held in memory.
type memoryReader struct{ *bytes.Reader }

func (memoryReader) Close() error { return nil }
