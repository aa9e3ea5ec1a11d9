// Package proportions is the step that looks at all parts of a kit together:
// lengths, girths and shares, left against right, against the child's own
// numbers, against castings, and against published tables. The handbook says how.
package proportions

import (
	"context"
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/limb"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Run measures a kit.
func (Kind) Run(ctx context.Context, job *step.Job) (*step.Outcome, error) {
	k := &kit{values: job.Values, m: map[string]any{}}
	for _, m := range (Kind{}).Handbook().Measures {
		switch m.Type {
		case step.Count:
			k.m[m.Name] = int64(0)
		case step.String:
			k.m[m.Name] = "no reference"
		default:
			k.m[m.Name] = math.NaN()
		}
	}
	var err error
	if k.parts, err = k.read(ctx, job, "parts"); err != nil {
		return nil, err
	}
	refs, err := k.read(ctx, job, "references")
	if err != nil {
		return nil, err
	}
	for _, side := range [2]string{"arm", "leg"} {
		l, r := k.named("left-"+side), k.named("right-"+side)
		if l == nil || r == nil || len(l.limb.Openings) == 0 || len(r.limb.Openings) == 0 {
			continue
		}
		t, err := compare(ctx, l, r, job.Workers)
		if err != nil {
			return nil, err
		}
		k.twins = append(k.twins, t)
	}
	k.sides()
	k.child()
	if err := k.references(ctx, refs, job.Workers); err != nil {
		return nil, err
	}
	k.published()
	k.sizes()
	out := &step.Outcome{Measures: k.m, Spots: k.order(), Notes: k.notes}
	return out, workpiece.WriteText(job, "rows", "proportions.csv", k.rows())
}

// read measures every surface of an input.
func (k *kit) read(ctx context.Context, job *step.Job, input string) ([]*part, error) {
	var out []*part
	files := job.Inputs[input]
	job.Progress.Start("measure", len(files))
	for _, f := range files {
		piece, err := workpiece.Open(ctx, job, f)
		if err != nil {
			return nil, err
		}
		name := f.Part
		if name == "" {
			name = piece.Base()
		}
		for _, p := range out {
			if p.name == name {
				return nil, fmt.Errorf("%s and %s are both %q: a kit has each part once", p.file, f.Name, name)
			}
		}
		p, err := look(ctx, name, f.Name, piece.Mesh, job.Workers)
		if err != nil {
			return nil, err
		}
		k.notes = append(append(k.notes, piece.Notes()...), p.notes...)
		out = append(out, p)
		job.Progress.Add(1)
	}
	return out, nil
}

// sizes copies what was measured into the measures that are declared.
func (k *kit) sizes() {
	for _, p := range k.parts {
		for n, x := range p.size {
			name := n
			switch {
			case p.shape == limb.Head:
			case p.side == "":
				continue
			case n == "upper" || n == "lower" || n == "mid":
				name = string(p.shape) + "." + n + "." + p.side
			default:
				name = n + "." + p.side
			}
			if _, declared := k.m[name]; declared {
				k.m[name] = x
			}
		}
	}
}

// order numbers the spots, faults first.
func (k *kit) order() []step.Spot {
	slices.SortStableFunc(k.spots, func(a, b step.Spot) int {
		switch {
		case a.Fault == b.Fault:
			return 0
		case a.Fault:
			return -1
		}
		return 1
	})
	for i := range k.spots {
		k.spots[i].Number = i + 1
	}
	return k.spots
}

// rows writes every length of every part as a row.
func (k *kit) rows() string {
	var b strings.Builder
	b.WriteString("part,what,mm\n")
	for _, p := range k.parts {
		var names []string
		for n := range p.size {
			names = append(names, n)
		}
		slices.Sort(names)
		for _, n := range names {
			fmt.Fprintf(&b, "%s,%s,%.3f\n", p.name, n, p.size[n])
		}
	}
	return b.String()
}
