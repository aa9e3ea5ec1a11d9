package factorysheet

import (
	"encoding/json"
	"fmt"
	"math"
)

// at is a place on paper: mm from the upper left corner, y downward.
type at struct{ x, y float64 }

// MarshalJSON writes a place as two numbers, for what is kept of a master.
func (p at) MarshalJSON() ([]byte, error) { return json.Marshal([2]float64{p.x, p.y}) }

// UnmarshalJSON reads what MarshalJSON writes.
func (p *at) UnmarshalJSON(data []byte) error {
	var v [2]float64
	err := json.Unmarshal(data, &v)
	p.x, p.y = v[0], v[1]
	return err
}

// drawing is a plate in mm of paper: pictures below, lines over them, words on
// top. Both writers draw it from the same list.
type drawing struct {
	width, height float64
	title         string
	pictures      []picture
	lines         []line
	words         []lettering
}

// picture is a PNG of a part, laid on the paper.
type picture struct {
	at            at
	width, height float64
	png           []byte
}

// line is a run of straight lines: thick, thin or dashed, after ISO 128-2 (from
// memory): 0.5 mm for what is there, 0.25 mm for dimensions and hatching.
type line struct {
	through []at
	closed  bool
	width   float64
	dashes  []float64 // lengths of dash and gap; none for a whole line
	filled  bool
}

// lettering is a few words on a drawing.
type lettering struct {
	at     at // of the base line: its middle, or its start
	text   string
	size   float64 // height of the letters' box, mm
	start  bool    // at is the start, not the middle
	upward bool    // turned to be read from the right
	bold   bool
}

// Line widths and letters in mm: ISO 128-2 and ISO 3098-1 (from memory), 2.5 mm
// capitals being about 3.5 mm of box.
const (
	thick   = 0.5
	thin    = 0.2
	letters = 3.2
	small   = 2.7
	arrow   = 2.6 // length of an arrowhead
	past    = 1.5 // how far an extension line runs past its dimension line
	clear   = 1.0 // air between what is measured and its extension line
)

func (d *drawing) line(width float64, through ...at) {
	d.lines = append(d.lines, line{through: through, width: width})
}

func (d *drawing) ring(width float64, through []at) {
	d.lines = append(d.lines, line{through: through, width: width, closed: true})
}

// chain draws the long-dashed short-dashed line of centres and section planes.
func (d *drawing) chain(width float64, through ...at) {
	d.lines = append(d.lines, line{through: through, width: width, dashes: []float64{6, 1, 1, 1}})
}

func (d *drawing) says(p at, size float64, text string) {
	d.words = append(d.words, lettering{at: p, size: size, text: text})
}

func (d *drawing) begins(p at, size float64, text string, bold bool) {
	d.words = append(d.words, lettering{at: p, size: size, text: text, start: true, bold: bold})
}

// head draws a filled arrowhead whose tip is at p and which points along
// (dx, dy), a unit vector.
func (d *drawing) head(p at, dx, dy float64) {
	const half = arrow * 0.17
	back := at{p.x - float64(arrow*dx), p.y - float64(arrow*dy)}
	d.lines = append(d.lines, line{closed: true, filled: true, through: []at{
		p, {back.x - float64(half*dy), back.y + float64(half*dx)}, {back.x + float64(half*dy), back.y - float64(half*dx)},
	}})
}

// across draws the dimension of x0 to x1 along the level y, measured from the
// level of what is drawn; the number stands over the line, or beside it where
// the line is too short for it.
func (d *drawing) across(x0, x1, from, y float64, text string) {
	side := 1.0
	if y < from {
		side = -1
	}
	for _, x := range []float64{x0, x1} {
		d.line(thin, at{x, from + float64(side*clear)}, at{x, y + float64(side*past)})
	}
	wide := textWidth(text, letters)
	inside := x1-x0 >= 2*arrow+1
	if inside {
		d.line(thin, at{x0, y}, at{x1, y})
		d.head(at{x0, y}, -1, 0)
		d.head(at{x1, y}, 1, 0)
	} else {
		d.line(thin, at{x0 - 2*arrow, y}, at{x1 + 2*arrow, y})
		d.head(at{x0, y}, 1, 0)
		d.head(at{x1, y}, -1, 0)
	}
	if wide+2 <= x1-x0 {
		d.says(at{(x0 + x1) / 2, y - 0.8}, letters, text)
		return
	}
	d.line(thin, at{x1, y}, at{x1 + 2*arrow + wide, y})
	d.begins(at{x1 + 2*arrow, y - 0.8}, letters, text, false)
}

