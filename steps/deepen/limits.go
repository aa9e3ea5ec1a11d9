package deepen

import (
	"context"
	"math"

	"layette/steps/internal/geom"
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
)

var limitNames = [...]string{"", "the greatest depth", "the gap to the skin facing it", "the steepness of its wall", "the noise of the scan", "the strength asked for here", "the greatest gain or coarse triangles"}

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
		if l := w.limit[i]; l == byMost || l == byGap || l == bySteep {
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
	if err := w.keepGaps(ctx); err != nil {
		return err
	}
	return w.keepWalls(ctx)
}

// keepGaps stops skin that is raised from coming too near to skin that faces
// it: each side may take half of the room there is.
func (w *work) keepGaps(ctx context.Context) error {
	gap, most := w.values.Float("gap"), w.values.Float("most")
	if gap == 0 {
		return nil
	}
	if w.tree == nil {
		var err error
		if w.tree, err = geom.NewTree(ctx, w.skin.Mesh, w.workers); err != nil {
			return err
		}
	}
	geom.Chunks(len(w.moved), w.workers, func(lo, hi int) {
		for i := lo; i < hi && ctx.Err() == nil; i++ {
			if w.moved[i] < 0.002 {
				continue
			}
			if room := w.room(i, gap, float64(2*(gap+2*most))); w.moved[i] > room {
				w.moved[i], w.limit[i] = room, byGap
			}
		}
	})
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}

// room returns how far a vertex may be raised, mm: half of what is over beyond
// gap to skin that faces it within reach; infinite without such.
func (w *work) room(i int, gap, reach float64) float64 {
	out := w.relief.Normal[i]
	hit, ok := w.tree.Ray(w.wanted[i], out, 0.001, reach)
	if !ok || hit.Back {
		return math.Inf(1)
	}
	a, b, c := w.skin.Mesh.Corners(int(hit.Tri))
	away := -float64(hit.T * b.Sub(a).Cross(c.Sub(a)).Unit().Dot(out)) // square to the facing skin
	return max(0, (away-gap)/2)
}

// Where a wall is too steep a quarter of the deepening is taken back, a round,
// and round about it less with each ring of triangles, so that no step is left
// between what was taken back and what was not.
const (
	wallRounds = 12
	takenBack  = 0.25
	rings      = 3
	eased      = 0.6 // of the ring before
)

// keepWalls takes deepening back where a triangle would stand steeper off the
// form than is allowed and steeper than it stood.
func (w *work) keepWalls(ctx context.Context) error {
	slope := w.values.Float("steepest")
	least := 1 / math.Sqrt(1+float64(slope*slope)) // cosine between wall and form
	for range wallRounds {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		back := w.tooSteep(least)
		if back == nil {
			return nil
		}
		if err := w.ease(ctx, back); err != nil {
			return err
		}
		for i, b := range back {
			w.moved[i] -= float64(w.moved[i] * float64(takenBack*b))
			if b == 1 {
				w.limit[i] = bySteep
			}
		}
	}
	return nil
}

// tooSteep marks the corners of triangles that stand too steep with 1; nil
// without any.
func (w *work) tooSteep(least float64) []float64 {
	var back []float64
	master := w.master()
	for _, tri := range w.skin.Mesh.Tris {
		up := w.relief.Normal[tri[0]].Add(w.relief.Normal[tri[1]]).Add(w.relief.Normal[tri[2]]).Unit()
		is := stands(master, tri, up)
		if is < least && is < stands(w.wanted, tri, up)-1e-6 {
			if back == nil {
				back = make([]float64, len(w.moved))
			}
			back[tri[0]], back[tri[1]], back[tri[2]] = 1, 1, 1
		}
	}
	return back
}

// ease spreads marks over the rings about them, less with each.
func (w *work) ease(ctx context.Context, mark []float64) error {
	was := make([]float64, len(mark))
	for range rings {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		copy(was, mark)
		for _, tri := range w.skin.Mesh.Tris {
			top := float64(eased * max(was[tri[0]], was[tri[1]], was[tri[2]]))
			for _, v := range tri {
				mark[v] = max(mark[v], top)
			}
		}
	}
	return nil
}

// stands returns the cosine between a triangle and the form.
func stands(places []geom.Vec, tri geom.Tri, up geom.Vec) float64 {
	a, b, c := places[tri[0]], places[tri[1]], places[tri[2]]
	return b.Sub(a).Cross(c.Sub(a)).Unit().Dot(up)
}
