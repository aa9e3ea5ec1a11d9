package engine

import (
	"fmt"
	"path"
	"slices"
	"strconv"
	"strings"
	"time"

	"layette/engine/diag"
	"layette/engine/recipe"
	"layette/engine/step"
	"layette/engine/store"
)

// Why a stage is due: besides these, what store.Difference tells of two fingerprints.
const (
	NeverRun     = "never run"
	StoredGone   = "stored result gone or damaged"
	VisibleGone  = "visible result edited or deleted"
	FailedBefore = "failed before"
	Forced       = "forced"
)

// Cause is one reason why a stage is due, or why it ran.
type Cause struct {
	What    string   `json:"what"` // constant words
	Name    string   `json:"name,omitempty"`
	Was     string   `json:"was,omitempty"`
	Is      string   `json:"is,omitempty"`
	Says    string   `json:"says"`              // one sentence, with its place
	Pos     diag.Pos `json:"pos,omitzero"`      // of the value in the recipe or model sheet
	Because *Because `json:"because,omitempty"` // for an input that another stage made
}

// Because is why another stage made something new.
type Because struct {
	Node
	Causes []Cause `json:"causes"`
}

// First follows the chain to its first cause.
func (c Cause) First() Cause {
	for c.Because != nil && len(c.Because.Causes) > 0 {
		c = c.Because.Causes[0]
	}
	return c
}

// causes says why a node is due: what differs from the fingerprint it had when
// it last ran. A node that ran more than once under other fingerprints is
// compared with the newest.
func (w *walk) causes(n *node, st *Status) []Cause {
	was, failure := w.m.lastText(w.history, n.Node, st.Key)
	if was == nil {
		return []Cause{{What: NeverRun, Says: "it never ran"}}
	}
	causes := w.differences(n, was, st, 0)
	if failure != "" {
		causes = append(causes, Cause{What: FailedBefore, Says: "as it was before, it failed: " + failure})
	}
	return causes
}

// deepest is how far a chain of causes is followed.
const deepest = 64

func (w *walk) differences(n *node, was *store.Fingerprint, st *Status, depth int) []Cause {
	is, err := store.ParseFingerprint(st.fingerprint)
	if err != nil {
		return nil
	}
	var causes []Cause
	for _, d := range store.Differences(was, is) {
		causes = append(causes, w.cause(n, d, st, depth))
	}
	if causes == nil {
		causes = []Cause{{What: StoredGone, Says: "its stored result is gone"}}
	}
	return causes
}

func (w *walk) cause(n *node, d store.Difference, st *Status, depth int) Cause {
	c := Cause{What: d.What, Name: d.Name, Was: d.Was, Is: d.Is}
	switch d.What {
	case store.KindChanged:
		c.Pos = n.stage.Pos
		c.Says = fmt.Sprintf("the step is %s and was %s (%s)", d.Is, d.Was, c.Pos)
	case store.VersionChanged:
		c.Says = fmt.Sprintf("step %s is version %s and was %s", d.Name, d.Is, d.Was)
	case store.OutputsChanged:
		c.Says = "the step gives other outputs than before"
	case store.ValueChanged, store.ValueNew, store.ValueGone:
		w.valueCause(n, d, &c)
	default:
		w.inputCause(n, d, st, &c, depth)
	}
	return c
}

// valueCause says what became of a value, and where it is written.
func (w *walk) valueCause(n *node, d store.Difference, c *Cause) {
	name := d.Name
	typ := step.ValueType(d.Type)
	for _, v := range n.stage.Values {
		if v.Name != d.Name {
			continue
		}
		c.Pos = w.valuePos(n, v)
		if v.Refer != "" {
			name += " (" + v.Refer + ")"
		}
	}
	c.Was, c.Is = inWords(d.Was, typ), inWords(d.Is, typ)
	switch d.What {
	case store.ValueChanged:
		c.Says = fmt.Sprintf("value %s: %s -> %s", name, c.Was, c.Is)
	case store.ValueNew:
		c.Says = fmt.Sprintf("value %s is new: %s", name, c.Is)
	case store.ValueGone:
		c.Says = fmt.Sprintf("value %s is gone; it was %s", name, c.Was)
	}
	if c.Pos.File != "" {
		c.Says += fmt.Sprintf(" (%s)", c.Pos)
	}
}

// valuePos is where the value that counts was written.
func (w *walk) valuePos(n *node, v *recipe.StageValue) diag.Pos {
	for _, o := range slices.Backward(v.Given) {
		if (o.Part == "" || o.Part == n.Part) && (o.Scan == "" || o.Scan == n.Scan) {
			return o.Pos
		}
	}
	if _, q := v.At(w.plan.recipe, n.Part, n.Scan); q != nil && q.Pos.File != "" {
		return q.Pos
	}
	return v.Pos
}

// inWords writes a canonical value with its unit.
func inWords(text string, typ step.ValueType) string {
	x, err := strconv.ParseFloat(text, 64)
	if err != nil {
		return text
	}
	return Quantity(x, typ, "")
}

// inputCause says which file is another, and what made it so.
func (w *walk) inputCause(n *node, d store.Difference, st *Status, c *Cause, depth int) {
	file := inputAt(st.Inputs, d.Name, d.At)
	label := d.Name
	if file != nil {
		label += " " + path.Base(file.Path)
	}
	switch d.What {
	case store.InputChanged:
		c.Says = fmt.Sprintf("input %s: %s -> %s", label, short(d.Was), short(d.Is))
	case store.InputRenamed:
		c.Says = fmt.Sprintf("input %s was called %s", label, d.Was)
	case store.InputAdded:
		c.Says = fmt.Sprintf("input %s was added", label)
	case store.InputRemoved:
		c.Says = fmt.Sprintf("a file of input %s was removed (%s)", d.Name, short(d.Was))
	case store.InputReordered:
		c.Says = fmt.Sprintf("the files of input %s come in another order", d.Name)
	}
	switch {
	case file == nil || d.What != store.InputChanged && d.What != store.InputAdded:
	case file.From == Node{}:
		c.Says += fmt.Sprintf("; %s edited %s", file.Path, time.Unix(0, file.bytes.sum.MTime).Format("2 Jan 15:04"))
	case depth < deepest:
		w.because(file.From, c, depth)
	}
}

// because adds why the stage that made an input last ran.
func (w *walk) because(up Node, c *Cause, depth int) {
	i := slices.IndexFunc(w.plan.byName[up.Stage], func(n *node) bool { return n.Node == up })
	if i < 0 {
		return
	}
	n := w.plan.byName[up.Stage][i]
	st := w.of(n)
	if st == nil {
		return
	}
	causes := st.Causes
	if len(causes) == 0 && st.fingerprint != "" {
		if was, _ := w.m.lastText(w.history, up, st.Key); was != nil {
			causes = w.differences(n, was, st, depth+1)
		}
	}
	c.Because = &Because{Node: up, Causes: causes}
	c.Says += fmt.Sprintf(", because %s ran", up)
	if len(causes) > 0 {
		c.Says += ": " + causes[0].Says
	}
}

// short is a digest as people quote it; other texts stay as they are.
func short(text string) string {
	if len(text) == 64 && strings.Trim(text, "0123456789abcdef") == "" {
		return text[:8]
	}
	return text
}
