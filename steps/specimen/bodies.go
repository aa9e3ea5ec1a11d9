package specimen

import (
	"context"
	"math"

	"layette/steps/internal/geom"
)

// A Body is a plain solid with exact measures, to hold checks against. What
// is not known in closed form is NaN.
type Body struct {
	Name   string
	Field  Field
	Volume float64 // mm³
	Area   float64 // mm²
	Gap    float64 // least air between facing skins, mm
	Wall   float64 // least thickness, mm
	Cut    bool    // ends in a flat face at z = 0, counted in volume and area
}

func unknown() Body {
	return Body{Volume: math.NaN(), Area: math.NaN(), Gap: math.NaN(), Wall: math.NaN()}
}

// Sphere is a ball of radius r.
func Sphere(r float64) Body {
	b := unknown()
	b.Name, b.Field = "sphere", ball(geom.Vec{}, r)
	b.Volume, b.Area, b.Wall = 4*math.Pi*r*r*r/3, 4*math.Pi*r*r, 2*r
	return b
}

// Dome is the half of a ball of radius r above z = 0, with its flat face.
func Dome(r float64) Body {
	b := Sphere(r)
	b.Name, b.Cut, b.Wall = "dome", true, math.NaN()
	b.Volume, b.Area = b.Volume/2, 3*math.Pi*r*r
	return b
}

// Torus is a tube of radius r about a circle of radius R; the hole is its gap.
func Torus(R, r float64) Body {
	b := unknown()
	b.Name, b.Field = "torus", &ring{geom.Vec{}, geom.Vec{Z: 1}, R, r}
	b.Volume, b.Area = 2*math.Pi*math.Pi*R*r*r, 4*math.Pi*math.Pi*R*r
	b.Gap, b.Wall = 2*(R-r), 2*r
	return b
}

// Capsules are two parallel fingers of radius r and straight length l, with
// gap mm of air between them.
func Capsules(r, l, gap float64) Body {
	b := unknown()
	x := r + gap/2
	b.Name = "capsules"
	b.Field = join(0, taper(v(-x, 0, 0), v(-x, 0, l), r, r), taper(v(x, 0, 0), v(x, 0, l), r, r))
	b.Volume = 2 * (math.Pi*r*r*l + 4*math.Pi*r*r*r/3)
	b.Area = 2 * (2*math.Pi*r*l + 4*math.Pi*r*r)
	b.Gap, b.Wall = gap, 2*r
	return b
}

// Ellipsoid has half axes a, b, c. Its area is not known in closed form.
func Ellipsoid(a, b, c float64) Body {
	o := unknown()
	o.Name, o.Field = "ellipsoid", egg3(Home(), v(a, b, c))
	o.Volume, o.Wall = 4*math.Pi*a*b*c/3, 2*min(a, b, c)
	return o
}

// HollowBall is a shell between radii inner and outer.
func HollowBall(outer, inner float64) Body {
	b := unknown()
	b.Name, b.Field = "hollow ball", carve(ball(geom.Vec{}, outer), 0, ball(geom.Vec{}, inner))
	b.Volume = 4 * math.Pi * (outer*outer*outer - inner*inner*inner) / 3
	b.Area = 4 * math.Pi * (outer*outer + inner*inner)
	b.Gap, b.Wall = 2*inner, outer-inner
	return b
}

// Plate is a plate of sides 2x, 2y and thickness 2z with rounded rims of
// radius z: the points within z of a flat rectangle.
func Plate(x, y, z float64) Body {
	b := unknown()
	b.Name, b.Field = "plate", sheet{v(x, y, 0), z}
	b.Volume = 8*x*y*z + 2*math.Pi*z*z*(x+y) + 4*math.Pi*z*z*z/3
	b.Area = 8*x*y + 4*math.Pi*z*(x+y) + 4*math.Pi*z*z
	b.Wall = 2 * z
	return b
}

// Grooved is a block 2x by 2y by z that stands on the plane z = 0, with a V
// groove of the given angle in degrees and depth in its top, along y from end
// to end.
func Grooved(x, y, z, angle, depth float64) Body {
	b := unknown()
	c, s := cosSin(angle / 2)
	plane := func(at, n geom.Vec) Field { return halfspace{at, n} }
	block := box{v(x, y, z)}
	bottom := v(0, 0, z-depth)
	b.Name, b.Cut = "grooved plate", true
	b.Field = carve(block, 0, meet(0, box{v(x, 2*y, 2*z)}, plane(bottom, v(c, 0, -s)), plane(bottom, v(-c, 0, -s))))
	half := depth * s / c // half width at the top
	b.Volume = 4*x*y*z - 2*y*half*depth
	b.Area = 2*(4*x*y) + 2*(2*x*z+2*y*z) - 2*y*2*half + 2*2*y*depth/c - 2*half*depth
	return b
}

// Elbow is a tube of radius r and straight arms of length l that bends by deg
// degrees: two capsules that share an end.
func Elbow(r, l, deg float64) Body {
	b := unknown()
	c, s := cosSin(deg)
	b.Name = "elbow"
	b.Field = join(0, taper(v(0, 0, -l), geom.Vec{}, r, r), taper(geom.Vec{}, v(l*s, 0, l*c), r, r))
	b.Wall = 2 * r
	return b
}

