package gaps

import (
	"bytes"
	"math"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// solid is a shape by its distance: below zero inside, and changing by no more
// than a millimetre for each millimetre.
type solid func(p geom.Vec) float64

// limb is a round limb from a to b that tapers from radius ra to rb.
func limb(a, b geom.Vec, ra, rb float64) solid {
	d := b.Sub(a)
	return func(p geom.Vec) float64 {
		t := min(1, max(0, p.Sub(a).Dot(d)/d.Len2()))
		return p.Sub(a.Add(d.Mul(t))).Len() - (ra + (rb-ra)*t)
	}
}

// slab is a box with half sizes h about c, its edges rounded by r.
func slab(c, h geom.Vec, r float64) solid {
	return func(p geom.Vec) float64 {
		q := p.Sub(c)
		x, y, z := math.Abs(q.X)-h.X+r, math.Abs(q.Y)-h.Y+r, math.Abs(q.Z)-h.Z+r
		out := geom.Vec{X: max(x, 0), Y: max(y, 0), Z: max(z, 0)}.Len()
		return out + min(max(x, y, z), 0) - r
	}
}

// trench is the air of a line along x through c, cut along -z: half its width
// at the rim w, depth d.
func trench(c geom.Vec, w, d float64) solid {
	slope := geom.Vec{Y: d, Z: -w}.Unit() // out of one wall
	return func(p geom.Vec) float64 {
		q := p.Sub(c)
		return geom.Vec{Y: math.Abs(q.Y), Z: q.Z + d}.Dot(slope)
	}
}

func join(parts ...solid) solid {
	return func(p geom.Vec) float64 {
		d := math.Inf(1)
		for _, f := range parts {
			d = min(d, f(p))
		}
		return d
	}
}

// blend joins two with a fillet about k across.
func blend(f, g solid, k float64) solid {
	return func(p geom.Vec) float64 {
		a, b := f(p), g(p)
		h := max(k-math.Abs(a-b), 0) / k
		return min(a, b) - h*h*k/4
	}
}

func cut(f, away solid) solid {
	return func(p geom.Vec) float64 { return max(f(p), -away(p)) }
}

// grid makes the surface of f within lo..hi with triangles about h across: one
// vertex in each cell that the surface goes through, moved onto it. Dual
// contouring without the corners: S. F. F. Gibson, "Constrained elastic surface
// nets", 1998 (from memory).
func grid(f solid, lo, hi geom.Vec, h float64) *geom.Mesh {
	const block = 8
	m := &geom.Mesh{}
	size := hi.Sub(lo)
	n := [3]int{int(size.X/h) + 2, int(size.Y/h) + 2, int(size.Z/h) + 2}
	at := func(i, j, k int) geom.Vec {
		return lo.Add(geom.Vec{X: float64(i) * h, Y: float64(j) * h, Z: float64(k) * h})
	}
	values, verts := map[[3]int]float64{}, map[[3]int]int32{}
	value := func(i, j, k int) float64 {
		c := [3]int{i, j, k}
		v, ok := values[c]
		if !ok {
			v = f(at(i, j, k))
			values[c] = v
		}
		return v
	}
	vertex := func(i, j, k int) int32 {
		c := [3]int{i, j, k}
		if v, ok := verts[c]; ok {
			return v
		}
		sum, count := geom.Vec{}, 0.0
		for e := range 12 {
			a, b := cellEdge(e)
			va, vb := value(i+a[0], j+a[1], k+a[2]), value(i+b[0], j+b[1], k+b[2])
			if (va < 0) != (vb < 0) {
				pa, pb := at(i+a[0], j+a[1], k+a[2]), at(i+b[0], j+b[1], k+b[2])
				sum = sum.Add(pa.Add(pb.Sub(pa).Mul(va / (va - vb))))
				count++
			}
		}
		v := int32(len(m.Verts))
		m.Verts = append(m.Verts, settle(f, sum.Mul(1/count), h).Point())
		verts[c] = v
		return v
	}
	quad := func(flip bool, a, b, c, d int32) {
		if flip {
			b, d = d, b
		}
		m.Tris = append(m.Tris, geom.Tri{a, b, c}, geom.Tri{a, c, d})
	}
	for bi := 0; bi < n[0]; bi += block {
		for bj := 0; bj < n[1]; bj += block {
			for bk := 0; bk < n[2]; bk += block {
				if math.Abs(f(at(bi+block/2, bj+block/2, bk+block/2))) > h*(block/2+1)*1.74 {
					continue
				}
				for i := bi; i < min(bi+block, n[0]); i++ {
					for j := bj; j < min(bj+block, n[1]); j++ {
						for k := bk; k < min(bk+block, n[2]); k++ {
							in := value(i, j, k) < 0
							if in != (value(i+1, j, k) < 0) {
								quad(!in, vertex(i, j-1, k-1), vertex(i, j, k-1), vertex(i, j, k), vertex(i, j-1, k))
							}
							if in != (value(i, j+1, k) < 0) {
								quad(!in, vertex(i-1, j, k-1), vertex(i-1, j, k), vertex(i, j, k), vertex(i, j, k-1))
							}
							if in != (value(i, j, k+1) < 0) {
								quad(!in, vertex(i-1, j-1, k), vertex(i, j-1, k), vertex(i, j, k), vertex(i-1, j, k))
							}
						}
					}
				}
			}
		}
	}
	return m
}

func cellEdge(e int) (a, b [3]int) {
	axis, r := e/4, e%4
	a[(axis+1)%3], a[(axis+2)%3] = r&1, r>>1
	b = a
	b[axis] = 1
	return a, b
}

// settle moves p onto the surface of f, by half a cell at most.
func settle(f solid, p geom.Vec, h float64) geom.Vec {
	const eps = 1e-4
	start := p
	for range 3 {
		d := f(p)
		g := geom.Vec{
			X: f(geom.Vec{X: p.X + eps, Y: p.Y, Z: p.Z}) - d,
			Y: f(geom.Vec{X: p.X, Y: p.Y + eps, Z: p.Z}) - d,
			Z: f(geom.Vec{X: p.X, Y: p.Y, Z: p.Z + eps}) - d,
		}.Mul(1 / eps)
		if g.Len2() < 0.1 {
			break
		}
		if q := p.Sub(g.Mul(d / g.Len2())); q.Sub(start).Len() < h/2 {
			p = q
		}
	}
	return p
}

func plyFile(t testing.TB, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return steptest.File("part.ply", b.Bytes(), "mm")
}

// measured runs the step on a mesh.
func measured(t testing.TB, m *geom.Mesh, values step.Values) *steptest.Result {
	t.Helper()
	return steptest.Run(t, Kind{}, steptest.Given{
		Inputs: map[string][]step.File{"surface": {plyFile(t, m)}}, Values: values,
	})
}

// looked finds what is in a mesh, without files.
func looked(t testing.TB, m *geom.Mesh) (*look, []find) {
	t.Helper()
	l, err := inspect(t.Context(), &step.Job{Workers: 2, Progress: step.NoProgress}, m, limitsOf(steptest.Values(t, Kind{}.Handbook(), nil)))
	if err != nil {
		t.Fatal(err)
	}
	finds, err := l.finds(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	return l, finds
}

// finer cuts every triangle into four and moves the new corners onto f.
func finer(m *geom.Mesh, f solid) *geom.Mesh {
	out := &geom.Mesh{Verts: append([]geom.Point(nil), m.Verts...)}
	mids := make(map[[2]int32]int32, 3*len(m.Tris)/2)
	mid := func(a, b int32) int32 {
		key := [2]int32{min(a, b), max(a, b)}
		v, ok := mids[key]
		if !ok {
			p, q := m.Verts[a].Vec(), m.Verts[b].Vec()
			v = int32(len(out.Verts))
			out.Verts = append(out.Verts, settle(f, p.Add(q).Mul(0.5), q.Sub(p).Len()).Point())
			mids[key] = v
		}
		return v
	}
	for _, t := range m.Tris {
		x, y, z := mid(t[0], t[1]), mid(t[1], t[2]), mid(t[2], t[0])
		out.Tris = append(out.Tris, geom.Tri{t[0], x, z}, geom.Tri{x, t[1], y}, geom.Tri{z, y, t[2]}, geom.Tri{x, y, z})
	}
	return out
}
