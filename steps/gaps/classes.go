package gaps

import (
	"math"

	"layette/steps/internal/geom"
)

// Cosines that part the classes. Two walls at an opening angle A have
// directions whose product is -cos A.
const (
	facing = -0.5    // walls within 60 degrees of one another
	turned = 0.866   // skin that turns by under 30 degrees is no corner
	square = -0.9945 // walls within 6 degrees: the edge they would meet in cannot be told
)

// sort puts every place into its class, for the air and for the solid.
func (l *look) sort(workers int) {
	l.class = make([]class, len(l.air))
	l.inner = make([]class, len(l.air))
	geom.Chunks(len(l.solid), workers, func(lo, hi int) {
		for i := int32(lo); i < int32(hi); i++ {
			l.squareUp(i)
		}
	})
	geom.Chunks(len(l.air), workers, func(lo, hi int) {
		for i := int32(lo); i < int32(hi); i++ {
			l.class[i] = l.classOf(i)
			l.inner[i] = l.innerOf(i)
		}
	})
}

func (l *look) classOf(i int32) class {
	b := l.air[i]
	switch {
	case b.Free() || b.Turn > turned || l.wrongSide(i, b, 1):
		return free
	case b.Turn > facing:
		straight := l.at(i).Sub(l.at(b.Touch)).Len()
		if float64(l.along[i]) <= 4*straight+2*l.cell() {
			return corner
		}
		return oblique
	}
	if !l.mutual(l.air, i) {
		return free
	}
	w, along := 2*float64(b.Radius), float64(l.along[i])
	if b.Turn > square {
		walls := w / halfTan(b.Turn) // along both walls to the edge and back
		if along >= 0.5*walls-l.cell() && along <= 1.6*walls+l.cell() && l.meets(l.air, i, 1) {
			return crevice
		}
	}
	if along >= max(4*w, l.apart) {
		return gap
	}
	return slot
}

// squareUp lets the ball of the solid at place i touch opposite, if there is
// skin: in a round limb a ball touches all round, and where it was first seen
// to touch means nothing.
func (l *look) squareUp(i int32) {
	b := &l.solid[i]
	if b.Free() || b.Turn < -0.966 || l.sharp(b.Touch) {
		return
	}
	r := float64(b.Radius)
	opposite := l.tree.Nearest(l.at(i).Sub(l.out(i).Mul(2*r)), 0.15*r+l.skin.Edge)
	if opposite.ID < 0 {
		return
	}
	if turn := l.out(i).Dot(l.out(opposite.ID)); turn < -0.8 {
		b.Touch, b.Turn = opposite.ID, float32(turn)
		b.Radius = max(b.Radius, float32(l.at(i).Sub(l.at(opposite.ID)).Len()/2))
	}
}

func (l *look) innerOf(i int32) class {
	b := l.solid[i]
	switch {
	case b.Free() || b.Turn > turned || l.wrongSide(i, b, -1):
		return free
	case b.Turn > facing:
		return corner
	case b.Turn > square && l.meets(l.solid, i, -1):
		return crevice
	case !l.mutual(l.solid, i) || 2*float64(b.Radius) < l.rough: // crumpled triangles
		return free
	}
	return gap
}

// mutual reports whether the skin where a ball touches is about as near to this
// as this to it. Where it is not, one of the two directions is wrong: on noise,
// or in a sharp crease.
func (l *look) mutual(balls []geom.Ball, i int32) bool {
	b := balls[i]
	return l.sharp(b.Touch) || l.sharp(i) || float64(balls[b.Touch].Radius) < 2*float64(b.Radius)+l.skin.Edge/2
}

// wrongSide reports whether a ball touches its second place from behind: it
// lies inside another shell, where there is neither gap nor wall.
func (l *look) wrongSide(i int32, b geom.Ball, side float64) bool {
	r := float64(b.Radius)
	centre := l.at(i).Add(l.out(i).Mul(side * r))
	return centre.Sub(l.at(b.Touch)).Dot(l.out(b.Touch))*side < -0.3*r
}

// halfTan returns the tangent of half the opening angle.
func halfTan(turn float32) float64 {
	c := -float64(turn)
	return math.Sqrt(max(0, 1-c) / (1 + c))
}

// meets reports whether the walls that the ball at place i lies between meet:
// whether balls where they would are much smaller.
func (l *look) meets(balls []geom.Ball, i int32, side float64) bool {
	b := balls[i]
	if l.sharp(b.Touch) {
		return false // an edge is no wall
	}
	n, nq := l.out(i).Mul(side), l.out(b.Touch).Mul(side)
	open := n.Add(nq)
	down := open.Sub(n.Mul(open.Dot(n))).Unit().Mul(-1)
	r := float64(b.Radius)
	depth := r / halfTan(b.Turn)
	if depth > l.farthest() {
		return false
	}
	edge := l.tree.Nearest(l.at(i).Add(down.Mul(depth)), depth/2)
	if edge.ID >= 0 && (float64(balls[edge.ID].Radius) < r/2 || balls[edge.ID].Free() && l.sharp(edge.ID)) {
		return true
	}
	if side < 0 || r < l.skin.Edge || float64(l.along[i]) >= l.apart {
		return false
	}
	// Few triangles may leave no ball where the walls of a fold meet; half way
	// down it is half as wide all the same.
	half := l.tree.Nearest(l.at(i).Add(down.Mul(depth/2)), l.skin.Edge)
	return half.ID >= 0 && !balls[half.ID].Free() && float64(balls[half.ID].Radius) < 0.65*r
}

// sharp reports whether a place lies on a sharp edge: its vertex has others.
func (l *look) sharp(i int32) bool {
	v := l.skin.Vert
	return i > 0 && v[i-1] == v[i] || int(i)+1 < len(v) && v[i+1] == v[i]
}
