package deepen

import (
	"context"
	"math"
)

// Where skin folds over itself within a detail or two, what is put on at one
// place shows at others, and the correction can run past what is wanted. Then
// half of it is taken back, for half a detail about; of what still does, more, and
// at last all.
var tooMuch = [...]float64{0.5, 0.8, 1}

const (
	leastRings = 3
	mostRings  = 12
)

// unfold foresees the finished part and takes deepening back as long as that
// makes places differ by about allow from what is wanted.
func (w *work) unfold(ctx context.Context) error {
	rings := int(max(leastRings, min(mostRings, w.detail/(2*max(w.edge, 1e-9)))))
	for _, share := range tooMuch {
		if err := w.forecast(ctx); err != nil {
			return err
		}
		past, err := w.past(ctx, back{share, byFold})
		if err != nil || len(past) == 0 {
			return err
		}
		if err := w.takeBack(ctx, past, rings, false, func(float64) bool { return true }); err != nil {
			return err
		}
		if err := w.keep(ctx); err != nil {
			return err
		}
	}
	return w.forecast(ctx)
}

// past names the vertices that will lie beyond what is wanted, or farther from it
// than they would without deepening; what the triangles are too coarse to tell is
// not counted.
func (w *work) past(ctx context.Context, b back) (map[int32]back, error) {
	with, err := w.skin.WithoutFacets(ctx, w.error)
	if err != nil {
		return nil, err
	}
	without, err := w.skin.WithoutFacets(ctx, w.before)
	if err != nil {
		return nil, err
	}
	allow, from := 0.9*w.values.Float("allow"), map[int32]back{}
	for i, e := range with {
		if w.beside[i] || w.moved[i] == 0 || math.Abs(e) <= allow {
			continue
		}
		if was := without[i]; e*was < 0 || math.Abs(e) > math.Abs(was)+told {
			from[int32(i)] = b
		}
	}
	return from, nil
}
