package recipe

import (
	"cmp"
	"slices"
	"strings"

	"layette/engine/diag"
	"layette/engine/graph"
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
// and by name where that leaves a choice; or tells a circle.
func (r *reader) order() {
	byName := map[string]*staged{}
	for _, s := range r.stages {
		byName[s.Name] = s
	}
	order, circle := graph.Order(slices.Sorted(slices.Values(r.stageNames())), func(name string) []string {
		var names []string
		for _, need := range byName[name].needs() {
			names = append(names, need.Stage)
		}
		return names
	})
	if circle != nil {
		r.circle(circle, byName)
	}
	for _, name := range order {
		r.out.Stages = append(r.out.Stages, byName[name].Stage)
	}
}

// circle tells stages that wait for one another, one a line, at the place of
// the first need; the others are noted.
func (r *reader) circle(path graph.Cycle, byName map[string]*staged) {
	p := &diag.Problem{Code: "cycle", Msg: "stages wait for one another:", Hint: "one of them must do without the other"}
	for i, name := range path[:len(path)-1] {
		needs := byName[name].needs()
		edge := needs[slices.IndexFunc(needs, func(f From) bool { return f.Stage == path[i+1] })]
		says := name + " needs " + path[i+1]
		p.Msg += "\n  " + says
		if i == 0 {
			p.Pos = edge.Pos
		} else {
			p.Also = append(p.Also, diag.Note{Pos: edge.Pos, Msg: says})
		}
	}
	r.bad.Add(p)
}

// split takes "stage.output" apart; output is empty where only a stage is named.
func split(name string) (stage, output string) {
	stage, output, _ = strings.Cut(name, ".")
	return stage, output
}
