package draw

import (
	"image"
	"image/color"
	"math"
	"strconv"

	"layette/steps/internal/geom"
)

// Ink of what is written on a picture, as stored bytes.
var (
	inkColour   = color.RGBA{0x2b, 0x2c, 0x30, 0xff}
	greyColour  = color.RGBA{0x5d, 0x5c, 0x59, 0xff}
	faultColour = color.RGBA{0x8e, 0x1f, 0x3c, 0xff} // madder: dark enough to read, far from both scales
	paperColour = color.RGBA{0xf6, 0xf3, 0xec, 0xff}
)

// A layout says where things stand in a picture.
type layout struct {
	all    image.Rectangle
	stage  image.Rectangle // where the part is fitted
	letter float64         // size of plain letters, pixels
	left   image.Rectangle // columns of labels
	right  image.Rectangle
}

// layOut divides a picture for what has to go into it.
func layOut(s Scene, size Size) layout {
	l := layout{all: image.Rect(0, 0, size.Width, size.Height)}
	short := float64(min(size.Width, size.Height))
	l.letter = min(max(short/40, 11), 34)
	if s.Letters > 0 {
		l.letter = min(float64(l.letter*s.Letters), short/12)
	}
	gap := int(l.letter)
	l.stage = l.all.Inset(gap)
	if s.Bare {
		return l
	}
	if s.Title != "" {
		l.stage.Min.Y += int(l.letter * 2)
	}
	if s.Note != "" {
		l.stage.Min.Y += int(l.letter * 1.3)
	}
	l.stage.Max.Y -= int(l.letter * 2.8)
	if len(s.Spots) > 0 {
		col := l.column(s)
		l.left = image.Rect(gap, l.stage.Min.Y, gap+col, l.stage.Max.Y)
		l.right = image.Rect(size.Width-gap-col, l.stage.Min.Y, size.Width-gap, l.stage.Max.Y)
		l.stage.Min.X, l.stage.Max.X = l.left.Max.X+gap, l.right.Min.X-gap
	}
	if l.stage.Dx() < 8 || l.stage.Dy() < 8 {
		l.stage = l.all.Inset(2)
	}
	return l
}

// column returns how wide a column of labels is.
func (l layout) column(s Scene) int {
	hand := lettering(plainHand, l.letter)
	widest := 0
	for _, spot := range s.Spots {
		widest = max(widest, hand.width(label(spot)))
	}
	return min(widest+int(l.letter), l.all.Dx()/4)
}

// label returns what is written beside a spot.
func label(s Spot) string {
	if s.Text == "" {
		return strconv.Itoa(s.Number)
	}
	return strconv.Itoa(s.Number) + "  " + s.Text
}

// annotate writes all that goes on top of the part, and returns the boxes of
// the labels.
func annotate(im *image.RGBA, s Scene, v View, cam camera, l layout, seen []bool) []image.Rectangle {
	b := brush{im}
	gap := int(l.letter)
	plain, bold := lettering(plainHand, l.letter), lettering(boldHand, float64(l.letter*1.2))
	// what is written has paper under it, also where the part fills the picture
	b.fill(image.Rect(0, 0, l.all.Max.X, l.stage.Min.Y-gap/2))
	b.fill(image.Rect(0, l.stage.Max.Y+gap/2, l.all.Max.X, l.all.Max.Y))
	x, y := gap, int(l.letter*0.8)
	if s.Title != "" {
		title := bold.fit(s.Title, l.all.Dx()*2/3)
		bold.write(im, x, y, title, inkColour)
		if v.Name != "" {
			plain.write(im, x+bold.width(title)+gap, y+int(l.letter*0.2), v.Name, greyColour)
		}
		y += int(l.letter * 1.7)
	}
	if s.Note != "" {
		plain.write(im, x, y, plain.fit(s.Note, l.all.Dx()-2*gap), greyColour)
	}
	for i, spot := range s.Spots {
		b.mark(spot, cam, seen[i], l.letter)
	}
	boxes := b.labels(s, cam, l, seen)
	b.scaleBar(cam, l, plain)
	if s.Values != nil {
		b.legend(s, l, plain)
	}
	return boxes
}

// mark draws a spot where it lies: a ring, dashed if the part hides it.
func (b brush) mark(s Spot, cam camera, seen bool, letter float64) {
	x, y, _ := cam.project(s.At)
	c := spotColour(s)
	if !seen {
		b.ring(x, y, letter*0.35, 3, paperColour, true)
		b.ring(x, y, letter*0.35, 1.4, c, true)
		return
	}
	r := max(float64(letter*0.38), min(float64(s.Radius*cam.scale), float64(letter*3)))
	b.ring(x, y, r+1, 3.4, paperColour, false)
	b.ring(x, y, r, 1.9, c, false)
	b.disc(x, y, 1.9, c)
	if s.To != (geom.Vec{}) {
		tx, ty, _ := cam.project(s.To)
		b.line(x, y, tx, ty, 1.9, c)
		b.disc(tx, ty, 1.9, c)
	}
	for i := range s.Ring {
		p, q := s.Ring[i], s.Ring[(i+1)%len(s.Ring)]
		x0, y0, _ := cam.project(p)
		x1, y1, _ := cam.project(q)
		b.line(x0, y0, x1, y1, 1.8, c)
	}
}

