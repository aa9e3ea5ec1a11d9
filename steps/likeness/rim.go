package likeness

import (
	"context"

	"layette/steps/internal/geom"
)

// rim is where a surface ends. What is nearest to a place there may lie beyond
// it, where the surface says nothing.
type rim struct {
	m     *geom.Mesh
	edges *geom.Edges
	vert  []bool
}

func newRim(ctx context.Context, m *geom.Mesh, workers int) (*rim, error) {
	edges, err := m.Edges(ctx, workers)
	if err != nil {
		return nil, err
	}
	r := &rim{m: m, edges: edges, vert: make([]bool, len(m.Verts))}
	for e, across := range edges.Across {
		if across == geom.Rim {
			a, b := m.Ends(int32(e))
			r.vert[a], r.vert[b] = true, true
		}
	}
	return r, nil
}

// holds reports whether the place h lies on the rim.
func (r *rim) holds(h geom.Hit) bool {
	weights := [3]float64{1 - h.V - h.W, h.V, h.W}
	on := 0 // corners that the place leans on
	for _, w := range weights {
		if w > eps {
			on++
		}
	}
	for k, w := range weights {
		switch {
		case on == 1 && w > eps:
			return r.vert[r.m.Tris[h.Tri][k]]
		case on == 2 && w <= eps: // the edge across from this corner
			return r.edges.Across[3*h.Tri+int32((k+1)%3)] == geom.Rim
		}
	}
	return false
}

// eps is the rounding of a weight: a few last bits of 1.
const eps = 1e-12
