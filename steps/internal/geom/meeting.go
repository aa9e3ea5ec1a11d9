package geom

import (
	"math"
	"slices"
)

// View is a thinned scan with what its scanner saw; Sight is nil for a surface
// that no single scanner saw, such as a casting.
type View struct {
	*Cloud
	Sight *Sight
}

// Meeting counts how two scans lie on each other under a pose, both ways. The
// counts of several pairs may be added up.
type Meeting struct {
	AskedA, AskedB int       // points tried
	OverA, OverB   int       // that lie over the other scan
	On             int       // of those within the limit
	Clash          int       // that hang in front of what the other's scanner saw
	Square         float64   // sum of squared distances of those within the limit, mm²
	Off            []float32 // distances of all that lie over the other, mm
}

// Meet judges a pose of a in b's frame. A point lies over the other scan if the
// nearest point of that is within four spacings, not on its rim, and roughly
// square above or below; it is on it if it is within limit mm and faces the
// same way. Up to about most points are tried each way.
func Meet(a, b View, pose Pose, limit float64, most int) Meeting {
	var m Meeting
	m.AskedA, m.OverA = m.side(a, b, pose, limit, most)
	m.AskedB, m.OverB = m.side(b, a, pose.Inverse(), limit, most)
	return m
}

// side counts a's points against b.
func (m *Meeting) side(a, b View, pose Pose, limit float64, most int) (tried, over int) {
	for k := 0; k < len(a.Points); k += 1 + len(a.Points)/most {
		tried++
		at := pose.Apply(a.Points[k].Vec())
		if b.Sight != nil {
			if gap, ok := b.Sight.InFront(at); ok && gap > 0 {
				m.Clash++
				continue
			}
		}
		r, turned, ok := a.over(b, k, at, pose)
		if !ok {
			continue
		}
		over++
		m.Off = append(m.Off, float32(math.Abs(r)))
		if math.Abs(r) <= limit && turned > sameWay {
			m.On++
			m.Square += float64(r * r)
		}
	}
	return tried, over
}

// sameWay is the least cosine between the normals of points that lie on each other.
const sameWay = 0.8

// over returns how far point k of a, which pose brings to at, lies above b's skin,
// mm, and the cosine between the two normals; false if it does not lie over it.
func (a View) over(b View, k int, at Vec, pose Pose) (off, turned float64, ok bool) {
	if a.Rim[k] {
		return 0, 0, false
	}
	near := b.Nearest(at, 4*max(a.Spacing, b.Spacing))
	if near.ID < 0 || b.Rim[near.ID] {
		return 0, 0, false
	}
	n := b.Normals[near.ID].Vec()
	d := at.Sub(b.Points[near.ID].Vec())
	off = d.Dot(n)
	if d.Len2()-float64(off*off) > float64(2.25*b.Spacing)*b.Spacing {
		return 0, 0, false
	}
	return off, pose.Rot.Apply(a.Normals[k].Vec()).Dot(n), true
}

// Above returns how far point k of a lies above b's skin under a pose, mm; false if
// it does not lie over that or faces another way.
func (a View) Above(b View, k int, pose Pose) (float64, bool) {
	off, turned, ok := a.over(b, k, pose.Apply(a.Points[k].Vec()), pose)
	return off, ok && turned > sameWay
}

// Add adds the counts of another pair.
func (m *Meeting) Add(o Meeting) {
	m.AskedA, m.AskedB = m.AskedA+o.AskedA, m.AskedB+o.AskedB
	m.OverA, m.OverB = m.OverA+o.OverA, m.OverB+o.OverB
	m.On, m.Clash, m.Square = m.On+o.On, m.Clash+o.Clash, m.Square+o.Square
	m.Off = append(m.Off, o.Off...)
}

// Overlap returns the larger of the two shares of points over the other scan.
func (m *Meeting) Overlap() float64 {
	return max(float64(m.OverA)/float64(max(1, m.AskedA)), float64(m.OverB)/float64(max(1, m.AskedB)))
}

// Agree returns the share of the points over the other scan that are on it.
func (m *Meeting) Agree() float64 { return float64(m.On) / float64(max(1, m.OverA+m.OverB)) }

// Clashing returns the share of points that cannot be where the pose has them.
func (m *Meeting) Clashing() float64 {
	return float64(m.Clash) / float64(max(1, m.Clash+m.OverA+m.OverB))
}

// RMS returns the root mean square distance of the points within the limit, mm.
func (m *Meeting) RMS() float64 { return math.Sqrt(m.Square / float64(max(1, m.On))) }

// Sigma returns 1.4826 times the median distance of all points over the other
// scan, mm: the standard deviation, where the scans truly lie on each other.
func (m *Meeting) Sigma() float64 {
	if len(m.Off) == 0 {
		return math.Inf(1)
	}
	slices.Sort(m.Off)
	return 1.4826 * float64(m.Off[len(m.Off)/2])
}

// Firmness returns how well the touching places fix the pose of a on b: see
// Normal6.Weakest.
func Firmness(a, b *Cloud, pose Pose, most int) float64 {
	return Hold(Touches(a, b, pose, 2*max(a.Spacing, b.Spacing), most), 0.02*a.Spacing)
}

// Hold returns how well touching places fix a pose: see Normal6.Weakest. least
// is the least spread of their distances, mm, that is believed.
func Hold(touches []Touch, least float64) float64 {
	mid, size := spreadOf(touches)
	s, _ := Equations(touches, mid, size, least)
	firm, _, _ := s.Weakest()
	return firm
}

// spreadOf returns the middle of the touching places and their root mean
// square distance from it.
func spreadOf(touches []Touch) (mid Vec, size float64) {
	for i := range touches {
		mid = mid.Add(touches[i].At)
	}
	n := float64(max(1, len(touches)))
	mid = mid.Mul(1 / n)
	sum := 0.0
	for i := range touches {
		sum += touches[i].At.Sub(mid).Len2()
	}
	return mid, max(math.Sqrt(sum/n), 1e-6)
}
