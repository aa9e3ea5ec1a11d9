package proportions

import (
	"context"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/workpiece"
)

// twin is how a left part compares with its right one.
type twin struct {
	left, right *part
	fits
}

// fits are the fits of a left part, mirrored, on its right one.
type fits struct {
	Limb       fitted // the part but for its hand or foot
	Whole      fitted // all of it
	End        fitted // the hand or foot alone
	HasEnd     bool
	Unmirrored fitted // the whole, had nobody mirrored it
}

// fitted is how one surface lies on another after the best turn, move and scale.
type fitted struct {
	Scale float64 // of the left against the right
	RMS   float64 // mm
}

// compare lays the left part, mirrored, on the right one.
func compare(ctx context.Context, job *step.Job, left, right *part) (*twin, error) {
	t := &twin{left: left, right: right}
	var err error
	t.fits, err = workpiece.Once(job, "twins "+left.key()+" "+right.key(), func() (fits, error) {
		tree, err := right.tree(ctx, job)
		if err != nil {
			return fits{}, err
		}
		return t.fit(ctx, tree)
	})
	return t, err
}

// fit fits the twins, the right one's surface in a tree.
func (t *twin) fit(ctx context.Context, tree *geom.Tree) (f fits, err error) {
	left, right := t.left, t.right
	var pose geom.Fit
	if f.Limb, pose, err = lay(ctx, left, right, tree, true); err != nil {
		return f, err
	}
	if f.Whole, err = settle(ctx, mirrored(left.Skin), tree, pose, true); err != nil {
		return f, err
	}
	if left.Far > 0 && right.Far > 0 {
		if f.End, f.HasEnd, err = t.ends(ctx, tree, pose); err != nil {
			return f, err
		}
	}
	f.Unmirrored, _, err = lay(ctx, left, right, tree, false)
	return f, err
}

// collapsed bounds what a fit of hands may say: beyond it the places have been
// drawn together onto one spot of the skin, and lie well on it.
const collapsed = 1.6

// holds reports whether a fit has not collapsed.
func (f fitted) holds() bool { return f.Scale <= collapsed && f.Scale >= 1/collapsed }

// ends fits the hand or foot alone, from where the limb lies and from where the
// tips of the fingers lie on one another; the better of the two counts.
func (t *twin) ends(ctx context.Context, tree *geom.Tree, pose geom.Fit) (end fitted, has bool, err error) {
	starts := []geom.Fit{pose}
	if by, ok := t.left.byTips(t.right, true); ok {
		starts = append(starts, by)
	}
	pts := mirrored(t.left.End)
	for _, start := range starts {
		f, err := settle(ctx, pts, tree, start, true)
		if err != nil {
			return end, has, err
		}
		if !f.holds() || has && f.RMS >= end.RMS {
			continue
		}
		end, has = f, true
	}
	return end, has, nil
}

// byTips returns the motion and scale that brings the tips of p's fingers onto
// those of q.
func (p *part) byTips(q *part, mirror bool) (geom.Fit, bool) {
	var from, to []geom.Vec
	for _, name := range []string{"thumb", "index", "middle", "ring", "little"} {
		a, ok := p.At["tip."+name]
		b, ok2 := q.At["tip."+name]
		if !ok || !ok2 {
			return geom.Fit{}, false
		}
		if mirror {
			a.X = -a.X
		}
		from, to = append(from, a), append(to, b)
	}
	fit, err := geom.FitSimilarity(from, to, nil)
	return fit, err == nil
}

// against returns the size of a part's hand against a casting of it.
func (p *part) against(ctx context.Context, job *step.Job, cast *part) (fitted, bool, error) {
	start, ok := cast.byTips(p, false)
	if !ok {
		return fitted{}, false, nil
	}
	f, err := workpiece.Once(job, "casting "+cast.key()+" "+p.key(), func() (fitted, error) {
		tree, err := p.tree(ctx, job)
		if err != nil {
			return fitted{}, err
		}
		return settle(ctx, cast.Casting, tree, start, true)
	})
	f.Scale = 1 / f.Scale
	return f, f.RMS < 1.5 && f.holds(), err
}
