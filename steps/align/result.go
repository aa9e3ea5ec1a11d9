package align

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// result is what was found of the whole session.
type result struct {
	s      *session
	g      *group // the one that counts
	groups []*group
	places map[int]*place // of placed scans, judged at the end
	pairs  []joined
	tried  []pair  // all that were compared
	loop   float64 // mm
	moved  []movedPlace
	why    []string // of each scan, "" if it is placed
}

// joined is a pair of placed scans that touch.
type joined struct {
	a, b    int
	meeting geom.Meeting
}

// conclude settles the largest group finely, takes out what does not lie well
// after that, makes room for what that had kept out, and gathers what is to be
// told.
func (s *session) conclude(ctx context.Context, pairs []pair, groups []*group) (*result, error) {
	r := &result{s: s, groups: groups, tried: pairs, places: map[int]*place{}, why: make([]string, len(s.scans))}
	r.g = s.newGroup()
	if len(groups) > 0 {
		r.g = groups[0]
	}
	s.job.Progress.Start("settle all places together", 0)
	for again := 10; ; again-- {
		if err := r.g.settle(ctx, true, 6); err != nil {
			return nil, err
		}
		if err := r.judgeAll(ctx); err != nil {
			return nil, err
		}
		if !r.dropWorst() {
			break
		}
		if again <= 0 {
			continue // until all that is left lies well
		}
		if err := r.g.grow(ctx); err != nil {
			return nil, err
		}
	}
	s.job.Progress.Start("look at what touches and what moved", 0)
	r.intoFrame()
	if err := r.touching(ctx); err != nil {
		return nil, err
	}
	r.loops(pairs)
	if err := r.findMoved(ctx); err != nil {
		return nil, err
	}
	s.job.Progress.Start("draw what is placed", 0)
	r.reasons(pairs)
	return r, nil
}

// judgeAll looks at every member against all its neighbours, unless it was
// looked at before and neither it nor they have changed since.
func (r *result) judgeAll(ctx context.Context) error {
	list := make([]*place, len(r.g.order))
	err := r.s.each(ctx, len(list), func(k int) error {
		i := r.g.order[k]
		near := r.g.near(i, r.g.at[i], 40)
		if p := r.places[i]; p != nil && r.stands(p, near) {
			list[k] = p
			return nil
		}
		list[k] = &place{scan: i, at: r.g.at[i], joined: true, near: near}
		list[k].firm = r.g.firmness(i, near)
		r.g.judge(list[k], near, asked)
		r.s.scans[i].turned(list[k])
		r.s.scans[i].sized(list[k])
		return nil
	})
	clear(r.places)
	for _, p := range list {
		r.places[p.scan] = p
	}
	return err
}

// stands reports whether a place is still as it was judged: nothing came, went
// or moved by more than a hundredth of the spacing.
func (r *result) stands(p *place, near []int) bool {
	moved := func(o int, at geom.Pose) float64 {
		mid := r.s.scans[o].middle
		return at.Apply(mid).Sub(r.g.at[o].Apply(mid)).Len()
	}
	if len(near) != len(p.near) || moved(p.scan, p.at) > 0.01*r.s.spacing {
		return false
	}
	return !slices.ContainsFunc(near, func(o int) bool {
		q := r.places[o]
		return !slices.Contains(p.near, o) || q == nil || moved(o, q.at) > 0.01*r.s.spacing
	})
}

// firmness says how firmly member i's neighbours hold it.
func (g *group) firmness(i int, near []int) float64 {
	c := g.s.scans[i]
	touches := g.touches(g.at[i], near, g.touchers(i, near), 1.5*g.s.spacing, nil)
	if len(touches) < 30 {
		return 0
	}
	eq, _ := geom.Equations(touches, g.at[i].Apply(c.middle), c.size, 0.02*g.s.spacing)
	firm, turn, shift := eq.Weakest()
	c.grown, c.grownBy = grown(touches, g.at[i].Apply(c.middle), c.size)
	c.turn, c.shift = turn, shift
	return firm
}

// dropWorst takes out the member that lies worst, if one does, and others that
// lie badly and do not touch it: first what most contradicts others, for those
// lie badly because of it, then what has least on its neighbours. Pinned scans
// and the casting stay.
func (r *result) dropWorst() bool {
	var bad []*place
	blame := make([]int, len(r.s.scans))
	for _, i := range r.g.order {
		p := r.places[i]
		for _, o := range p.against {
			blame[o]++
			blame[i]++
		}
		if !p.ok && !r.s.scans[i].fixed && !r.s.isPinned(i) {
			bad = append(bad, p)
		}
	}
	if len(bad) == 0 || len(r.g.order) < 2 {
		return false
	}
	slices.SortFunc(bad, func(a, b *place) int {
		return cmp.Or(cmp.Compare(blame[b.scan], blame[a.scan]), cmp.Compare(a.worth, b.worth), cmp.Compare(a.scan, b.scan))
	})
	kept := make([]bool, len(r.s.scans)) // until what touched them is gone
	for _, p := range bad {
		if kept[p.scan] {
			continue
		}
		for _, t := range r.g.ties {
			if t.a == p.scan || t.b == p.scan {
				kept[t.a], kept[t.b] = true, true
			}
		}
		r.s.scans[p.scan].last = p
		r.g.remove(p.scan)
	}
	if len(r.g.order) == 1 && !r.s.scans[r.g.order[0]].fixed {
		r.g.remove(r.g.order[0])
	}
	return true
}

