package geom

import "math"

// Mat is a 3 by 3 matrix by rows.
type Mat [3][3]float64

// Identity is the matrix that leaves every vector as it is.
var Identity = Mat{{1, 0, 0}, {0, 1, 0}, {0, 0, 1}}

// Apply returns m v.
func (m Mat) Apply(v Vec) Vec {
	return Vec{
		float64(m[0][0]*v.X) + float64(m[0][1]*v.Y) + float64(m[0][2]*v.Z),
		float64(m[1][0]*v.X) + float64(m[1][1]*v.Y) + float64(m[1][2]*v.Z),
		float64(m[2][0]*v.X) + float64(m[2][1]*v.Y) + float64(m[2][2]*v.Z),
	}
}

// Mul returns m n: first n, then m.
func (m Mat) Mul(n Mat) Mat {
	var r Mat
	for i := range 3 {
		for j := range 3 {
			r[i][j] = float64(m[i][0]*n[0][j]) + float64(m[i][1]*n[1][j]) + float64(m[i][2]*n[2][j])
		}
	}
	return r
}

// Transposed returns m with rows for columns: the inverse, if m is a rotation.
func (m Mat) Transposed() Mat {
	return Mat{{m[0][0], m[1][0], m[2][0]}, {m[0][1], m[1][1], m[2][1]}, {m[0][2], m[1][2], m[2][2]}}
}

// Pose places a thing: p goes to Rot p + Move. Rot is a rotation, Move in mm.
type Pose struct {
	Rot  Mat
	Move Vec
}

// NoMove is the pose that leaves everything where it is.
var NoMove = Pose{Rot: Identity}

// Apply returns where p goes.
func (a Pose) Apply(p Vec) Vec { return a.Rot.Apply(p).Add(a.Move) }

// Then returns the pose that does a first and b after it.
func (a Pose) Then(b Pose) Pose { return Pose{b.Rot.Mul(a.Rot), b.Rot.Apply(a.Move).Add(b.Move)} }

// Inverse returns the pose that undoes a.
func (a Pose) Inverse() Pose {
	back := a.Rot.Transposed()
	return Pose{back, back.Apply(a.Move).Mul(-1)}
}

// Turn returns the angle of the rotation in radians, 0 to pi. The half angle is
// taken from the antisymmetric part, which keeps small angles exact; its last
// bit may differ between processors, so round it before it is stored.
func (a Pose) Turn() float64 {
	m := a.Rot
	s := Vec{m[2][1] - m[1][2], m[0][2] - m[2][0], m[1][0] - m[0][1]}.Len() / 2
	c := (m[0][0] + m[1][1] + m[2][2] - 1) / 2
	return math.Atan2(s, c)
}

// Quaternion is a rotation as four numbers of length one: W + Xi + Yj + Zk.
type Quaternion struct{ W, X, Y, Z float64 }

// Rot returns the rotation of q, which is brought to length one first; the
// zero quaternion turns nothing.
func (q Quaternion) Rot() Mat {
	n := math.Sqrt(float64(q.W*q.W) + float64(q.X*q.X) + float64(q.Y*q.Y) + float64(q.Z*q.Z))
	if n == 0 {
		return Identity
	}
	w, x, y, z := q.W/n, q.X/n, q.Y/n, q.Z/n
	return Mat{
		{1 - 2*(float64(y*y)+float64(z*z)), 2 * (float64(x*y) - float64(w*z)), 2 * (float64(x*z) + float64(w*y))},
		{2 * (float64(x*y) + float64(w*z)), 1 - 2*(float64(x*x)+float64(z*z)), 2 * (float64(y*z) - float64(w*x))},
		{2 * (float64(x*z) - float64(w*y)), 2 * (float64(y*z) + float64(w*x)), 1 - 2*(float64(x*x)+float64(y*y))},
	}
}

// SmallTurn returns the rotation about the direction of r by about |r| radians
// (exactly 2 atan(|r|/2)): the update of a least-squares step, without sines.
func SmallTurn(r Vec) Mat { return Quaternion{1, r.X / 2, r.Y / 2, r.Z / 2}.Rot() }
