package printbed

import (
	"context"
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// section is a plane section of a piece.
type section struct {
	middle geom.Vec // of the section's outline, in the piece's own frame, mm
	area   float64  // mm²
	along  geom.Vec // square to it, along the piece
	length float64  // of the piece along that, mm
	before float64  // as much of it lies before the section
}

// planes is how many sections are looked at along the middle third.
const planes = 41

// across finds the least section square to the longest extent (the axis of
// least inertia of the vertices), within the middle third, of those that leave
// no half longer than the bed's longest side if there are any. Areas come from
// the flux through the closed surface on one side of the plane.
func across(m *geom.Mesh, side float64) *section {
	var c geom.Vec
	for _, v := range m.Verts {
		c = c.Add(v.Vec().Mul(1 / float64(len(m.Verts))))
	}
	var s geom.Mat
	for _, v := range m.Verts {
		d := v.Vec().Sub(c)
		r := [3]float64{d.X, d.Y, d.Z}
		for i := range 3 {
			for j := range 3 {
				s[i][j] += float64(r[i] * r[j])
			}
		}
	}
	_, axes := geom.Eigen3(s)
	along := axes[2]
	low, high := math.Inf(1), math.Inf(-1)
	for _, v := range m.Verts {
		x := along.Dot(v.Vec())
		low, high = min(low, x), max(high, x)
	}
	best := &section{area: math.Inf(1), along: along, length: high - low}
	at, halves := 0.0, high-low < 1.99*side
	for i := range planes {
		h := low + (high-low)*(1+float64(i)/(planes-1))/3
		if halves && max(h-low, high-h) > side {
			continue
		}
		if a := areaAt(m, along, h); a < best.area {
			best.area, best.before, at = a, h-low, h
		}
	}
	best.middle = middleOf(m, along, at).Add(m.Origin)
	return best
}

func areaAt(m *geom.Mesh, along geom.Vec, h float64) float64 {
	var flux geom.Sum
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		if share := below(along.Dot(a), along.Dot(b), along.Dot(c), h); share > 0 {
			flux.Add(float64(-along.Dot(b.Sub(a).Cross(c.Sub(a))) / 2 * share))
		}
	}
	return math.Abs(flux.Total())
}

// middleOf returns the middle of the places where the plane meets edges.
func middleOf(m *geom.Mesh, along geom.Vec, h float64) geom.Vec {
	box := geom.EmptyBox()
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		for _, e := range [3][2]geom.Vec{{a, b}, {b, c}, {c, a}} {
			x, y := along.Dot(e[0])-h, along.Dot(e[1])-h
			if (x < 0) != (y < 0) {
				box = box.Include(e[0].Add(e[1].Sub(e[0]).Mul(x / (x - y))))
			}
		}
	}
	return box.Centre()
}

// widest is how wide a section or a gap is still of interest to a printer, mm.
const widest = 4.0

// limits are the thinnest section and the narrowest gap; infinite above widest.
type limits struct{ thin, gap float64 }

// limitsOf measures with touching balls. Only places where the two skins face
// each other nearly squarely count: edges and creases are thin without end.
func limitsOf(ctx context.Context, job *step.Job, m *geom.Mesh) (limits, error) {
	skin, err := geom.NewSkin(ctx, m, 1.5, 8_000_000, job.Workers)
	if err != nil {
		return limits{}, err
	}
	tree, err := geom.NewPointTree(ctx, skin.At, job.Workers)
	if err != nil {
		return limits{}, err
	}
	least := func(side geom.Side) (float64, error) {
		balls, err := skin.Balls(ctx, tree, side, widest, 0.05, job.Workers)
		if err != nil {
			return 0, err
		}
		d := math.Inf(1)
		for _, b := range balls {
			if !b.Free() && b.Turn < facing {
				d = min(d, 2*float64(b.Radius))
			}
		}
		return d, nil
	}
	var l limits
	if l.thin, err = least(geom.Solid); err != nil {
		return limits{}, err
	}
	l.gap, err = least(geom.Air)
	return l, err
}

// facing is the cosine below which two skins face each other: within 30 degrees.
const facing = -0.866
