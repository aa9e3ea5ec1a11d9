package gaps

import (
	"context"

	"layette/steps/internal/geom"
	limbs "layette/steps/internal/limb"
)

// ends looks at the rims and openings of the surface and at how its triangles
// are joined.
func (l *look) ends(ctx context.Context, m *geom.Mesh, workers int) error {
	edges, err := m.Edges(ctx, workers)
	if err != nil {
		return err
	}
	var sum geom.Sum
	l.twisted = len(edges.Fans)
	for c, mate := range edges.Across {
		switch {
		case mate == geom.Rim:
			a, b := m.Ends(int32(c))
			sum.Add(m.Verts[b].Vec().Sub(m.Verts[a].Vec()).Len())
		case mate > int32(c) && m.Turned(edges, int32(c)):
			l.twisted++
		}
	}
	l.open = sum.Total()
	l.odd, err = limbs.Ends(ctx, m, edges, "skin and solid are measured wherever they are", workers)
	return err
}
