package align

import (
	"cmp"
	"context"
	"slices"

	"layette/steps/internal/geom"
)

// merge joins groups that surely lie together, and returns what is left of
// them: the one about a casting first, else the largest.
func (s *session) merge(ctx context.Context, groups []*group) ([]*group, error) {
	for again := true; again; {
		again = false
		for k := 1; k < len(groups); k++ {
			for h := 0; h < k; h++ {
				ok, err := groups[h].absorb(ctx, groups[k])
				if err != nil {
					return nil, err
				}
				if ok {
					groups = slices.Delete(groups, k, k+1)
					again = true
					k--
					break
				}
			}
		}
	}
	slices.SortStableFunc(groups, func(a, b *group) int {
		return cmp.Or(cmp.Compare(b.anchor(), a.anchor()), cmp.Compare(len(b.order), len(a.order)))
	})
	return groups, nil
}

// anchor is 1 for a group that lies on a casting.
func (g *group) anchor() int {
	for _, i := range g.order {
		if g.s.scans[i].fixed && len(g.order) > 1 {
			return 1
		}
	}
	return 0
}

// absorb places group o in g as one body, if scans they share or ideas between
// their scans say where, and everything in both then fits. It reports whether
// it did.
func (g *group) absorb(ctx context.Context, o *group) (bool, error) {
	for _, h := range g.bridges(o)[:min(3, len(g.bridges(o)))] {
		if ctx.Err() != nil {
			return false, context.Cause(ctx)
		}
		if !g.bears(o, h.pose) {
			continue
		}
		before := *g
		before.in, before.at, before.order = slices.Clone(g.in), slices.Clone(g.at), slices.Clone(g.order)
		before.ties, before.woven, before.tries = slices.Clone(g.ties), slices.Clone(g.woven), slices.Clone(g.tries)
		for _, i := range o.order {
			if !g.in[i] {
				g.put(i, o.at[i].Then(h.pose))
			}
		}
		if err := g.settle(ctx, false, 4); err != nil {
			return false, err
		}
		if g.allWell(ctx, o) && g.joinHolds(&before, o) {
			return true, g.grow(ctx)
		}
		*g = before
	}
	return false, nil
}

// bridges returns where group o may lie in g, what most speaks for first.
func (g *group) bridges(o *group) []hint {
	var list []hint
	add := func(i int, pose geom.Pose, worth float64) {
		k := slices.IndexFunc(list, func(h hint) bool {
			return g.s.alike(i, o.at[i].Then(h.pose), o.at[i].Then(pose))
		})
		if k < 0 {
			list = append(list, hint{other: i, pose: pose, worth: worth})
			return
		}
		list[k].worth += worth
	}
	for _, i := range o.order {
		if g.in[i] {
			add(i, o.at[i].Inverse().Then(g.at[i]), 1e4)
			continue
		}
		for _, h := range g.s.hints[i] {
			if g.in[h.other] {
				add(i, o.at[i].Inverse().Then(h.pose).Then(g.at[h.other]), h.worth)
			}
		}
	}
	slices.SortStableFunc(list, func(a, b hint) int { return cmp.Compare(b.worth, a.worth) })
	return list
}

// bears reports whether group o may lie in g at a pose: no two scans
// contradict each other, and enough of them touch.
func (g *group) bears(o *group, pose geom.Pose) bool {
	on, shared := 0, 0
	for _, i := range o.order {
		at := o.at[i].Then(pose)
		if g.in[i] {
			if !g.s.alike(i, at, g.at[i]) {
				return false
			}
			shared++
			continue
		}
		for _, k := range g.near(i, at, 20) {
			m := g.meet(i, at, k, 120)
			if against(&m) {
				return false
			}
			on += m.On
		}
	}
	return shared > 0 || on >= 2*leastOn
}

// joinHolds reports whether the places where group o touches what was in g
// before hold the two together: shape must fix the one on the other, however
// firmly each is held in itself. A scan that both hold is such a place.
func (g *group) joinHolds(before *group, o *group) bool {
	var touches []geom.Touch
	var all place
	var noise, weight float64
	for _, i := range o.order {
		if before.in[i] {
			return true
		}
		near := slices.DeleteFunc(g.near(i, g.at[i], 40), func(k int) bool { return !before.in[k] })
		touches = append(touches, g.touches(g.at[i], near, g.touchers(i, near), 1.5*g.s.spacing)...)
		for _, k := range near {
			m := g.meet(i, g.at[i], k, 250)
			over := float64(m.OverA + m.OverB)
			noise += float64(over * g.s.noise(i, k))
			weight += over
			all.meeting.Add(m)
		}
	}
	if len(touches) < 4*leastOn || weight == 0 {
		return false
	}
	m := &all.meeting
	return geom.Hold(touches, 0.02*g.s.spacing) >= seedFirm && m.Agree() >= enoughAgree+0.05 && m.Clashing() <= mostClash &&
		m.Sigma() <= looseness*g.s.ratio*noise/weight
}

// allWell reports whether every scan of o lies well in g.
func (g *group) allWell(ctx context.Context, o *group) bool {
	well := make([]bool, len(o.order))
	err := g.s.each(ctx, len(o.order), func(k int) error {
		i := o.order[k]
		near := g.near(i, g.at[i], 30)
		p := place{scan: i, at: g.at[i], firm: g.firmness(i, near), joined: true}
		g.judge(&p, near, 200)
		well[k] = p.ok || g.s.scans[i].fixed || g.s.isPinned(i)
		return nil
	})
	return err == nil && !slices.Contains(well, false)
}
