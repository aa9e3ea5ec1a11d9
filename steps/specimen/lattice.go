package specimen

import (
	"context"
	"math"
	"math/bits"

	"layette/steps/internal/geom"
)

// A lattice fills space with equal, nearly regular tetrahedra: the body-centred
// cubic lattice, whose Delaunay tetrahedra are the six Kuhn tetrahedra of a
// cube seen through a linear map. Points have whole coordinates (i, j, k) and
// each is joined to the seven points (i, j, k) + {0,1}³.
//
// The map is turned so that the plane i = 0 is the plane z = 0 and made of
// whole faces: a surface that stops there stops exactly there.
//
// Source: the lattice and its relation to the cube are in F. Labelle and J.
// Shewchuk, "Isosurface stuffing", SIGGRAPH 2007 (from memory).
type lattice struct{ a float64 } // a: side of the cubic cell, mm

// leafSide is the side of a leaf of the octree in lattice steps.
const (
	leafSide = 4
	corners  = (leafSide + 1) * (leafSide + 1) * (leafSide + 1)
)

var rise = math.Sqrt(0.5) // height of one step in i over a

// point returns the place of lattice point (i, j, k).
func (l lattice) point(i, j, k float64) geom.Vec {
	return geom.Vec{
		X: float64(l.a*(j+k-i)) / 2,
		Y: float64(float64(l.a*rise) * (j - k)),
		Z: float64(float64(l.a*rise) * i),
	}
}

// span returns the least and greatest lattice coordinates over a box.
func (l lattice) span(b geom.Box) (lo, hi [3]int) {
	lo, hi = [3]int{math.MaxInt32, math.MaxInt32, math.MaxInt32}, [3]int{math.MinInt32, math.MinInt32, math.MinInt32}
	for c := range 8 {
		p := b.Min
		if c&1 != 0 {
			p.X = b.Max.X
		}
		if c&2 != 0 {
			p.Y = b.Max.Y
		}
		if c&4 != 0 {
			p.Z = b.Max.Z
		}
		h := float64(l.a * rise)
		i := p.Z / h
		s, d := 2*p.X/l.a+i, p.Y/h
		for n, x := range [3]float64{i, (s + d) / 2, (s - d) / 2} {
			lo[n] = min(lo[n], int(math.Floor(x)))
			hi[n] = max(hi[n], int(math.Ceil(x)))
		}
	}
	return lo, hi
}

// A block is a cube of lattice steps with the field as it is in and near it.
type block struct {
	at   [3]int32
	side int32
	f    Field
}

// ball returns the ball that holds the block's points, and vertices that are
// moved up to one step beyond it.
func (l lattice) ball(at [3]int32, side int32) (geom.Vec, float64) {
	h := float64(side) / 2
	c := l.point(float64(at[0])+h, float64(at[1])+h, float64(at[2])+h)
	return c, l.a * (float64(1.6584*h) + 1) // sqrt(11)/2: the longest diagonal of the slanted cell
}

// leaves returns the blocks of leafSide steps that the skin may pass through,
// in the octree's order; with cut, only those at i >= 0, and all at the plane
// i = 0 that hold any of the solid.
func (l lattice) leaves(ctx context.Context, workers int, f Field, cut bool) ([]block, error) {
	lo, hi := l.span(grow(f.Bounds(), l.a))
	if cut {
		lo[0] = 0
	}
	side := int32(leafSide)
	for range 3 {
		for n := range 3 {
			for int(side) < hi[n]-lo[n]+1 {
				side *= 2
			}
		}
	}
	level := []block{{[3]int32{int32(lo[0]), int32(lo[1]), int32(lo[2])}, side, f}}
	for level[0].side > leafSide {
		parts := make([][]block, len(level))
		err := each(ctx, workers, len(level), func(i int) { parts[i] = l.split(level[i], cut) })
		if err != nil {
			return nil, err
		}
		level = level[:0:0]
		for _, p := range parts {
			level = append(level, p...)
		}
		if len(level) == 0 {
			return nil, nil
		}
	}
	return level, nil
}

