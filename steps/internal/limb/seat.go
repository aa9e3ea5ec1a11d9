package limb

import (
	"math"

	"layette/steps/internal/geom"
)

// Seat is where a part sits, or the seat of the body that it sits on: the
// middle of the opening, up square to it into the part, and level with it the
// side that counts as its front; front, right and up stand to each other as in
// a child that stands (right = front x up).
type Seat struct{ At, Front, Right, Up geom.Vec }

// NewSeat returns a seat. looks is a direction whose level share is its front;
// it is not ok if that is shorter than a tenth of it, or up has no length.
func NewSeat(at, up, looks geom.Vec) (Seat, bool) {
	s := Seat{At: at, Up: up.Unit()}
	level := looks.Sub(s.Up.Mul(looks.Dot(s.Up)))
	s.Front = level.Unit()
	s.Right = s.Front.Cross(s.Up)
	return s, s.Up.Len2() > 0.5 && level.Len() >= 0.1*looks.Len() && looks.Len() > 0
}

// Seat returns the frame in which the limb sits, from its first opening. It is
// not ok without an opening, or if looks is nearly square to it.
func (l *Limb) Seat(looks geom.Vec) (Seat, bool) {
	if len(l.Openings) == 0 {
		return Seat{}, false
	}
	o := &l.Openings[0]
	return NewSeat(o.Centre, o.Plane.Normal.Mul(-1), looks)
}

// Lean returns how far a direction leans from up, to the front and to the
// right, degrees, each seen square to it.
func (s Seat) Lean(d geom.Vec) (front, right float64) {
	up := d.Dot(s.Up)
	return degrees(math.Atan2(d.Dot(s.Front), up)), degrees(math.Atan2(d.Dot(s.Right), up))
}

// Roll returns by how much a direction is turned from the front about up,
// degrees: counter-clockwise seen from above is positive.
func (s Seat) Roll(d geom.Vec) float64 {
	return degrees(math.Atan2(-d.Dot(s.Right), d.Dot(s.Front)))
}

// Onto returns the motion that brings s onto another seat.
func (s Seat) Onto(to Seat) geom.Pose {
	rot := to.axes().Transposed().Mul(s.axes())
	return geom.Pose{Rot: rot, Move: to.At.Sub(rot.Apply(s.At))}
}

// axes returns the rotation that brings right, front, up to x, y, z.
func (s Seat) axes() geom.Mat {
	return geom.Mat{{s.Right.X, s.Right.Y, s.Right.Z}, {s.Front.X, s.Front.Y, s.Front.Z}, {s.Up.X, s.Up.Y, s.Up.Z}}
}

// Between returns the triangles that reach into heights above a seat, mm.
func (l *Limb) Between(s Seat, lo, hi float64) []int32 {
	height := make([]float32, len(l.Mesh.Verts))
	for i, q := range l.Mesh.Verts {
		height[i] = float32(q.Vec().Sub(s.At).Dot(s.Up))
	}
	const slack = 0.01 // mm: heights are rounded to float32
	var out []int32
	for t, v := range l.Mesh.Tris {
		a, b, c := float64(height[v[0]]), float64(height[v[1]]), float64(height[v[2]])
		if max(a, b, c) >= lo-slack && min(a, b, c) <= hi+slack {
			out = append(out, int32(t))
		}
	}
	return out
}

// Level returns the section at a height above a seat that lies nearest to the
// line up from it, of those through some triangles.
func Level(c *geom.Cutter, s Seat, height float64, among []int32) (best geom.Section, ok bool) {
	at := s.At.Add(s.Up.Mul(height))
	sections, err := c.Sections(geom.Plane{Normal: s.Up, Offset: s.Up.Dot(at)}, among)
	if err != nil {
		return best, false
	}
	near := math.Inf(1)
	for _, x := range sections {
		if d := x.Mid.Sub(at).Len() - x.Girth/(2*math.Pi); d < near {
			best, near, ok = x, d, true
		}
	}
	return best, ok
}

// Middle returns the middle, by area, of what an outline level with n encloses:
// a fold or an open mouth hardly moves it.
func Middle(ring []geom.Vec, n geom.Vec) geom.Vec {
	var area, x, y, z geom.Sum
	o := ring[0]
	for i := 1; i+1 < len(ring); i++ {
		a, b := ring[i].Sub(o), ring[i+1].Sub(o)
		w := a.Cross(b).Dot(n)
		mid := a.Add(b).Mul(w / 3)
		area.Add(w)
		x.Add(mid.X)
		y.Add(mid.Y)
		z.Add(mid.Z)
	}
	if area.Total() == 0 {
		return o
	}
	return o.Add(geom.Vec{X: x.Total(), Y: y.Total(), Z: z.Total()}.Mul(1 / area.Total()))
}

// Tall returns how far the limb reaches above a seat, mm.
func (l *Limb) Tall(s Seat) float64 {
	tall := 0.0
	for _, q := range l.Mesh.Verts {
		tall = max(tall, q.Vec().Sub(s.At).Dot(s.Up))
	}
	return tall
}

func degrees(rad float64) float64 { return rad * 180 / math.Pi }
