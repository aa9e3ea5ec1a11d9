package align

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/steps/internal/geom"
)

// complaint says in words why a place is not sure; "" if it is.
func (g *group) complaint(p *place) string {
	m := &p.meeting
	switch {
	case m.On < leastOn:
		return "it hardly touches the scans that are placed"
	case p.overlap < enoughOverlap:
		return fmt.Sprintf("only %.0f %% of it overlaps others", 100*p.overlap)
	case m.Clashing() > mostClash:
		return fmt.Sprintf("%.0f %% of it would hang in front of what other shots saw", 100*m.Clashing())
	case m.Agree() < enoughAgree:
		return fmt.Sprintf("only %.0f %% of what lies over its neighbours lies on them; the child may have moved", 100*m.Agree())
	case p.sigma > looseness*g.s.ratio:
		return fmt.Sprintf("it lies %.1f times as loosely as the others: blurred, or not this part", p.sigma/g.s.ratio)
	case len(p.against) > 0:
		return "it contradicts " + g.s.names(p.against)
	case p.firm < leastFirm || p.firm < enoughFirm && p.slip() > mostSlip && !p.joined:
		return "undetermined: where it meets the others the skin is too smooth to hold it; it slides or turns freely"
	}
	return ""
}

// slip is about how far noise lets a scan slide the way it is held least, mm,
// if four hundred of its points speak independently. Shots of a smooth arm were
// let go from 1 mm and 1 degree beside the truth, their neighbours at theirs,
// with noise of 0.05 and 0.15 mm: from a firmness of 0.0004 on 47 of 47 came
// back to 0.2 mm and 0.7 degrees; of 30 below 0.0003, 21 stayed 1 to 5 degrees off.
func (p *place) slip() float64 {
	return p.meeting.Sigma() / math.Sqrt(max(p.firm, 1e-9)*min(400, max(1, float64(p.meeting.On))))
}

func (s *session) names(list []int) string {
	var names []string
	for _, i := range list {
		names = append(names, s.scans[i].name)
	}
	slices.Sort(names)
	if len(names) > 3 {
		names = append(names[:3], fmt.Sprintf("%d more", len(names)-3))
	}
	return strings.Join(names, ", ")
}

// edge is a pair of members that touch.
type edge struct{ a, b int }

// edges lists the members that touch each other as they lie now.
func (g *group) edges(ctx context.Context) ([]edge, error) {
	order := slices.Sorted(slices.Values(g.order))
	var all []edge
	for k, b := range order {
		for _, a := range order[:k] {
			d := g.at[a].Apply(g.s.scans[a].middle).Sub(g.at[b].Apply(g.s.scans[b].middle)).Len()
			if d < g.s.scans[a].size+g.s.scans[b].size || g.s.scans[a].fixed || g.s.scans[b].fixed {
				all = append(all, edge{a, b})
			}
		}
	}
	touch := make([]bool, len(all))
	err := g.s.each(ctx, len(all), func(k int) error {
		e := all[k]
		m := g.meet(e.a, g.at[e.a], e.b, 100)
		touch[k] = m.On >= 10
		return nil
	})
	var kept []edge
	for k, e := range all {
		if touch[k] {
			kept = append(kept, e)
		}
	}
	return kept, err
}

// settle moves all members at once so that error does not pile up from one to
// the next: rounds of point-to-plane equations over every two that touch, on
// the fine clouds if fine is true.
func (g *group) settle(ctx context.Context, fine bool, rounds int) error {
	if len(g.order) < 2 {
		return nil
	}
	edges, err := g.edges(ctx)
	if err != nil {
		return err
	}
	for round := range rounds {
		j, links, err := g.system(ctx, edges, fine, g.s.spacing*(1.5-float64(0.5*float64(round))/float64(rounds)))
		if err != nil {
			return err
		}
		j.Sum(links)
		steps, ok := j.Solve(ctx)
		if !ok {
			return context.Cause(ctx)
		}
		moved := 0.0
		for k, i := range g.bodies() {
			for _, m := range i {
				g.at[m] = g.at[m].Stepped(steps[k], j.Mid, j.Size)
			}
			for _, x := range steps[k] {
				moved = max(moved, math.Abs(x))
			}
		}
		if moved < 1e-4*g.s.spacing {
			break
		}
	}
	return nil
}

