package meshio

import (
	"context"
	"fmt"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// raw is a surface as its file has it: full precision, polygons already cut
// into triangles, nothing joined or left out yet.
type raw struct {
	pos     []geom.Vec
	tris    []geom.Tri
	normals []geom.Point
	colours [][4]uint8
	seen    []uint16
	columns []Column
	loose   bool // every three positions are a triangle; tris stays empty
}

// mesh makes the surface: scaled, moved near the origin, without what is not
// finite, joined.
func (r *raw) mesh(ctx context.Context, opt Options, info *Info) (*geom.Mesh, error) {
	if len(r.pos) > math.MaxInt32 || len(r.tris) > math.MaxInt32/3 {
		return nil, fmt.Errorf("%d points and %d triangles are more than this program can number", len(r.pos), len(r.tris))
	}
	info.Points = len(r.pos)
	if r.loose {
		r.tris = make([]geom.Tri, len(r.pos)/3)
		for t := range r.tris {
			i := int32(3 * t)
			r.tris[t] = geom.Tri{i, i + 1, i + 2}
		}
	}
	info.Triangles = len(r.tris)
	r.dropNotFinite(info)
	for i := range r.pos {
		r.pos[i] = r.pos[i].Mul(opt.Scale)
	}
	m := &geom.Mesh{Tris: r.tris, Normals: r.normals, Colours: r.colours, Seen: r.seen}
	m.Verts, m.Origin = store(r.pos)
	info.Columns = r.columns
	r.pos = nil
	if len(m.Tris) == 0 {
		return m, nil
	}
	welded, from, err := m.Welded(ctx, opt.Workers)
	if err != nil {
		return nil, err
	}
	for i, c := range info.Columns {
		info.Columns[i].Values = take(c.Values, from)
	}
	if !r.loose {
		info.Joined = len(m.Verts) - len(welded.Verts)
	}
	return welded, nil
}

// store rounds positions to float32 after moving far axes near zero.
func store(pos []geom.Vec) ([]geom.Point, geom.Vec) {
	box := geom.EmptyBox()
	for _, p := range pos {
		box = box.Include(p)
	}
	o := origin(box)
	pts := make([]geom.Point, len(pos))
	for i, p := range pos {
		pts[i] = p.Sub(o).Point()
	}
	return pts, o
}

// far is the distance from zero, in mm, from which float32 steps begin to
// matter: half a micrometre beyond 4 m.
const far = 4096

// origin returns what to take off the coordinates of a surface in box. An axis
// is moved by the middle of the box, rounded to whole millimetres, if that
// middle is more than 4.096 m from zero and the box reaches less than 0.45 of
// the way back: every coordinate is then between half and twice the move, and
// coordinates that were float32 in the file lose nothing (P. Sterbenz,
// Floating-Point Computation, 1974, theorem 4.3.1; from memory).
func origin(box geom.Box) geom.Vec {
	c, s := box.Centre(), box.Size()
	return geom.Vec{X: move(c.X, s.X), Y: move(c.Y, s.Y), Z: move(c.Z, s.Z)}
}

func move(centre, size float64) float64 {
	if !(math.Abs(centre) > far) || size/2 > 0.45*math.Abs(centre) {
		return 0
	}
	return float64(float32(math.Round(centre)))
}

// dropNotFinite leaves out points with a coordinate that is not a number,
// infinite or beyond float32, and the triangles that use them.
func (r *raw) dropNotFinite(info *Info) {
	finite := func(p geom.Vec) bool {
		return math.Abs(p.X) <= limit && math.Abs(p.Y) <= limit && math.Abs(p.Z) <= limit
	}
	if !slices.ContainsFunc(r.pos, func(p geom.Vec) bool { return !finite(p) }) {
		return
	}
	index := make([]int32, len(r.pos))
	var from []int32
	for i, p := range r.pos {
		index[i] = -1
		if finite(p) {
			index[i] = int32(len(from))
			from = append(from, int32(i))
		}
	}
	kept := r.tris[:0]
	for t, tri := range r.tris {
		a, b, c := index[tri[0]], index[tri[1]], index[tri[2]]
		if a < 0 || b < 0 || c < 0 {
			info.leaveOut(t)
			continue
		}
		kept = append(kept, geom.Tri{a, b, c})
	}
	r.tris = kept
	info.PointsNotFinite = len(r.pos) - len(from)
	r.pos, r.normals, r.colours, r.seen = take(r.pos, from), take(r.normals, from), take(r.colours, from), take(r.seen, from)
	for i, c := range r.columns {
		r.columns[i].Values = take(c.Values, from)
	}
}

// limit is the largest coordinate read, in the file's units: beyond it squares
// and volumes would leave float64 far behind any workpiece. Common sense, no source.
const limit = 1e12

// leaveOut notes that triangle t, counted from zero, was left out.
func (i *Info) leaveOut(t int) {
	i.NotFinite++
	if len(i.Where) < Listed {
		i.Where = append(i.Where, t+1)
	}
}

// take returns all[from[0]], all[from[1]], ... or nothing of nothing.
func take[T any](all []T, from []int32) []T {
	if len(all) == 0 {
		return nil
	}
	out := make([]T, len(from))
	for i, f := range from {
		out[i] = all[f]
	}
	return out
}
