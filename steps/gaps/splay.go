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
// which an edge can be told, they are the crevice's, unless the valley between
// them has a landing. Parallel walls stay a gap, however their slot ends, and so
// does every place where width is least with wider air on all sides. Flooding
// with sets: S. Beucher, C. Lantuéjoul, "Use of watersheds in contour
// detection", 1979, and what followed (from memory).

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
	l.meet(walls, w)
	return context.Cause(ctx)
}

// meet makes these walls, and what joins them at the bottom, those of a crevice;
// not where they come to lie along one another before they meet: there they are
// a gap.
func (l *look) meet(walls []int32, w *water) {
	if len(walls) == 0 {
		return
	}
	was := slices.Clone(l.class)
	split := map[int32]bool{} // which sets, with all under water, hold such walls
	for _, i := range walls {
		l.class[i] = crevice
		split[w.sets.Lead(l.skin.Vert[i])] = true
	}
	for i, v := range l.skin.Vert {
		if l.class[i] == slot && split[w.sets.Lead(v)] {
			l.class[i] = crevice
		}
	}
	for _, members := range l.clusters(l.air, func(i int32) bool { return l.class[i] == crevice }) {
		if from, lies := l.valleyOf(members).landing(); lies {
			l.part(members, was, from)
		}
	}
}

// part makes those of the members a gap that are as far as from round the
// bottom; what is deeper is again what it was.
func (l *look) part(members []int32, was []class, from float64) {
	for _, i := range members {
		far := float64(l.along[i]) >= from
		switch {
		case far && was[i] == slot:
			l.class[i] = gap
		case far && was[i] == crevice: // flanks that would meet if what lies between did not part them
			l.class[i] = slot
		default:
			l.class[i] = was[i]
		}
	}
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
