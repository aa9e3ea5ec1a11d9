package deepen

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// leaned is the share of the deepening that is taken back of a wall, a round.
const leaned = 0.25

// A wall counts as leaning over from 2 degrees short of upright, for so well is it
// known where the skin beside the line is. One that stands steeper than it may as it
// is wanted may lean by 3 degrees more, if it does not begin to lean over by that.
// All are cosines.
const (
	upright = 0.035
	leaning = 0.05
)

// leastUp returns how upright a wall may become that stands as was.
func leastUp(was, least float64) float64 {
	switch {
	case was > least:
		return max(least, min(was, upright))
	case was > upright:
		return max(was-leaning, upright)
	case was > 0:
		return was
	}
	return was - leaning
}

// walls names the corners of triangles that would stand too steep off the skin
// beside the line and steeper than they stood, and of those that would lean over
// it, which is an undercut.
func (w *work) walls() map[int32]back {
	slope := w.values.Float("steepest")
	least := 1 / math.Sqrt(1+float64(slope*slope)) // cosine between wall and skin
	master, holds := w.master(), make([]limit, len(w.skin.Mesh.Tris))
	geom.Chunks(len(holds), w.workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			holds[t] = w.wall(master, w.skin.Mesh.Tris[t], least)
		}
	})
	from := map[int32]back{}
	for t, l := range holds {
		if l == free {
			continue
		}
		for _, v := range w.skin.Mesh.Tris[t] {
			if l == byOverhang || from[v].why == free {
				from[v] = back{leaned, l}
			}
		}
	}
	return from
}

// wall returns what holds a triangle back.
func (w *work) wall(master []geom.Vec, tri geom.Tri, least float64) limit {
	if w.moved[tri[0]] == 0 && w.moved[tri[1]] == 0 && w.moved[tri[2]] == 0 || w.sliver(tri) {
		return free
	}
	up := w.skinUp[tri[0]].Add(w.skinUp[tri[1]]).Add(w.skinUp[tri[2]]).Unit()
	is := stands(master, tri, up)
	switch {
	case is >= max(least, upright) || is >= leastUp(stands(w.wanted, tri, up), least)-1e-6:
		return free
	case is < upright:
		return byOverhang
	}
	return bySteep
}

// sliver reports whether a triangle is too slender to be a wall: less than a
// tenth of the skin of an even one.
func (w *work) sliver(tri geom.Tri) bool {
	a, b, c := w.wanted[tri[0]], w.wanted[tri[1]], w.wanted[tri[2]]
	return b.Sub(a).Cross(c.Sub(a)).Len() < float64(0.0866*float64(w.edge*w.edge))
}

// stands returns the cosine between a triangle and the skin beside the line.
func stands(places []geom.Vec, tri geom.Tri, up geom.Vec) float64 {
	a, b, c := places[tri[0]], places[tri[1]], places[tri[2]]
	return b.Sub(a).Cross(c.Sub(a)).Unit().Dot(up)
}

// facing is the cosine from which on two skins face each other: within 60 degrees
// of squarely. Where their forms face the same way, within 60 degrees, they are the
// walls of one line, which may come nearer by a twentieth if they are within the gap
// as they are: a line across a finger is cut toward its middle. told is what is not
// counted, mm.
const (
	facing  = -0.5
	oneLine = 0.5
	dented  = 0.05
	told    = 0.001
)

// airs names the places of skins that would come nearer to each other than the
// gap, or than they were if that is less: those that are raised, and, where neither
// is, both. Air is measured by touching balls, as the step gaps does.
func (w *work) airs(ctx context.Context) (raised, both map[int32]back, err error) {
	gap := w.values.Float("gap")
	if gap == 0 {
		return nil, nil, nil
	}
	if err := w.findNear(ctx, gap); err != nil {
		return nil, nil, err
	}
	if len(w.near) == 0 {
		return nil, nil, nil
	}
	master := w.master()
	balls, err := w.balls(ctx, master, w.near, float64(1.1*gap)+w.edge)
	if err != nil {
		return nil, nil, err
	}
	raised, both = map[int32]back{}, map[int32]back{}
	for k, b := range balls {
		if b.Free() || b.Turn > facing {
			continue
		}
		i, j := w.near[k], w.near[b.Touch]
		if over := w.nearer(master, i, j, gap); over > told {
			w.apart(i, j, over, raised, both)
		}
	}
	return raised, both, nil
}

// apart names what of two vertices whose skins come over mm too near is to be taken
// back.
func (w *work) apart(i, j int32, over float64, raised, both map[int32]back) {
	rise := max(0, w.moved[i]) + max(0, w.moved[j])
	if rise == 0 {
		both[i], both[j] = back{leaned, byGap}, back{leaned, byGap}
		return
	}
	share := min(1, over/rise)
	for _, v := range [2]int32{i, j} {
		if w.moved[v] > 0 && share >= raised[v].share {
			raised[v] = back{share, byGap}
		}
	}
}

// nearer returns how much nearer the skins about two vertices come than they may.
func (w *work) nearer(master []geom.Vec, i, j int32, gap float64) float64 {
	was, is := w.skin.Near(w.wanted, w.wanted[i], j), w.skin.Near(master, master[i], j)
	may := max(0, was-gap)
	if w.lost.Normal[i].Dot(w.lost.Normal[j]) > oneLine {
		may = max(may, float64(dented*was))
	}
	return was - is - may
}

// findNear lists the vertices whose skin lies so near to skin facing it that what
// is moved could bring them nearer than the gap. It is asked again where that has
// grown by half.
func (w *work) findNear(ctx context.Context, gap float64) error {
	most := 0.0
	for _, d := range w.moved {
		most = max(most, math.Abs(d))
	}
	if gap+float64(2*most) <= w.reach {
		return nil
	}
	w.reach = gap + float64(3*most)
	all := make([]int32, len(w.wanted))
	for i := range all {
		all[i] = int32(i)
	}
	balls, err := w.balls(ctx, w.wanted, all, w.reach)
	if err != nil {
		return err
	}
	w.near = w.near[:0]
	for i, b := range balls {
		if !b.Free() && b.Turn < 0 {
			w.near = append(w.near, int32(i))
		}
	}
	return nil
}

// balls returns the largest balls of air, up to widest mm in diameter, that touch
// the skin with its vertices at places at some of them, and others of these.
func (w *work) balls(ctx context.Context, places []geom.Vec, some []int32, widest float64) ([]geom.Ball, error) {
	s := &geom.Skin{At: make([]geom.Point, len(some)), Out: make([]geom.Point, len(some)), Edge: w.edge}
	geom.Chunks(len(some), w.workers, func(lo, hi int) {
		for k := lo; k < hi; k++ {
			s.At[k], s.Out[k] = places[some[k]].Point(), w.skin.Normal(places, some[k]).Point()
		}
	})
	tree, err := geom.NewPointTree(ctx, s.At, w.workers)
	if err != nil {
		return nil, err
	}
	return s.Balls(ctx, tree, geom.Air, widest, 0, w.workers)
}
