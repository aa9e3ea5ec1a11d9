package engine

import (
	"context"
	"fmt"
	"path/filepath"
	"strings"

	"layette/engine/trail"
)

// Look tells where every stage stands without running anything. Files that are
// new since the last time are read for their digests.
func (m *Model) Look(ctx context.Context) (*Board, error) { return m.LookAt(ctx, nil) }

// LookAt is Look at the named stages and all that they need.
func (m *Model) LookAt(ctx context.Context, only []string) (*Board, error) {
	w, nodes, err := m.lookWalk(ctx, only)
	if err != nil {
		return nil, err
	}
	return w.board(nodes), nil
}

func (m *Model) lookWalk(ctx context.Context, only []string) (*walk, []*node, error) {
	w, nodes, err := m.walk(ctx, only, false, NoWatcher{})
	if err != nil {
		return nil, nil, err
	}
	for _, n := range nodes {
		st, err := w.look(ctx, n)
		if err != nil {
			return nil, nil, err
		}
		w.set(n, st)
	}
	return w, nodes, nil
}

// walk reads everything that a pass over the named stages needs.
func (m *Model) walk(ctx context.Context, only []string, wait bool, watch Watcher) (*walk, []*node, error) {
	r, err := m.Recipe()
	if err != nil {
		return nil, nil, err
	}
	p, err := m.plan(r)
	if err != nil {
		return nil, nil, err
	}
	nodes, err := p.cone(only)
	if err != nil {
		return nil, nil, err
	}
	s, err := m.sumAll(ctx, nodes, wait, watch)
	if err != nil {
		return nil, nil, err
	}
	t, err := m.OpenTrail()
	if err != nil {
		return nil, nil, err
	}
	return &walk{m: m, plan: p, sums: s, trail: t, history: m.readHistory(), status: map[*node]*Status{}}, nodes, nil
}

// OpenTrail reads the model's trail as it is now.
func (m *Model) OpenTrail() (*trail.Trail, error) {
	return trail.Open(filepath.Join(m.Dir, trail.FileName), m.opts.Trail)
}

// look says where one node stands, after all that it needs.
func (w *walk) look(ctx context.Context, n *node) (*Status, error) {
	v, err := w.prepare(ctx, n)
	if err != nil {
		return nil, err
	}
	switch {
	case v.final:
		return v.st, nil
	case v.ask:
		v.st.State = Failed
		return v.st, nil
	case v.trace == nil:
		v.st.State, v.st.Says = Due, says(v.st.Causes)
		return v.st, nil
	}
	if err := w.conclude(v); err != nil {
		return nil, err
	}
	return v.st, w.lookAtVisible(ctx, v)
}

// lookAtVisible notes visible results that somebody edited or deleted.
func (w *walk) lookAtVisible(ctx context.Context, v *visit) error {
	vis, err := w.visible(v.node, v.st)
	if err != nil {
		return err
	}
	misplaced, err := w.misplaced(ctx, vis)
	if err != nil || len(misplaced) == 0 {
		return err
	}
	v.st.Causes = append(v.st.Causes, Cause{What: VisibleGone, Says: fmt.Sprintf("%s in %s was edited or deleted; a run lays it out again", strings.Join(misplaced, ", "), vis.folder)})
	return nil
}

// conclude fills a status from a trace: what was found, what the gates and
// people say of it.
func (w *walk) conclude(v *visit) error {
	st := v.st
	st.Took = v.trace.By.Took
	files, err := w.files(v.node, st, v.trace)
	if err != nil {
		return err
	}
	st.Files = files
	if err := st.replay(v.node.book, v.trace.Outcome); err != nil {
		return fmt.Errorf("%s: the stored outcome cannot be read: %w", v.node.Node, err)
	}
	w.judge(v.node, st)
	w.decide(v.node, st)
	return nil
}

func says(causes []Cause) string {
	if len(causes) == 0 {
		return ""
	}
	return causes[0].Says
}

// board gathers the statuses of the nodes.
func (w *walk) board(nodes []*node) *Board {
	r := w.plan.recipe
	b := &Board{Model: r.Model, Title: r.Title, Recipe: r, Trail: trailState(w.trail)}
	for _, n := range nodes {
		if st := w.of(n); st != nil {
			b.Stages = append(b.Stages, st)
		}
	}
	return b
}

func trailState(t *trail.Trail) TrailState {
	return TrailState{Name: t.Name(), Records: len(t.Records()), Damaged: t.Damaged(), Problems: t.Problems(), Unsealed: t.Sealing().Waiting}
}
