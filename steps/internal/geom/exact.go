package geom

import (
	"math"
	"math/big"
)

// This file decides on which side a point lies, without a doubt. Corners are
// float32 numbers and computed with as float64, so that a difference of two is
// mostly exact, and a short sum of products tells the side or is settled by
// exact arithmetic.
//
// Method: J. R. Shewchuk, "Adaptive precision floating-point arithmetic and
// fast robust geometric predicates", Discrete & Computational Geometry 1997
// (from memory); the bounds are derived here.

// roundoff is half the distance from 1 to the next float64: no sum, product or
// difference is off by more than this share of itself. No float32 coordinates
// make any of the products below too large or too small for float64.
const roundoff = 0x1p-53

// A determinant of three rows of differences passes through one rounding per
// difference (three in a product), two per product of three, one for the
// subtraction within each pair and two for the last sums: eight, to first
// order, of the sum of the products' sizes, which is itself off by as many.
// 16 covers what is of second order many times over.
const side3Bound = 16 * roundoff

// In two dimensions: two differences, a product, a subtraction.
const side2Bound = 8 * roundoff

// corner is a corner of a triangle as the predicates take it: coordinates that
// are float32 numbers.
type corner = Vec

// side3 returns 1 if d lies on the side of triangle abc from which it turns
// clockwise (below it), -1 if above, 0 if in its plane. Exact for corners
// whose coordinates are float32 numbers.
func side3(a, b, c, d corner) int {
	ax, ay, az := a.X-d.X, a.Y-d.Y, a.Z-d.Z
	bx, by, bz := b.X-d.X, b.Y-d.Y, b.Z-d.Z
	cx, cy, cz := c.X-d.X, c.Y-d.Y, c.Z-d.Z
	bc, cb := float64(bx*cy), float64(cx*by)
	ca, ac := float64(cx*ay), float64(ax*cy)
	ab, ba := float64(ax*by), float64(bx*ay)
	det := float64(az*(bc-cb)) + float64(bz*(ca-ac)) + float64(cz*(ab-ba))
	size := float64((math.Abs(bc)+math.Abs(cb))*math.Abs(az)) +
		float64((math.Abs(ca)+math.Abs(ac))*math.Abs(bz)) +
		float64((math.Abs(ab)+math.Abs(ba))*math.Abs(cz))
	if bound := side3Bound * size; det > bound {
		return 1
	} else if det < -bound {
		return -1
	} else if size == 0 {
		return 0
	}
	return exactSide3(a, b, c, d)
}

// side2 returns 1 if c lies left of the line from a to b, -1 if right, 0 if on
// it, in the plane of coordinates x and y. Exact like side3.
func side2(ax, ay, bx, by, cx, cy float64) int {
	l, r := float64((ax-cx)*(by-cy)), float64((ay-cy)*(bx-cx))
	det, size := l-r, math.Abs(l)+math.Abs(r)
	if bound := side2Bound * size; det > bound {
		return 1
	} else if det < -bound {
		return -1
	} else if size == 0 {
		return 0
	}
	// The same determinant with a third row and column.
	return exactSide3(Vec{ax, ay, 1}, Vec{bx, by, 1}, Vec{cx, cy, 1}, Vec{0, 0, 0})
}

// exactSide3 is side3 by exact sums. Where all differences are exact, each of
// the six products of three is the sum of four float64 numbers.
func exactSide3(a, b, c, d corner) int {
	p := [3][3]float64{{a.X, a.Y, a.Z}, {b.X, b.Y, b.Z}, {c.X, c.Y, c.Z}}
	q := [3]float64{d.X, d.Y, d.Z}
	for i := range p {
		for k := range q {
			diff := p[i][k] - q[k]
			if lost(p[i][k], q[k], diff) != 0 {
				return bigSide3(a, b, c, d)
			}
			p[i][k] = diff
		}
	}
	var s exactSum
	for _, t := range terms {
		s.addProduct(t.sign*p[t.row[0]][0], p[t.row[1]][1], p[t.row[2]][2])
	}
	return s.sign()
}

// terms are the six products of a determinant: the rows that columns 0, 1 and
// 2 are taken from.
var terms = [6]struct {
	row  [3]int
	sign float64
}{
	{[3]int{0, 1, 2}, 1}, {[3]int{1, 2, 0}, 1}, {[3]int{2, 0, 1}, 1},
	{[3]int{0, 2, 1}, -1}, {[3]int{1, 0, 2}, -1}, {[3]int{2, 1, 0}, -1},
}

// lost returns what rounding took from diff = a - b.
func lost(a, b, diff float64) float64 {
	bb := a - diff
	aa := diff + bb
	return (a - aa) - (b - bb)
}

// exactSum is a sum without rounding: parts that do not overlap, smallest first.
type exactSum struct {
	part [32]float64
	n    int
}

// add adds x: Shewchuk's grow-expansion, leaving out zeros.
func (s *exactSum) add(x float64) {
	n := 0
	for _, e := range s.part[:s.n] {
		sum := x + e
		ee := sum - x
		if rest := (x - (sum - ee)) + (e - ee); rest != 0 {
			s.part[n] = rest
			n++
		}
		x = sum
	}
	if x != 0 {
		s.part[n] = x
		n++
	}
	s.n = n
}

// addProduct adds x y z. math.FMA rounds once on every machine, so that it
// tells exactly what a product lost.
func (s *exactSum) addProduct(x, y, z float64) {
	xy := float64(x * y)
	rest := math.FMA(x, y, -xy)
	for _, f := range [2]float64{rest, xy} {
		p := float64(f * z)
		s.add(math.FMA(f, z, -p))
		s.add(p)
	}
}

// sign returns the sign of the sum, that of its largest part.
func (s *exactSum) sign() int {
	switch {
	case s.n == 0:
		return 0
	case s.part[s.n-1] > 0:
		return 1
	}
	return -1
}

// bigSide3 is side3 where coordinates differ so much in size that even a
// difference rounds. Float32 numbers are whole multiples of 2^-149 below 2^128:
// a product of three differences needs 3 * 278 bits, and 1024 hold every sum.
func bigSide3(a, b, c, d corner) int {
	of := func(x float64) *big.Float { return new(big.Float).SetPrec(1024).SetFloat64(x) }
	sub := func(x, y float64) *big.Float { return of(0).Sub(of(x), of(y)) }
	rows := [3][3]*big.Float{}
	for i, p := range [3]corner{a, b, c} {
		rows[i] = [3]*big.Float{sub(p.X, d.X), sub(p.Y, d.Y), sub(p.Z, d.Z)}
	}
	det := of(0)
	for _, t := range terms {
		x := of(0).Mul(rows[t.row[0]][0], rows[t.row[1]][1])
		x.Mul(x, rows[t.row[2]][2])
		det.Add(det, x.Mul(x, of(t.sign)))
	}
	return det.Sign()
}
