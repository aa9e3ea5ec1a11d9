package draw

import (
	"image"
	"image/color"
	"math"

	"layette/steps/internal/geom"
)

// crevices darkens what lies deep and draws fine relief, from depths and
// normals of neighbouring pixels alone.
//
// Darkening by the share of the sky that neighbours hide follows S. Zhukov, A.
// Iones and G. Kronin, "An ambient light illumination model", 1998, done in
// the picture as others have since; telling ridges from furrows by how normals
// part follows the idea of T. Luft, C. Colditz and O. Deussen, "Image
// enhancement by unsharp masking the depth buffer", ACM Transactions on
// Graphics 2006 (both from memory).
type crevices struct {
	px   []pixel
	w, h int
	cam  *camera
}

// rings are the distances, in pixels, at which neighbours are asked, and how
// much each ring weighs.
var rings = [...]struct {
	r      float64
	weight float64
}{{2, 0.20}, {6, 0.24}, {16, 0.30}, {42, 0.36}}

// compass is the directions in which neighbours are asked: twelve, turned a
// little so that none runs along rows or columns. A table, not sines: the same
// on every processor.
var compass = [12][2]float64{
	{0.9848, 0.1736}, {0.7660, 0.6428}, {0.3420, 0.9397}, {-0.1736, 0.9848}, {-0.6428, 0.7660}, {-0.9397, 0.3420},
	{-0.9848, -0.1736}, {-0.7660, -0.6428}, {-0.3420, -0.9397}, {0.1736, -0.9848}, {0.6428, -0.7660}, {0.9397, -0.3420},
}

// offsets are the neighbours of each ring, in whole pixels.
var offsets = func() (o [len(rings)][len(compass)][2]int) {
	for i, r := range rings {
		for j, d := range compass {
			o[i][j] = [2]int{int(math.Round(r.r * d[0])), int(math.Round(r.r * d[1]))}
		}
	}
	return o
}()

// finish writes the pixel at (x, y).
func (c *crevices) finish(im *image.RGBA, x, y int, outline bool) {
	p := &c.px[y*c.w+x]
	k := float32(1)
	if p.cover > 0 && p.cut < p.cover {
		k = float32(c.open(p, x, y) * c.relief(p, x, y))
	}
	line := c.line(p, x, y, outline)
	var out [3]uint8
	for i := range out {
		v := float32(p.lit[i]*k) + float32(paper[i]*(1-p.cover))
		v += float32((ink[i] - v) * line)
		out[i] = stored(v)
	}
	im.SetRGBA(x, y, color.RGBA{out[0], out[1], out[2], 255})
}

// open returns the share of the sky that p sees, pressed a little.
func (c *crevices) open(p *pixel, x, y int) float64 {
	mm := 1 / c.cam.scale
	if c.cam.eye > 0 {
		mm = float64(mm*(c.cam.eye-float64(p.z))) / c.cam.eye
	}
	n := geom.Vec{X: float64(p.n[0]), Y: float64(p.n[1]), Z: float64(p.n[2])}
	hidden := 0.0
	for i, ring := range rings {
		far := float64(ring.r*mm) * 1.6
		sum := 0.0
		for _, o := range offsets[i] {
			sum += c.hides(p, n, x, y, o, mm, float64(far*far))
		}
		hidden += float64(sum*ring.weight) / float64(len(compass))
	}
	return max(0.16, 1-float64(1.45*hidden))
}

// hides returns how much the neighbour at offset o hides of the sky over p,
// from 0 to 1. Neighbours that stand further off than far hide less: they are
// something else in front.
func (c *crevices) hides(p *pixel, n geom.Vec, x, y int, o [2]int, mm, far2 float64) float64 {
	x, y = x+o[0], y+o[1]
	if x < 0 || y < 0 || x >= c.w || y >= c.h {
		return 0
	}
	q := &c.px[y*c.w+x]
	if q.cover == 0 {
		return 0
	}
	d := geom.Vec{X: float64(float64(o[0]) * mm), Y: -float64(float64(o[1]) * mm), Z: float64(q.z) - float64(p.z)}
	up := d.Dot(n)
	if up <= 0 {
		return 0
	}
	d2 := d.Len2()
	sin := up/math.Sqrt(d2) - 0.04
	if sin <= 0 {
		return 0
	}
	return sin * far2 / (far2 + float64(max(0, d2-far2)*0.5))
}

// relief returns how much brighter a ridge or darker a furrow is drawn.
func (c *crevices) relief(p *pixel, x, y int) float64 {
	k := float64(0.50*c.parts(p, x, y, 1)) + float64(0.32*c.parts(p, x, y, 3))
	return min(max(1+k, 0.55), 1.16)
}

// parts returns how much the normals s pixels to either side part (a ridge,
// positive) or meet (a furrow, negative).
func (c *crevices) parts(p *pixel, x, y, s int) float64 {
	if x < s || y < s || x >= c.w-s || y >= c.h-s {
		return 0
	}
	l, r := &c.px[y*c.w+x-s], &c.px[y*c.w+x+s]
	u, d := &c.px[(y-s)*c.w+x], &c.px[(y+s)*c.w+x]
	if l.cover == 0 || r.cover == 0 || u.cover == 0 || d.cover == 0 || p.n[2] < 0.15 {
		return 0
	}
	// a step in depth is an outline, not relief
	step := float32(6 * float64(s) / c.cam.scale)
	for _, q := range [...]*pixel{l, r, u, d} {
		if dz := q.z - p.z; dz > step || dz < -step {
			return 0
		}
	}
	return min(max(float64(r.n[0]-l.n[0])+float64(u.n[1]-d.n[1]), -1), 1)
}

// line returns how dark a line is drawn at (x, y): round cut faces always, and
// at outlines and steps in an outline picture.
func (c *crevices) line(p *pixel, x, y int, outline bool) float32 {
	if x == 0 || y == 0 || x == c.w-1 || y == c.h-1 {
		return 0
	}
	most := float32(0)
	step := float32(4 / c.cam.scale)
	for _, o := range [...]int{-1, 1, -c.w, c.w} {
		q := &c.px[y*c.w+x+o]
		if d := p.cut - q.cut; d > 0 {
			most = max(most, d)
		}
		if !outline {
			continue
		}
		most = max(most, p.cover-q.cover, q.cover-p.cover)
		if p.cover == 0 {
			continue
		}
		if q.cover > 0 {
			most = max(most, min(1, max(0, (p.z-q.z-step)/(2*step))))
			dot := float32(p.n[0]*q.n[0]) + float32(p.n[1]*q.n[1]) + float32(p.n[2]*q.n[2])
			most = max(most, min(0.8, max(0, (0.90-dot)*4)))
		}
	}
	return most * 0.9
}
