package draw

import (
	"context"
	"image"
	"math"

	"layette/steps/internal/geom"
)

// rgb is light: linear, 1 is paper white. Pictures store its square root,
// which is within a step or two of the curve screens expect (IEC 61966-2-1,
// from memory) and, unlike it, is exactly rounded on every processor.
type rgb [3]float32

// The stuff things are made of.
var (
	paper   = colour(0xf6, 0xf3, 0xec)
	clay    = rgb{0.60, 0.545, 0.485}
	inside  = rgb{0.30, 0.33, 0.37} // the skin's inner side, where a surface is open
	capTone = rgb{0.80, 0.76, 0.69} // solid that was cut through
	ink     = colour(0x2b, 0x2c, 0x30)
)

// The studio, in the camera's frame: x right, y up, z to the eye.
var (
	keyLight  = geom.Vec{X: -0.55, Y: 0.62, Z: 0.56}.Unit()
	fillLight = geom.Vec{X: 0.80, Y: 0.05, Z: 0.60}.Unit()
	rimLight  = geom.Vec{X: 0.35, Y: 0.55, Z: -0.76}.Unit()
	// halfway between the key light and the eye, for the soft shine
	shineDir = keyLight.Add(geom.Vec{Z: 1}).Unit()

	keyTone  = rgb{0.96, 0.91, 0.83}
	fillTone = rgb{0.15, 0.17, 0.20}
	rimTone  = rgb{0.34, 0.35, 0.37}
	skyTone  = rgb{0.27, 0.28, 0.30}
	floor    = rgb{0.15, 0.135, 0.12}
)

// A pixel is what is known of one pixel before crevices are darkened.
type pixel struct {
	lit   rgb     // light from the part, of all its samples together
	cover float32 // share of the samples that see the part
	z     float32 // mm in the camera's frame, of the nearest sample
	n     [3]float32
	cut   float32 // share of the samples that see solid cut through
}

// light returns the finished picture of the part on paper.
func (f *field) light(ctx context.Context, s Scene) (*image.RGBA, error) {
	ns, err := normals(ctx, s.Mesh, f.cam, s.Workers)
	if err != nil {
		return nil, err
	}
	w, h := f.size.Width, f.size.Height
	px := make([]pixel, w*h)
	err = inParts(ctx, s.Workers, h, 4, func(lo, hi int) {
		sh := shader{f: f, s: s, ns: ns, last: -1}
		sh.rows(px, lo, hi)
	})
	if err != nil {
		return nil, err
	}
	im := image.NewRGBA(image.Rect(0, 0, w, h))
	err = inParts(ctx, s.Workers, h, 4, func(lo, hi int) {
		c := crevices{px: px, w: w, h: h, cam: &f.cam}
		for y := lo; y < hi; y++ {
			for x := range w {
				c.finish(im, x, y, s.Outline)
			}
		}
	})
	return im, err
}

// A shader lights samples, remembering the triangle it saw last.
type shader struct {
	f    *field
	s    Scene
	ns   []geom.Point
	last int32
	e    [3]edge
	inv  float64
	face geom.Vec // unit normal of the last triangle, camera's frame
	back bool     // its inner side shows
}

// rows lights the pixels of rows lo to hi.
func (sh *shader) rows(px []pixel, lo, hi int) {
	w := sh.f.size.Width
	for y := lo; y < hi; y++ {
		for x := range w {
			p := &px[y*w+x]
			p.z = float32(math.Inf(-1))
			for k := range fine * fine {
				sh.sample(p, x*fine+k%fine, y*fine+k/fine)
			}
			n := geom.Vec{X: float64(p.n[0]), Y: float64(p.n[1]), Z: float64(p.n[2])}.Unit()
			p.n = n.Point()
		}
	}
}

// portion is what one sample adds to its pixel.
const portion = 1.0 / (fine * fine)