// upright draws the dimension of y0 to y1 (y0 above) along the level x; the
// number is read from the right, or stands beside a line too short for it.
func (d *drawing) upright(y0, y1, from, x float64, text string) {
	side := 1.0
	if x < from {
		side = -1
	}
	for _, y := range []float64{y0, y1} {
		d.line(thin, at{from + float64(side*clear), y}, at{x + float64(side*past), y})
	}
	wide := textWidth(text, letters)
	middle := (y0 + y1) / 2
	if y1-y0 >= 2*arrow+1 {
		d.line(thin, at{x, y0}, at{x, y1})
		d.head(at{x, y0}, 0, -1)
		d.head(at{x, y1}, 0, 1)
	} else {
		d.line(thin, at{x, y0 - 2*arrow}, at{x, y1 + 2*arrow})
		d.head(at{x, y0}, 0, 1)
		d.head(at{x, y1}, 0, -1)
	}
	switch {
	case wide+2 <= y1-y0:
		d.words = append(d.words, lettering{at: at{x - 0.8, middle}, size: letters, text: text, upward: true})
	case side > 0:
		d.begins(at{x + 1.5, middle + letters/3}, letters, text, false)
	default:
		d.begins(at{x - 1.5 - wide, middle + letters/3}, letters, text, false)
	}
}

// hatch fills rings with lines at 45 degrees, 2 mm apart, inside where an odd
// number of rings goes round: the way solid matter is drawn in a section.
func (d *drawing) hatch(rings [][]at) {
	const apart = 2 * math.Sqrt2 // between lines of equal x + y, along x
	lo, hi := math.Inf(1), math.Inf(-1)
	for _, r := range rings {
		for _, p := range r {
			lo, hi = min(lo, p.x+p.y), max(hi, p.x+p.y)
		}
	}
	if !(hi-lo < 5000) {
		return
	}
	for level := math.Ceil(lo/apart) * apart; level < hi; level += apart {
		for _, cut := range crossings(rings, level) {
			d.line(thin*0.7, at{cut[0], level - cut[0]}, at{cut[1], level - cut[1]})
		}
	}
}

// scaleBar draws a bar of 40 mm of paper, in four fields, with what it is of
// the master.
func (d *drawing) scaleBar(p at, scale float64) {
	const fields, step, high = 4, 10.0, 1.6
	for i := range fields {
		x := p.x + float64(step*float64(i))
		box := line{closed: true, width: thin, filled: i%2 == 0, through: []at{{x, p.y}, {x + step, p.y}, {x + step, p.y + high}, {x, p.y + high}}}
		d.lines = append(d.lines, box)
	}
	d.says(at{p.x, p.y - 0.8}, small, "0")
	d.says(at{p.x + step, p.y - 0.8}, small, fmt.Sprintf("%g", step/scale))
	d.begins(at{p.x + fields*step - 1.5, p.y - 0.8}, small, fmt.Sprintf("%g mm", fields*step/scale), false)
}

// thirdAngle draws the sign of third-angle projection, a truncated cone and its
// view from the small end (ISO 5456-2, from memory), p being its middle.
func (d *drawing) thirdAngle(p at) {
	for _, r := range []float64{1.2, 2.4} {
		var round []at
		for _, c := range circle {
			round = append(round, at{p.x - 4 + float64(r*c[0]), p.y + float64(r*c[1])})
		}
		d.ring(0.3, round)
	}
	d.ring(0.3, []at{{p.x + 1, p.y - 1.2}, {p.x + 6, p.y - 2.4}, {p.x + 6, p.y + 2.4}, {p.x + 1, p.y + 1.2}})
	d.chain(thin, at{p.x - 7.2, p.y}, at{p.x - 0.8, p.y})
	d.chain(thin, at{p.x, p.y}, at{p.x + 7, p.y})
	d.chain(thin, at{p.x - 4, p.y - 3.2}, at{p.x - 4, p.y + 3.2})
}
