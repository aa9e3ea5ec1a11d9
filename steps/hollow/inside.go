package hollow

import (
	"cmp"
	"context"
	"fmt"
	"slices"

	"layette/steps/internal/geom"
)

// crossing is where an upright line through the cubes of a column passes the
// surface: turn is 1 on the way in, -1 on the way out.
type crossing struct {
	column int32 // y*nx + x
	z      float32
	turn   int32
}

// strip is how many rows of columns are one piece of work.
const strip = 8

// inside tells which cubes have their middle inside the surface: those about
// which it winds more than zero times. Surfaces may cross themselves; where a
// column goes in more often than out the surface is open, which is an error.
func (g grid) inside(ctx context.Context, m *geom.Mesh, workers int) ([]bool, error) {
	in := make([]bool, g.len())
	leaks := make([]int, (g.ny+strip-1)/strip)
	err := each(ctx, len(leaks), workers, func(k int) {
		from, to := k*strip, min((k+1)*strip, g.ny)
		leaks[k] = g.fill(in, g.crossings(m, from, to))
	})
	if err != nil {
		return nil, err
	}
	for _, n := range leaks {
		if n > 0 {
			return nil, fmt.Errorf("the surface is open or turned over in places: what is inside cannot be told; run soundness first")
		}
	}
	return in, nil
}

// crossings returns where the columns of rows from..to pass the surface, in
// order of column and height.
func (g grid) crossings(m *geom.Mesh, from, to int) []crossing {
	var out []crossing
	low, high := g.lo.Y+float64(g.h*float64(from)), g.lo.Y+float64(g.h*float64(to))
	for t, tri := range m.Tris {
		y0, y1, y2 := float64(m.Verts[tri[0]][1]), float64(m.Verts[tri[1]][1]), float64(m.Verts[tri[2]][1])
		if max(y0, y1, y2) >= low && min(y0, y1, y2) <= high {
			out = g.cross(out, m, t, from, to)
		}
	}
	slices.SortFunc(out, func(a, b crossing) int {
		return cmp.Or(cmp.Compare(a.column, b.column), cmp.Compare(a.z, b.z), cmp.Compare(a.turn, b.turn))
	})
	return out
}

// cross adds the crossings of triangle t.
func (g grid) cross(out []crossing, m *geom.Mesh, t, from, to int) []crossing {
	a, b, c := m.Corners(t)
	column := func(x, lo float64) float64 { return (x-lo)/g.h - 0.5 }
	x0, x1 := column(min(a.X, b.X, c.X), g.lo.X), column(max(a.X, b.X, c.X), g.lo.X)
	y0, y1 := column(min(a.Y, b.Y, c.Y), g.lo.Y), column(max(a.Y, b.Y, c.Y), g.lo.Y)
	tri := m.Tris[t]
	for y := max(from, int(y0)); y <= min(to-1, int(y1)+1); y++ {
		for x := max(0, int(x0)); x <= min(g.nx-1, int(x1)+1); x++ {
			px, py := g.lo.X+float64((float64(x)+0.5)*g.h), g.lo.Y+float64((float64(y)+0.5)*g.h)
			left := leftOf(tri[0], tri[1], a, b, px, py)
			if left != leftOf(tri[1], tri[2], b, c, px, py) || left != leftOf(tri[2], tri[0], c, a, px, py) {
				continue
			}
			n := b.Sub(a).Cross(c.Sub(a))
			if n.Z == 0 {
				continue
			}
			z := a.Z - (float64(n.X*(px-a.X))+float64(n.Y*(py-a.Y)))/n.Z
			turn := int32(1)
			if left { // it faces up: the way out
				turn = -1
			}
			out = append(out, crossing{int32(y*g.nx + x), float32(z), turn})
		}
	}
	return out
}

// leftOf reports whether (px, py) lies left of the way from vertex i at a to
// vertex k at b. It is decided once for an edge, whichever way it is gone, so
// that of two triangles that share it exactly one has the point.
func leftOf(i, k int32, a, b geom.Vec, px, py float64) bool {
	if i > k {
		return !leftOf(k, i, b, a, px, py)
	}
	return float64((b.X-a.X)*(py-a.Y))-float64((b.Y-a.Y)*(px-a.X)) >= 0
}

// fill marks the cubes between crossings and returns how many columns do not
// come out as often as they go in.
func (g grid) fill(in []bool, cs []crossing) (leaks int) {
	for i := 0; i < len(cs); {
		column, turns, next := cs[i].column, int32(0), 0
		for ; i < len(cs) && cs[i].column == column; i++ {
			// The first cube whose middle lies above the crossing.
			k := int((float64(cs[i].z)-g.lo.Z)/g.h + 0.5)
			if turns > 0 {
				for z := next; z < min(k, g.nz); z++ {
					in[z*g.nx*g.ny+int(column)] = true
				}
			}
			turns += cs[i].turn
			next = max(k, 0)
		}
		if turns != 0 {
			leaks++
		}
	}
	return leaks
}
