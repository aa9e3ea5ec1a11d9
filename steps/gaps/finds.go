package gaps

import (
	"cmp"
	"context"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// find is something found, before it is put into words.
type find struct {
	what   string
	pinch  pinch
	fault  bool
	weight float64 // how bad: 1 is at the limit, more is worse
	value  float64
	unit   string
	area   float64 // mm²
	reach  float64 // mm
	depth  float64 // mm, of slots and lines
	ratio  float64 // depth over width
	angle  float64 // degrees, of lines and crevices
	width  float64 // mm, of lines
	says   string
}

// The words for what is found.
const (
	fingerGap    = "finger gap"
	curledFinger = "curled finger"
	limbGap      = "gap"
	pieceGap     = "gap between pieces"
	fold         = "fold"
	narrowEdge   = "crevice"
	vLine        = "line"
	tightCorner  = "tight corner"
	thinSolid    = "close cavity walls"
	touching     = "touching"
)

// leastArea is the skin, mm², under which an inside corner or a wall is a speck
// of the triangles and no find.
const leastArea = 0.2

// finds gathers all finds, the gravest first.
func (l *look) finds(ctx context.Context, workers int) (all []find, err error) {
	found, err := l.gaps(ctx, l.widths(l.air, nil))
	if err != nil {
		return nil, err
	}
	if slices.ContainsFunc(found, func(f find) bool { return f.what == touching }) {
		if err := l.hide(ctx, workers); err != nil {
			return nil, err
		}
	}
	if l.thinnest, err = l.leastSolid(ctx); err != nil {
		return nil, err
	}
	widths := l.widths(l.air, nil)
	for _, part := range []func() ([]find, error){
		func() ([]find, error) { return l.gaps(ctx, widths) },
		func() ([]find, error) { return l.folds(widths), context.Cause(ctx) },
		func() ([]find, error) { return l.corners(), context.Cause(ctx) },
		func() ([]find, error) { return l.walls(ctx) },
	} {
		found, err := part()
		if err != nil {
			return nil, err
		}
		all = append(all, found...)
	}
	slices.SortStableFunc(all, func(a, b find) int {
		return cmp.Or(cmp.Compare(a.rank(), b.rank()), cmp.Compare(b.weight, a.weight), compareAt(a.pinch.at, b.pinch.at))
	})
	return all, nil
}

// rank orders finds: faults before remarks, and each of these from what webs
// outright to what is only worth a look.
func (f find) rank() int {
	order := []string{fingerGap, curledFinger, limbGap, pieceGap, touching, fold, narrowEdge, vLine, tightCorner, thinSolid}
	r := slices.Index(order, f.what)
	if !f.fault {
		r += len(order)
	}
	return r
}

// hide takes the skin that lies inside another shell out of account: where
// shells run into one another, it bounds neither air nor solid.
func (l *look) hide(ctx context.Context, workers int) error {
	tree, err := geom.NewTree(ctx, l.skin.Mesh, workers)
	if err != nil {
		return err
	}
	hidden := make([]bool, len(l.air))
	geom.Chunks(len(hidden), workers, func(lo, hi int) {
		for i := lo; i < hi && ctx.Err() == nil; i++ {
			if l.class[i] != free || l.inner[i] != free {
				above := l.at(int32(i)).Add(l.out(int32(i)).Mul(l.touch / 2))
				hidden[i] = float64(tree.Turns(above))*l.inward > 0
			}
		}
	})
	for i := range hidden {
		if hidden[i] || l.class[i] != free && hidden[l.air[i].Touch] {
			l.class[i] = free
		}
		if hidden[i] || l.inner[i] != free && hidden[l.solid[i].Touch] {
			l.inner[i] = free
		}
	}
	return context.Cause(ctx)
}

func compareAt(a, b geom.Vec) int {
	return cmp.Or(cmp.Compare(a.X, b.X), cmp.Compare(a.Y, b.Y), cmp.Compare(a.Z, b.Z))
}

// gaps finds where two limbs come close. Places up to a quarter wider than
// asked for are gathered, so that a gap on the limit is measured on the
// triangles before it is judged; if there are none, the narrowest of all is.
func (l *look) gaps(ctx context.Context, widths []float32) ([]find, error) {
	for _, upTo := range []float64{1.25*l.least + l.spacing/2, l.widest} {
		var all []find
		for _, members := range l.slots(upTo) {
			if members = l.only(members, gap); len(members) == 0 {
				continue
			}
			f, ok, err := l.gapFind(ctx, widths, members)
			if err != nil {
				return nil, err
			}
			if ok {
				all = append(all, f)
			}
		}
		if upTo == l.widest || slices.ContainsFunc(all, func(f find) bool { return f.what != touching }) {
			return all, nil
		}
	}
	return nil, nil
}

// slots gathers facing skins up to a width. Those of two limbs and those of a
// fold go together: where fingers meet the palm, one turns into the other.
func (l *look) slots(upTo float64) [][]int32 {
	return l.clusters(l.air, func(i int32) bool {
		return (l.class[i] == gap || l.class[i] == slot) && 2*float64(l.air[i].Radius) <= upTo
	})
}

func (l *look) only(members []int32, c class) []int32 {
	var some []int32
	for _, i := range members {
		if l.class[i] == c {
			some = append(some, i)
		}
	}
	return some
}

func (l *look) gapFind(ctx context.Context, widths []float32, members []int32) (find, bool, error) {
	p, err := l.pinchOf(ctx, l.air, members, true)
	if err != nil || math.IsInf(p.wide, 1) {
		return find{}, false, err
	}
	f := find{pinch: p, value: p.wide, unit: "mm", what: l.between(p)}
	f.area, f.reach = l.area(l.air, members, max(l.least, 1.1*p.wide), p.at)
	f.area /= 2 // both skins of one gap
	if p.wide <= l.touch {
		f.what = touching
		f.says = fmt.Sprintf("two skins touch or run into one another (%.3f mm): nothing to mould between them; join them properly or part them by %.2f mm", p.wide, l.least)
		return f, true, nil
	}
	f.depth, _ = l.depth(widths, members, p.wide)
	f.ratio = f.depth / p.wide
	f.weight, f.fault = l.least/p.wide, p.wide < l.least
	f.says = fmt.Sprintf(gapSays[f.what], p.wide)
	if f.fault {
		f.says += fmt.Sprintf(", less than %.2f mm over %.1f mm² of facing skin: part them, or join them", l.least, f.area)
	}
	if f.ratio > l.warn {
		f.says += fmt.Sprintf("; the slot is %.1f times as deep as wide and metal plates thin in it", f.ratio)
	}
	return f, true, nil
}

// gapSays begins the sentence about a gap.
var gapSays = map[string]string{
	fingerGap:    "two fingers, toes or lips %.3f mm apart",
	curledFinger: "a finger, toe or lip %.3f mm from the skin it faces",
	limbGap:      "two skins %.3f mm apart",
	pieceGap:     "two pieces %.3f mm apart",
}

// between names a gap by the bodies on its two sides.
func (l *look) between(p pinch) string {
	a, b := l.slim(p.p), l.slim(p.q)
	switch {
	case l.patches.Piece[l.patch(p.p)] != l.patches.Piece[l.patch(p.q)] && !(a && b):
		return pieceGap
	case a && b:
		return fingerGap
	case a || b:
		return curledFinger
	}
	return limbGap
}

// slim reports whether the solid behind a place is no thicker than a digit.
func (l *look) slim(i int32) bool {
	b := l.solid[i]
	return !b.Free() && 2*float64(b.Radius) < l.digit
}

// folds finds slots whose walls are joined at the bottom all along, and that
// are deep for their width: that of half their skin.
func (l *look) folds(widths []float32) []find {
	var all []find
	for _, members := range l.slots(l.widest) {
		if len(l.only(members, gap)) > 0 {
			continue
		}
		wide := l.middling(members)
		f := find{what: fold, width: wide}
		_, f.depth = l.depth(widths, members, wide)
		f.depth -= wide / 2 // from the foot of a wall to the middle of the floor
		f.ratio = f.depth / wide
		f.area, _ = l.area(l.air, members, 2*wide, geom.Vec{})
		shortest := 2 * f.depth * max(3*wide, 2*f.depth) // skin of both walls, if three times as long as wide and twice as deep
		if f.ratio <= l.warn || f.area < max(leastArea, shortest) || wide < max(l.touch, l.skin.Edge/2) {
			continue
		}
		deep := l.deepest(members, wide)
		f.pinch = pinch{wide: wide, at: l.at(deep), to: l.at(l.air[deep].Touch), p: deep, q: l.air[deep].Touch}
		f.value, f.unit = f.ratio, "times"
		f.weight, f.fault = f.ratio/l.fail, f.ratio > l.fail
		_, f.reach = l.area(l.air, members, 2*wide, f.pinch.at)
		f.says = fmt.Sprintf("a fold %.2f mm wide and %.2f mm deep, %.1f times as deep as wide: metal plates thin in such a slot; open it or fill its bottom", wide, f.depth, f.ratio)
		all = append(all, f)
	}
	return all
}

// middling returns the width that half the skin of a fold is under.
func (l *look) middling(members []int32) float64 {
	var wide, areas []float64
	for _, i := range members {
		wide = append(wide, 2*float64(l.air[i].Radius))
		areas = append(areas, l.skin.Area[i])
	}
	return quantile(wide, areas, 0.5)
}

// deepest returns the member of middling width that is farthest from where it
// touches along the skin: a place at the mouth of the fold.
func (l *look) deepest(members []int32, wide float64) int32 {
	best := members[0]
	for _, i := range members {
		if 2*float64(l.air[i].Radius) <= 1.2*wide && l.along[i] > l.along[best] {
			best = i
		}
	}
	return best
}
