package recipe

import (
	"cmp"
	"fmt"
	"slices"
	"strings"

	"layette/engine/diag"
)

// needs returns the stages that a stage needs, with the places that say so, in
// order of name.
func (s *Stage) needs() []From {
	var list []From
	for _, in := range s.Inputs {
		list = append(list, in.From...)
	}
	for _, name := range s.After {
		list = append(list, From{Stage: name, Pos: s.Pos})
	}
	slices.SortStableFunc(list, func(a, b From) int { return cmp.Compare(a.Stage, b.Stage) })
	return slices.CompactFunc(list, func(a, b From) bool { return a.Stage == b.Stage })
}

// order puts the stages in an order in which each comes after what it needs,
// and by name where that leaves a choice; or tells each circle there is.
func (r *reader) order() {
	slices.SortFunc(r.stages, func(a, b *staged) int { return cmp.Compare(a.Name, b.Name) })
	state := map[string]int{} // 1 on the way, 2 done
	var path []From
	var visit func(s *staged)
	visit = func(s *staged) {
		state[s.Name] = 1
		for _, need := range s.needs() {
			path = append(path, From{Stage: s.Name, Pos: need.Pos})
			switch next := r.stage(need.Stage); {
			case next == nil:
			case state[next.Name] == 1:
				r.circle(path, next.Name)
			case state[next.Name] == 0:
				visit(next)
			}
			path = path[:len(path)-1]
		}
		state[s.Name] = 2
		r.out.Stages = append(r.out.Stages, s.Stage)
	}
	for _, s := range r.stages {
		if state[s.Name] == 0 {
			visit(s)
		}
	}
}

// circle tells stages that wait for one another, one a line.
func (r *reader) circle(path []From, back string) {
	start := slices.IndexFunc(path, func(f From) bool { return f.Stage == back })
	path = path[start:]
	var b strings.Builder
	fmt.Fprintf(&b, "stages wait for one another:")
	var also []diag.Note
	for i, f := range path {
		next := path[(i+1)%len(path)].Stage
		fmt.Fprintf(&b, "\n  %s needs %s", f.Stage, next)
		if i > 0 {
			also = append(also, diag.Note{Pos: f.Pos, Msg: fmt.Sprintf("%s needs %s", f.Stage, next)})
		}
	}
	r.bad.Add(&diag.Problem{Pos: path[0].Pos, Code: "cycle", Msg: b.String(), Hint: "one of them must do without the other", Also: also})
}
