package form

import (
	"context"

	"layette/steps/internal/geom"
)

// Long is how many cut-offs long a wave of the relief may be before it is
// given back to the form. Heat flow shrinks round forms: a ball of radius R by
// 0.035 c²/R. That loss is a long wave of the height along the skin, and what
// is longer than Long cut-offs goes back. It changes the transmission by less
// than 0.01 at 2 to 8 cut-offs and by less than 0.0002 below 2.
const Long = 6

// Split is a skin told apart: each vertex is form + Relief along Normal.
type Split struct {
	Cutoff float64
	Normal []geom.Vec // of the form, unit
	Relief []float64  // mm; lines are negative
	metric *Operator
}

// Form returns where the form is: places - relief.
func (p *Split) Form(places []geom.Vec) []geom.Vec {
	f := make([]geom.Vec, len(places))
	geom.Chunks(len(f), p.metric.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			f[i] = places[i].Sub(p.Normal[i].Mul(p.Relief[i]))
		}
	})
	return f
}

// Split tells relief shorter than cutoff from form, in the metric of o.
func (s *Skin) Split(ctx context.Context, o *Operator, places []geom.Vec, cutoff float64) (*Split, error) {
	return s.split(ctx, o, places, Loss{Half: cutoff}, Long)
}

// Soften tells what a process takes of a skin, the relief, from what it leaves,
// the form, in the metric of o.
func (s *Skin) Soften(ctx context.Context, o *Operator, places []geom.Vec, loss Loss) (*Split, error) {
	return s.split(ctx, o, places, loss, Long)
}

// folded is how far, by cosine, the form may look against the skin: in a narrow
// web it folds over itself, and its direction there is the other one. No wall of
// a line leans out so far.
const folded = 0.5

func (s *Skin) split(ctx context.Context, o *Operator, places []geom.Vec, loss Loss, long float64) (*Split, error) {
	smooth, err := o.softPlaces(ctx, places, loss)
	if err != nil {
		return nil, err
	}
	p := &Split{Cutoff: loss.Half, metric: o, Normal: s.Normals(smooth), Relief: make([]float64, len(places))}
	geom.Chunks(len(places), s.workers, func(lo, hi int) {
		for i := lo; i < hi; i++ {
			if p.Normal[i].Dot(s.up[i].Vec()) < -folded {
				p.Normal[i] = p.Normal[i].Mul(-1)
			}
			p.Relief[i] = places[i].Sub(smooth[i]).Dot(p.Normal[i])
		}
	})
	back, err := o.Gauss(ctx, p.Relief, float64(long*loss.Half))
	if err != nil {
		return nil, err
	}
	for i, b := range back {
		if p.Relief[i] -= b; s.Held[i] {
			p.Relief[i] = 0
		}
	}
	return p, nil
}

// Metric returns the operator of the skin's own form, so that a wave's length
// is measured along the form and not down and up its slopes. What is shorter
// than two cut-offs is taken off first.
func (s *Skin) Metric(ctx context.Context, places []geom.Vec, cutoff float64) (*Operator, error) {
	raw, err := s.Operator(ctx, places, cutoff)
	if err != nil {
		return nil, err
	}
	p, err := s.split(ctx, raw, places, Loss{Half: 2 * cutoff}, 3)
	if err != nil {
		return nil, err
	}
	return s.Operator(ctx, p.Form(places), cutoff)
}

// Normals returns the unit directions away from the skin with its vertices at
// places; N. Max's weights as in geom.VertexNormals, in double precision.
func (s *Skin) Normals(places []geom.Vec) []geom.Vec {
	n := make([]geom.Vec, len(places))
	geom.Chunks(len(places), s.workers, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			n[v] = s.Normal(places, int32(v))
		}
	})
	return n
}

// Normal is Normals at one vertex.
func (s *Skin) Normal(places []geom.Vec, v int32) geom.Vec {
	var sum geom.Vec
	for _, c := range s.fan.of(int(v)) {
		tri, k := s.Mesh.Tris[c/3], c%3
		p := places[tri[(k+1)%3]].Sub(places[v])
		q := places[tri[(k+2)%3]].Sub(places[v])
		if w := float64(p.Len2() * q.Len2()); w > 0 {
			sum = sum.Add(p.Cross(q).Mul(1 / w))
		}
	}
	return sum.Unit()
}

// SplitAt is Split in the skin's own metric.
func (s *Skin) SplitAt(ctx context.Context, places []geom.Vec, cutoff float64) (*Split, error) {
	return s.SoftenAt(ctx, places, Loss{Half: cutoff})
}

// SoftenAt is Soften in the skin's own metric.
func (s *Skin) SoftenAt(ctx context.Context, places []geom.Vec, loss Loss) (*Split, error) {
	o, err := s.Metric(ctx, places, loss.Half)
	if err != nil {
		return nil, err
	}
	return s.Soften(ctx, o, places, loss)
}

// Areas returns the skin that each vertex stands for: a third of the triangles
// about it, mm².
func (s *Skin) Areas(places []geom.Vec) []float64 {
	third := make([]float64, len(s.Mesh.Tris))
	geom.Chunks(len(third), s.workers, func(lo, hi int) {
		for t := lo; t < hi; t++ {
			tri := s.Mesh.Tris[t]
			a, b, c := places[tri[0]], places[tri[1]], places[tri[2]]
			third[t] = b.Sub(a).Cross(c.Sub(a)).Len() / 6
		}
	})
	skin := make([]float64, len(places))
	geom.Chunks(len(skin), s.workers, func(lo, hi int) {
		for v := lo; v < hi; v++ {
			for _, c := range s.fan.of(v) {
				skin[v] += third[c/3]
			}
		}
	})
	return skin
}

// MeanEdge returns the mean length of the triangles' sides, mm.
func (s *Skin) MeanEdge() float64 {
	var sum geom.Sum
	for t := range s.Mesh.Tris {
		a, b, c := s.Mesh.Corners(t)
		sum.Add(b.Sub(a).Len() + c.Sub(b).Len() + a.Sub(c).Len())
	}
	return sum.Total() / float64(max(3*len(s.Mesh.Tris), 1))
}
