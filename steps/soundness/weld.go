package soundness

import (
	"context"

	"layette/steps/internal/geom"
)

// joinNear joins vertices within reach mm: in order of number, each goes to
// the first before it that stays and lies near enough, or stays itself.
// Triangles left with two corners at one vertex are left out and counted.
func joinNear(ctx context.Context, m *geom.Mesh, reach float64, workers int) (joined *geom.Mesh, collapsed int, err error) {
	tree, err := geom.NewPointTree(ctx, m.Verts, workers)
	if err != nil {
		return nil, 0, err
	}
	to := make([]int32, len(m.Verts))
	for i := range to {
		to[i] = -1
	}
	out := &geom.Mesh{Origin: m.Origin}
	var around []geom.Near
	for i, p := range m.Verts {
		if i&1023 == 0 && ctx.Err() != nil {
			return nil, 0, context.Cause(ctx)
		}
		if to[i] >= 0 {
			continue
		}
		n := int32(len(out.Verts))
		out.Verts = append(out.Verts, p)
		keepOf(out, m, i)
		to[i] = n
		around = tree.Within(p.Vec(), reach, around[:0])
		for _, near := range around {
			if to[near.ID] < 0 {
				to[near.ID] = n
			}
		}
	}
	for _, t := range m.Tris {
		w := geom.Tri{to[t[0]], to[t[1]], to[t[2]]}
		if w[0] == w[1] || w[1] == w[2] || w[2] == w[0] {
			collapsed++
			continue
		}
		out.Tris = append(out.Tris, w)
	}
	return out, collapsed, nil
}

// keepOf copies what else vertex i of m carries.
func keepOf(out, m *geom.Mesh, i int) {
	if len(m.Normals) > 0 {
		out.Normals = append(out.Normals, m.Normals[i])
	}
	if len(m.Colours) > 0 {
		out.Colours = append(out.Colours, m.Colours[i])
	}
	if len(m.Seen) > 0 {
		out.Seen = append(out.Seen, m.Seen[i])
	}
}