// sample adds what the sample at (sx, sy) sees to p.
func (sh *shader) sample(p *pixel, sx, sy int) {
	k := sy*sh.f.w + sx
	t := sh.f.tri[k]
	if t < 0 {
		return
	}
	if t != sh.last {
		sh.triangle(t)
	}
	wa, wb, wc := sh.weights(sx, sy)
	n, z := sh.normal(t, wa, wb, wc), sh.f.cam.depth(float64(sh.f.near[k]))
	var lit rgb
	switch {
	case sh.back && sh.f.cut.on:
		lit, n, z = sh.solid(sx, sy)
		p.cut += portion
	case sh.s.Outline:
		lit = drawn(n)
	default:
		lit = sh.skin(t, n, wa, wb, wc)
	}
	for i := range lit {
		p.lit[i] += float32(lit[i] * portion)
	}
	p.cover += portion
	p.z = max(p.z, float32(z))
	p.n[0], p.n[1], p.n[2] = p.n[0]+float32(n.X), p.n[1]+float32(n.Y), p.n[2]+float32(n.Z)
}

// triangle remembers what is the same all over triangle t.
func (sh *shader) triangle(t int32) {
	tri := sh.s.Mesh.Tris[t]
	c := sh.f.corners
	a, b, d := &c[tri[0]], &c[tri[1]], &c[tri[2]]
	var area int64
	sh.e, area = edges(a, b, d)
	sh.inv = 1 / float64(max(area, 1))
	sh.back = int64(b.x-a.x)*int64(d.y-a.y)-int64(b.y-a.y)*int64(d.x-a.x) > 0 // y runs down
	p, q, r := sh.s.Mesh.Corners(int(t))
	sh.face = sh.f.cam.turn(q.Sub(p).Cross(r.Sub(p))).Unit()
	sh.last = t
}

// weights returns the shares of the three corners at a sample, true in space.
func (sh *shader) weights(sx, sy int) (a, b, c float64) {
	px, py := int64(sx)*grid+grid/2, int64(sy)*grid+grid/2
	at := func(e edge) float64 { return float64(e.c-e.bias+e.dx*px+e.dy*py) * sh.inv }
	a, b, c = at(sh.e[0]), at(sh.e[1]), at(sh.e[2])
	if sh.f.cam.eye == 0 {
		return a, b, c
	}
	tri := sh.s.Mesh.Tris[sh.last]
	a = float64(a * float64(sh.f.corners[tri[0]].near))
	b = float64(b * float64(sh.f.corners[tri[1]].near))
	c = float64(c * float64(sh.f.corners[tri[2]].near))
	s := a + b + c
	return a / s, b / s, c / s
}

// crease is the cosine of the angle between a triangle and the smooth skin
// beyond which it is drawn flat, so that cut faces keep their edges.
const crease = 0.7

// normal returns the direction of the skin at a point of triangle t, towards
// the eye's side.
func (sh *shader) normal(t int32, wa, wb, wc float64) geom.Vec {
	tri := sh.s.Mesh.Tris[t]
	na, nb, nc := sh.ns[tri[0]].Vec(), sh.ns[tri[1]].Vec(), sh.ns[tri[2]].Vec()
	for _, n := range []*geom.Vec{&na, &nb, &nc} {
		if n.Dot(sh.face) < crease {
			*n = sh.face
		}
	}
	n := na.Mul(wa).Add(nb.Mul(wb)).Add(nc.Mul(wc)).Unit()
	if n == (geom.Vec{}) {
		n = geom.Vec{Z: 1}
	}
	if sh.back {
		n = n.Mul(-1)
	}
	return n
}

