package merge

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// darn closes the holes of an open skin that are so small that nothing can hide
// in them: those whose rim is no longer than that of a round hole wide mm across.
// They lie where one scan alone saw the skin, and that from the side. Each is
// closed by a fan about its middle, which no scan saw.
func (m *merger) darn(ctx context.Context, s *skin, wide float64) error {
	e, err := s.Edges(ctx, m.job.Workers)
	if err != nil {
		return err
	}
	for _, rim := range s.Rims(e) {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		if long, closed := round(s.Mesh, rim); closed && long <= math.Pi*wide {
			s.fan(rim)
			m.darned++
		}
	}
	return nil
}

// round returns the length of a rim, and whether its edges go once round, each
// from one vertex to the next.
func round(m *geom.Mesh, rim geom.Loop) (long float64, closed bool) {
	n := len(rim.Verts)
	for i, edge := range rim.Edges {
		from, to := rim.Verts[i], rim.Verts[(i+1)%n]
		if a, b := m.Ends(edge); !(a == from && b == to || a == to && b == from) {
			return 0, false
		}
		long += m.Verts[from].Vec().Sub(m.Verts[to].Vec()).Len()
	}
	return long, n >= 3
}

// fan closes a rim.
func (s *skin) fan(rim geom.Loop) {
	var sum geom.Vec
	for _, v := range rim.Verts {
		sum = sum.Add(s.Verts[v].Vec())
	}
	middle := int32(len(s.Verts))
	s.Verts = append(s.Verts, sum.Mul(1/float64(len(rim.Verts))).Point())
	s.Seen, s.disagree = append(s.Seen, 0), append(s.disagree, 0)
	for _, edge := range rim.Edges {
		a, b := s.Ends(edge)
		s.Tris = append(s.Tris, geom.Tri{b, a, middle})
	}
}
