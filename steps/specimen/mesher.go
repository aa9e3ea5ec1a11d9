package specimen

import (
	"context"
	"errors"
	"fmt"
	"math"

	"layette/steps/internal/geom"
)

// Sampling says how finely a surface is made. The zero value is a surface of
// about 200,000 triangles, closed.
type Sampling struct {
	Edge      float64 // mean length of an edge, mm; or
	Triangles int     // about how many triangles (within 5 %)
	Open      bool    // leave the flat opening open instead of capping it
	Workers   int     // 0: one per processor; the result does not depend on it
}

const (
	edgeOverCell  = 0.42 // mean edge over the lattice's a (measured)
	mostTriangles = 40_000_000

	usualTriangles = 200_000
)

// triangulate makes the surface of f: the whole skin, or with cut the part of
// it at z >= 0, closed by a flat cap at exactly z = 0 unless open.
//
// It marches the tetrahedra of a lattice, visiting only octree blocks that the
// field's bounds cannot rule out, and then evens the triangles out by moving
// each vertex along the skin toward the middle of its neighbours and back onto
// the skin by Newton's method.
//
// Closed and manifold by construction: each triangle is a corner or a slice of
// one tetrahedron, each of its edges lies in one tetrahedron face, and the two
// tetrahedra of a face cut it in the same segment because signs are taken at
// shared points from the same bits. No face vanishes: vertices stay a margin
// off the ends of their edges, and a vertex whose move would turn or flatten
// one of its triangles is put back. Before the evening no two triangles can
// cross, each lying in its own tetrahedron.
func triangulate(ctx context.Context, f Field, a float64, cut, open bool, workers int) (*geom.Mesh, error) {
	l := lattice{a}
	blocks, err := l.leaves(ctx, workers, f, cut)
	if err != nil {
		return nil, err
	}
	if len(blocks) == 0 {
		return nil, errors.New("specimen: the solid is smaller than the sampling")
	}
	leaves := make([]*leaf, len(blocks))
	if err := each(ctx, workers, len(blocks), func(i int) { leaves[i] = l.sample(blocks[i], cut) }); err != nil {
		return nil, err
	}
	n := int32(0)
	index := make(map[[3]int32]*leaf, len(leaves))
	for _, lf := range leaves {
		lf.base = n
		n += int32(len(lf.verts))
		index[lf.at] = lf
	}
	parts := make([][]geom.Tri, len(leaves))
	err = each(ctx, workers, len(leaves), func(i int) { parts[i] = march(leaves[i], index, cut) })
	if err != nil {
		return nil, err
	}
	var tris []geom.Tri
	for i, p := range parts {
		tris = append(tris, p...)
		parts[i] = nil
	}
	s := &surface{leaves: leaves, tris: tris, a: a, workers: workers}
	if err := s.even(ctx); err != nil {
		return nil, err
	}
	m := &geom.Mesh{Verts: make([]geom.Point, 0, n), Tris: tris}
	for _, v := range s.verts {
		m.Verts = append(m.Verts, v.Point())
	}
	if open {
		return s.uncapped(m), nil
	}
	return m, nil
}

// uncapped returns m without its flat cap.
func (s *surface) uncapped(m *geom.Mesh) *geom.Mesh {
	out := &geom.Mesh{}
	for _, t := range m.Tris {
		if s.kinds[t[0]] == skin || s.kinds[t[1]] == skin || s.kinds[t[2]] == skin {
			out.Tris = append(out.Tris, t)
		}
	}
	to := make([]int32, len(m.Verts))
	for v := range to {
		if s.kinds[v] == face {
			continue
		}
		to[v] = int32(len(out.Verts))
		out.Verts = append(out.Verts, m.Verts[v])
	}
	for i, t := range out.Tris {
		out.Tris[i] = geom.Tri{to[t[0]], to[t[1]], to[t[2]]}
	}
	return out
}

// cell returns the lattice side for a sampling of f.
func (s Sampling) cell(ctx context.Context, f Field, cut bool) (float64, error) {
	n := s.Triangles
	switch {
	case s.Edge < 0 || n < 0 || math.IsNaN(s.Edge) || math.IsInf(s.Edge, 0):
		return 0, fmt.Errorf("specimen: a sampling needs an edge in mm or a number of triangles, not %g and %d", s.Edge, n)
	case s.Edge > 0:
		if size := f.Bounds().Size(); size.Len()/s.Edge > 20_000 {
			return 0, fmt.Errorf("specimen: edges of %g mm are too fine for a solid of %.0f mm", s.Edge, size.Len())
		}
		return s.Edge / edgeOverCell, nil
	case n == 0:
		n = usualTriangles
	case n > mostTriangles:
		return 0, fmt.Errorf("specimen: %d triangles asked for; %d is the most", n, mostTriangles)
	}
	a := f.Bounds().Size().Len() / 60
	for range 3 {
		m, err := triangulate(ctx, f, a, cut, s.Open, s.Workers)
		if err != nil {
			return 0, err
		}
		a *= math.Sqrt(float64(len(m.Tris)) / float64(n))
		if len(m.Tris) > 20_000 || len(m.Tris) > n/2 {
			break
		}
		if float64(n) > 40_000 && len(m.Tris) < 20_000 {
			a *= math.Sqrt(float64(n) / 40_000)
		}
	}
	return a, nil
}