// skin returns the light from the skin of triangle t.
func (sh *shader) skin(t int32, n geom.Vec, wa, wb, wc float64) rgb {
	tone := clay
	switch {
	case sh.back:
		tone = inside
	case sh.s.Values != nil:
		v, ok := sh.s.Values.at(sh.s.Mesh.Tris[t], wa, wb, wc)
		if ok {
			return onSkin(sh.s.Values.tone(v), n)
		}
	case sh.s.Skin && len(sh.s.Mesh.Colours) == len(sh.s.Mesh.Verts):
		tone = blend(sh.s.Mesh, t, wa, wb, wc)
	}
	return studio(tone, n)
}

// blend returns the surface's own colour at a point of triangle t.
func blend(m *geom.Mesh, t int32, wa, wb, wc float64) rgb {
	var out rgb
	for k, w := range [3]float64{wa, wb, wc} {
		c := m.Colours[m.Tris[t][k]]
		for i, v := range colour(c[0], c[1], c[2]) {
			out[i] += float32(float64(v) * w)
		}
	}
	return out
}

// studio returns the light from stuff of a tone that faces n.
func studio(tone rgb, n geom.Vec) rgb {
	key := max(0, (n.Dot(keyLight)+0.12)/1.12)
	fill := max(0, (n.Dot(fillLight)+0.4)/1.4)
	edge := 1 - max(0, n.Z)
	rim := max(0, n.Dot(rimLight)+0.25) * edge
	sky := 0.5 + float64(0.5*n.Y)
	shine := max(0, n.Dot(shineDir))
	shine *= shine
	shine *= shine
	shine *= shine
	shine = float64(float64(shine*shine) * 0.07)
	var out rgb
	for i := range out {
		light := float64(key*float64(keyTone[i])) + float64(fill*float64(fillTone[i])) +
			float64(rim*float64(rimTone[i])) + float64(sky*float64(skyTone[i])) + float64((1-sky)*float64(floor[i]))
		out[i] = float32(float64(light*float64(tone[i])) + shine)
	}
	return out
}

// onSkin lights a colour that has to be read off against its scale: enough to
// show the shape, no shine, no tint.
func onSkin(tone rgb, n geom.Vec) rgb {
	k := 0.60 + float64(0.42*max(0, (n.Dot(keyLight)+0.3)/1.3)) + float64(0.10*max(0, n.Z)) - 0.10
	var out rgb
	for i := range out {
		out[i] = float32(float64(tone[i]) * k)
	}
	return out
}

// drawn is the tone of a part in an outline picture: paper that greys a little
// where it turns away.
func drawn(n geom.Vec) rgb {
	k := float32(0.80 + float64(0.16*max(0, n.Z)))
	return rgb{float32(paper[0] * k), float32(paper[1] * k), float32(paper[2] * k)}
}

// hatch is the distance of the lines of a cut, in samples.
const hatch = 26

// solid returns what a sample sees where the plane cuts through solid: hatched
// paper, in the plane.
func (sh *shader) solid(sx, sy int) (rgb, geom.Vec, float64) {
	f := sh.f
	n := f.cam.turn(f.cut.n)
	x, y := (float64(sx)+0.5)/fine, (float64(sy)+0.5)/fine
	// the sight line through the sample, from depth 0 towards the eye
	p, q := f.cam.place(x, y, 0), f.cam.place(x, y, 1)
	d := f.cut.d - f.cut.n.Dot(f.cam.centre)
	z := 0.0
	if along := n.Dot(q.Sub(p)); math.Abs(along) > 1e-9 {
		z = (d - n.Dot(p)) / along
	}
	tone := capTone
	if (sx+sy)%hatch < 3 {
		tone = rgb{0.36, 0.345, 0.33}
	}
	return tone, n, z
}

// colour returns stored bytes as light.
func colour(r, g, b uint8) rgb {
	var out rgb
	for i, v := range [3]uint8{r, g, b} {
		x := float32(v) / 255
		out[i] = x * x
	}
	return out
}

// stored returns light as a stored byte.
func stored(v float32) uint8 {
	return uint8(float64(math.Sqrt(float64(min(max(v, 0), 1)))*255) + 0.5)
}