// Bottle is a ball of radius belly on a neck of radius neck: the narrowest
// girth on the way out is 2 pi neck exactly, the widest 2 pi belly; pulling it
// out stretches the neck by belly/neck - 1.
func Bottle(belly, neck, length float64) Body {
	b := unknown()
	b.Name, b.Cut = "bottle", true
	top := length + math.Sqrt(float64(belly*belly)-float64(neck*neck))
	b.Field = join(0, taper(v(0, 0, -2*neck), v(0, 0, top), neck, neck), ball(v(0, 0, top), belly))
	h := belly - math.Sqrt(belly*belly-neck*neck) // of the cap inside the neck
	b.Volume = math.Pi*neck*neck*length + 4*math.Pi*belly*belly*belly/3 - math.Pi*h*h*(3*belly-h)/3
	b.Area = 2*math.Pi*neck*length + math.Pi*neck*neck + 4*math.Pi*belly*belly - 2*math.Pi*belly*h
	return b
}

// Wedge is a ball of radius r with a wedge of the given angle, degrees, taken
// out of it: two flat faces that meet in the y axis.
func Wedge(angle, r float64) Body {
	b := unknown()
	c, s := cosSin(angle / 2)
	b.Name = "wedge"
	slot := meet(0, halfspace{geom.Vec{}, v(-s, 0, c)}, halfspace{geom.Vec{}, v(-s, 0, -c)})
	b.Field = carve(ball(geom.Vec{}, r), 0, slot)
	b.Volume = 4 * math.Pi * r * r * r / 3 * (1 - angle/360)
	b.Area = 4*math.Pi*r*r*(1-angle/360) + math.Pi*r*r
	return b
}

// Rippled is a ball of radius r whose skin rises and falls by depth along z
// with the given wavelength, mm: value |p| - r - depth cos(2 pi z / wave).
func Rippled(r, depth, wave float64) Body {
	b := unknown()
	b.Name, b.Field = "rippled ball", rippled{r, depth, wave}
	return b
}

// A sheet is everything within r of a flat rectangle with half sides h.
type sheet struct {
	h geom.Vec
	r float64
}

func (s sheet) At(p geom.Vec) (float64, geom.Vec) {
	q := geom.Vec{X: clampTo(p.X, s.h.X), Y: clampTo(p.Y, s.h.Y)}
	return fromPoint(p.Sub(q), s.r)
}

func clampTo(x, h float64) float64 { return min(max(x, -h), h) }

func (s sheet) Range(c geom.Vec, r float64) (lo, hi float64) {
	d, _ := s.At(c)
	return d - r, d + r
}
func (s sheet) Within(geom.Vec, float64) Field { return s }
func (s sheet) Bounds() geom.Box {
	return geom.Box{Min: s.h.Mul(-1).Sub(v(s.r, s.r, s.r)), Max: s.h.Add(v(s.r, s.r, s.r))}
}

// A box is the block |x| <= h.X, |y| <= h.Y, z <= h.Z, and -h.Z <= z.
type box struct{ h geom.Vec }

func (b box) At(p geom.Vec) (float64, geom.Vec) {
	best, n := math.Inf(-1), geom.Vec{}
	for i, x := range [3]float64{p.X, p.Y, p.Z} {
		d := math.Abs(x) - [3]float64{b.h.X, b.h.Y, b.h.Z}[i]
		if d > best {
			var g [3]float64
			g[i] = math.Copysign(1, x)
			best, n = d, geom.Vec{X: g[0], Y: g[1], Z: g[2]}
		}
	}
	return best, n
}

func (b box) Range(c geom.Vec, r float64) (lo, hi float64) {
	d, _ := b.At(c)
	return d - r, d + r
}
func (b box) Within(geom.Vec, float64) Field { return b }
func (b box) Bounds() geom.Box               { return geom.Box{Min: b.h.Mul(-1), Max: b.h} }

// rippled is the field of Rippled.
type rippled struct{ r, depth, wave float64 }

func (b rippled) At(p geom.Vec) (float64, geom.Vec) {
	d, g := fromPoint(p, b.r)
	c, s := cosSin(p.Z / b.wave * 360)
	g.Z += float64(float64(b.depth*s) * (2 * math.Pi / b.wave))
	return d - float64(b.depth*c), g
}

func (b rippled) Range(c geom.Vec, r float64) (lo, hi float64) {
	l := c.Len()
	return l - b.r - r - b.depth, l - b.r + r + b.depth
}
func (b rippled) Within(geom.Vec, float64) Field { return b }
func (b rippled) Bounds() geom.Box               { return grow(geom.EmptyBox().Include(geom.Vec{}), b.r+b.depth) }

// Mesh returns the body's surface.
func (b Body) Mesh(ctx context.Context, s Sampling) (*geom.Mesh, error) {
	return Surface(ctx, b.Field, b.Cut, s)
}
