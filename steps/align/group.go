package align

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// group is a set of scans that lie together, in a frame of its own.
type group struct {
	s     *session
	in    []bool
	at    []geom.Pose // of those that are in
	order []int       // in the order of placing
	frame int         // the member whose frame is the common one
	out   []bool      // taken out again: not tried a second time
}

// Rules for placing without a person. They are strict: a shot in a wrong place
// costs more than one that is left to the person. Tuned on open scans and on
// specimens with known poses; common practice has no numbers for them.
const (
	enoughOverlap = 0.25   // share of the scan that lies over its neighbours
	enoughAgree   = 0.80   // share of that which lies on them
	enoughFirm    = 0.001  // see geom.Normal6.Weakest
	leastFirm     = 0.0004 // where many points with little noise speak (see slip)
	mostSlip      = 0.4    // mm
	seedFirm      = 0.002
	mostClash     = 0.015
	looseness     = 1.8  // times the usual spread of pairs that surely lie right
	rival         = 0.70 // another place with so much of the best one's worth leaves it undetermined
	leastOn       = 60   // points
	seedVotes     = 12   // places known again, for a pair to begin from
	usualRatio    = 0.75 // spread of right pairs as a multiple of their noise, where no pair is beyond doubt
)

// sure reports whether an idea of a pair is good enough to begin from.
func (s *session) sure(p *pair, i *idea) bool {
	return i.Votes >= seedVotes && i.Overlap >= enoughOverlap && i.Agree >= enoughAgree+0.05 && i.Clash <= mostClash && i.Firm >= seedFirm &&
		i.On >= leastOn && i.Sigma <= s.loose(p.a, p.b) && (len(p.ideas) < 2 || p.ideas[1].worth() < rival*p.ideas[0].worth())
}

// loose returns the spread of distances beyond which two scans do not lie on
// each other, mm.
func (s *session) loose(a, b int) float64 {
	return looseness * s.ratio * s.noise(a, b)
}

// within is limit for a scanner whose right pairs are known to spread more than
// their noise: its shapes are less true than its points.
func (s *session) within(a, b int) float64 {
	return limit(s.scans[a], s.scans[b]) + float64(float64(2.5*s.noise(a, b))*(max(1, s.ratio/usualRatio)-1))
}

// noise is the scatter of two scans' points together, mm; scans without any are
// taken to have a hundredth of the spacing, which thinning leaves.
func (s *session) noise(a, b int) float64 {
	x, y := s.scans[a].view.Noise, s.scans[b].view.Noise
	return max(math.Sqrt(float64(x*x)+float64(y*y)), 0.01*s.spacing)
}

// beyondDoubt reports whether a pair lies right without need of a comparison:
// so many places known again, so much overlap and so much shape do not come
// together by chance.
func (i *idea) beyondDoubt() bool {
	return i.Votes >= 30 && i.On >= 400 && i.Overlap >= 0.3 && i.Agree >= 0.85 && i.Clash <= mostClash && i.Firm >= 2*seedFirm
}

// learn finds how widely the best pairs of this session spread, as a multiple
// of their noise: scanners differ in how true their shapes are.
func (s *session) learn(pairs []pair) {
	var ratios []float64
	for k := range pairs {
		p := &pairs[k]
		if len(p.ideas) > 0 {
			if i := &p.ideas[0]; i.beyondDoubt() {
				ratios = append(ratios, i.Sigma/s.noise(p.a, p.b))
			}
		}
	}
	s.ratio = usualRatio
	if len(ratios) > 0 {
		slices.Sort(ratios)
		s.ratio = min(max(ratios[len(ratios)/2], 0.4), 2)
	}
}

func (s *session) newGroup() *group {
	return &group{s: s, in: make([]bool, len(s.scans)), at: make([]geom.Pose, len(s.scans)), out: make([]bool, len(s.scans))}
}

// put places scan i, and with it every scan that is pinned to it.
func (g *group) put(i int, at geom.Pose) {
	root := at
	if p, ok := g.s.pinned[i]; ok {
		root = p.onto.Inverse().Then(at)
	}
	for _, k := range g.s.mates(i) {
		if !g.in[k] {
			g.order = append(g.order, k)
		}
		g.in[k], g.at[k] = true, at
		if p, ok := g.s.pinned[k]; ok {
			g.at[k] = p.onto.Then(root)
		}
	}
}

