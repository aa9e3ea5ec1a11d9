package deepen

import (
	"context"
	"maps"

	"layette/steps/internal/region"
)

// limit says what held a vertex back.
type limit uint8

// The limits, as the map shows them.
const (
	free limit = iota
	byMost
	byGap
	bySteep
	byNoise
	byStrength
	byGain
	byOverhang
	byFold
	limits // how many there are
)

var limitNames = [limits]string{"", "the greatest depth", "the gap to the skin facing it", "the steepness of its wall", "the noise of the scan", "the strength asked for here", "the greatest gain or coarse triangles", "a wall that would overhang", "skin that folds over itself here: more would go past what is wanted"}

// weigh fills in how strongly each vertex is to be deepened: by regions and
// paint, and not where there is only noise.
func (w *work) weigh(ctx context.Context) error {
	squares := make([]float64, len(w.wanted))
	for i, r := range w.lost.Relief {
		squares[i] = float64(r * r)
	}
	power, err := w.metric.Gauss(ctx, squares, 4*w.detail)
	if err != nil {
		return err
	}
	noise := w.values.Float("noise")
	w.strength, w.limit = make([]float64, len(w.wanted)), make([]limit, len(w.wanted))
	painted := w.values.Flag("painted")
	for i := range w.strength {
		s := region.Strength(w.regions, w.wanted[i].Add(w.mesh.Origin))
		if painted {
			c := w.mesh.Colours[w.skin.Back[i]]
			s *= (float64(c[0]) + float64(c[1]) + float64(c[2])) / 765
		}
		if s != 1 {
			w.limit[i] = byStrength
		}
		if noise > 0 {
			// Nothing below the noise, all above twice it.
			u := (power[i]/float64(noise*noise) - 1) / 3
			if u = max(0, min(1, u)); u < 1 {
				w.limit[i] = byNoise
			}
			s *= float64(u*u) * (3 - 2*u)
		}
		w.strength[i] = s
	}
	return nil
}

// bound fills in how far each vertex moves of what is wanted.
func (w *work) bound(ctx context.Context, want []float64) error {
	most := w.values.Float("most")
	if w.moved == nil {
		w.moved = make([]float64, len(want))
	}
	for i, d := range want {
		if l := w.limit[i]; l == byMost || l == byGap || l == bySteep || l == byOverhang {
			w.limit[i] = free
		}
		if w.limit[i] == free && (w.short[i] > shortLeast || -w.short[i] > shortLeast) {
			w.limit[i] = byGain
		}
		d *= w.strength[i]
		if w.skin.Held[i] {
			d = 0
		}
		if d > most || d < -most {
			d = max(-most, min(most, d))
			w.limit[i] = byMost
		}
		w.moved[i] = d
	}
	return w.keep(ctx)
}

// What breaks a limit is taken back in shares, a round, and round about it less
// with each ring of triangles, so that no step is left between what was taken back
// and what was not. Where that was not enough all of it is taken back, ring by
// ring: skin that does not move breaks no limit.
const (
	gently   = 12
	keptMost = 60 // rounds in all
	rings    = 3
	eased    = 0.6 // of the ring before
)

// back is how much of the deepening of a vertex is to be taken back, and why.
type back struct {
	share float64
	why   limit
}

// keep takes deepening back until no wall stands too steep or overhangs and no
// skin comes too near to skin that faces it.
func (w *work) keep(ctx context.Context) error {
	for round := range keptMost {
		walls := w.walls()
		raised, both, err := w.airs(ctx)
		if err != nil {
			return err
		}
		maps.Copy(walls, both)
		if len(walls)+len(raised) == 0 {
			return nil
		}
		rings, all := rings, round >= gently
		if all {
			rings = 0
		}
		if err := w.takeBack(ctx, raised, rings, all, func(moved float64) bool { return moved > 0 }); err != nil {
			return err
		}
		if err := w.takeBack(ctx, walls, rings, all, func(float64) bool { return true }); err != nil {
			return err
		}
	}
	return nil
}

// takeBack takes deepening back, where it is meant, from some vertices and less of
// it from those in the rings about them.
func (w *work) takeBack(ctx context.Context, from map[int32]back, rings int, all bool, meant func(moved float64) bool) error {
	if len(from) == 0 {
		return nil
	}
	marks := make([]back, len(w.moved))
	for v, b := range from {
		if marks[v] = b; all {
			marks[v].share = 1
		}
	}
	if err := w.ease(ctx, marks, rings); err != nil {
		return err
	}
	for i, b := range marks {
		if b.share == 0 || !meant(w.moved[i]) {
			continue
		}
		w.moved[i] -= float64(w.moved[i] * b.share)
		if l := w.limit[i]; b.share >= 0.05 && (l == free || l == byGain) {
			w.limit[i] = b.why
		}
	}
	return nil
}

// ease spreads marks over the rings about them, less with each.
func (w *work) ease(ctx context.Context, marks []back, rings int) error {
	was := make([]back, len(marks))
	for range rings {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		copy(was, marks)
		for _, tri := range w.skin.Mesh.Tris {
			top := was[tri[0]]
			for _, v := range tri[1:] {
				if was[v].share > top.share {
					top = was[v]
				}
			}
			top.share *= eased
			for _, v := range tri {
				if marks[v].share < top.share {
					marks[v] = top
				}
			}
		}
	}
	return nil
}
