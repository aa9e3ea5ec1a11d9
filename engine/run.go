package engine

import (
	"context"
	"errors"
	"fmt"
	"time"

	"layette/engine/step"
	"layette/engine/store"
)

// RunOptions say what a run does. The zero value runs all that is due.
type RunOptions struct {
	Only    []string // stages asked for, with all they need; empty for every stage
	Workers int      // how many stages at once; 0 for one a processor
	Memory  int64    // bytes that running stages may need together; 0 for half of the machine's
	Afresh  bool     // run everything, though it is stored, and compare
	// LeaveFailed leaves alone what failed before under the same fingerprint;
	// without it such a stage is tried once more.
	LeaveFailed bool
}

// Run runs what is due and answers where every stage stands then. One failure
// stops nothing but what depends on it. When ctx ends, what runs is cancelled
// and Run returns context.Cause(ctx); what was finished is kept.
func (m *Model) Run(ctx context.Context, o RunOptions, watch Watcher) (*Board, error) {
	if watch == nil {
		watch = NoWatcher{}
	}
	began := time.Now()
	w, nodes, err := m.walk(ctx, o.Only, true, watch)
	if err != nil {
		return nil, err
	}
	w.afresh = o.Afresh
	others, unlock := m.lock()
	defer unlock()
	watch.Planned(len(nodes))
	s := newSchedule(w, nodes, o, watch)
	s.run(ctx)
	w.rememberQuantities()
	if err := errors.Join(w.sweep(ctx), m.writeHistory(w.history), m.Remember()); err != nil && ctx.Err() == nil {
		return nil, err
	}
	if ctx.Err() != nil {
		return nil, context.Cause(ctx)
	}
	b := w.board(nodes)
	b.Notes = append(others, b.Notes...)
	b.Ran, b.Took = s.ran, time.Since(began)
	return b, nil
}

// Remember saves the digests taken so far for the next time.
func (m *Model) Remember() error {
	if m.memory == "" {
		return nil
	}
	return m.stamps.Save(m.memory)
}

// advance brings a node as far as it comes without running its step; it reports
// whether the step is due.
func (w *walk) advance(ctx context.Context, n *node, leaveFailed bool) (*visit, bool, error) {
	v, err := w.prepare(ctx, n)
	switch {
	case err != nil:
		return &visit{node: n, st: &Status{Node: n.Node, Step: n.stage.Step, For: n.stage.Why}}, false, err
	case v.final:
		return v, false, nil
	case v.ask && leaveFailed:
		v.st.State = Failed
		return v, false, nil
	case v.trace == nil || w.afresh:
		return v, true, nil
	}
	return v, false, w.settleDone(ctx, v, 0)
}

// settleDone concludes a node that has a trace and lays out its files.
func (w *walk) settleDone(ctx context.Context, v *visit, took time.Duration) error {
	if err := w.conclude(v); err != nil {
		return err
	}
	if err := w.lay(ctx, v.node, v.st); err != nil {
		return fmt.Errorf("laying out the results: %w", err)
	}
	w.history.ran(v.node.Node, v.st.Key, took)
	return nil
}

// perform runs a node's step and concludes it.
func (w *walk) perform(ctx context.Context, v *visit, workers int, progress step.Progress) error {
	old := v.trace
	if v.lost != nil {
		if err := w.clear(v); err != nil {
			return err
		}
	}
	v.st.Ran, v.st.Says = true, ""
	t, err := w.execute(ctx, v, workers, progress)
	if err != nil {
		if t != nil {
			w.history.failed(v.node.Node, v.st.Key)
		}
		return err
	}
	v.trace = t
	if err := w.settleDone(ctx, v, t.By.Took); err != nil {
		return err
	}
	if old != nil {
		return sameTwice(old, t)
	}
	return nil
}

// clear takes away a trace whose results are gone or damaged, and what is
// damaged, so that the new result takes their place.
func (w *walk) clear(v *visit) error {
	if v.lost.damaged != "" {
		w.m.stamps.Forget(w.m.here(), store.ObjectName(v.lost.damaged))
		if err := w.m.store.Remove(v.lost.damaged); err != nil {
			return err
		}
	}
	return w.m.store.RemoveTrace(v.st.Key)
}
