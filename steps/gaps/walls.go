package gaps

import (
	"context"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// walls finds where the walls of the cavity come close: where the master is
// slimmer than three walls of vinyl.
func (l *look) walls(ctx context.Context) ([]find, error) {
	var all []find
	for _, members := range l.clusters(l.solid, func(i int32) bool {
		return l.inner[i] == gap && 2*float64(l.solid[i].Radius) <= 3.05*l.wall
	}) {
		p, members, err := l.thinnestOf(ctx, members)
		if err != nil {
			return nil, err
		}
		if math.IsInf(p.wide, 1) || p.wide >= 3*l.wall || p.wide <= l.touch {
			continue
		}
		f := find{what: thinSolid, pinch: p, value: p.wide, unit: "mm", weight: 3 * l.wall / p.wide / 10, fault: l.solidFault}
		f.area, f.reach = l.area(l.solid, members, 3*l.wall, p.at)
		if f.area < max(leastArea, p.wide*p.wide/4) {
			continue // narrower than half its thickness: the rim of something else
		}
		f.says = fmt.Sprintf("the solid is %.2f mm thick: facing walls of the cavity are %.1f walls of %.2f mm apart, under three; vinyl bridges them or fills solid", p.wide, p.wide/l.wall, l.wall)
		all = append(all, f)
	}
	return all, nil
}

// leastSolid returns the least thickness, measured on the triangles.
func (l *look) leastSolid(ctx context.Context) (float64, error) {
	var members []int32
	for i, c := range l.inner {
		if c == gap {
			members = append(members, int32(i))
		}
	}
	p, _, err := l.thinnestOf(ctx, members)
	return min(p.wide, l.thickest()), err
}

// thinnestOf measures where the walls among members are thinnest, and returns
// those of them that are thin over an area.
func (l *look) thinnestOf(ctx context.Context, members []int32) (pinch, []int32, error) {
	members, err := l.borneOut(ctx, members)
	if err != nil {
		return pinch{}, nil, err
	}
	p, err := l.pinchOf(ctx, l.solid, members, false)
	return p, members, err
}

// borneOut returns the walls among members that are thin over an area: the
// narrowest with much skin round it about as thin, and all wider ones.
// What is thinner on a few triangles only is crumpled skin, no wall.
func (l *look) borneOut(ctx context.Context, members []int32) ([]int32, error) {
	var queue []geom.Near
	for _, i := range members {
		geom.PushNear(&queue, geom.Near{ID: i, Dist2: float64(l.solid[i].Radius)})
	}
	for len(queue) > 0 {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if i := geom.PopNear(&queue).ID; l.thinRound(i) {
			return slices.DeleteFunc(slices.Clone(members), func(j int32) bool { return l.solid[j].Radius < l.solid[i].Radius }), nil
		}
	}
	return nil, nil
}

// thinRound reports whether a third of the skin round place i, up to a quarter
// of its thickness away, is wall and no more than a twentieth and half of rough
// thicker, and is not itself the skin opposite: that is a crumpled edge, or a rim
// that few triangles have cut off.
func (l *look) thinRound(i int32) bool {
	wide := 2 * float64(l.solid[i].Radius)
	upTo, reach := float32(0.525*wide+l.rough/4), max(leastWall, wide/4, 1.5*l.skin.Edge)
	var thin, all geom.Sum
	from := l.skin.Vert[i]
	met := map[int32]bool{from: true}
	for next := []int32{from}; len(next) > 0; next = next[1:] {
		l.each(next[0], func(j int32) {
			all.Add(l.skin.Area[j])
			if l.inner[j] == gap && l.solid[j].Radius <= upTo {
				thin.Add(l.skin.Area[j])
			}
		})
		l.around(next[0], func(w int32, _ float64) {
			if !met[w] && l.skin.Mesh.Verts[w].Vec().Sub(l.at(i)).Len() <= reach {
				met[w] = true
				next = append(next, w)
			}
		})
	}
	return 3*thin.Total() >= all.Total() && !met[l.skin.Vert[l.solid[i].Touch]]
}

// leastWall is how far round a place skin must be thin for a wall at least, mm.
const leastWall = 0.6

// grade judges facing cavity walls: three walls apart at least, five at best.
func (l *look) grade(least float64) string {
	switch {
	case least < 3*l.wall:
		return "fail"
	case least < 5*l.wall:
		return "warn"
	}
	return "pass"
}
