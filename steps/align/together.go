package align

import (
	"context"
	"slices"

	"layette/steps/internal/geom"
)

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
	s.job.Progress.Start("place scans", len(s.scans))
	taken := make([]bool, len(s.scans))
	var groups []*group
	finish := func(g *group) error {
		if err := g.grow(ctx); err != nil {
			return err
		}
		groups = append(groups, g)
		s.job.Progress.Add(len(g.order))
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
		copy(g.apart, taken)
		g.put(p.b, geom.NoMove)
		g.put(p.a, p.ideas[0].Pose)
		if err := finish(g); err != nil {
			return nil, err
		}
	}
	slices.SortStableFunc(groups, func(a, b *group) int { return len(b.order) - len(a.order) })
	return s.merge(ctx, groups)
}
