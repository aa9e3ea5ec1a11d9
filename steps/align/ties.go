package align

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// tie is two members of a group that touch, and what pulls them together.
type tie struct {
	a, b int
	on   int       // points on the other, of those tried
	fine bool      // its equations are of the fine clouds
	from geom.Pose // a in b's frame when they were taken; zero if they never were
	pull geom.Normal6
	asks *geom.Toucher // of the clouds that fine says; nil before the first time
}

// Rules for ties. Common practice, no source.
const (
	fewOn    = 10   // points on the other that make a tie
	strong   = 8    // ties that pull at a scan at least, the best ones: more settle it no better
	tieReach = 1.25 // spacings within which partners are sought
)

// weave ties members that were put in since the last time to those they touch.
func (g *group) weave(ctx context.Context) error {
	var fresh []tie
	for _, i := range g.order {
		if g.woven[i] {
			continue
		}
		g.woven[i] = true
		for _, o := range g.near(i, g.at[i], 60) {
			if g.woven[o] {
				fresh = append(fresh, tie{a: max(i, o), b: min(i, o)})
			}
		}
	}
	err := g.s.each(ctx, len(fresh), func(k int) error {
		t := &fresh[k]
		m := g.meet(t.a, g.at[t.a], t.b, 100)
		t.on = m.On
		return nil
	})
	g.ties = append(g.ties, slices.DeleteFunc(fresh, func(t tie) bool { return t.on < fewOn })...)
	return err
}

// unweave forgets the ties of member i.
func (g *group) unweave(i int) {
	g.woven[i] = false
	g.ties = slices.DeleteFunc(g.ties, func(t tie) bool { return t.a == i || t.b == i })
}

// pulling returns the ties that are among the best of either scan; all of a
// casting's are.
func (g *group) pulling() []*tie {
	of := make([][]*tie, len(g.s.scans))
	for k := range g.ties {
		t := &g.ties[k]
		of[t.a], of[t.b] = append(of[t.a], t), append(of[t.b], t)
	}
	best := map[*tie]bool{}
	for i, list := range of {
		slices.SortStableFunc(list, func(x, y *tie) int { return cmp.Compare(y.on, x.on) })
		if !g.s.scans[i].fixed {
			list = list[:min(len(list), strong)]
		}
		for _, t := range list {
			best[t] = true
		}
	}
	var all []*tie
	for k := range g.ties {
		if t := &g.ties[k]; best[t] && g.s.body(t.a) != g.s.body(t.b) {
			all = append(all, t)
		}
	}
	return all
}

// settle moves all members at once so that error does not pile up from one to
// the next: rounds of point-to-plane equations over the ties that pull, on the
// fine clouds if fine is true. Equations are taken anew where two scans moved
// against each other since; the others follow to first order.
func (g *group) settle(ctx context.Context, fine bool, rounds int) error {
	if err := g.weave(ctx); err != nil {
		return err
	}
	ties := g.pulling()
	enough := 0.03 * g.s.spacing
	if fine {
		enough = 0.005 * g.s.spacing
	}
	for range rounds {
		stale := slices.DeleteFunc(slices.Clone(ties), func(t *tie) bool { return t.fine == fine && g.strayed(t) < enough })
		err := g.s.each(ctx, len(stale), func(k int) error {
			g.take(stale[k], fine)
			return nil
		})
		if err != nil || len(stale) == 0 {
			return err
		}
		if !g.step(ctx, ties) {
			return context.Cause(ctx)
		}
	}
	return nil
}

// strayed returns how far two scans have moved against each other since their
// equations were taken, mm.
func (g *group) strayed(t *tie) float64 {
	if t.from == (geom.Pose{}) {
		return math.Inf(1)
	}
	c, now := g.s.scans[t.a], g.at[t.a].Then(g.at[t.b].Inverse())
	r := t.from.Rot.Transposed().Mul(now.Rot)
	turn := math.Sqrt(max(0, 3-r[0][0]-r[1][1]-r[2][2]))
	return now.Apply(c.middle).Sub(t.from.Apply(c.middle)).Len() + float64(turn*c.size)
}

// take takes the equations of two scans as they lie now.
func (g *group) take(t *tie, fine bool) {
	if t.asks == nil || t.fine != fine {
		a, b := g.s.scans[t.a], g.s.scans[t.b]
		t.asks = geom.NewToucher(a.view.Cloud, b.view.Cloud, 300)
		if fine {
			t.asks = geom.NewToucher(a.fine, b.fine, 700)
		}
	}
	t.fine, t.from = fine, g.at[t.a].Then(g.at[t.b].Inverse())
	touches := t.asks.Touches(t.from, tieReach*g.s.spacing)
	for k := range touches {
		x := &touches[k]
		x.At, x.Plane, x.Normal = g.at[t.b].Apply(x.At), g.at[t.b].Apply(x.Plane), g.at[t.b].Rot.Apply(x.Normal)
	}
	t.pull, _ = geom.Equations(touches, g.mid, g.size, 0.02*g.s.spacing)
}

// step moves all members once as their ties pull, and brings the equations up
// to that.
func (g *group) step(ctx context.Context, ties []*tie) bool {
	bodies := g.bodies()
	of := make([]int, len(g.s.scans))
	j := geom.Joint{Bodies: len(bodies)}
	for k, list := range bodies {
		for _, i := range list {
			of[i] = k
			if g.s.scans[i].fixed {
				j.Fixed = k
			}
		}
	}
	for _, t := range ties {
		j.Links = append(j.Links, geom.Link{A: of[t.a], B: of[t.b], Pull: t.pull})
	}
	steps, ok := j.Solve(ctx)
	if !ok {
		return false
	}
	for k, list := range bodies {
		for _, i := range list {
			g.at[i] = g.at[i].Stepped(steps[k], g.mid, g.size)
		}
	}
	for k := range g.ties {
		t := &g.ties[k]
		l := geom.Link{Pull: t.pull}
		l.Moved(steps[of[t.a]], steps[of[t.b]])
		t.pull = l.Pull
	}
	return true
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
