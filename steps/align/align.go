// Package align is the step that places the scans of one part in a common
// frame, without hints: it knows places again by the shape of the skin round
// them, tries how two scans may lie together, and grows from the surest pair
// what surely fits. What does not surely fit is left to a person, with the
// reason: a shot in a wrong place costs more than an unplaced one.
package align

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Run implements step.Kind.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	s := newSession(job)
	if len(job.Inputs["scans"]) == 0 {
		return nil, errors.New("there are no scans: the input \"scans\" needs at least one file")
	}
	if err := s.look(ctx); err != nil {
		return nil, err
	}
	s.choose()
	s.strange()
	if err := s.ready(ctx); err != nil {
		return nil, err
	}
	s.repeated()
	s.blurred()
	if err := s.pinUp(); err != nil {
		return nil, err
	}
	pairs, err := s.pairUp(ctx)
	if err != nil {
		return nil, err
	}
	groups, err := s.together(ctx, pairs)
	if err != nil {
		return nil, err
	}
	r, err := s.conclude(ctx, pairs, groups)
	if err != nil {
		return nil, err
	}
	return r.tell(ctx)
}

// newSession lists the scans by digest, so that neither their names nor their
// order in the job can change what is found. Files of equal bytes stand once;
// the others are said to repeat the first by name.
func newSession(job *step.Job) *session {
	s := &session{job: job, pinned: map[int]pinned{}}
	for _, input := range []string{"casting", "scans"} {
		for _, f := range job.Inputs[input] {
			s.scans = append(s.scans, &scan{file: f, name: workpiece.Piece{File: f}.Base(), fixed: input == "casting"})
		}
	}
	slices.SortFunc(s.scans, func(a, b *scan) int {
		return cmp.Or(cmp.Compare(a.file.SHA256, b.file.SHA256), cmp.Compare(a.file.Name, b.file.Name))
	})
	for k, c := range s.scans {
		if k > 0 && s.scans[k-1].file.SHA256 == c.file.SHA256 && !c.fixed && !s.scans[k-1].fixed {
			first := k - 1
			for first > 0 && s.scans[first-1].file.SHA256 == c.file.SHA256 {
				first--
			}
			c.copy, c.why = true, "is the same file as "+s.scans[first].name
		}
	}
	return s
}

// odd is how many times larger or smaller across than usual a scan may be
// before its unit is doubted: inches for millimetres make 25.4, centimetres 10.
const odd = 5

// strange leaves out scans whose size cannot be right beside the others'.
func (s *session) strange() {
	var areas []float64
	for _, c := range s.scans {
		if c.why == "" && !c.fixed {
			areas = append(areas, c.area)
		}
	}
	if len(areas) == 0 {
		return
	}
	slices.Sort(areas)
	usual := areas[len(areas)/2]
	for _, c := range s.scans {
		if c.why != "" || c.fixed {
			continue
		}
		across := math.Sqrt(c.area / max(usual, 1e-12))
		switch {
		case !(c.area > 0):
			c.why = "has no skin: its points lie on one line or in one place"
		case across > odd:
			c.why = fmt.Sprintf("is %.1f times as large across as the others: is its unit right? (it is read in %s)", across, c.file.Units)
		case across < 1.0/odd:
			c.why = fmt.Sprintf("is %.1f times smaller across than the others: hardly any skin was caught, or its unit is wrong (it is read in %s)", 1/across, c.file.Units)
		}
	}
}

// repeated finds shots that were filed twice in another order of points or
// another format: their thinned points lie where those of the other lie. The
// one whose name comes first stays.
func (s *session) repeated() {
	order := make([]*scan, 0, len(s.scans))
	for _, c := range s.scans {
		if c.why == "" && !c.fixed {
			order = append(order, c)
		}
	}
	slices.SortFunc(order, func(a, b *scan) int { return cmp.Compare(a.file.Name, b.file.Name) })
	for k, c := range order {
		for _, o := range order[:k] {
			if o.why == "" && c.repeats(o) {
				c.copy, c.why = true, "is the same shot as "+o.name+", filed once more in another order or format"
				break
			}
		}
	}
}

// repeats reports whether nine in ten thinned points of c and o lie in the same
// place to a hundredth of the spacing, which two shots of a still child never do.
func (c *scan) repeats(o *scan) bool {
	eps := 0.01 * c.view.Spacing
	n := len(c.view.Points)
	if c.middle.Sub(o.middle).Len() > eps || math.Abs(float64(n-len(o.view.Points))) > float64(0.01*float64(n)) {
		return false
	}
	same, asked := 0, 0
	for k := 0; k < n; k += 1 + n/200 {
		asked++
		if o.view.Nearest(c.view.Points[k].Vec(), eps).ID >= 0 {
			same++
		}
	}
	return 10*same >= 9*asked
}

// blur is how many times the usual noise makes a scan useless.
const blur = 3

// blurred leaves out scans whose points scatter far more than the others'.
func (s *session) blurred() {
	var noise []float64
	for _, c := range s.scans {
		if c.why == "" && !c.fixed {
			noise = append(noise, c.view.Noise)
		}
	}
	if len(noise) < 3 {
		return
	}
	slices.Sort(noise)
	usual := max(noise[len(noise)/2], 0.01*s.spacing)
	for _, c := range s.scans {
		if c.why == "" && !c.fixed && c.view.Noise > blur*usual {
			c.why = fmt.Sprintf("its points scatter by %.2f mm, the others' by %.2f mm: blurred, or the child moved during the shot", c.view.Noise, usual)
		}
	}
}
