package seat

import (
	"context"
	"fmt"
	"math"

	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

// curled is how far, of the part's height, the far skin lies beside the line of
// the part at least for its roll to be told. Common practice, no source.
const curled = 0.02

// lean measures where the part goes from its opening, and on which side it
// curls.
func (p *part) lean(ctx context.Context) error {
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	up := p.values.Float("lean-at") * p.tall
	s, ok := limb.Level(p.cutter, p.seat, up, p.limb.Between(p.seat, up, up))
	if !ok {
		p.note("no section was found %.1f mm up: nothing is told of how the part leans", up)
		return nil
	}
	top := limb.Middle(s.Outline(), p.seat.Up)
	d := top.Sub(p.seat.At)
	p.m["lean"] = math.Atan2(d.Cross(p.seat.Up).Len(), d.Dot(p.seat.Up)) * 180 / math.Pi
	says := fmt.Sprintf("the part leans %.1f degrees from square to its opening", p.m["lean"])
	if p.sided {
		front, right := p.seat.Lean(d)
		p.m["lean.front"], p.m["lean.right"] = front, right
		says += fmt.Sprintf(": %+.1f to its front, %+.1f to its right", front, right)
	}
	p.spot("lean", p.seat.At, top, p.m["lean"].(float64), "deg", says, nil)
	if !p.sided {
		return nil
	}
	p.m["curls"], p.m["roll"] = true, 0.0
	if p.face() {
		return nil
	}
	off := p.beyond(up).Sub(p.seat.At)
	off = off.Sub(d.Mul(off.Dot(p.seat.Up) / d.Dot(p.seat.Up)))
	if off.Len() < curled*p.tall {
		p.m["curls"] = false
		p.note("it hardly curls, so its roll cannot be told and stays 0; on a head name the corners of its eyes (points) and it is that of the face")
		return nil
	}
	p.m["roll"] = p.seat.Roll(off)
	return nil
}

// beyond returns the middle, by area, of the skin above a height.
func (p *part) beyond(height float64) geom.Vec {
	m := p.limb.Mesh
	var area, x, y, z geom.Sum
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		mid := a.Add(b).Add(c).Mul(1.0 / 3)
		if mid.Sub(p.seat.At).Dot(p.seat.Up) < height {
			continue
		}
		w := b.Sub(a).Cross(c.Sub(a)).Len()
		area.Add(w)
		x.Add(float64(mid.X * w))
		y.Add(float64(mid.Y * w))
		z.Add(float64(mid.Z * w))
	}
	return geom.Vec{X: x.Total(), Y: y.Total(), Z: z.Total()}.Mul(1 / area.Total())
}

// face measures by named corners of the eyes where a head looks, and with the
// chin how its face leans; it reports whether they were named.
func (p *part) face() bool {
	var left, right []geom.Vec
	for _, n := range [2]string{"inner-", "outer-"} {
		l, ok := p.points[n+"left"]
		r, ok2 := p.points[n+"right"]
		if ok && ok2 {
			left, right = append(left, l), append(right, r)
		}
	}
	if len(left) == 0 {
		return false
	}
	mean := func(a []geom.Vec) geom.Vec { return a[0].Add(a[len(a)-1]).Mul(0.5).Sub(p.limb.Mesh.Origin) }
	l, r := mean(left), mean(right)
	across := r.Sub(l)
	front := p.seat.Up.Cross(across).Unit() // right is front x up
	level := across.Sub(p.seat.Up.Mul(across.Dot(p.seat.Up))).Len()
	p.m["roll"] = p.seat.Roll(front)
	p.m["face.right"] = math.Atan2(-across.Dot(p.seat.Up), level) * 180 / math.Pi
	if chin, ok := p.points["chin"]; ok {
		d := l.Add(r).Mul(0.5).Sub(chin.Sub(p.limb.Mesh.Origin))
		p.m["face.front"] = math.Atan2(d.Dot(front), d.Dot(p.seat.Up)) * 180 / math.Pi
	}
	return true
}
