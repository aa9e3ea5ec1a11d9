package align

import (
	"fmt"
	"math"
	"slices"
	"strings"
)

// complaint says in words why a place is not sure; "" if it is.
func (g *group) complaint(p *place, near []int) string {
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
	case g.drift(p, near) > mostDrift:
		return "undetermined: it nearly fits, as smooth skin does in many places; its distances to its neighbours rise and fall together"
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

// mostTurn is how far noise may let a scan turn that is placed for good: 0.4
// degrees, as mm of slip a mm of its size. Shots of seeded hands and arms lay up to
// three times as far from their places; one of 300 was let turn by 0.43, and lay 1.3.
const mostTurn = 0.007

// turned complains of a place in which noise lets the scan turn too far.
func (c *scan) turned(p *place) {
	if p.ok && p.slip() > mostTurn*c.size {
		p.ok, p.why = false, "undetermined: where it meets the others the skin is too smooth to hold it; it may be turned by a degree"
	}
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
