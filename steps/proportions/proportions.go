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
	"sync"

	"layette/engine/step"
	"layette/steps/internal/limb"
	"layette/steps/internal/workpiece"
)

// Kind is the step.
type Kind struct{}

// Check refuses points that are none.
func (Kind) Check(v step.Values) []step.Complaint {
	if _, err := limb.Points(v, limb.OfFace...); err != nil {
		return []step.Complaint{{Value: "points", Says: err.Error()}}
	}
	return nil
}

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
	if err := k.pair(ctx, job); err != nil {
		return nil, err
	}
	k.sides()
	k.child()
	if err := k.references(ctx, job, refs); err != nil {
		return nil, err
	}
	k.published()
	k.sizes()
	out := &step.Outcome{Measures: k.m, Spots: k.order(), Notes: k.notes}
	return out, workpiece.WriteText(job, "rows", "proportions.csv", k.rows())
}

// pair compares arms and legs, each left one with its right one.
func (k *kit) pair(ctx context.Context, job *step.Job) error {
	var twins [2]*twin
	var errs [2]error
	var group sync.WaitGroup
	for i, limb := range [2]string{"arm", "leg"} {
		l, r := k.named("left-"+limb), k.named("right-"+limb)
		if l == nil || r == nil || !l.Opens || !r.Opens {
			continue
		}
		group.Go(func() { twins[i], errs[i] = compare(ctx, job, l, r) })
		if job.Workers == 1 {
			group.Wait()
		}
	}
	group.Wait()
	for i, t := range twins {
		if errs[i] != nil {
			return errs[i]
		}
		if t != nil {
			k.twins = append(k.twins, t)
		}
	}
	return nil
}

// read measures every surface of an input, as many at a time as there are
// workers: most of the work on one is done by one.
func (k *kit) read(ctx context.Context, job *step.Job, input string) ([]*part, error) {
	files := job.Inputs[input]
	job.Progress.Start("measure", len(files))
	out, errs := make([]*part, len(files)), make([]error, len(files))
	var group sync.WaitGroup
	free := make(chan struct{}, max(1, job.Workers))
	for i, f := range files {
		free <- struct{}{}
		group.Go(func() {
			out[i], errs[i] = readOne(ctx, job, f)
			job.Progress.Add(1)
			<-free
		})
	}
	group.Wait()
	for i, p := range out {
		if errs[i] != nil {
			return nil, errs[i]
		}
		for _, q := range out[:i] {
			if p.name == q.name {
				return nil, fmt.Errorf("%s and %s are both %q: a kit has each part once", q.file.Name, p.file.Name, p.name)
			}
		}
		k.notes = append(k.notes, p.Notes...)
	}
	return out, nil
}

// readOne measures a part, unless it was measured before.
func readOne(ctx context.Context, job *step.Job, f step.File) (*part, error) {
	name := f.Part
	if name == "" {
		name = workpiece.Piece{File: f}.Base()
	}
	p := newPart(name)
	p.file = f
	var err error
	p.found, err = workpiece.Once(job, p.key(), func() (found, error) {
		piece, err := workpiece.Open(ctx, job, f)
		if err != nil {
			return found{}, err
		}
		looked, err := look(ctx, name, piece.Mesh, job.Workers)
		if err != nil {
			return found{}, fmt.Errorf("%s: %w", f.Name, err)
		}
		looked.Notes = append(piece.Notes(), looked.Notes...)
		return looked.found, nil
	})
	return p, err
}

// sizes copies what was measured into the measures that are declared.
func (k *kit) sizes() {
	for _, p := range k.parts {
		for n, x := range p.Size {
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
		for n := range p.Size {
			names = append(names, n)
		}
		slices.Sort(names)
		for _, n := range names {
			fmt.Fprintf(&b, "%s,%s,%.3f\n", p.name, n, p.Size[n])
		}
	}
	return b.String()
}