func (l lattice) split(b block, cut bool) []block {
	var out []block
	half := b.side / 2
	for c := range int32(8) {
		at := [3]int32{b.at[0] + half*(c&1), b.at[1] + half*(c>>1&1), b.at[2] + half*(c>>2&1)}
		centre, r := l.ball(at, half)
		lo, hi := b.f.Range(centre, r)
		if lo > 0 || hi < 0 && !(cut && at[0] == 0) {
			continue
		}
		out = append(out, block{at, half, b.f.Within(centre, r)})
	}
	return out
}

// A leaf is a block's share of the surface: of each of its own points, which
// of the seven edges from it the skin crosses (bits 1 to 7) and, on the cut,
// whether the point itself is a vertex (bit 0); the vertices themselves follow
// in that order.
type leaf struct {
	block
	inside [corners]bool
	mask   [leafSide * leafSide * leafSide]uint8
	before [leafSide * leafSide * leafSide]uint16 // vertices of earlier points
	verts  []geom.Vec
	rim    []kind
	base   int32 // number of the first vertex in the whole
}

// kind says how a vertex may move.
type kind uint8

const (
	skin kind = iota // on the skin
	edge             // on the skin and in the plane of the cut
	face             // in the plane of the cut
)

func corner(i, j, k int) int { return (i*(leafSide+1)+j)*(leafSide+1) + k }
func own(i, j, k int) int    { return (i*leafSide+j)*leafSide + k }

// sample finds the vertices of a leaf: where edges cross the skin.
func (l lattice) sample(b block, cut bool) *leaf {
	lf := &leaf{block: b}
	var value [corners]float64
	var place [corners]geom.Vec
	for i := range leafSide + 1 {
		for j := range leafSide + 1 {
			for k := range leafSide + 1 {
				n := corner(i, j, k)
				place[n] = l.point(float64(int(b.at[0])+i), float64(int(b.at[1])+j), float64(int(b.at[2])+k))
				value[n], _ = b.f.At(place[n])
				lf.inside[n] = value[n] < 0
			}
		}
	}
	for i := range leafSide {
		for j := range leafSide {
			for k := range leafSide {
				lf.edges(i, j, k, cut && i == 0 && b.at[0] == 0, l.a/200, &value, &place)
			}
		}
	}
	return lf
}

// edges makes the vertices that belong to own point (i, j, k).
func (lf *leaf) edges(i, j, k int, onCut bool, near float64, value *[corners]float64, place *[corners]geom.Vec) {
	o, n := own(i, j, k), corner(i, j, k)
	lf.before[o] = uint16(len(lf.verts))
	if onCut && lf.inside[n] {
		lf.mask[o] |= 1
		lf.verts = append(lf.verts, place[n])
		lf.rim = append(lf.rim, face)
	}
	for d := 1; d < 8; d++ {
		m := corner(i+d&1, j+d>>1&1, k+d>>2&1)
		if lf.inside[n] == lf.inside[m] {
			continue
		}
		lf.mask[o] |= 1 << d
		lf.verts = append(lf.verts, cross(lf.f, place[n], place[m], value[n], value[m], near))
		if onCut && d&1 == 0 {
			lf.rim = append(lf.rim, edge)
		} else {
			lf.rim = append(lf.rim, skin)
		}
	}
}

// vertex returns the number in the whole of the vertex of own point o, bit b.
func (lf *leaf) vertex(o, b int) int32 {
	return lf.base + int32(lf.before[o]) + int32(bits.OnesCount8(lf.mask[o]&(1<<b-1)))
}

// margin keeps vertices off the ends of their edges, as a share of the edge,
// so that no two meet and no face vanishes.
const margin = 0.03

// cross returns where the skin crosses the edge from a to b, whose values have
// different signs, to a value of near, by false position with Illinois weights.
func cross(f Field, a, b geom.Vec, da, db, near float64) geom.Vec {
	lo, hi, dlo, dhi := 0.0, 1.0, da, db
	t, last := 0.0, 0
	for range 8 {
		t = lo + float64((hi-lo)*(dlo/(dlo-dhi)))
		d, _ := f.At(a.Add(b.Sub(a).Mul(t)))
		if math.Abs(d) < near {
			break
		}
		if (d < 0) == (da < 0) {
			lo, dlo = t, d
			if last == 1 {
				dhi /= 2
			}
			last = 1
		} else {
			hi, dhi = t, d
			if last == 2 {
				dlo /= 2
			}
			last = 2
		}
	}
	return a.Add(b.Sub(a).Mul(min(max(t, margin), 1-margin)))
}
