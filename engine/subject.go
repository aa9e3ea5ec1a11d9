package engine

import (
	"context"
	"fmt"
	"slices"
)

// Subject returns what a word about a node is bound to now, and where the node
// stands. Every digest is taken afresh, believing nothing that was remembered:
// what is signed is what lies there. A stage that is not computed has nothing
// to sign and is refused with the reason.
func (m *Model) Subject(ctx context.Context, n Node) (*Subject, *Status, error) {
	w, nodes, err := m.lookWalk(ctx, nil)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(nodes, func(x *node) bool { return x.Node == n })
	if i < 0 {
		return nil, nil, &UnknownStage{Name: n.String(), Recipe: w.plan.recipe}
	}
	st := w.of(nodes[i])
	switch st.State {
	case Due, Failed, Waiting:
		return nil, st, fmt.Errorf("%s is %s and has nothing to sign: %s", n, st.State, st.Says)
	case Handwork:
		if st.Sign == nil { // the file itself is awaited
			return nil, st, fmt.Errorf("%s awaits handwork: %s", n, st.Says)
		}
	}
	s := w.subject(nodes[i], st)
	for _, f := range slices.Concat(s.Files, s.From) {
		if f.bytes.data != nil { // made from what was just looked at
			continue
		}
		sum, err := m.stamps.Read(ctx, f.bytes.place, f.bytes.name, nil)
		if err != nil {
			return nil, st, fmt.Errorf("%s: %w", f.Path, err)
		}
		if sum.SHA256 != f.SHA256 {
			return nil, st, fmt.Errorf("%s is not what the stage worked with: run again, and look again, before you sign", f.Path)
		}
	}
	return s, st, nil
}
