package geom

import (
	"math"
	setbits "math/bits"
)

// pointGrid finds the nearest of evenly spaced points, such as a thinned scan's,
// some five times faster than a PointTree: points lie in small cells, cells in
// rows, and each cell knows how far the nearest full one is. Its answers are the
// tree's, to the bit.
//
// Two hundred scans are asked in turn, so that what is asked lies mostly in main
// memory: rows are bits, and only full cells take more.
type pointGrid struct {
	low   Vec
	side  float64 // mm
	n     [3]int
	words int         // that hold the bits of a row along x; cell x of row y + n[1]·z is bit x%64 of word x/64 of it
	full  []uint64    // which cells are full, and a word more
	rank  []int32     // for each word: full cells before it
	first []int32     // of each full cell: its points are first[rank] to first[rank+1]
	near  [][3]uint64 // for each word: which cells have a full one at most 1, 2 and 3 cells away along the worst axis
	pts   []gridPoint // by cell, in each in the caller's order
}

// gridPoint is a point and its number in the caller's order.
type gridPoint struct {
	at Point
	id int32
}

const (
	thinnedSide = 1.5 // spacings
	farAway     = 4   // cells: beyond six spacings nobody asks
	emptiest    = 64  // cells for each point at most; strays far away make a grid of nothing
)

// newPointGrid returns nil where a grid would be mostly empty, and where a point
// is nowhere.
func newPointGrid(pts []Point, side float64) *pointGrid {
	box := EmptyBox()
	for _, p := range pts {
		if !p.Vec().Finite() {
			return nil
		}
		box = box.Include(p.Vec())
	}
	g := &pointGrid{low: box.Min, side: side}
	size, all := box.Size(), 1.0
	for k, x := range [3]float64{size.X, size.Y, size.Z} {
		n := math.Floor(x/side) + 1
		if all *= n; !(all <= float64(emptiest*len(pts))) {
			return nil
		}
		g.n[k] = int(n)
	}
	g.words = (g.n[0] + 63) / 64
	g.fill(pts)
	g.measure()
	return g
}

// at returns the cell of q, the nearest one if q lies outside.
func (g *pointGrid) at(q Vec) (x, y, z int) {
	d := q.Sub(g.low)
	return g.along(d.X, 0), g.along(d.Y, 1), g.along(d.Z, 2)
}

func (g *pointGrid) along(d float64, k int) int {
	return int(min(max(d/g.side, 0), float64(g.n[k]-1)))
}

// row returns the first word of a row of cells.
func (g *pointGrid) row(y, z int) int { return (y + g.n[1]*z) * g.words }

// before counts the full cells before cell x of the row that begins at word row.
func (g *pointGrid) before(row, x int) int32 {
	w := row + x>>6
	return g.rank[w] + int32(setbits.OnesCount64(g.full[w]&(1<<(x&63)-1)))
}

// fill sorts the points into cells by counting.
func (g *pointGrid) fill(pts []Point) {
	words := g.row(0, g.n[2])
	g.full, g.rank = make([]uint64, words+1), make([]int32, words+1)
	of := make([]int32, len(pts)) // cells as numbers of bits at first
	for i, p := range pts {
		x, y, z := g.at(p.Vec())
		of[i] = int32(g.row(y, z)<<6 + x)
		g.full[of[i]>>6] |= 1 << (of[i] & 63)
	}
	for w := range words {
		g.rank[w+1] = g.rank[w] + int32(setbits.OnesCount64(g.full[w]))
	}
	g.first = make([]int32, g.rank[words]+1)
	for i := range of {
		of[i] = g.before(0, int(of[i]))
		g.first[of[i]+1]++
	}
	for k := range len(g.first) - 1 {
		g.first[k+1] += g.first[k]
	}
	g.pts = make([]gridPoint, len(pts))
	next := append([]int32(nil), g.first...)
	for i, k := range of {
		g.pts[next[k]] = gridPoint{pts[i], int32(i)}
		next[k]++
	}
}

// measure fills near: what is full grows by a cell along x, then along y, then
// along z, three times over.
func (g *pointGrid) measure() {
	words := len(g.full) - 1
	g.near = make([][3]uint64, words)
	now, next := append([]uint64(nil), g.full[:words]...), make([]uint64, words)
	for k := range 3 {
		for row := 0; row < words; row += g.words {
			widen(now[row:row+g.words], next[row:row+g.words])
		}
		now, next = next, now
		for stride, n := g.words, 1; n < 3; n++ {
			block := stride * g.n[n]
			for w := range now {
				next[w] = now[w]
				if w%block >= stride {
					next[w] |= now[w-stride]
				}
				if w%block < block-stride {
					next[w] |= now[w+stride]
				}
			}
			now, next, stride = next, now, block
		}
		for w := range now {
			g.near[w][k] = now[w]
		}
	}
}

// widen sets in into the bits of row and those beside them.
func widen(row, into []uint64) {
	for w, b := range row {
		b |= b<<1 | b>>1
		if w > 0 {
			b |= row[w-1] >> 63
		}
		if w+1 < len(row) {
			b |= row[w+1] << 63
		}
		into[w] = b
	}
}

// away returns how many cells away, along the worst axis, the nearest full cell
// is: 1 for the cell itself too, farAway if more than 3.
func (g *pointGrid) away(x, y, z int) int {
	near, bit := &g.near[g.row(y, z)+x>>6], uint64(1)<<(x&63)
	for k, b := range near {
		if b&bit != 0 {
			return k + 1
		}
	}
	return farAway
}

