package align

import (
	"cmp"
	"context"
	"slices"

	"layette/steps/internal/geom"
)

// hint is an idea seen from the scan that is to be placed.
type hint struct {
	other int // the scan it is about
	pose  geom.Pose
	worth float64
	weak  bool // beside the best about the scan
}

// weak is the share of the best idea's worth below which another is no reason
// to try a scan again.
const weak = 0.2

// hints gathers each scan's ideas.
func (s *session) gather(pairs []pair) {
	s.hints = make([][]hint, len(s.scans))
	for k := range pairs {
		p := &pairs[k]
		for _, i := range p.ideas {
			s.hints[p.a] = append(s.hints[p.a], hint{other: p.b, pose: i.Pose, worth: i.worth()})
			s.hints[p.b] = append(s.hints[p.b], hint{other: p.a, pose: i.Pose.Inverse(), worth: i.worth()})
		}
	}
	for _, list := range s.hints {
		best := 0.0
		for _, h := range list {
			best = max(best, h.worth)
		}
		for k := range list {
			list[k].weak = list[k].worth < weak*best
		}
	}
}

// place is somewhere a scan may lie in a group, and how good it looks.
type place struct {
	scan    int
	at      geom.Pose
	worth   float64
	meeting geom.Meeting
	overlap float64
	firm    float64
	sigma   float64 // as a multiple of the pairs' noise
	against []int   // members that speak against it
	near    []int   // members it was judged against, once it is one
	joined  bool    // it was placed before: judged a little less strictly
	ok      bool
	why     string
}

// grow places scan after scan until none is left that surely fits. A scan that
// did not fit is tried again when twice as many ideas are about members, and when
// nothing else is left to try.
func (g *group) grow(ctx context.Context) error {
	for soon := 1.0; ; {
		todo := g.todo(soon)
		places := make([]place, len(todo))
		err := g.s.each(ctx, len(todo), func(k int) error {
			places[k] = g.find(ctx, todo[k])
			return nil
		})
		if err != nil {
			return err
		}
		switch grown := g.accept(places); {
		case grown:
			if err := g.settle(ctx, false, 2); err != nil {
				return err
			}
			soon = 1
		case soon == 0:
			return nil
		default:
			soon = 0
		}
	}
}

// todo lists the scans worth a try now.
func (g *group) todo(soon float64) []int {
	var list []int
	for i, c := range g.s.scans {
		n, before := g.known(i), float64(g.tries[i])
		if c.why == "" && !g.in[i] && !g.out[i] && float64(n) > before+float64(soon*before) {
			g.tries[i] = n
			list = append(list, i)
		}
	}
	return list
}

// known counts the ideas, weak ones aside, that scan i has about members. What a group that grew
// before holds was tried there: here it is only asked about the others, to tell
// how the two groups lie.
func (g *group) known(i int) int {
	n := 0
	for _, h := range g.s.hints[i] {
		if g.in[h.other] && !g.apart[h.other] && !h.weak {
			n++
		}
	}
	return n
}

// accept puts the places that are sure into the group, the best first, each
// checked against those put in just before. It reports whether there were any.
func (g *group) accept(places []place) bool {
	slices.SortStableFunc(places, func(a, b place) int {
		return cmp.Or(cmp.Compare(b.worth, a.worth), cmp.Compare(a.scan, b.scan))
	})
	var fresh []int
	for k := range places {
		p := &places[k]
		g.s.scans[p.scan].last = p
		if !p.ok || slices.ContainsFunc(fresh, func(o int) bool { return g.contradicts(p.scan, p.at, o) }) {
			continue
		}
		g.put(p.scan, p.at)
		fresh = append(fresh, p.scan)
	}
	return len(fresh) > 0
}

// contradicts reports whether scan i at a place cannot be true together with
// member o.
func (g *group) contradicts(i int, at geom.Pose, o int) bool {
	c, b := g.s.scans[i], g.s.scans[o]
	if at.Apply(c.middle).Sub(g.at[o].Apply(b.middle)).Len() > c.size+b.size {
		return false
	}
	m := g.meet(i, at, o, 200)
	return against(&m)
}

// against reports whether a meeting speaks against a place: much that lies over
// the other scan but not on it, or hangs in front of what was seen.
func against(m *geom.Meeting) bool {
	over := m.OverA + m.OverB
	return over >= 40 && m.Agree() < 0.5 || m.Clash >= 12 && m.Clashing() > 0.1
}

func (g *group) meet(i int, at geom.Pose, o, most int) geom.Meeting {
	a, b := g.s.scans[i], g.s.scans[o]
	return geom.Meet(a.view, b.view, at.Then(g.at[o].Inverse()), g.s.within(i, o), most)
}
