package hollow

import (
	"context"
	"math"
	"sync"
	"sync/atomic"

	"layette/steps/internal/geom"
)

// grid is a block of cubes over a part that stands on its opening: cube
// (x, y, z) has the number (z*ny+y)*nx+x, its lowest corner is at
// lo + h*(x, y, z). The opening is the lower face of the layer z = open.
type grid struct {
	lo         geom.Vec
	h          float64
	nx, ny, nz int
	open       int // layer on the opening; -1 if there is none
}

// margin is how many cubes of air stand round the part.
const margin = 2

// newGrid returns the grid over a box with cubes of side h, or larger ones
// where there would be more than most of them. With an opening, z = 0 lies
// between two layers.
func newGrid(box geom.Box, h float64, most int, opening bool) grid {
	for {
		g := gridOf(box, h, opening)
		if g.len() <= most {
			return g
		}
		h *= 1.05
	}
}

func gridOf(box geom.Box, h float64, opening bool) grid {
	s := box.Size()
	count := func(x float64) int { return int(math.Ceil(min(x/h, 1e5))) + 2*margin }
	g := grid{h: h, nx: count(s.X), ny: count(s.Y), nz: count(s.Z) + 1, open: -1}
	// Off the lattice of the coordinates, so that columns meet no vertex.
	g.lo = box.Min.Sub(geom.Vec{X: h * (margin + 0.0137), Y: h * (margin + 0.0291), Z: h * margin})
	if opening {
		below := math.Ceil(-box.Min.Z/h) + margin
		g.lo.Z = -below * h
		g.open = int(below)
	}
	return g
}

func (g grid) len() int { return g.nx * g.ny * g.nz }

// centre returns the middle of a cube.
func (g grid) centre(i int32) geom.Vec {
	x, y, z := g.at(i)
	return g.lo.Add(geom.Vec{X: float64(x) + 0.5, Y: float64(y) + 0.5, Z: float64(z) + 0.5}.Mul(g.h))
}

func (g grid) at(i int32) (x, y, z int) {
	n := int(i)
	return n % g.nx, n / g.nx % g.ny, n / (g.nx * g.ny)
}

// of returns the number of the cube that holds p, which must lie in the grid.
func (g grid) of(p geom.Vec) int32 {
	q := p.Sub(g.lo).Mul(1 / g.h)
	x, y, z := int(q.X), int(q.Y), int(q.Z)
	x, y, z = min(max(x, 0), g.nx-1), min(max(y, 0), g.ny-1), min(max(z, 0), g.nz-1)
	return int32((z*g.ny+y)*g.nx + x)
}

// sides are the steps to the six neighbours. The part never reaches the
// grid's outermost layers, so no neighbour of one of its cubes is outside.
func (g grid) sides() [6]int32 {
	return [6]int32{-1, 1, int32(-g.nx), int32(g.nx), int32(-g.nx * g.ny), int32(g.nx * g.ny)}
}

// around are the steps to the 26 neighbours.
func (g grid) around() []int32 {
	var out []int32
	for z := -1; z <= 1; z++ {
		for y := -1; y <= 1; y++ {
			for x := -1; x <= 1; x++ {
				if x != 0 || y != 0 || z != 0 {
					out = append(out, int32((z*g.ny+y)*g.nx+x))
				}
			}
		}
	}
	return out
}

// each does pieces 0..n-1 of work on up to workers goroutines and stops early
// when ctx is done. Pieces must not depend on each other.
func each(ctx context.Context, n, workers int, do func(k int)) error {
	var next atomic.Int64
	var wg sync.WaitGroup
	for range max(1, min(workers, n)) {
		wg.Go(func() {
			for ctx.Err() == nil {
				k := int(next.Add(1)) - 1
				if k >= n {
					return
				}
				do(k)
			}
		})
	}
	wg.Wait()
	return context.Cause(ctx)
}
