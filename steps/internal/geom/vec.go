// Package geom holds the geometry that steps share: surfaces, trees over
// their triangles, distances, fits and fields. It knows numbers and slices
// and nothing else of ours.
//
// Conventions, stated once: lengths are millimetres, angles radians, frames
// right-handed; a triangle turns counter-clockwise seen from outside. Points
// are stored as float32 and computed with as float64. Products pass through
// float64(...) before they are added, which looks idle but is not: the Go
// specification ("Floating-point operators") lets a compiler fuse a product
// and a sum into one rounding, and it does so on some processors and not on
// others; the conversion forbids it, so that results are the same bits
// everywhere.
package geom

import "math"

// Point is a stored point, mm.
type Point [3]float32

// Vec returns p for computing with.
func (p Point) Vec() Vec { return Vec{float64(p[0]), float64(p[1]), float64(p[2])} }

// Vec is a point or a direction in computation, mm.
type Vec struct{ X, Y, Z float64 }

// Point returns v as stored, each coordinate rounded to the nearest float32.
func (v Vec) Point() Point { return Point{float32(v.X), float32(v.Y), float32(v.Z)} }

// Add returns v + w.
func (v Vec) Add(w Vec) Vec { return Vec{v.X + w.X, v.Y + w.Y, v.Z + w.Z} }

// Sub returns v - w.
func (v Vec) Sub(w Vec) Vec { return Vec{v.X - w.X, v.Y - w.Y, v.Z - w.Z} }

// Mul returns s v.
func (v Vec) Mul(s float64) Vec { return Vec{float64(s * v.X), float64(s * v.Y), float64(s * v.Z)} }

// Dot returns the scalar product.
func (v Vec) Dot(w Vec) float64 {
	return float64(v.X*w.X) + float64(v.Y*w.Y) + float64(v.Z*w.Z)
}

// Cross returns the vector product.
func (v Vec) Cross(w Vec) Vec {
	return Vec{
		float64(v.Y*w.Z) - float64(v.Z*w.Y),
		float64(v.Z*w.X) - float64(v.X*w.Z),
		float64(v.X*w.Y) - float64(v.Y*w.X),
	}
}

// Len2 returns the squared length, mm².
func (v Vec) Len2() float64 { return v.Dot(v) }

// Len returns the length, mm.
func (v Vec) Len() float64 { return math.Sqrt(v.Dot(v)) }

// Unit returns v at length one, or the zero vector if v is zero.
func (v Vec) Unit() Vec {
	l := v.Len()
	if l == 0 {
		return Vec{}
	}
	return Vec{v.X / l, v.Y / l, v.Z / l}
}

// Finite reports whether no coordinate is infinite or not a number.
func (v Vec) Finite() bool {
	s := float64(v.X*0) + float64(v.Y*0) + float64(v.Z*0)
	return s == 0
}

// Box is an axis-parallel box; Empty() holds nothing.
type Box struct{ Min, Max Vec }

// EmptyBox returns the box that holds nothing and grows by Include.
func EmptyBox() Box {
	inf := math.Inf(1)
	return Box{Vec{inf, inf, inf}, Vec{-inf, -inf, -inf}}
}

// Include returns the least box that holds b and p.
func (b Box) Include(p Vec) Box {
	return Box{
		Vec{min(b.Min.X, p.X), min(b.Min.Y, p.Y), min(b.Min.Z, p.Z)},
		Vec{max(b.Max.X, p.X), max(b.Max.Y, p.Y), max(b.Max.Z, p.Z)},
	}
}

// Size returns the lengths of the sides, mm; negative infinities for an empty box.
func (b Box) Size() Vec { return b.Max.Sub(b.Min) }

// Centre returns the middle of the box.
func (b Box) Centre() Vec { return b.Min.Add(b.Max).Mul(0.5) }
