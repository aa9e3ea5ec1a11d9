package hollow

import (
	"cmp"
	"context"
	"errors"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// rivals is how large a second end may be against the largest before it is
// left open which is meant.
const rivals = 0.4

// uneven is how far an opening may stray from a plane before it is said, mm.
const uneven = 0.2

func (c *casting) note(format string, args ...any) {
	c.notes = append(c.notes, fmt.Sprintf(format, args...))
}

// findMouth looks for the flat end of m that near lies on, or for the largest.
// It finds none where there is none, and says so.
func (c *casting) findMouth(ctx context.Context, m *geom.Mesh, edges *geom.Edges, near *geom.Vec, workers int) error {
	if near != nil {
		o, ok := m.FaceAt(edges, *near, 0.05)
		if !ok {
			return fmt.Errorf("there is no flat end at (%s), which the recipe names as the opening", place(near.Add(m.Origin)))
		}
		c.mouth = &o
		return nil
	}
	ends, err := m.Openings(ctx, edges, workers)
	if err != nil {
		return err
	}
	if len(ends) == 0 {
		c.note("no flat end was found: the part is taken as closed all round; cut its opening flat")
		return nil
	}
	c.mouth = &ends[0]
	if len(ends) > 1 && ends[1].Area >= rivals*ends[0].Area {
		c.note("%d flat ends, the largest of %.0f and %.0f mm² about (%s) and (%s): the first is taken for the opening and vinyl builds on the others; say which is the opening with opening = [x, y, z]", len(ends), ends[0].Area, ends[1].Area, place(ends[0].Centre.Add(m.Origin)), place(ends[1].Centre.Add(m.Origin)))
	}
	c.judge()
	return nil
}

// judge says if the opening is not flat.
func (c *casting) judge() {
	if f := c.mouth.Flat; f > uneven {
		c.note("the opening strays %.2f mm from a plane: it is taken for flat; cut it so", f)
	}
}

func place(p geom.Vec) string { return fmt.Sprintf("%.1f, %.1f, %.1f", p.X, p.Y, p.Z) }

// capped closes every rim of a surface by a fan, straight across. The rim that
// near lies by, or the largest that is about flat, is the opening; the others are
// taken for skin.
func (c *casting) capped(ctx context.Context, m *geom.Mesh, edges *geom.Edges, near *geom.Vec, workers int) (*geom.Mesh, error) {
	rims := m.Rims(edges)
	if len(rims) == 0 {
		return nil, errors.New("the surface has edges where triangles turn against one another or more than two meet: what is inside cannot be told; run soundness first")
	}
	ends, err := m.Openings(ctx, edges, workers)
	if err != nil {
		return nil, err
	}
	ends = slices.DeleteFunc(ends, func(o geom.Opening) bool { return !o.Open() })
	if near != nil {
		off := func(o geom.Opening) float64 { return o.Centre.Sub(*near).Len() - math.Sqrt(o.Area/math.Pi) }
		slices.SortStableFunc(ends, func(a, b geom.Opening) int { return cmp.Compare(off(a), off(b)) })
	}
	out := &geom.Mesh{Verts: slices.Clone(m.Verts), Tris: slices.Clone(m.Tris), Origin: m.Origin}
	for _, rim := range rims {
		first := int32(len(out.Tris))
		fan(out, rim.Verts)
		if len(ends) > 0 && slices.Equal(ends[0].Rim, rim.Verts) {
			c.mouth = &ends[0]
			for t := first; t < int32(len(out.Tris)); t++ {
				c.mouth.Face = append(c.mouth.Face, t)
			}
		}
	}
	switch {
	case c.mouth == nil && len(rims) == 1:
		c.note("the rim of the surface is no flat opening: it is closed straight across and taken for skin, so that what runs out cannot be told; cut the opening flat")
	case c.mouth == nil:
		c.note("the surface is open at %d rims, none of which is a flat opening: they are closed straight across and taken for skin, so that what runs out cannot be told; cut the opening flat and close the others", len(rims))
	case len(rims) > 1:
		c.note("the surface is open at %d rims: only its opening may be. That about (%s) is taken for it, the others are closed straight across and taken for skin; soundness shows where they are", len(rims), place(c.mouth.Centre.Add(m.Origin)))
	default:
		c.note("the surface is open at one rim, which is taken for its opening")
	}
	if c.mouth != nil {
		c.judge()
	}
	return out, nil
}

// fan closes a rim by triangles to the middle of its vertices.
func fan(m *geom.Mesh, rim []int32) {
	var sum geom.Vec
	for _, v := range rim {
		sum = sum.Add(m.Verts[v].Vec())
	}
	middle := int32(len(m.Verts))
	m.Verts = append(m.Verts, sum.Mul(1/float64(len(rim))).Point())
	for k, v := range rim {
		m.Tris = append(m.Tris, geom.Tri{rim[(k+1)%len(rim)], v, middle})
	}
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