// hint is an idea seen from the scan that is to be placed.
type hint struct {
	other int // the scan it is about
	pose  geom.Pose
	worth float64
}

// hints gathers each scan's ideas.
func (s *session) gather(pairs []pair) {
	s.hints = make([][]hint, len(s.scans))
	for k := range pairs {
		p := &pairs[k]
		for _, i := range p.ideas {
			s.hints[p.a] = append(s.hints[p.a], hint{p.b, i.Pose, i.worth()})
			s.hints[p.b] = append(s.hints[p.b], hint{p.a, i.Pose.Inverse(), i.worth()})
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
	joined  bool    // it was placed before: judged a little less strictly
	ok      bool
	why     string
}

// grow places scan after scan until none is left that surely fits.
func (g *group) grow(ctx context.Context) error {
	seen := make([]int, len(g.s.scans)) // how many of the group a scan was last tried against
	for {
		var todo []int
		for i, c := range g.s.scans {
			if n := g.known(i); c.why == "" && !g.in[i] && !g.out[i] && n > seen[i] {
				seen[i] = n
				todo = append(todo, i)
			}
		}
		places := make([]place, len(todo))
		err := g.s.each(ctx, len(todo), func(k int) error {
			places[k] = g.find(ctx, todo[k])
			return nil
		})
		if err != nil {
			return err
		}
		if !g.accept(places) {
			return nil
		}
		if err := g.settle(ctx, false, 3); err != nil {
			return err
		}
	}
}

// known counts the members that scan i has ideas about.
func (g *group) known(i int) int {
	n := 0
	for _, h := range g.s.hints[i] {
		if g.in[h.other] {
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

// find returns the best place for scan i in the group.
func (g *group) find(ctx context.Context, i int) place {
	spots := g.gathered(i)
	best := place{scan: i, why: ""}
	second := 0.0
	for k, sp := range g.promising(i, spots) {
		if ctx.Err() != nil {
			return best
		}
		p := g.try(ctx, i, sp.pose)
		if k > 0 && geom.Alike(p.at, best.at, g.s.scans[i].view.Cloud) {
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
		k := slices.IndexFunc(spots, func(o hint) bool { return geom.Alike(o.pose, at, g.s.scans[i].view.Cloud) })
		if k < 0 {
			spots = append(spots, hint{h.other, at, h.worth})
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
	g.judge(&p, near, 250)
	return p
}

// nestle moves scan i onto all its neighbours at once and says how firmly their
// shape holds it.
func (g *group) nestle(ctx context.Context, i int, at geom.Pose, near []int) (geom.Pose, float64) {
	c := g.s.scans[i]
	firm := 0.0
	touching := g.touchers(i, near)
	for round := range 6 {
		if ctx.Err() != nil {
			return at, 0
		}
		reach := g.s.spacing * (3 - float64(0.3*float64(round)))
		touches := g.touches(at, near, touching, reach)
		if len(touches) < 30 {
			return at, 0
		}
		mid := at.Apply(c.middle)
		eq, _ := geom.Equations(touches, mid, c.size, 0.02*g.s.spacing)
		x, ok := eq.Solve()
		if !ok {
			return at, 0
		}
		firm, _, _ = eq.Weakest()
		at = at.Stepped(x, mid, c.size)
	}
	return at, firm
}

// touches lists where a scan touches its neighbours, in the group's frame.
func (g *group) touches(at geom.Pose, near []int, touching []*geom.Toucher, reach float64) []geom.Touch {
	var all []geom.Touch
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
		list[k] = geom.NewToucher(g.s.scans[i].view.Cloud, g.s.scans[o].view.Cloud, 150)
	}
	return list
}

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
	p.worth = float64(p.meeting.On) * p.meeting.Agree() * (1 - float64(3*p.meeting.Clashing()))
	p.why = g.complaint(p)
	p.ok = p.why == ""
}
