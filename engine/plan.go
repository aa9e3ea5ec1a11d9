package engine

import (
	"errors"
	"fmt"
	"io/fs"
	"slices"
	"strings"

	"layette/engine/recipe"
	"layette/engine/step"
	"layette/engine/store"
)

// node is one instance of a stage in a plan.
type node struct {
	Node
	stage *recipe.Stage
	book  step.Handbook
	needs []*node // what must be done first, each once
	after []*node // what of it waits for this one
	feeds []feed  // one for each input the recipe gives
}

// feed is where one input of a node comes from: outputs of other nodes, or
// files of people.
type feed struct {
	in    *recipe.Input
	decl  step.Input
	from  []outlet
	files []source
	glob  string // what files were looked for
	away  string // why they cannot be looked for today
}

// outlet is an output of a node.
type outlet struct {
	node   *node
	output string
}

// source is a person's file that a plan reads.
type source struct {
	place store.Place
	name  string
	shown string // as people know it
}

// plan is a recipe fanned out over the parts and scans that are there. It is
// fixed when a run begins.
type plan struct {
	recipe *recipe.Recipe
	nodes  []*node             // each after what it needs
	byName map[string][]*node  // by stage
	scans  map[string][]string // by part, paths below the model in order
}

// plan fans the recipe out. Nothing is read but the names in folders.
func (m *Model) plan(r *recipe.Recipe) (*plan, error) {
	p := &plan{recipe: r, byName: map[string][]*node{}, scans: map[string][]string{}}
	list := newLister()
	for _, part := range r.Parts {
		if part.Scans == "" {
			continue
		}
		scans, err := list.glob(m.here(), part.Scans)
		if err != nil {
			return nil, fmt.Errorf("scans of %s: %w", part.Name, err)
		}
		p.scans[part.Name] = scans
	}
	for _, s := range r.Stages {
		for _, n := range p.instances(s) {
			if err := m.connect(p, n, list); err != nil {
				return nil, fmt.Errorf("%s: %w", n.Node, err)
			}
			p.nodes = append(p.nodes, n)
			p.byName[s.Name] = append(p.byName[s.Name], n)
		}
	}
	return p, nil
}

// instances returns a stage's nodes, not yet connected.
func (p *plan) instances(s *recipe.Stage) []*node {
	book := s.Kind.Handbook()
	one := func(part, scan string) *node {
		return &node{Node: Node{Stage: s.Name, Part: part, Scan: scan}, stage: s, book: book}
	}
	var nodes []*node
	switch s.Each {
	case "":
		nodes = append(nodes, one("", ""))
	case "part":
		for _, part := range s.Only {
			nodes = append(nodes, one(part, ""))
		}
	case "scan":
		for _, part := range s.Only {
			for _, scan := range p.scans[part] {
				nodes = append(nodes, one(part, scan))
			}
		}
	}
	return nodes
}

// connect finds what a node's inputs come from and what it comes after.
func (m *Model) connect(p *plan, n *node, list *lister) error {
	for _, in := range n.stage.Inputs {
		f := feed{in: in, decl: declared(n.book, in.Name)}
		for _, from := range in.From {
			for _, up := range p.feeding(from.Stage, n.Node) {
				f.from = append(f.from, outlet{up, from.Output})
				n.need(up)
			}
		}
		if len(in.From) == 0 {
			if err := m.lookFor(&f, p, n.Node, list); err != nil {
				return err
			}
		}
		n.feeds = append(n.feeds, f)
	}
	for _, stage := range n.stage.After {
		for _, up := range p.feeding(stage, n.Node) {
			n.need(up)
		}
	}
	return nil
}

func (n *node) need(up *node) {
	if !slices.Contains(n.needs, up) {
		n.needs = append(n.needs, up)
		up.after = append(up.after, n)
	}
}

func declared(book step.Handbook, input string) step.Input {
	for _, d := range book.Inputs {
		if d.Name == input {
			return d
		}
	}
	return step.Input{Name: input}
}

// feeding returns the instances of a stage that an instance of another takes
// from: its own part and scan where it has one, all of them where it has none.
func (p *plan) feeding(stage string, to Node) []*node {
	var ups []*node
	for _, up := range p.byName[stage] {
		if (to.Part == "" || up.Part == "" || up.Part == to.Part) && (to.Scan == "" || up.Scan == "" || up.Scan == to.Scan) {
			ups = append(ups, up)
		}
	}
	return ups
}

// lookFor finds the files that a recipe's glob stands for. A folder outside
// the model may be away today, as backup disks are.
func (m *Model) lookFor(f *feed, p *plan, n Node, list *lister) error {
	globs := f.in.FilesAt(n.Part, n.Scan)
	f.glob = strings.Join(globs, ", ")
	place, err := m.place(p.recipe, f.in.Folder)
	if errors.Is(err, fs.ErrNotExist) {
		f.away = fmt.Sprintf("folder %s (%s) is not there today", f.in.Folder, p.recipe.Folders[f.in.Folder].Path)
		return nil
	}
	if err != nil {
		return err
	}
	var names []string
	for _, glob := range globs {
		found, err := list.glob(place, glob)
		if err != nil {
			return fmt.Errorf("input %s: %w", f.in.Name, err)
		}
		names = append(names, found...)
	}
	slices.Sort(names)
	names = slices.Compact(names)
	for _, name := range names {
		f.files = append(f.files, source{place: place, name: name, shown: shown(place, name)})
	}
	return nil
}

// cone returns the nodes of the named stages and all that they need, in order.
// Without names it returns every node.
func (p *plan) cone(stages []string) ([]*node, error) {
	if len(stages) == 0 {
		return p.nodes, nil
	}
	wanted := map[*node]bool{}
	var want func(n *node)
	want = func(n *node) {
		if !wanted[n] {
			wanted[n] = true
			for _, up := range n.needs {
				want(up)
			}
		}
	}
	for _, name := range stages {
		if !slices.ContainsFunc(p.recipe.Stages, func(s *recipe.Stage) bool { return s.Name == name }) {
			return nil, &UnknownStage{Name: name, Recipe: p.recipe}
		}
		for _, n := range p.byName[name] {
			want(n)
		}
	}
	return slices.DeleteFunc(slices.Clone(p.nodes), func(n *node) bool { return !wanted[n] }), nil
}

// UnknownStage says that the recipe has no stage of a name.
type UnknownStage struct {
	Name   string
	Recipe *recipe.Recipe
}

// Error names the stages there are.
func (e *UnknownStage) Error() string {
	var names []string
	for _, s := range e.Recipe.Stages {
		names = append(names, s.Name)
	}
	return fmt.Sprintf("the recipe has no stage %q; it has %q", e.Name, names)
}
