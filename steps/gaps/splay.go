package gaps

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// Two limbs that stand apart like splayed fingers face one another all the way
// down to the web between their roots, ever nearer. What is narrow there is the
// crevice that they end in, not a gap between them: a gap has its least width
// where its walls stop coming closer before they meet.
//
// Facing skin is flooded from the narrowest width upward, as water would rise
// in it. Where the water that just covers a place has come up from the bottom,
// and covers no gap clear of the bottom that is about as narrow, the place lies
// on the way down to a crevice; if walls open there by more than the angle at
// which an edge can be told, they are the crevice's. Parallel walls stay a gap,
// however their slot ends, and so does every place where width is least with
// wider air on all sides. Flooding with sets: S. Beucher, C. Lantuéjoul, "Use of
// watersheds in contour detection", 1979, and what followed (from memory).

// falls is how much narrower a V is near its bottom than clear of it, mm: what
// walls open by 6 degrees lose from one and a half times to half the way along
// the skin that makes two limbs.
func (l *look) falls() float64 { return l.apart * halfTan(square) }

// splay turns the walls of a V between two limbs from gap and slot to crevice.
func (l *look) splay(ctx context.Context) error {
	w := l.newWater()
	var walls []int32
	next := 0
	for k, v := range w.order {
		if k%4096 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		// Bumps lower than rough do not part a place from what lies below.
		for next < len(w.order) && w.wide[w.order[next]] <= w.wide[v]+l.rough {
			w.cover(l, w.order[next])
			next++
		}
		lead := w.sets.Lead(v)
		if math.IsInf(w.bottom[lead], 1) || w.bottom[lead] >= w.clear[lead]-l.falls() {
			continue
		}
		l.each(v, func(i int32) {
			if l.class[i] == gap && l.air[i].Turn > square {
				walls = append(walls, i)
			}
		})
	}
	open := l.openSkin(w)
	split := map[int32]bool{} // which sets, with all under water, hold such walls
	for _, i := range walls {
		if lead := w.sets.Lead(l.skin.Vert[i]); open[lead] > 0 {
			l.class[i] = crevice
			split[lead] = true
		}
	}
	for i, v := range l.skin.Vert {
		if l.class[i] == slot && split[w.sets.Lead(v)] {
			l.class[i] = crevice
		}
	}
	return context.Cause(ctx)
}

// openSkin returns for each set, by its lead, the facing skin that opens less
// the skin that does not, mm²: the walls of a slot are parallel all the way down
// and only its rim opens.
func (l *look) openSkin(w *water) map[int32]float64 {
	open := map[int32]float64{}
	for i, v := range l.skin.Vert {
		if c := l.class[i]; c != gap && c != slot {
			continue
		}
		lead := w.sets.Lead(v)
		if l.air[i].Turn > square {
			open[lead] += l.skin.Area[i]
		} else {
			open[lead] -= l.skin.Area[i]
		}
	}
	return open
}

// steep is less the cosine of 30 degrees: walls of a V face one another by that
// at its bottom. In the square corner of a floor, skin faces half way up.
const steep = -0.866

// water is the flood, vertex by vertex.
type water struct {
	order []int32   // vertices of facing skin, the narrowest first
	wide  []float64 // width at each vertex, infinite where no skin faces it
	sets  geom.Sets // what hangs together under water
	// The least width in each set, at its lead: of gaps clear of the bottom, and
	// of skin nearer to it, but not at the very bottom, where every slot is narrow.
	clear, bottom []float64
}

func (l *look) newWater() *water {
	n := len(l.skin.Mesh.Verts)
	w := &water{wide: infinite(n), clear: infinite(n), bottom: infinite(n), sets: geom.NewSets(n)}
	for i, v := range l.skin.Vert {
		c, wide, along := l.class[i], 2*float64(l.air[i].Radius), float64(l.along[i])
		if c != gap && c != slot && c != crevice {
			continue
		}
		w.wide[v] = min(w.wide[v], wide)
		switch {
		case c == gap && along >= 1.5*l.apart:
			w.clear[v] = min(w.clear[v], wide)
		case c != gap && along >= 0.5*l.apart && l.air[i].Turn < steep:
			w.bottom[v] = min(w.bottom[v], wide)
		}
	}
	for v, wide := range w.wide {
		if !math.IsInf(wide, 1) {
			w.order = append(w.order, int32(v))
		}
	}
	slices.SortFunc(w.order, func(a, b int32) int { return cmp.Or(cmp.Compare(w.wide[a], w.wide[b]), cmp.Compare(a, b)) })
	return w
}

// cover lets the water rise over vertex v.
func (w *water) cover(l *look, v int32) {
	l.around(v, func(n int32, _ float64) {
		if w.wide[n] > w.wide[v] {
			return // still dry
		}
		a, b := w.sets.Lead(v), w.sets.Lead(n)
		w.sets.Join(a, b)
		lead := w.sets.Lead(a)
		w.clear[lead], w.bottom[lead] = min(w.clear[a], w.clear[b]), min(w.bottom[a], w.bottom[b])
	})
}

func infinite(n int) []float64 {
	x := make([]float64, n)
	for i := range x {
		x[i] = math.Inf(1)
	}
	return x
}