// nearest returns the best of best and the points no farther than it; IDs are
// the caller's numbers.
func (g *pointGrid) nearest(q Vec, best Near) Near {
	x, y, z := g.at(q)
	r := g.away(x, y, z)
	if d := float64(r-1) * g.side * (1 - 1e-9); d > 0 && d*d > best.Dist2 {
		return best
	}
	inner := -1 // cells so near have been looked at
	if r == 1 {
		if best = g.close(q, best, x, y, z); !g.further(q, best, x, y, z, r) {
			return best
		}
		inner, r = 1, 2
	}
	for ; ; r++ {
		best = g.block(q, best, x, y, z, r, inner)
		if !g.further(q, best, x, y, z, r) {
			return best
		}
		inner = r
	}
}

// further reports whether anything beyond the block of cells up to r away may be
// nearer than best.
func (g *pointGrid) further(q Vec, best Near, x, y, z, r int) bool {
	free, open := g.free(q, x, y, z, r)
	return open && !(free > 0 && float64(free*free) > best.Dist2)
}

// close looks at the 27 cells about q's: its own row first, then the rows on the
// side of it on which q lies.
func (g *pointGrid) close(q Vec, best Near, x, y, z int) Near {
	d := q.Sub(g.low)
	below, above := g.faces(d.X, x)
	yb, sy, yf := g.sides(d.Y, y)
	zb, sz, zf := g.sides(d.Z, z)
	for _, row := range [9]struct {
		dy, dz int
		off    float64
	}{{0, 0, 0}, {sy, 0, yb}, {0, sz, zb}, {sy, sz, yb + zb}, {-sy, 0, yf}, {0, -sz, zf}, {-sy, sz, yf + zb}, {sy, -sz, yb + zf}, {-sy, -sz, yf + zf}} {
		ry, rz := y+row.dy, z+row.dz
		if row.off > best.Dist2 || ry < 0 || ry >= g.n[1] || rz < 0 || rz >= g.n[2] {
			continue
		}
		lo, hi := x, x
		if row.off+below <= best.Dist2 {
			lo--
		}
		if row.off+above <= best.Dist2 {
			hi++
		}
		best = g.look(q, best, g.row(ry, rz), lo, hi)
	}
	return best
}

// faces returns the squared distances, a little less, from d to what lies below
// cell c along an axis and to what lies above it.
func (g *pointGrid) faces(d float64, c int) (below, above float64) {
	low := d - float64(float64(c)*g.side)
	below, above = max(0, low-float64(1e-9*g.side)), max(0, g.side-low-float64(1e-9*g.side))
	return below * below, above * above
}

// sides tells the same with the nearer side first, and which way that is.
func (g *pointGrid) sides(d float64, c int) (near float64, way int, far float64) {
	below, above := g.faces(d, c)
	if below < above {
		return below, -1, above
	}
	return above, 1, below
}

// free returns how far q is at least from all that lies outside the block of
// cells up to r away, and whether anything does.
func (g *pointGrid) free(q Vec, x, y, z, r int) (float64, bool) {
	least, open := math.Inf(1), false
	d := q.Sub(g.low)
	for k, at := range [3]struct {
		c int
		d float64
	}{{x, d.X}, {y, d.Y}, {z, d.Z}} {
		if at.c-r > 0 {
			least, open = min(least, at.d-float64(float64(at.c-r)*g.side)), true
		}
		if at.c+r+1 < g.n[k] {
			least, open = min(least, float64(float64(at.c+r+1)*g.side)-at.d), true
		}
	}
	return least - float64(1e-9*g.side), open
}

// block looks at the cells up to r away, those up to inner left out.
func (g *pointGrid) block(q Vec, best Near, x, y, z, r, inner int) Near {
	d := q.Sub(g.low)
	for cz := max(z-r, 0); cz <= min(z+r, g.n[2]-1); cz++ {
		oz := g.outside(d.Z, cz)
		oz *= oz
		if oz > best.Dist2 {
			continue
		}
		deep := max(cz-z, z-cz) <= inner
		for cy := max(y-r, 0); cy <= min(y+r, g.n[1]-1); cy++ {
			row := g.row(cy, cz)
			if g.words == 1 && g.full[row] == 0 {
				continue
			}
			if oy := g.outside(d.Y, cy); float64(oy*oy)+oz > best.Dist2 {
				continue
			}
			if deep && max(cy-y, y-cy) <= inner { // only the ends are new
				best = g.look(q, g.look(q, best, row, x-r, x-r), row, x+r, x+r)
			} else {
				best = g.look(q, best, row, x-r, x+r)
			}
		}
	}
	return best
}

// outside returns how far d is from cell c along an axis, a little less.
func (g *pointGrid) outside(d float64, c int) float64 {
	low := float64(float64(c) * g.side)
	if off := outside(low, low+g.side, d) - float64(1e-9*g.side); off > 0 {
		return off
	}
	return 0
}

// look looks at the points of a row's cells from lo to hi.
func (g *pointGrid) look(q Vec, best Near, row, lo, hi int) Near {
	if lo, hi = max(lo, 0), min(hi, g.n[0]-1); lo > hi {
		return best
	}
	if g.words == 1 && g.full[row]>>(lo&63)<<((63-hi+lo)&63) == 0 {
		return best
	}
	from, to := g.before(row, lo), g.before(row, hi+1)
	for _, p := range g.pts[g.first[from]:g.first[to]] {
		dx, dy, dz := float64(p.at[0])-q.X, float64(p.at[1])-q.Y, float64(p.at[2])-q.Z
		d := float64(dx*dx) + float64(dy*dy) + float64(dz*dz)
		if d < best.Dist2 || d == best.Dist2 && (best.ID < 0 || p.id < best.ID) {
			best = Near{p.id, d}
		}
	}
	return best
}
