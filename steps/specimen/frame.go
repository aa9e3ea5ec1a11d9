package specimen

import (
	"math"

	"layette/steps/internal/geom"
)

// A Frame is a rigid place: an origin and three unit axes, right-handed. It
// takes points of its own into the frame it is given in.
type Frame struct{ O, X, Y, Z geom.Vec }

// Home is the frame that moves nothing.
func Home() Frame {
	return Frame{X: geom.Vec{X: 1}, Y: geom.Vec{Y: 1}, Z: geom.Vec{Z: 1}}
}

// World returns where the frame's own point p lies.
func (f Frame) World(p geom.Vec) geom.Vec { return f.O.Add(f.Turn(p)) }

// Turn returns the frame's own direction v outside.
func (f Frame) Turn(v geom.Vec) geom.Vec {
	return f.X.Mul(v.X).Add(f.Y.Mul(v.Y)).Add(f.Z.Mul(v.Z))
}

// Local returns p in the frame's own coordinates.
func (f Frame) Local(p geom.Vec) geom.Vec { return f.Unturn(p.Sub(f.O)) }

// Unturn returns a direction in the frame's own coordinates.
func (f Frame) Unturn(v geom.Vec) geom.Vec {
	return geom.Vec{X: v.Dot(f.X), Y: v.Dot(f.Y), Z: v.Dot(f.Z)}
}

// In returns f, given in g's coordinates, outside of g.
func (f Frame) In(g Frame) Frame {
	return Frame{g.World(f.O), g.Turn(f.X), g.Turn(f.Y), g.Turn(f.Z)}
}

// Back returns the frame that undoes f.
func (f Frame) Back() Frame {
	return Frame{
		O: f.Unturn(f.O).Mul(-1),
		X: geom.Vec{X: f.X.X, Y: f.Y.X, Z: f.Z.X},
		Y: geom.Vec{X: f.X.Y, Y: f.Y.Y, Z: f.Z.Y},
		Z: geom.Vec{X: f.X.Z, Y: f.Y.Z, Z: f.Z.Z},
	}
}

// at returns the frame at a point, not turned.
func at(x, y, z float64) Frame {
	f := Home()
	f.O = geom.Vec{X: x, Y: y, Z: z}
	return f
}

// moved returns f with its origin moved along its own axes.
func (f Frame) moved(x, y, z float64) Frame {
	f.O = f.World(geom.Vec{X: x, Y: y, Z: z})
	return f
}

// turned returns f turned by deg degrees about its own axis (0, 1, 2 for x, y,
// z), right-handed.
func (f Frame) turned(axis int, deg float64) Frame {
	c, s := cosSin(deg)
	switch axis {
	case 0:
		f.Y, f.Z = f.Y.Mul(c).Add(f.Z.Mul(s)), f.Z.Mul(c).Sub(f.Y.Mul(s))
	case 1:
		f.Z, f.X = f.Z.Mul(c).Add(f.X.Mul(s)), f.X.Mul(c).Sub(f.Z.Mul(s))
	default:
		f.X, f.Y = f.X.Mul(c).Add(f.Y.Mul(s)), f.Y.Mul(c).Sub(f.X.Mul(s))
	}
	return f
}

// looking returns a frame at o whose z axis points along dir.
func looking(o, dir geom.Vec) Frame {
	z := dir.Unit()
	x := crosswise(z)
	return Frame{o, x, z.Cross(x), z}
}

// crosswise returns a unit vector at right angles to n.
func crosswise(n geom.Vec) geom.Vec {
	a := geom.Vec{X: 1}
	if math.Abs(n.X) > 0.6*n.Len() {
		a = geom.Vec{Y: 1}
	}
	return n.Cross(a).Unit()
}

// cosSin returns cosine and sine of an angle in degrees, the same bits on
// every processor: reduced to half a degree's worth of series by halving, then
// doubled back with exactly rounded operations. Error below 1e-14.
func cosSin(deg float64) (c, s float64) {
	deg = math.Mod(deg, 360)
	x := deg * (math.Pi / 180) / 64
	x2 := float64(x * x)
	// Taylor series about 0, |x| < 0.1; the next terms are below 1e-19.
	s = x * (1 - float64(x2/6*(1-float64(x2/20*(1-float64(x2/42*(1-x2/72)))))))
	v := float64(x2/2) * (1 - float64(x2/12*(1-float64(x2/30*(1-float64(x2/56*(1-x2/90))))))) // 1 - cos
	for range 6 {
		// 1-cos 2x = 2 sin² x keeps what 1-cos would lose.
		s, v = 2*float64(s*(1-v)), 2*float64(s*s)
	}
	return 1 - v, s
}
