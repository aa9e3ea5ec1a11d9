package draw

import (
	"context"
	"math"
	"sync"
	"sync/atomic"

	"layette/steps/internal/geom"
)

// fine is how many samples a pixel has along each side.
const fine = 2

// grid is how many steps of the snapping grid a sample is wide: corners of
// triangles are rounded to it, and all that decides coverage is whole numbers.
const (
	gridBits = 6
	grid     = 1 << gridBits
)

// tile is the side, in samples, of the squares the picture is worked in.
const tile = 64

// chunk is how many triangles are sorted into tiles at a time.
const chunk = 1 << 15

// A corner is a vertex as it falls in the picture.
type corner struct {
	x, y int32   // steps of the grid
	near float32 // nearness; NaN if the vertex cannot be drawn
}

// A field holds what each sample of the picture sees.
type field struct {
	s       Scene
	cam     camera
	size    Size
	w, h    int // samples
	corners []corner
	near    []float32 // nearness of what each sample sees
	tri     []int32   // its triangle, -1 where nothing is
	cut     cutter
}

// cutter holds a cutting plane as a linear function of space: positive in front.
type cutter struct {
	on bool
	n  geom.Vec
	d  float64
}

func (c cutter) side(p geom.Vec) float64 { return c.n.Dot(p) - c.d }

// rasterise finds what every sample sees.
func rasterise(ctx context.Context, s Scene, cam camera, size Size) (*field, error) {
	f := &field{s: s, cam: cam, size: size, w: size.Width * fine, h: size.Height * fine}
	if s.Cut != nil {
		n := s.Cut.Normal.Unit()
		f.cut = cutter{on: n != (geom.Vec{}), n: n, d: n.Dot(s.Cut.At)}
	}
	f.corners = make([]corner, len(s.Mesh.Verts))
	err := inParts(ctx, s.Workers, len(f.corners), chunk, func(lo, hi int) { f.place(lo, hi) })
	if err != nil {
		return nil, err
	}
	f.near = make([]float32, f.w*f.h)
	f.tri = make([]int32, f.w*f.h)
	bins, err := f.bin(ctx)
	if err != nil {
		return nil, err
	}
	err = inParts(ctx, s.Workers, bins.across*bins.down, 1, func(lo, _ int) { f.fill(bins, lo) })
	return f, err
}

// place projects vertices lo to hi and snaps them to the grid.
func (f *field) place(lo, hi int) {
	const most = 1 << 24 // grid steps; products of two stay far inside int64
	for i := lo; i < hi; i++ {
		x, y, near := f.cam.project(f.s.Mesh.Verts[i].Vec())
		x, y = math.Floor(float64(x*fine*grid)+0.5), math.Floor(float64(y*fine*grid)+0.5)
		c := corner{near: float32(math.NaN())}
		if math.Abs(x) < most && math.Abs(y) < most && near-near == 0 && !(f.cam.eye > 0 && near <= 0) {
			c = corner{int32(x), int32(y), float32(near)}
		}
		f.corners[i] = c
	}
}

// reach returns the samples whose centres may lie in a triangle, end excluded;
// empty if there are none or a corner cannot be drawn. A sample's centre lies
// in the middle of its cell.
func (f *field) reach(t geom.Tri) (x0, y0, x1, y1 int) {
	a, b, c := &f.corners[t[0]], &f.corners[t[1]], &f.corners[t[2]]
	if s := a.near + b.near + c.near; s != s {
		return 0, 0, 0, 0
	}
	const half = grid / 2
	x0 = max(int(min(a.x, b.x, c.x)+half-1)>>gridBits, 0)
	y0 = max(int(min(a.y, b.y, c.y)+half-1)>>gridBits, 0)
	x1 = min(int(max(a.x, b.x, c.x)+half)>>gridBits, f.w)
	y1 = min(int(max(a.y, b.y, c.y)+half)>>gridBits, f.h)
	return x0, y0, x1, y1
}

// bins lists the triangles that reach each tile, chunk by chunk, in order.
type bins struct {
	across, down int
	starts       [][]int32 // per chunk: where each tile's triangles start
	tris         [][]int32
}

// bin sorts the triangles into tiles.
func (f *field) bin(ctx context.Context) (*bins, error) {
	b := &bins{across: (f.w + tile - 1) / tile, down: (f.h + tile - 1) / tile}
	n := (len(f.s.Mesh.Tris) + chunk - 1) / chunk
	b.starts, b.tris = make([][]int32, n), make([][]int32, n)
	err := inParts(ctx, f.s.Workers, n, 1, func(lo, _ int) {
		f.binChunk(b, lo)
	})
	return b, err
}

// binChunk counts, then places.
func (f *field) binChunk(b *bins, k int) {
	first, end := k*chunk, min((k+1)*chunk, len(f.s.Mesh.Tris))
	starts := make([]int32, b.across*b.down+1)
	each := func(do func(tile int, tri int32)) {
		for t := first; t < end; t++ {
			x0, y0, x1, y1 := f.reach(f.s.Mesh.Tris[t])
			if x0 >= x1 || y0 >= y1 {
				continue
			}
			for y := y0 / tile; y <= (y1-1)/tile; y++ {
				for x := x0 / tile; x <= (x1-1)/tile; x++ {
					do(y*b.across+x, int32(t))
				}
			}
		}
	}
	each(func(i int, _ int32) { starts[i+1]++ })
	for i := range b.across * b.down {
		starts[i+1] += starts[i]
	}
	tris := make([]int32, starts[len(starts)-1])
	at := append([]int32(nil), starts...)
	each(func(i int, t int32) { tris[at[i]] = t; at[i]++ })
	b.starts[k], b.tris[k] = starts, tris
}

