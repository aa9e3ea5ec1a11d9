package geom

import "math"

// RayHit is where a ray meets a surface.
type RayHit struct {
	Tri  int32   // index in Mesh.Tris
	T    float64 // the place is origin + T direction
	Back bool    // the ray leaves through the triangle's inner side
}

// ray is a ray prepared for asking: the axes are permuted so that z is the
// longest component of the direction, and sheared so that it points along z.
//
// S. Woop, C. Benthin, I. Wald, "Watertight ray/triangle intersection", JCGT
// 2013 (from memory). The two triangles at an edge see it through the same
// products with opposite signs, so that no ray slips between them.
type ray struct {
	o, inv        Vec
	x, y, z       int
	ox, oy, oz    float64
	sx, sy, sz    float64
	tmin, tmax    float64
	turned, never bool
}

func newRay(o, d Vec, tmin, tmax float64) ray {
	r := ray{o: o, tmin: tmin, tmax: tmax}
	r.inv = Vec{inverse(d.X), inverse(d.Y), inverse(d.Z)}
	dd, oo := [3]float64{d.X, d.Y, d.Z}, [3]float64{o.X, o.Y, o.Z}
	for k := 1; k < 3; k++ {
		if math.Abs(dd[k]) > math.Abs(dd[r.z]) {
			r.z = k
		}
	}
	r.x, r.y = (r.z+1)%3, (r.z+2)%3
	r.turned = dd[r.z] < 0
	r.ox, r.oy, r.oz = oo[r.x], oo[r.y], oo[r.z]
	r.sx, r.sy, r.sz = dd[r.x]/dd[r.z], dd[r.y]/dd[r.z], 1/dd[r.z]
	r.never = dd[r.z] == 0 || !o.Finite() || !d.Finite() || !(tmin <= tmax)
	return r
}

// inverse returns 1/x, kept finite for a direction along an axis.
func inverse(x float64) float64 {
	if math.Abs(x) < 1e-200 {
		return math.Copysign(1e200, x)
	}
	return 1 / x
}

// meet returns where the ray meets the triangle, and whether it does. Which of
// two triangles has a ray through their common edge or corner is settled by
// counting how the outline winds about the ray, with the half-open rule: over
// a closed surface each passage counts once.
func (r *ray) meet(t *[9]float32) (at float64, back, ok bool) {
	az, bz, cz := float64(t[r.z])-r.oz, float64(t[3+r.z])-r.oz, float64(t[6+r.z])-r.oz
	ay := float64(t[r.y]) - r.oy - float64(r.sy*az)
	by := float64(t[3+r.y]) - r.oy - float64(r.sy*bz)
	cy := float64(t[6+r.y]) - r.oy - float64(r.sy*cz)
	if ay > 0 && by > 0 && cy > 0 || ay <= 0 && by <= 0 && cy <= 0 {
		return 0, false, false
	}
	ax := float64(t[r.x]) - r.ox - float64(r.sx*az)
	bx := float64(t[3+r.x]) - r.ox - float64(r.sx*bz)
	cx := float64(t[6+r.x]) - r.ox - float64(r.sx*cz)
	u := float64(bx*cy) - float64(by*cx)
	v := float64(cx*ay) - float64(cy*ax)
	w := float64(ax*by) - float64(ay*bx)
	turns := windsBy(by, cy, u) + windsBy(cy, ay, v) + windsBy(ay, by, w)
	if turns == 0 {
		return 0, false, false
	}
	det := u + v + w
	if det == 0 { // lost to rounding: the triangle is seen from its edge
		return r.sz * az, (turns < 0) == r.turned, true
	}
	at = r.sz * ((float64(u*az) + float64(v*bz) + float64(w*cz)) / det)
	return at, (turns < 0) == r.turned, true
}

// windsBy returns how an edge from height y0 to y1 winds about the origin:
// cross is the product that is positive where the origin lies on its left.
func windsBy(y0, y1, cross float64) int {
	switch {
	case y0 <= 0 && y1 > 0 && cross > 0:
		return 1
	case y0 > 0 && y1 <= 0 && cross < 0:
		return -1
	}
	return 0
}

// Ray returns the first place where o + t d, tmin <= t <= tmax, meets the
// surface, and whether there is one. d need not have length one; t counts in
// its lengths. Of triangles met at the same t the smallest index is named. A
// ray that runs within a triangle's plane does not meet it.
func (t *Tree) Ray(o, d Vec, tmin, tmax float64) (RayHit, bool) {
	r := newRay(o, d, tmin, tmax)
	best := RayHit{Tri: -1}
	t.along(&r, func(tri int32, at float64, back bool) bool {
		if at < r.tmax || at == r.tmax && (best.Tri < 0 || tri < best.Tri) {
			best = RayHit{tri, at, back}
			r.tmax = at
		}
		return true
	})
	return best, best.Tri >= 0
}

