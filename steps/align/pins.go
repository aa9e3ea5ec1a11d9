package align

import (
	"errors"
	"fmt"
	"path"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// A pin is a person's word that points of one scan are points of another. Pins
// make the two one body: no evidence moves them against each other.
type pin struct {
	scan, onto  string
	here, there []geom.Vec
}

// pinned is where pins put a scan: in the frame of the scan at the root of its
// body.
type pinned struct {
	root int
	onto geom.Pose
}

// pinSlack is how far a pinned point may miss its partner, mm: beyond it the
// points are not the same place. Common practice, no source.
const pinSlack = 2.0

const pinHint = `such as pins = { shot-012 = { onto = "shot-007", here = [0, 0, 0, 10, 0, 0, 0, 10, 0], there = [1, 2, 3, 11, 2, 3, 1, 12, 3] }}: three or more points of each scan in mm, x, y, z one after the other`

// pinsOf reads the table of pins.
func pinsOf(values step.Values) (pins []pin, wrong []string) {
	if !values.Has("pins") {
		return nil, nil
	}
	t := values.Table("pins")
	for k, name := range t.Names {
		row, ok := t.Values[k].(step.Table)
		if !ok {
			wrong = append(wrong, fmt.Sprintf("pins of %q are no table", name))
			continue
		}
		p := pin{scan: name}
		onto, _ := row.Get("onto")
		p.onto, _ = onto.(string)
		here, there := pointsOf(row, "here"), pointsOf(row, "there")
		switch {
		case p.onto == "":
			wrong = append(wrong, fmt.Sprintf("pins of %q do not say onto which scan", name))
		case p.onto == name:
			wrong = append(wrong, fmt.Sprintf("%q is pinned onto itself", name))
		case len(here) < 3 || len(here) != len(there):
			wrong = append(wrong, fmt.Sprintf("pins of %q: here has %d whole points and there %d; both need the same number, three or more", name, len(here), len(there)))
		default:
			p.here, p.there = here, there
			pins = append(pins, p)
		}
	}
	return pins, wrong
}

// pointsOf reads x, y, z one after the other; nil if they do not come out even.
func pointsOf(row step.Table, name string) []geom.Vec {
	x, _ := row.Get(name)
	list, _ := x.([]float64)
	if len(list)%3 != 0 {
		return nil
	}
	var pts []geom.Vec
	for k := 0; k < len(list); k += 3 {
		pts = append(pts, geom.Vec{X: list[k], Y: list[k+1], Z: list[k+2]})
	}
	return pts
}

// Check implements step.Checker.
func (Kind) Check(values step.Values) []step.Complaint {
	_, wrong := pinsOf(values)
	var out []step.Complaint
	for _, w := range wrong {
		out = append(out, step.Complaint{Value: "pins", Says: w, Hint: pinHint})
	}
	return out
}

// pinUp joins pinned scans into bodies. Pins that contradict each other or
// themselves are an error that names every one of them.
func (s *session) pinUp() error {
	pins, wrong := pinsOf(s.job.Values)
	var errs []error
	for _, w := range wrong {
		errs = append(errs, errors.New(w+"; write it "+pinHint))
	}
	s.pinned = map[int]pinned{}
	for _, p := range pins {
		if err := s.pin(p); err != nil {
			errs = append(errs, err)
		}
	}
	return errors.Join(errs...)
}

func (s *session) pin(p pin) error {
	a, b := s.named(p.scan), s.named(p.onto)
	for k, name := range []string{p.scan, p.onto} {
		if []int{a, b}[k] < 0 {
			return fmt.Errorf("pins name %q, which is not among the scans of this part", name)
		}
	}
	f, err := geom.FitRigid(p.here, p.there, nil)
	if err != nil {
		return fmt.Errorf("pins of %q on %q lie on one line or in one place: take three that span a triangle", p.scan, p.onto)
	}
	for k := range p.here {
		if off := f.Apply(p.here[k]).Sub(p.there[k]).Len(); off > pinSlack {
			return fmt.Errorf("pins of %q on %q contradict each other: no placing brings point %d nearer than %.1f mm to its partner", p.scan, p.onto, k+1, off)
		}
	}
	return s.joinPinned(a, b, f.Pose)
}

// joinPinned makes a and b one body, a lying in b's frame as pose says.
func (s *session) joinPinned(a, b int, pose geom.Pose) error {
	ra, rb := s.pinOf(a), s.pinOf(b)
	inRoot := pose.Then(rb.onto) // a in the frame of b's root
	if ra.root == rb.root {
		if off := inRoot.Apply(s.scans[a].middle).Sub(ra.onto.Apply(s.scans[a].middle)).Len(); off > pinSlack {
			return fmt.Errorf("pins round %q and %q contradict each other by %.1f mm", s.scans[a].name, s.scans[b].name, off)
		}
		return nil
	}
	move := ra.onto.Inverse().Then(inRoot) // a's root in b's root
	for _, k := range s.mates(a) {
		s.pinned[k] = pinned{rb.root, s.pinOf(k).onto.Then(move)}
	}
	s.pinned[rb.root] = pinned{rb.root, geom.NoMove}
	return nil
}

func (s *session) pinOf(i int) pinned {
	if p, ok := s.pinned[i]; ok {
		return p
	}
	return pinned{i, geom.NoMove}
}

// body returns the scan that stands for all that i is pinned to.
func (s *session) body(i int) int { return s.pinOf(i).root }

// mates returns i and all that it is pinned to, in order.
func (s *session) mates(i int) []int {
	if _, ok := s.pinned[i]; !ok {
		return []int{i}
	}
	var all []int
	for k := range s.scans {
		if s.body(k) == s.body(i) {
			all = append(all, k)
		}
	}
	return all
}

// named returns the scan called name, with or without its ending, or by its
// path; -1 if none.
func (s *session) named(name string) int {
	return slices.IndexFunc(s.scans, func(c *scan) bool {
		return c.name == name || c.file.Name == name || c.file.Scan == name || path.Base(c.file.Scan) == name
	})
}