// fill draws every triangle of one tile.
func (f *field) fill(b *bins, i int) {
	x0, y0 := i%b.across*tile, i/b.across*tile
	x1, y1 := min(x0+tile, f.w), min(y0+tile, f.h)
	for y := y0; y < y1; y++ {
		for k := y*f.w + x0; k < y*f.w+x1; k++ {
			f.near[k], f.tri[k] = float32(math.Inf(-1)), -1
		}
	}
	for k, starts := range b.starts {
		for _, t := range b.tris[k][starts[i]:starts[i+1]] {
			f.triangle(t, x0, y0, x1, y1)
		}
	}
}

// triangle draws the part of triangle t in the samples from (x0, y0) to
// (x1, y1). Edges belong to the triangle on their left and top, so that
// neighbours share no sample and leave none out.
func (f *field) triangle(t int32, x0, y0, x1, y1 int) {
	tri := f.s.Mesh.Tris[t]
	rx0, ry0, rx1, ry1 := f.reach(tri)
	x0, y0, x1, y1 = max(x0, rx0), max(y0, ry0), min(x1, rx1), min(y1, ry1)
	a, b, c := &f.corners[tri[0]], &f.corners[tri[1]], &f.corners[tri[2]]
	e, area := edges(a, b, c)
	if area == 0 || x0 >= x1 || y0 >= y1 {
		return
	}
	px, py := int64(x0)*grid+grid/2, int64(y0)*grid+grid/2
	var row [3]int64
	for k := range e {
		row[k] = e[k].c + e[k].dx*px + e[k].dy*py
	}
	inv := 1 / float64(area)
	na, nb, nc := float64(a.near), float64(b.near)-float64(a.near), float64(c.near)-float64(a.near)
	for y := y0; y < y1; y++ {
		w := row
		for k := y*f.w + x0; k < y*f.w+x1; k++ {
			if w[0]|w[1]|w[2] >= 0 {
				near := float32(na + float64(float64(float64(w[1]-e[1].bias)*inv)*nb) + float64(float64(float64(w[2]-e[2].bias)*inv)*nc))
				if near > f.near[k] && (!f.cut.on || f.behind(k, near)) {
					f.near[k], f.tri[k] = near, t
				}
			}
			w[0], w[1], w[2] = w[0]+e[0].step, w[1]+e[1].step, w[2]+e[2].step
		}
		row[0], row[1], row[2] = row[0]+e[0].down, row[1]+e[1].down, row[2]+e[2].down
	}
}

// behind reports whether what sample k sees at a nearness lies behind the
// cutting plane.
func (f *field) behind(k int, near float32) bool {
	return f.cut.side(f.world(k, float64(near))) <= 0
}

// world returns the point in space that sample k sees at a nearness.
func (f *field) world(k int, near float64) geom.Vec {
	x, y := (float64(k%f.w)+0.5)/fine, (float64(k/f.w)+0.5)/fine
	p := f.cam.place(x, y, f.cam.depth(near))
	return f.cam.centre.Add(f.cam.x.Mul(p.X)).Add(f.cam.y.Mul(p.Y)).Add(f.cam.z.Mul(p.Z))
}

// An edge is a linear function of the grid that is not negative on the inner
// side of one edge of a triangle: c + dx x + dy y, with step and down its
// change from sample to sample. bias is what the rule for edges took off.
type edge struct{ c, dx, dy, step, down, bias int64 }

// edges returns the functions of the edges opposite to a, b and c, and twice
// the triangle's area, all turned so that the area is positive.
func edges(a, b, c *corner) (e [3]edge, area int64) {
	area = int64(b.x-a.x)*int64(c.y-a.y) - int64(b.y-a.y)*int64(c.x-a.x)
	sign := int64(1)
	if area < 0 {
		sign, area = -1, -area
	}
	for k, pq := range [3][2]*corner{{b, c}, {c, a}, {a, b}} {
		p, q := pq[0], pq[1]
		dx, dy := -sign*int64(q.y-p.y), sign*int64(q.x-p.x)
		e[k] = edge{dx: dx, dy: dy, step: dx * grid, down: dy * grid}
		if !(dx > 0 || dx == 0 && dy > 0) {
			e[k].bias = -1
		}
		e[k].c = -(dx*int64(p.x) + dy*int64(p.y)) + e[k].bias
	}
	return e, area
}

// inParts calls do for the ranges of size part that make up n, on so many
// workers, until all are done or ctx is. Which worker does which does not
// matter to the caller's result.
func inParts(ctx context.Context, workers, n, part int, do func(lo, hi int)) error {
	var next atomic.Int64
	var all sync.WaitGroup
	for range max(1, min(workers, (n+part-1)/part)) {
		all.Go(func() {
			for ctx.Err() == nil {
				lo := int(next.Add(int64(part))) - part
				if lo >= n {
					return
				}
				do(lo, min(lo+part, n))
			}
		})
	}
	all.Wait()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}