// Any reports whether o + t d meets the surface for some tmin <= t <= tmax.
func (t *Tree) Any(o, d Vec, tmin, tmax float64) bool {
	r := newRay(o, d, tmin, tmax)
	met := false
	t.along(&r, func(int32, float64, bool) bool { met = true; return false })
	return met
}

// Turns returns how many times the surface winds about p: 1 inside a closed
// outward surface, 0 outside, -1 inside one that is inside out, 2 where two
// shells overlap. On an open surface it depends on where the hole lies.
func (t *Tree) Turns(p Vec) int {
	n := 0
	t.passages(p, func(_ int32, turn int) { n += turn })
	return n
}

// TurnsBy is Turns for each shell on its own: of names the shell of each
// triangle of the surface. Shells that do not wind about p are left out.
func (t *Tree) TurnsBy(p Vec, of []int32) map[int32]int {
	turns := map[int32]int{}
	t.passages(p, func(tri int32, turn int) {
		if turns[of[tri]] += turn; turns[of[tri]] == 0 {
			delete(turns, of[tri])
		}
	})
	return turns
}

// passages calls f for each triangle that a ray from p passes, with 1 where it
// leaves and -1 where it enters.
func (t *Tree) passages(p Vec, f func(tri int32, turn int)) {
	// Any direction serves; this one lies along no plane a person draws.
	r := newRay(p, Vec{0.5135, 0.2718, 0.8139}, 0, math.Inf(1))
	t.along(&r, func(tri int32, _ float64, back bool) bool {
		if back {
			f(tri, 1)
		} else {
			f(tri, -1)
		}
		return true
	})
}

// along calls f for the triangles that the ray meets between tmin and tmax,
// near boxes first, until f returns false. f may shorten the ray.
func (t *Tree) along(r *ray, f func(tri int32, at float64, back bool) bool) {
	if len(t.nodes) == 0 || r.never {
		return
	}
	// A plane x = lo of the grid is met at lo*per.X + base.X.
	per, base := r.inv.Mul(t.grid.cell), t.grid.min.Sub(r.o)
	base = Vec{float64(base.X * r.inv.X), float64(base.Y * r.inv.Y), float64(base.Z * r.inv.Z)}
	var stack [stackMost]met
	top := 0
	cur := int32(0)
	for {
		if cur < 0 {
			first := int(^cur >> 3)
			last := first + int(^cur&7)
			for i := first; i < last; i++ {
				at, back, ok := r.meet(&t.corners[i])
				if ok && at >= r.tmin && at <= r.tmax && !f(t.ids[i], at, back) {
					return
				}
			}
		} else {
			n := &t.nodes[cur]
			nx, fx := &n.lo[0], &n.hi[0]
			if per.X < 0 {
				nx, fx = fx, nx
			}
			ny, fy := &n.lo[1], &n.hi[1]
			if per.Y < 0 {
				ny, fy = fy, ny
			}
			nz, fz := &n.lo[2], &n.hi[2]
			if per.Z < 0 {
				nz, fz = fz, nz
			}
			next, nextD := int32(0), math.Inf(1)
			for k, kid := range &n.kids {
				if kid == 0 {
					break
				}
				near := max(float64(float64(nx[k])*per.X)+base.X, float64(float64(ny[k])*per.Y)+base.Y, float64(float64(nz[k])*per.Z)+base.Z, r.tmin)
				far := min(float64(float64(fx[k])*per.X)+base.X, float64(float64(fy[k])*per.Y)+base.Y, float64(float64(fz[k])*per.Z)+base.Z, r.tmax)
				if near > far*(1+0x1p-40) {
					continue
				}
				if kid > 0 {
					kid += cur
				}
				if near <= nextD {
					kid, next = next, kid
					near, nextD = nextD, near
				}
				if kid != 0 {
					stack[top] = met{near, kid}
					top++
				}
			}
			if next != 0 {
				cur = next
				continue
			}
		}
		for {
			if top == 0 {
				return
			}
			top--
			if stack[top].t <= r.tmax*(1+0x1p-40) {
				cur = stack[top].n
				break
			}
		}
	}
}

// met is a part of the tree put aside: a node, or a leaf as in node.kids, and
// where the ray enters its box.
type met struct {
	t float64
	n int32
}
