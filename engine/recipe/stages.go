package recipe

import (
	"fmt"
	"maps"
	"slices"
	"strings"

	"layette/engine/diag"
	"layette/engine/step"
)

// reserved are the keys of a stage that every stage may have; any other is an
// input of its step.
var reserved = []string{"step", "each", "only", "after", "why", "values", "gates", "sign"}

// staged is a stage with the text it was read from.
type staged struct {
	*Stage
	node   *node
	book   step.Handbook
	values map[string]*node
	inputs map[string]*node
}

func (r *reader) stage(name string) *staged {
	for _, s := range r.stages {
		if s.Name == name {
			return s
		}
	}
	return nil
}

func (r *reader) stageNames() []string {
	var names []string
	for _, s := range r.stages {
		names = append(names, s.Name)
	}
	return names
}

// readStages reads every stage: first what each is, then what each is given,
// which may speak of any other.
func (r *reader) readStages(root *node) {
	for _, n := range r.tables(root, "stages", "stage") {
		r.head(n)
	}
	for _, s := range r.stages {
		r.after(s)
		r.inputs(s)
		r.stageValues(s)
		r.sign(s)
	}
}

// head reads what a stage does and for which parts.
func (r *reader) head(n *node) {
	if slices.Contains(reserved, n.key) {
		r.atKey(n, "reserved-name", fmt.Sprintf("%q is a key of stages and no name for one", n.key), "name the stage by what it does")
	}
	s := &staged{Stage: &Stage{Name: n.key, Step: r.text(n, "step"), Each: r.text(n, "each"), Why: r.text(n, "why"), Pos: n.keyAt},
		node: n, values: map[string]*node{}, inputs: map[string]*node{}}
	r.stages = append(r.stages, s)
	r.need(n, fmt.Sprintf("stage %q", n.key), "step", "write step = \"NAME\": the commands list the steps")
	if kind, ok := r.kinds[s.Step]; ok {
		s.Kind, s.book = kind, kind.Handbook()
	} else if s.Step != "" {
		r.at(n.get("step"), "unknown-step", fmt.Sprintf("there is no step %q", s.Step), cmpHint(diag.DidYouMean(s.Step, r.stepNames()), "steps are "+strings.Join(r.stepNames(), ", ")))
	}
	if s.Each != "" && s.Each != "part" && s.Each != "scan" {
		r.at(n.get("each"), "wrong-word", fmt.Sprintf("each is %q", s.Each), `write each = "part" or each = "scan", or leave it out`)
		s.Each = "part" // most likely, so that no more is told than need be
	}
	r.onlyParts(s)
	if s.Kind != nil {
		known := slices.Clone(reserved)
		for _, in := range s.book.Inputs {
			known = append(known, in.Name)
		}
		r.only(n, fmt.Sprintf("stage %q (step %s)", n.key, s.Step), known...)
	}
}

func cmpHint(first, second string) string {
	if first != "" {
		return first
	}
	return second
}

func (r *reader) stepNames() []string { return slices.Sorted(maps.Keys(r.kinds)) }

// onlyParts settles the parts a stage is for.
func (r *reader) onlyParts(s *staged) {
	named := s.node.get("only")
	for _, item := range r.texts(s.node, "only") {
		name := item.value.(string)
		switch {
		case r.part(name) == nil:
			r.unknownPart(item, name)
		case s.Each == "scan" && r.part(name).Scans == "":
			r.at(item, "no-scans", fmt.Sprintf("part %q has no scans", name), fmt.Sprintf("write scans = \"scans/%s/*.ply\" under [parts.%s]", name, name))
		default:
			s.Only = append(s.Only, name)
		}
	}
	if named == nil {
		for _, p := range r.out.Parts {
			if s.Each != "scan" || p.Scans != "" {
				s.Only = append(s.Only, p.Name)
			}
		}
	}
	slices.Sort(s.Only)
	s.Only = slices.Compact(s.Only)
	if each := s.node.get("each"); s.Each != "" && len(s.Only) == 0 && named == nil {
		r.at(each, "no-parts", fmt.Sprintf("each = %q, but there is no part%s", s.Each, map[string]string{"scan": " with scans"}[s.Each]), "write [parts.NAME]")
	}
}

func (r *reader) after(s *staged) {
	for _, item := range r.texts(s.node, "after") {
		name := item.value.(string)
		if r.stageKnown(item, s, name) {
			s.After = append(s.After, name)
		}
	}
}

// stageKnown tells a stage that there is none of.
func (r *reader) stageKnown(n *node, s *staged, name string) bool {
	if r.stage(name) == nil {
		r.at(n, "unknown-stage", fmt.Sprintf("stage %q needs %q, which no stage is called", s.Name, name), diag.DidYouMean(name, r.stageNames()))
		return false
	}
	return true
}

// sign reads whose word a stage needs.
func (r *reader) sign(s *staged) {
	n := r.table(s.node, "sign")
	if n == nil {
		if s.book.Word && s.node.get("sign") == nil {
			r.atKey(s.node, "missing-sign", fmt.Sprintf("stage %q is only a person's word, and nobody is asked for it", s.Name), fmt.Sprintf("write [stages.%s.sign] with role and meaning", s.Name))
		}
		return
	}
	what := fmt.Sprintf("the sign-off of stage %q", s.Name)
	r.only(n, "a sign-off", "role", "people", "meaning", "questions", "not-maker", "sealed")
	r.need(n, what, "role", `write role = "sculptor"`)
	r.need(n, what, "meaning", `say what is vouched for: meaning = "I looked at every spot and judged it mouldable"`)
	s.Sign = &Sign{Role: r.role(n, "role"), People: 1, Meaning: r.line(n, "meaning"), NotMaker: r.flag(n, "not-maker"), Sealed: r.flag(n, "sealed"), Pos: n.keyAt}
	if p := n.get("people"); p != nil {
		count, ok := p.value.(int64)
		if !ok || count < 1 || count > 100 {
			r.at(p, "wrong-number", "people must be a whole number from 1 to 100", "")
			count = 1
		}
		s.Sign.People = int(count)
	}
	for _, q := range r.texts(n, "questions") {
		text := q.value.(string)
		if !oneLine(text) || text == "" {
			r.at(q, "not-one-line", "a question must be one line of plain text", "")
		}
		s.Sign.Questions = append(s.Sign.Questions, text)
	}
}

// role reads the name of a role that the recipe has.
func (r *reader) role(n *node, key string) string {
	role := r.text(n, key)
	if role != "" && r.out.Roles[role] == nil {
		r.at(n.get(key), "unknown-role", fmt.Sprintf("there is no role %q", role),
			cmpHint(diag.DidYouMean(role, slices.Collect(maps.Keys(r.out.Roles))), fmt.Sprintf("write [roles.%s]", role)))
	}
	return role
}
