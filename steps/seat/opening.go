package seat

import (
	"fmt"
	"math"

	"layette/steps/internal/geom"
)

// opening measures the rim.
func (p *part) opening() {
	o := p.limb.Openings[0]
	var rim []geom.Vec
	for _, i := range o.Rim {
		rim = append(rim, p.limb.Mesh.Verts[i].Vec())
	}
	long, broad, along := extents(rim, p.seat.Up)
	p.m["opening.count"] = int64(len(p.limb.Openings))
	p.m["opening.flat"], p.m["opening.girth"] = o.Flat, o.Girth
	p.m["opening.long"], p.m["opening.broad"], p.m["opening.oval"] = long, broad, long-broad
	if p.sided {
		p.m["opening.wide"], p.m["opening.deep"] = extent(rim, p.seat.Right), extent(rim, p.seat.Front)
	}
	half := along.Mul(long / 2)
	p.spot("opening", p.seat.At.Sub(half), p.seat.At.Add(half), long-broad, "mm",
		fmt.Sprintf("the opening is %.1f mm round, %.2f mm by %.2f mm: longest along the line drawn, and flat to %.3f mm", o.Girth, long, broad, o.Flat), rim)
}

// extents returns the greatest extent of a level outline, that square to it,
// and the direction of the first. A degree a step: right to 1 in 6,000.
func extents(ring []geom.Vec, n geom.Vec) (long, broad float64, along geom.Vec) {
	u := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.7 {
		u = geom.Vec{Y: 1}
	}
	u = n.Cross(u).Unit()
	turn := geom.SmallTurn(n.Mul(math.Pi / 180))
	for range 180 {
		if e := extent(ring, u); e > long {
			long, broad, along = e, extent(ring, n.Cross(u)), u
		}
		u = turn.Apply(u)
	}
	return long, broad, along
}

// extent returns how far a ring reaches along a direction of length one.
func extent(ring []geom.Vec, d geom.Vec) float64 {
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, p := range ring {
		lo, hi = min(lo, p.Dot(d)), max(hi, p.Dot(d))
	}
	return hi - lo
}
