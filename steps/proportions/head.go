package proportions

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// head takes the greatest tape over planes level with the opening, above the
// ears, and its extents there.
func (p *part) head(ctx context.Context) error {
	up, foot := p.Up, p.Foot
	if !p.Opens {
		p.note("without an opening it cannot be told which way is up: the head is not measured")
		return nil
	}
	cutter, err := geom.NewCutter(p.limb.Mesh, p.limb.Edges)
	if err != nil {
		p.note("the head is not closed, its girth cannot be taken: %v", err)
		return nil
	}
	tall := 0.0
	for _, q := range p.limb.Mesh.Verts {
		tall = max(tall, q.Vec().Sub(foot).Dot(up))
	}
	p.Size["head.tall"] = tall
	best, top := tape{}, geom.Vec{}
	level := func(down float64) geom.Vec { return foot.Add(up.Mul(tall - down)) }
	for down := 0.1 * tall; down < 0.8*tall; down += 0.02 * tall {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		t := around(cutter, up, level(down))
		if down > aboveEars*max(t.long, best.long) {
			break
		}
		if t.girth > best.girth {
			best, top = t, level(down)
		}
	}
	for step := 0.01 * tall; step > 0.1; step /= 2 {
		for _, s := range [2]float64{step, -step} {
			if t := around(cutter, up, top.Add(up.Mul(s))); t.girth > best.girth {
				best, top = t, top.Add(up.Mul(s))
			}
		}
	}
	if best.girth > 0 {
		p.Size["head.girth"], p.Size["head.long"], p.Size["head.broad"] = best.girth, best.long, best.broad
		p.At["head.girth"] = best.mid
	}
	return nil
}

// aboveEars is how far below the crown the tape may lie, against the head's
// length there: ears begin lower. Common practice, by eye.
const aboveEars = 0.45

// tape is a level section with a tape round it.
type tape struct {
	girth, long, broad float64 // mm; broad is square to long, the greatest extent
	mid                geom.Vec
}

// around pulls a tape round the widest section in the plane through at.
func around(c *geom.Cutter, normal, at geom.Vec) tape {
	plane := geom.Plane{Normal: normal, Offset: normal.Dot(at)}
	sections, err := c.Sections(plane, nil)
	if err != nil {
		return tape{}
	}
	var best tape
	for i := range sections {
		ring := sections[i].Outline()
		if g := geom.Tape(ring, normal); g > best.girth {
			best = tape{girth: g, mid: sections[i].Mid}
			best.long, best.broad = extents(ring, normal)
		}
	}
	return best
}

// extents returns the greatest extent of a level outline, and that square to it.
func extents(ring []geom.Vec, n geom.Vec) (long, broad float64) {
	u := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.7 {
		u = geom.Vec{Y: 1}
	}
	u = n.Cross(u).Unit()
	w := n.Cross(u)
	extent := func(d geom.Vec) float64 {
		lo, hi := math.Inf(1), math.Inf(-1)
		for _, p := range ring {
			x := p.Dot(d)
			lo, hi = min(lo, x), max(hi, x)
		}
		return hi - lo
	}
	const n180 = 180 // a degree each: the longest is right to 1 in 6,000
	turn := geom.SmallTurn(n.Mul(math.Pi / n180))
	for range n180 {
		if e := extent(u); e > long {
			long, broad = e, extent(w)
		}
		u, w = turn.Apply(u), turn.Apply(w)
	}
	return long, broad
}
