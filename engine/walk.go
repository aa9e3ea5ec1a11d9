package engine

import (
	"context"
	"errors"
	"fmt"
	"sync"

	"layette/engine/store"
	"layette/engine/trail"
)

// walk is one pass over a plan: a look, or a run. Its methods may be called
// for different nodes at once, each after all that it needs.
type walk struct {
	m       *Model
	plan    *plan
	sums    *sums
	trail   *trail.Trail
	history *history
	afresh  bool

	mu     sync.Mutex
	status map[*node]*Status
}

// visit is what is known of a node before it runs.
type visit struct {
	node  *node
	st    *Status
	trace *store.Trace // nil if it must run
	final bool         // nothing is to be run or judged
	ask   bool         // it failed before under this very fingerprint
	lost  *loss        // which stored result is gone or damaged
}

// prepare says where a node stands before anything runs: it gathers the
// inputs, takes the fingerprint and looks for an equal run in the store.
func (w *walk) prepare(ctx context.Context, n *node) (*visit, error) {
	st := &Status{Node: n.Node, Step: n.stage.Step, For: n.stage.Why}
	v := &visit{node: n, st: st}
	if behind := w.blocked(n); behind != nil {
		return v.stop(Waiting, behind.says, &behind.root)
	}
	if state, says := w.gather(n, st); says != "" {
		return v.stop(state, says, nil)
	}
	if err := w.fingerprint(n, st); err != nil {
		return v.stop(Failed, err.Error(), nil)
	}
	trace, err := w.m.store.Trace(st.Key)
	switch {
	case errors.Is(err, store.ErrNoTrace):
		st.Causes = w.causes(n, st)
		return v, nil
	case err != nil:
		return nil, err
	case trace.Failure != "":
		st.Causes = []Cause{{What: FailedBefore, Says: "it failed before: " + trace.Failure}}
		st.Says, v.ask = trace.Failure, true
		return v, nil
	}
	if v.lost = w.lost(ctx, trace); v.lost != nil {
		st.Causes = []Cause{{What: StoredGone, Says: v.lost.says}}
		return v, context.Cause(ctx)
	}
	if w.afresh {
		st.Causes = []Cause{{What: Forced, Says: "everything is run afresh"}}
	}
	v.trace = trace
	return v, nil
}

func (v *visit) stop(state State, says string, behind *Node) (*visit, error) {
	v.st.State, v.st.Says, v.st.Behind, v.final = state, says, behind, true
	return v, nil
}

// block is what a waiting node waits for.
type block struct {
	root Node
	says string
}

// blocked returns what stands at the root of a node's waiting, or nil.
func (w *walk) blocked(n *node) *block {
	for _, up := range n.needs {
		st := w.of(up)
		switch {
		case st == nil || st.State == Done:
		case st.State == Waiting && st.Behind != nil:
			return &block{*st.Behind, st.Says}
		default:
			return &block{up.Node, up.Node.String() + " " + inTheWay[st.State]}
		}
	}
	return nil
}

// inTheWay says what of a stage keeps others waiting.
var inTheWay = map[State]string{
	Due: "is due", Held: "is held", Unsigned: "awaits a person's word", Handwork: "awaits handwork", Failed: "failed", Waiting: "waits",
}

func (w *walk) of(n *node) *Status {
	w.mu.Lock()
	defer w.mu.Unlock()
	return w.status[n]
}

func (w *walk) set(n *node, st *Status) {
	w.mu.Lock()
	defer w.mu.Unlock()
	w.status[n] = st
}

// fingerprint writes down all that the node's result depends on.
func (w *walk) fingerprint(n *node, st *Status) error {
	fp := &store.Fingerprint{Kind: n.book.Name, Version: n.book.Version}
	for _, v := range n.stage.Values {
		value, _ := v.At(w.plan.recipe, n.Part, n.Scan)
		if value == nil {
			continue // another part's or scan's alone
		}
		text, err := store.Canonical(value)
		if err != nil {
			return fmt.Errorf("value %s %w", v.Name, err)
		}
		fp.Values = append(fp.Values, store.Value{Name: v.Name, Type: string(v.Type), Text: text})
	}
	place := map[string]int{}
	for _, f := range st.Inputs {
		in := store.Input{Role: f.Role, Index: place[f.Role], SHA256: f.SHA256, Size: f.Size, Units: f.Units}
		if declared(n.book, f.Role).Named {
			in.Named, in.Name, in.Part, in.Scan, in.Stage = true, f.below(), f.part, f.scan, f.From.Stage
		}
		place[f.Role]++
		fp.Inputs = append(fp.Inputs, in)
	}
	for _, o := range n.book.Outputs {
		fp.Outputs = append(fp.Outputs, o.Name)
	}
	st.fingerprint = fp.Text()
	st.Key = store.KeyOf(st.fingerprint)
	return nil
}

// loss is a stored result that is gone or damaged.
type loss struct {
	says    string
	damaged string // digest under which it lies; empty if it is gone
}

// lost says which of a trace's files is gone or damaged, or returns nil.
func (w *walk) lost(ctx context.Context, t *store.Trace) *loss {
	for _, made := range t.Outputs {
		if made.Passed != "" {
			continue
		}
		sum, err := w.m.stamps.Sum(ctx, w.m.here(), store.ObjectName(made.SHA256), nil)
		switch {
		case err != nil:
			return &loss{says: fmt.Sprintf("the stored result %s is gone", made.Name)}
		case sum.SHA256 != made.SHA256:
			return &loss{fmt.Sprintf("the stored result %s is damaged", made.Name), made.SHA256}
		}
	}
	return nil
}