func (s *session) isPinned(i int) bool { _, ok := s.pinned[i]; return ok }

// remove takes member i out for good; what did not fit beside it may be tried
// again.
func (g *group) remove(i int) {
	g.out[i] = true
	g.release(i)
	gone := g.s.scans[i]
	for k, c := range g.s.scans {
		if c.last != nil && c.last.at.Apply(c.middle).Sub(g.at[i].Apply(gone.middle)).Len() < c.size+gone.size {
			g.tries[k] = 0
		}
	}
}

// intoFrame turns everything into the frame of the casting, or else of the
// placed scan whose name comes first.
func (r *result) intoFrame() {
	first := -1
	for _, i := range r.g.order {
		c := r.s.scans[i]
		if first < 0 || c.fixed || !r.s.scans[first].fixed && c.file.Name < r.s.scans[first].file.Name {
			first = i
		}
	}
	if first < 0 {
		return
	}
	back := r.g.at[first].Inverse()
	for _, i := range r.g.order {
		r.g.at[i] = r.g.at[i].Then(back)
		c := r.s.scans[i]
		c.turn, c.shift = back.Rot.Apply(c.turn), back.Rot.Apply(c.shift)
	}
	r.g.at[first] = geom.NoMove
	r.g.frame = first
}

// touching measures every two members that touch.
func (r *result) touching(ctx context.Context) error {
	r.pairs = make([]joined, len(r.g.ties))
	return r.s.each(ctx, len(r.pairs), func(k int) error {
		t := &r.g.ties[k]
		r.pairs[k] = joined{t.a, t.b, r.g.meet(t.a, r.g.at[t.a], t.b, 400)}
		return nil
	})
}

// loops finds how far firm pairs, each placed by itself, lie from the whole.
func (r *result) loops(pairs []pair) {
	for k := range pairs {
		p := &pairs[k]
		if len(p.ideas) == 0 || !r.g.in[p.a] || !r.g.in[p.b] {
			continue
		}
		i, a := &p.ideas[0], r.s.scans[p.a]
		whole := r.g.at[p.a].Then(r.g.at[p.b].Inverse())
		if r.s.sure(p, i) && r.s.alike(p.a, i.Pose, whole) {
			r.loop = max(r.loop, i.Pose.Apply(a.middle).Sub(whole.Apply(a.middle)).Len())
		}
	}
}

// reasons says of every scan that is not placed why.
func (r *result) reasons(pairs []pair) {
	for i, c := range r.s.scans {
		if r.g.in[i] {
			continue
		}
		r.why[i] = c.why
		if c.why != "" {
			continue
		}
		if c.last != nil && c.last.why != "" {
			r.why[i] = c.last.why
		} else {
			r.why[i] = r.s.explain(i, pairs)
		}
		for _, g := range r.groups[min(1, len(r.groups)):] {
			if g.in[i] && len(g.order) > 1 {
				rest := slices.DeleteFunc(slices.Clone(g.order), func(k int) bool { return k == i })
				r.why[i] = fmt.Sprintf("fits only with %s, not with the rest", r.s.names(rest))
			}
		}
	}
}

// rms returns the root mean square distance over all pairs, NaN without any.
func (r *result) rms() float64 {
	var m geom.Meeting
	for _, p := range r.pairs {
		m.On += p.meeting.On
		m.Square += p.meeting.Square
	}
	if m.On == 0 {
		return math.NaN()
	}
	return m.RMS()
}

// explain says of a scan that no group holds what the best idea about it lacks.
func (s *session) explain(i int, pairs []pair) string {
	with, best := s.fits(i, pairs)
	if best == nil || best.Agree < 0.5 {
		if geom.Firmness(s.scans[i].view.Cloud, s.scans[i].view.Cloud, geom.NoMove, 400) < loosely {
			return "undetermined: its own shape is so smooth or so alike all over that it slides or turns on itself"
		}
		return "nothing in it is known again in any other scan"
	}
	other := s.scans[with.a+with.b-i].name
	switch {
	case best.Firm < seedFirm:
		return fmt.Sprintf("undetermined: it lies well on %s, but where they meet the skin is so smooth that it slides or turns freely", other)
	case len(with.ideas) > 1 && with.ideas[1].worth() >= rival*best.worth():
		return fmt.Sprintf("undetermined: it fits %s in more than one way", other)
	case best.Overlap < enoughOverlap:
		return fmt.Sprintf("at best %.0f %% of it overlaps %s", 100*best.Overlap, other)
	}
	return fmt.Sprintf("it fits %s best, and not surely: %.0f %% of the overlap lies on it", other, 100*best.Agree)
}
