package draw

import (
	"image"
	"image/color"
	"math"
)

// A brush draws smooth lines on a picture.
type brush struct{ im *image.RGBA }

// dab mixes c into the pixel at (x, y) by a share.
func (b brush) dab(x, y int, c color.RGBA, share float64) {
	if share <= 0 || !(image.Pt(x, y).In(b.im.Rect)) {
		return
	}
	k := int(min(share, 1) * 256)
	i := b.im.PixOffset(x, y)
	for j, v := range [3]uint8{c.R, c.G, c.B} {
		p := &b.im.Pix[i+j]
		*p = uint8((int(*p)*(256-k) + int(v)*k + 128) >> 8)
	}
}

// near calls do for every pixel in a box, kept inside the picture.
func (b brush) near(x0, y0, x1, y1 float64, do func(x, y int)) {
	clip := func(v float64, most int) int {
		if !(v > 0) {
			return 0
		}
		return int(min(v, float64(most)))
	}
	for y := clip(y0, b.im.Rect.Max.Y); y < clip(y1+1, b.im.Rect.Max.Y); y++ {
		for x := clip(x0, b.im.Rect.Max.X); x < clip(x1+1, b.im.Rect.Max.X); x++ {
			do(x, y)
		}
	}
}

// line draws a line with round ends.
func (b brush) line(x0, y0, x1, y1, width float64, c color.RGBA) {
	if s := x0 + y0 + x1 + y1; s-s != 0 {
		return
	}
	r := width / 2
	dx, dy := x1-x0, y1-y0
	l2 := float64(dx*dx) + float64(dy*dy)
	b.near(min(x0, x1)-r-1, min(y0, y1)-r-1, max(x0, x1)+r+1, max(y0, y1)+r+1, func(x, y int) {
		px, py := float64(x)+0.5-x0, float64(y)+0.5-y0
		t := 0.0
		if l2 > 0 {
			t = min(max((float64(px*dx)+float64(py*dy))/l2, 0), 1)
		}
		ex, ey := px-float64(t*dx), py-float64(t*dy)
		b.dab(x, y, c, r+0.5-math.Sqrt(float64(ex*ex)+float64(ey*ey)))
	})
}

// ring draws a circle, in eight dashes if broken.
func (b brush) ring(cx, cy, r, width float64, c color.RGBA, broken bool) {
	if s := cx + cy + r; s-s != 0 {
		return
	}
	o := r + width
	b.near(cx-o-1, cy-o-1, cx+o+1, cy+o+1, func(x, y int) {
		dx, dy := float64(x)+0.5-cx, float64(y)+0.5-cy
		if broken && (min(math.Abs(dx), math.Abs(dy)) < 0.38*max(math.Abs(dx), math.Abs(dy))) {
			return
		}
		d := math.Sqrt(float64(dx*dx) + float64(dy*dy))
		b.dab(x, y, c, width/2+0.5-math.Abs(d-r))
	})
}

// disc draws a full circle.
func (b brush) disc(cx, cy, r float64, c color.RGBA) {
	b.line(cx, cy, cx, cy, 2*r, c)
}

// box fills a rectangle with rounded corners.
func (b brush) box(r image.Rectangle, round float64, c color.RGBA) {
	x0, y0 := float64(r.Min.X)+round, float64(r.Min.Y)+round
	x1, y1 := float64(r.Max.X)-round, float64(r.Max.Y)-round
	b.near(float64(r.Min.X), float64(r.Min.Y), float64(r.Max.X), float64(r.Max.Y), func(x, y int) {
		px, py := float64(x)+0.5, float64(y)+0.5
		ex, ey := px-min(max(px, x0), x1), py-min(max(py, y0), y1)
		b.dab(x, y, c, round+0.5-math.Sqrt(float64(ex*ex)+float64(ey*ey)))
	})
}

// frame draws the edge of a rectangle, one pixel wide.
func (b brush) frame(r image.Rectangle, c color.RGBA) {
	for x := r.Min.X; x < r.Max.X; x++ {
		b.dab(x, r.Min.Y, c, 1)
		b.dab(x, r.Max.Y-1, c, 1)
	}
	for y := r.Min.Y; y < r.Max.Y; y++ {
		b.dab(r.Min.X, y, c, 1)
		b.dab(r.Max.X-1, y, c, 1)
	}
}

// fill covers a rectangle with paper.
func (b brush) fill(r image.Rectangle) {
	r = r.Intersect(b.im.Rect)
	for y := r.Min.Y; y < r.Max.Y; y++ {
		for x := r.Min.X; x < r.Max.X; x++ {
			b.im.SetRGBA(x, y, paperColour)
		}
	}
}
