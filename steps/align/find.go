package align

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// find returns the best place for scan i in the group.
func (g *group) find(ctx context.Context, i int) place {
	spots := g.gathered(i)
	best := place{scan: i, why: ""}
	second := 0.0
	list := g.promising(i, spots)
	for k, sp := range list {
		if ctx.Err() != nil || k > 0 && !best.ok && 2*sp.worth < list[0].worth {
			return best // it would not be believed beside the best
		}
		p := g.try(ctx, i, sp.pose)
		if k > 0 && g.s.alike(i, p.at, best.at) {
			continue
		}
		if better := p.worth > best.worth; k == 0 || better && (p.ok || !best.ok) {
			second = best.worth
			best = p
		} else if p.ok || !best.ok {
			second = max(second, p.worth)
		}
	}
	if best.ok && second >= rival*best.worth {
		best.ok, best.why = false, "undetermined: it fits in more than one place equally well"
	}
	return best
}

// promising leaves of the places those worth a closer look.
func (g *group) promising(i int, spots []hint) []hint {
	spots = spots[:min(len(spots), 8)]
	for k := range spots {
		var m geom.Meeting
		for _, o := range g.near(i, spots[k].pose, 8) {
			m.Add(g.meet(i, spots[k].pose, o, 60))
		}
		spots[k].worth = float64(m.On) * m.Agree() * (1 - float64(3*m.Clashing()))
	}
	slices.SortStableFunc(spots, func(a, b hint) int { return cmp.Compare(b.worth, a.worth) })
	n := 0
	for n < min(len(spots), 4) && spots[n].worth > 0 && 3*spots[n].worth >= spots[0].worth {
		n++
	}
	return spots[:n]
}

// gathered returns the places that scan i's hints speak for, those that several
// members agree on first.
func (g *group) gathered(i int) []hint {
	var spots []hint
	for _, h := range g.s.hints[i] {
		if !g.in[h.other] {
			continue
		}
		at := h.pose.Then(g.at[h.other])
		k := slices.IndexFunc(spots, func(o hint) bool { return g.s.alike(i, o.pose, at) })
		if k < 0 {
			spots = append(spots, hint{other: h.other, pose: at, worth: h.worth})
			continue
		}
		spots[k].worth += h.worth
	}
	slices.SortStableFunc(spots, func(a, b hint) int { return cmp.Compare(b.worth, a.worth) })
	return spots
}

// near returns the members that scan i may touch at a place, nearest first.
func (g *group) near(i int, at geom.Pose, most int) []int {
	c := g.s.scans[i]
	mid := at.Apply(c.middle)
	type far struct {
		o int
		d float64
	}
	var fs []far
	for _, o := range g.order {
		d := g.at[o].Apply(g.s.scans[o].middle).Sub(mid).Len()
		if o != i && (g.s.scans[o].fixed || d < c.size+g.s.scans[o].size) {
			fs = append(fs, far{o, d})
		}
	}
	slices.SortStableFunc(fs, func(a, b far) int { return cmp.Compare(a.d, b.d) })
	out := make([]int, 0, min(len(fs), most))
	for _, f := range fs[:min(len(fs), most)] {
		out = append(out, f.o)
	}
	return out
}

// try brings scan i nearer to its neighbours at a place and judges it there.
func (g *group) try(ctx context.Context, i int, at geom.Pose) place {
	p := place{scan: i, at: at}
	near := g.near(i, at, 14)
	p.at, p.firm = g.nestle(ctx, i, at, near)
	if g.judge(&p, near, 60); p.firm > 0 && p.meeting.Agree() >= 0.6 {
		g.judge(&p, near, asked)
	}
	return p
}

// hopeless is how many times too loosely a scan may lie after the first steps
// for more to be worth while.
const hopeless = 3

// nestle moves scan i onto all its neighbours at once and says how firmly their
// shape holds it.
func (g *group) nestle(ctx context.Context, i int, at geom.Pose, near []int) (geom.Pose, float64) {
	c := g.s.scans[i]
	near = near[:min(len(near), 10)]
	touching := g.touchers(i, near)
	var touches []geom.Touch
	for round := range 6 {
		if ctx.Err() != nil {
			return at, 0
		}
		reach := g.s.spacing * (3 - float64(0.3*float64(round)))
		touches = g.touches(at, near, touching, reach, touches[:0])
		if len(touches) < 30 {
			return at, 0
		}
		mid := at.Apply(c.middle)
		eq, sigma := geom.Equations(touches, mid, c.size, 0.02*g.s.spacing)
		x, ok := eq.Solve()
		if !ok || round > 0 && sigma > hopeless*looseness*g.s.ratio*g.noiseOf(i, near) {
			return at, 0
		}
		at = at.Stepped(x, mid, c.size)
		if round == 5 || geom.StepLength(x) < 0.02*g.s.spacing {
			firm, _, _ := eq.Weakest()
			return at, firm
		}
	}
	return at, 0
}

// noiseOf returns the scatter of scan i against its neighbours, mm.
func (g *group) noiseOf(i int, near []int) float64 {
	sum := 0.0
	for _, o := range near {
		sum += g.s.noise(i, o)
	}
	return sum / float64(max(1, len(near)))
}

// touches adds to all where a scan touches its neighbours, in the group's frame.
func (g *group) touches(at geom.Pose, near []int, touching []*geom.Toucher, reach float64, all []geom.Touch) []geom.Touch {
	for k, o := range near {
		for _, t := range touching[k].Touches(at.Then(g.at[o].Inverse()), reach) {
			all = append(all, geom.Touch{At: g.at[o].Apply(t.At), Plane: g.at[o].Apply(t.Plane), Normal: g.at[o].Rot.Apply(t.Normal), From: t.From})
		}
	}
	return all
}

// touchers readies scan i's questions to its neighbours.
func (g *group) touchers(i int, near []int) []*geom.Toucher {
	list := make([]*geom.Toucher, len(near))
	for k, o := range near {
		list[k] = geom.NewToucher(g.s.scans[i].view.Cloud, g.s.scans[o].view.Cloud, 120)
	}
	return list
}

// asked is how many of a scan's points, and of each neighbour's, are tried for a
// judgement.
const asked = 250

// judge fills in what the neighbours say of a place.
func (g *group) judge(p *place, near []int, most int) {
	p.meeting, p.overlap, p.against = geom.Meeting{}, 0, nil
	var noise, weight float64
	for _, o := range near {
		m := g.meet(p.scan, p.at, o, most)
		if against(&m) {
			p.against = append(p.against, o)
		}
		over := float64(m.OverA + m.OverB)
		noise += float64(over * g.s.noise(p.scan, o))
		weight += over
		p.overlap = max(p.overlap, m.Overlap())
		p.meeting.Add(m)
	}
	p.overlap = max(p.overlap, min(1, float64(p.meeting.OverA)*float64(len(near))/float64(max(1, p.meeting.AskedA))/2))
	p.sigma = math.Inf(1)
	if weight > 0 {
		p.sigma = p.meeting.Sigma() / (noise / weight)
	}
	p.worth = float64(p.meeting.On) * asked / float64(most) * p.meeting.Agree() * (1 - float64(3*p.meeting.Clashing()))
	p.why = g.complaint(p, near)
	p.ok = p.why == ""
}