func spotColour(s Spot) color.RGBA {
	if s.Fault {
		return faultColour
	}
	return inkColour
}

// scaleBar draws a bar of a round number of millimetres.
func (b brush) scaleBar(cam camera, l layout, hand letterer) {
	mm := round125(float64(l.all.Dx()) * 0.16 / cam.scale)
	x0, y := l.letter, float64(l.all.Max.Y)-float64(l.letter*1.1)
	x1 := x0 + float64(mm*cam.scale)
	b.line(x0, y, x1, y, 2, inkColour)
	b.line(x0, y-float64(l.letter*0.35), x0, y, 2, inkColour)
	b.line(x1, y-float64(l.letter*0.35), x1, y, 2, inkColour)
	text := number(mm) + " mm"
	if cam.eye > 0 {
		text += " at the middle of the part"
	}
	hand.write(b.im, int(x1+l.letter/2), int(y-float64(l.letter*0.95)), text, inkColour)
}

// round125 returns the largest 1, 2 or 5 times a power of ten that is not
// above x.
func round125(x float64) float64 {
	if !(x > 1e-9) || x > 1e12 {
		return 1
	}
	p := 1e-9
	for p*10 <= x*(1+1e-12) {
		p *= 10
	}
	p = math.Round(p*1e9) / 1e9
	for _, k := range [...]float64{5, 2} {
		if p*k <= x {
			return p * k
		}
	}
	return p
}

// number writes x with three figures, or more before the point, and no idle
// noughts.
func number(x float64) string {
	if x == 0 {
		return "0" // and not -0
	}
	if a := math.Abs(x); a >= 1000 && a < 1e9 {
		return strconv.FormatFloat(x, 'f', 0, 64)
	}
	return strconv.FormatFloat(x, 'g', 3, 64)
}

// legend draws the scale at the lower right, with its ends and limits. Its name
// stands beside it, or above it where larger letters leave no room.
func (b brush) legend(s Scene, l layout, hand letterer) {
	v := s.Values
	w := int(float64(l.all.Dx()) * 0.30)
	h := int(l.letter * 0.7)
	x0 := l.all.Max.X - int(l.letter*1.6) - w
	y0 := l.all.Max.Y - int(l.letter*2.5)
	for x := range w {
		c := v.Scale.At((float64(x) + 0.5) / float64(w))
		for y := range h {
			b.im.SetRGBA(x0+x, y0+y, color.RGBA{c[0], c[1], c[2], 255})
		}
	}
	b.frame(image.Rect(x0, y0, x0+w, y0+h), inkColour)
	under := y0 + h + int(l.letter*0.25)
	name := v.Name
	if v.Unit != "" {
		name += ", " + v.Unit
	}
	if s.Letters > 1 {
		hand.write(b.im, x0, y0-int(l.letter*1.5), hand.fit(name, w), inkColour)
	} else {
		hand.write(b.im, x0-hand.width(name)-int(l.letter), y0-int(l.letter*0.2), name, inkColour)
	}
	taken := []image.Rectangle{}
	tick := func(x float64, strong bool) {
		at := x0 + int(float64(v.share(x)*float64(w))+0.5)
		text := number(x)
		if math.Abs(x) < (v.High-v.Low)*1e-4 {
			text = "0"
		}
		half := hand.width(text)/2 + 4
		mid := min(at, b.im.Bounds().Max.X-half) // the last may be long
		box := image.Rect(mid-half, under, mid+half, under+hand.height())
		for _, t := range taken {
			if t.Overlaps(box) {
				return
			}
		}
		taken = append(taken, box)
		top := float64(y0 + h)
		if strong {
			top = float64(y0) - float64(l.letter*0.3)
		}
		b.line(float64(at), top, float64(at), float64(under), 1.6, inkColour)
		hand.write(b.im, box.Min.X+4, under, text, inkColour)
	}
	for _, x := range v.Limits {
		if s := v.share(x); s >= 0 && s <= 1 {
			tick(x, true)
		}
	}
	tick(v.Low, false)
	tick(v.High, false)
	step := round125((v.High - v.Low) / 3)
	for x := math.Ceil(v.Low/step) * step; step > 0 && x < v.High; x += step {
		tick(math.Round(x*1e6)/1e6, false)
	}
}

// seen tells which spots show: those whose place is not behind what the
// samples around it see. The slack is the spot's own reach, or a sample and a
// half.
func (f *field) seen(spots []Spot) []bool {
	out := make([]bool, len(spots))
	for i, s := range spots {
		out[i] = f.shows(s.At, s.Radius)
	}
	return out
}

// shows reports whether a point shows.
func (f *field) shows(p geom.Vec, radius float64) bool {
	x, y, near := f.cam.project(p)
	sx, sy := int(math.Floor(x*fine)), int(math.Floor(y*fine))
	if !p.Finite() || sx < 1 || sy < 1 || sx >= f.w-1 || sy >= f.h-1 || f.cut.on && f.cut.side(p) > radius {
		return false
	}
	slack := max(2/(fine*f.cam.scale), slack(radius))
	z := f.cam.depth(near)
	for dy := -1; dy <= 1; dy++ {
		for dx := -1; dx <= 1; dx++ {
			k := (sy+dy)*f.w + sx + dx
			if f.tri[k] < 0 || f.cam.depth(float64(f.near[k])) <= z+slack {
				return true
			}
		}
	}
	return false
}
