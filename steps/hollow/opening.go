package hollow

import (
	"context"
	"fmt"
	"slices"

	"layette/steps/internal/geom"
)

// rivals is how large a second end may be against the largest before it is
// left open which is meant.
const rivals = 0.4

// uneven is how far an opening may stray from a plane before it is said, mm.
const uneven = 0.2

// findMouth looks for the flat end of m that near lies on, or for the only
// large one. It returns nil where there is none, and says why.
func findMouth(ctx context.Context, m *geom.Mesh, edges *geom.Edges, near *geom.Vec) (*geom.Opening, string, error) {
	if near != nil {
		o, ok := m.FaceAt(edges, *near, 0.05)
		if !ok {
			return nil, "", fmt.Errorf("there is no flat end at (%s), which the recipe names as the opening", place(near.Add(m.Origin)))
		}
		return &o, "", nil
	}
	ends, err := m.Openings(ctx, edges)
	switch {
	case err != nil:
		return nil, "", err
	case len(ends) == 0:
		return nil, "no flat end was found: the part is taken as closed all round; cut its opening flat", nil
	case len(ends) > 1 && ends[1].Area >= rivals*ends[0].Area:
		return nil, "", fmt.Errorf("two flat ends of %.0f and %.0f mm² about (%s) and (%s): say which is the opening with opening = [x, y, z]", ends[0].Area, ends[1].Area, place(ends[0].Centre.Add(m.Origin)), place(ends[1].Centre.Add(m.Origin)))
	}
	if f := ends[0].Flat; f > uneven {
		return &ends[0], fmt.Sprintf("the opening strays %.2f mm from a plane: it is taken for flat; cut it so", f), nil
	}
	return &ends[0], "", nil
}

func place(p geom.Vec) string { return fmt.Sprintf("%.1f, %.1f, %.1f", p.X, p.Y, p.Z) }

// capped closes a surface with one rim by a flat fan, which is its opening.
func capped(ctx context.Context, m *geom.Mesh, edges *geom.Edges) (*geom.Mesh, *geom.Opening, error) {
	if n := len(m.Rims(edges)); n != 1 {
		return nil, nil, fmt.Errorf("the surface is open at %d rims: only its opening may be; close the others, soundness shows where", n)
	}
	ends, err := m.Openings(ctx, edges)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(ends, func(o geom.Opening) bool { return o.Open() })
	if i < 0 || ends[i].Flat > 0.5 {
		return nil, nil, fmt.Errorf("the rim of the surface is no flat opening: close it, or cut it flat")
	}
	e, ring := ends[i], m.Rims(edges)[0].Verts
	out := &geom.Mesh{Verts: append(slices.Clone(m.Verts), e.Centre.Point()), Tris: slices.Clone(m.Tris), Origin: m.Origin}
	for k, v := range ring {
		e.Face = append(e.Face, int32(len(out.Tris)))
		out.Tris = append(out.Tris, geom.Tri{ring[(k+1)%len(ring)], v, int32(len(m.Verts))})
	}
	return out, &e, nil
}

// stood returns m turned so that its opening lies on z = 0 with the part above
// it, and the pose that did it.
func stood(m *geom.Mesh, e *geom.Opening) (*geom.Mesh, geom.Pose) {
	n := e.Plane.Normal.Mul(-1)
	u := across(n)
	w := n.Cross(u)
	pose := geom.Pose{Rot: geom.Mat{{u.X, u.Y, u.Z}, {w.X, w.Y, w.Z}, {n.X, n.Y, n.Z}}}
	pose.Move = geom.Vec{}.Sub(pose.Rot.Apply(e.Centre))
	pose.Move.Z = e.Plane.Offset
	out := &geom.Mesh{Verts: make([]geom.Point, len(m.Verts)), Tris: m.Tris}
	for i, p := range m.Verts {
		out.Verts[i] = pose.Apply(p.Vec()).Point()
	}
	return out, pose
}

// without returns m without the triangles of its opening.
func without(m *geom.Mesh, e *geom.Opening) *geom.Mesh {
	if e == nil {
		return m
	}
	out := &geom.Mesh{Verts: m.Verts}
	face := e.Face
	for t, tri := range m.Tris {
		if len(face) > 0 && int(face[0]) == t {
			face = face[1:]
			continue
		}
		out.Tris = append(out.Tris, tri)
	}
	return out
}
