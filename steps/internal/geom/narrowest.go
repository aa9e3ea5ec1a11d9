package geom

import (
	"context"
	"errors"
	"fmt"
)

// Nearest returns the section nearest to v: the one whose outline v lies in,
// seen along the normal, and otherwise the one with the nearest corner.
func Nearest(p Plane, sections []Section, v Vec) (Section, error) {
	if len(sections) == 0 {
		return Section{}, errors.New("the plane does not meet the surface")
	}
	best, dist := 0, 0.0
	for i, s := range sections {
		d := -1 / s.Area // within several the smallest outline counts
		if !(s.Area > 0) || !holds(p, s.rings[0].at, v) {
			d = v.Sub(s.Mid).Len2()
			for _, q := range s.rings[0].at {
				d = min(d, v.Sub(q).Len2())
			}
		}
		if i == 0 || d < dist {
			best, dist = i, d
		}
	}
	return sections[best], nil
}

// Narrowest searches the plane whose section near at has the least girth:
// planes that pass within radius mm of at along toward, and whose normal leans
// away from toward by a slope of up to lean (the tangent of the angle). The
// normal of the plane found points toward.
//
// It looks at a grid of planes, then steps from the best ever finer until steps
// are under a hundredth of radius: a local search from a global start. A dent
// narrower than an eighth of radius may be missed. It takes about 300 sections
// of the part of the surface in reach.
func (c *Cutter) Narrowest(ctx context.Context, at, toward Vec, radius, lean float64) (Plane, Section, error) {
	toward = toward.Unit()
	if toward == (Vec{}) || !(radius >= 0) || !(lean >= 0) {
		return Plane{}, Section{}, errors.New("a search needs a direction, a radius and a slope of zero or more")
	}
	n := &narrowing{c: c, at: at, toward: toward, radius: radius, lean: lean, among: c.reach(at, toward, radius, lean)}
	n.u = across(toward)
	n.w = toward.Cross(n.u)
	if err := n.grid(ctx); err != nil {
		return Plane{}, Section{}, err
	}
	if n.best.girth == 0 {
		return Plane{}, Section{}, fmt.Errorf("no section of the surface within %.3g mm of the point", radius)
	}
	if err := n.refine(ctx); err != nil {
		return Plane{}, Section{}, err
	}
	p := n.plane(n.best.x)
	sections, err := c.Sections(p, nil)
	if err != nil {
		return Plane{}, Section{}, err
	}
	s, err := Nearest(p, sections, n.near(n.best.x))
	return p, s, err
}

// across returns a unit direction at right angles to n.
func across(n Vec) Vec {
	x, y, z := n.X*n.X, n.Y*n.Y, n.Z*n.Z
	switch {
	case x <= y && x <= z:
		return n.Cross(Vec{X: 1}).Unit()
	case y <= z:
		return n.Cross(Vec{Y: 1}).Unit()
	}
	return n.Cross(Vec{Z: 1}).Unit()
}

// reach returns the triangles that a plane of the search can meet.
func (c *Cutter) reach(at, toward Vec, radius, lean float64) []int32 {
	var among []int32
	h := make([]float64, len(c.m.Verts)) // how far beyond reach: negative below, positive above, else 0
	for i, v := range c.m.Verts {
		d := v.Vec().Sub(at)
		along := toward.Dot(d)
		slack := radius + float64(lean*d.Sub(toward.Mul(along)).Len())
		h[i] = max(along-slack, 0) + min(along+slack, 0)
	}
	for t, tri := range c.m.Tris {
		a, b, d := h[tri[0]], h[tri[1]], h[tri[2]]
		if !(a > 0 && b > 0 && d > 0 || a < 0 && b < 0 && d < 0) {
			among = append(among, int32(t))
		}
	}
	return among
}

// narrowing is one search.
type narrowing struct {
	c            *Cutter
	at           Vec
	toward, u, w Vec
	radius, lean float64
	among        []int32
	best         struct {
		x     [3]float64 // shift along toward, slopes along u and w: each from -1 to 1
		girth float64
	}
}

func (n *narrowing) near(x [3]float64) Vec { return n.at.Add(n.toward.Mul(x[0] * n.radius)) }

func (n *narrowing) plane(x [3]float64) Plane {
	normal := n.toward.Add(n.u.Mul(x[1] * n.lean)).Add(n.w.Mul(x[2] * n.lean)).Unit()
	return Plane{Normal: normal, Offset: normal.Dot(n.near(x))}
}

// try looks at one plane and keeps it if it is the narrowest so far.
func (n *narrowing) try(x [3]float64) bool {
	if x[0] < -1 || x[0] > 1 || float64(x[1]*x[1])+float64(x[2]*x[2]) > 1 {
		return false
	}
	p := n.plane(x)
	sections, err := n.c.Sections(p, n.among)
	if err != nil {
		return false
	}
	s, err := Nearest(p, sections, n.near(x))
	if err != nil || n.best.girth != 0 && s.Girth >= n.best.girth {
		return false
	}
	n.best.x, n.best.girth = x, s.Girth
	return true
}

func (n *narrowing) grid(ctx context.Context) error {
	slopes := [][2]float64{{0, 0}}
	if n.lean > 0 {
		slopes = append(slopes, [2]float64{0.5, 0}, [2]float64{-0.5, 0}, [2]float64{0, 0.5}, [2]float64{0, -0.5})
	}
	for i := -8; i <= 8; i++ {
		for _, s := range slopes {
			if ctx.Err() != nil {
				return context.Cause(ctx)
			}
			n.try([3]float64{float64(i) / 8, s[0], s[1]})
		}
		if n.radius == 0 {
			break
		}
	}
	return nil
}

// refine steps along one of the three measures at a time and halves the steps
// when none gets narrower.
func (n *narrowing) refine(ctx context.Context) error {
	for step := 0.125; step > 0.002; {
		better := false
		for k := range 3 {
			for _, sign := range [2]float64{1, -1} {
				if ctx.Err() != nil {
					return context.Cause(ctx)
				}
				x := n.best.x
				x[k] += sign * step
				better = n.try(x) || better
			}
		}
		if !better {
			step /= 2
		}
	}
	return nil
}