// bodies lists the members that move as one: pinned scans together, each of
// the others alone, in the order of placing.
func (g *group) bodies() [][]int {
	var list [][]int
	number := map[int]int{}
	for _, i := range g.order {
		root := g.s.body(i)
		k, ok := number[root]
		if !ok {
			k = len(list)
			number[root] = k
			list = append(list, nil)
		}
		list[k] = append(list[k], i)
	}
	return list
}

// system takes the equations of every edge.
func (g *group) system(ctx context.Context, edges []edge, fine bool, reach float64) (*geom.Joint, []geom.Link, error) {
	bodies := g.bodies()
	of := make([]int, len(g.s.scans))
	j := &geom.Joint{Bodies: len(bodies)}
	box := geom.EmptyBox()
	for k, list := range bodies {
		for _, i := range list {
			of[i] = k
			box = box.Include(g.at[i].Apply(g.s.scans[i].middle))
			if g.s.scans[i].fixed {
				j.Fixed = k
			}
		}
	}
	j.Mid, j.Size = box.Centre(), max(box.Size().Len()/2, g.s.scans[g.order[0]].size)
	links := make([]geom.Link, len(edges))
	err := g.s.each(ctx, len(edges), func(k int) error {
		e := edges[k]
		links[k] = geom.Link{A: of[e.a], B: of[e.b], Weight: 1}
		if of[e.a] == of[e.b] {
			links[k].Weight = 0
			return nil
		}
		a, b, most := g.s.scans[e.a].view.Cloud, g.s.scans[e.b].view.Cloud, 300
		if fine {
			a, b, most = g.s.scans[e.a].fine, g.s.scans[e.b].fine, 700
		}
		touches := geom.Touches(a, b, g.at[e.a].Then(g.at[e.b].Inverse()), reach, most)
		for t := range touches {
			x := &touches[t]
			x.At, x.Plane, x.Normal = g.at[e.b].Apply(x.At), g.at[e.b].Apply(x.Plane), g.at[e.b].Rot.Apply(x.Normal)
		}
		links[k].Pull, _ = geom.Equations(touches, j.Mid, j.Size, 0.02*g.s.spacing)
		return nil
	})
	return j, links, err
}

// seeds returns the pairs to begin from, the best first.
func (s *session) seeds(pairs []pair) []*pair {
	var list []*pair
	for k := range pairs {
		if p := &pairs[k]; len(p.ideas) > 0 && s.sure(p, &p.ideas[0]) {
			list = append(list, p)
		}
	}
	slices.SortStableFunc(list, func(a, b *pair) int {
		x, y := a.ideas[0].worth(), b.ideas[0].worth()
		switch {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return 0
	})
	return list
}

// together grows groups from the best pairs and returns them, the largest
// first; with a casting, the one about it comes first.
func (s *session) together(ctx context.Context, pairs []pair) ([]*group, error) {
	s.learn(pairs)
	s.gather(pairs)
	taken := make([]bool, len(s.scans))
	var groups []*group
	finish := func(g *group) error {
		if err := g.grow(ctx); err != nil {
			return err
		}
		groups = append(groups, g)
		for _, i := range g.order {
			taken[i] = true
		}
		return nil
	}
	for i, c := range s.scans {
		if c.fixed && c.why == "" {
			g := s.newGroup()
			g.put(i, geom.NoMove)
			if err := finish(g); err != nil {
				return nil, err
			}
		}
	}
	for _, p := range s.seeds(pairs) {
		if taken[p.a] || taken[p.b] {
			continue
		}
		g := s.newGroup()
		g.put(p.b, geom.NoMove)
		g.put(p.a, p.ideas[0].Pose)
		if err := finish(g); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(groups, func(a, b *group) int { return len(b.order) - len(a.order) })
	return s.merge(ctx, groups)
}
