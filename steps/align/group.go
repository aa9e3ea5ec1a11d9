package align

import (
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
	apart []bool      // held by a group that grew before: only what the others tell of a scan counts
	tries []int       // how many ideas about members each scan had when it was last tried
	ties  []tie       // what pulls members together
	woven []bool      // members whose ties are found
	mid   geom.Vec    // about which small motions turn, and the unit of their arms, mm
	size  float64
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
	n := len(s.scans)
	return &group{s: s, in: make([]bool, n), at: make([]geom.Pose, n), out: make([]bool, n), apart: make([]bool, n), tries: make([]int, n), woven: make([]bool, n)}
}

// alike reports whether two poses put scan i in nearly the same place.
func (s *session) alike(i int, p, q geom.Pose) bool {
	return geom.Alike(p, q, s.scans[i].middle, s.spacing)
}

// put places scan i, and with it every scan that is pinned to it.
func (g *group) put(i int, at geom.Pose) {
	if len(g.order) == 0 {
		g.mid, g.size = at.Apply(g.s.scans[i].middle), g.s.scans[i].size
	}
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
