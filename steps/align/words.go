package align

import (
	"fmt"
	"strings"

	"layette/engine/step"
)

// mostSpots is how many moved places are shown at most.
const mostSpots = 60

// spots shows where the child moved between shots.
func (r *result) spots() []step.Spot {
	var spots []step.Spot
	for k, m := range r.moved[:min(len(r.moved), mostSpots)] {
		name := r.s.scans[m.scan].name
		spots = append(spots, step.Spot{
			Number: k + 1, What: "moved", At: [3]float64{m.at.X, m.at.Y, m.at.Z}, Radius: m.radius,
			Value: round(m.off, 0.01), Unit: "mm", Surface: "placed", Scan: name,
			Says: fmt.Sprintf("In %s this place lies %.1f mm off the other scans, while the rest of the shot fits: the child moved. Leave one of the two states out before joining.", name, m.off),
		})
	}
	return spots
}

// loosely is the firmness below which a placed scan is spoken of.
const loosely = 0.002

// sentences says what a person must know, the gravest first.
func (r *result) sentences() []string {
	var notes []string
	if len(r.g.order) == 0 {
		notes = append(notes, "No two scans surely fit together: nothing is placed. Shoot with more overlap over places that have shape, or pin scans by hand.")
	}
	for _, i := range r.byName() {
		if why := r.why[i]; why != "" {
			notes = append(notes, fmt.Sprintf("%s is not placed: %s.", r.s.scans[i].name, strings.TrimRight(why, ".?")))
		}
	}
	notes = append(notes, r.byHand()...)
	for _, i := range r.byName() {
		if !r.g.in[i] || r.s.scans[i].fixed {
			continue
		}
		p := r.places[i]
		switch {
		case r.s.isPinned(i) && !p.ok:
			notes = append(notes, fmt.Sprintf("%s lies where its pins have it, although %s.", r.s.scans[i].name, p.why))
		case p.firm < loosely:
			notes = append(notes, fmt.Sprintf("%s is held loosely: it %s (about %.2f mm).", r.s.scans[i].name, r.loosest(i), r.held(i)))
		}
	}
	return notes
}

// byHand tells how a person places what was not placed: pins for the first such
// scan, ready to be filled in.
func (r *result) byHand() []string {
	if len(r.g.order) == 0 {
		return nil
	}
	for _, i := range r.byName() {
		c := r.s.scans[i]
		if r.g.in[i] || c.why != "" {
			continue
		}
		part := ""
		if c.file.Part != "" {
			part = fmt.Sprintf("part = %q, ", c.file.Part)
		}
		return []string{fmt.Sprintf("To place a scan by hand, find three or more places of it again in a placed one, far from each other, and pin them in the model sheet: "+
			`[overrides.NAME] with set = "stages.STAGE.values.pins", %svalue = { %q = { onto = %q, here = [x, y, z, x, y, z, …], there = [x, y, z, x, y, z, …] } } and a reason; `+
			"here and there are mm in each scan's own file, and STAGE is what the recipe calls this stage. Or drop it there.",
			part, c.name, r.s.scans[r.g.order[0]].name)}
	}
	return nil
}
