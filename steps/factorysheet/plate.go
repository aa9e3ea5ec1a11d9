package factorysheet

import (
	"fmt"
	"strings"
)

// A plate fits within the margins of A4 (210 by 297 mm, ISO 216).
const (
	plateWidth  = 190.0
	plateHeight = 268.0
	titleHeight = 26.0
	leftRoom    = 19.0 // for the dimension of the height
	betweenRoom = 28.0 // for the section's mark and level
	rightRoom   = 12.0
	headRoom    = 13.0 // for a view's name
	footRoom    = 14.0 // for the dimensions below a view
)

// scales are those of ISO 5455 (from memory) that do not enlarge, and 1 : 2.5
// between them, for heads that are a little too large for 1 : 2.
var scales = []float64{1, 0.5, 0.4, 0.2, 0.1, 0.05, 0.02, 0.01}

// fit returns the largest scale at which the views fit the plate.
func (m *master) fit() float64 {
	side, foot := m.Deep.size(), m.Deep.size()
	if m.Widest != nil {
		side = max(side, m.Widest.Across.size())
	}
	for _, s := range scales {
		if s*(m.Across.size()+side) <= plateWidth-leftRoom-betweenRoom-rightRoom &&
			s*(m.High.size()+foot) <= plateHeight-titleHeight-2*headRoom-2*footRoom {
			return s
		}
	}
	return scales[len(scales)-1] / 10
}

func scaleText(s float64) string { return fmt.Sprintf("1 : %g", 1/s) }

// size writes a length of the master as dimensions are written: to 0.1 mm.
func size(mm float64) string { return fmt.Sprintf("%.1f", mm) }

// plate draws a master's views in third-angle projection.
func (s *sheet) plate(m *master, number, of int) *drawing {
	d := &drawing{width: plateWidth, height: plateHeight, title: m.name}
	k := m.scale
	front := box{leftRoom, headRoom, k * m.Across.size(), k * m.High.size()}
	side := box{front.right() + betweenRoom, headRoom, k * m.Deep.size(), front.tall}
	below := box{leftRoom, front.bottom() + footRoom + headRoom, front.wide, k * m.Deep.size()}

	d.view(front, m.views[0], "Front")
	d.across(front.x, front.right(), front.bottom(), front.bottom()+8, size(m.Across.size()))
	d.upright(front.y, front.bottom(), front.x, front.x-10, size(m.High.size()))

	d.view(side, m.views[1], "From its left")
	d.across(side.x, side.right(), side.bottom(), side.bottom()+8, size(m.Deep.size()))

	d.fromOpening(m, below)
	if m.Widest != nil {
		d.mark(m, front)
		d.section(m, box{side.x, below.y, k * m.Widest.Across.size(), k * m.Widest.Deep.size()})
	}
	s.titleBlock(d, title{name: m.name, about: []string{m.file.Name, fmt.Sprintf("%s triangles", thousands(m.Triangles))}, scale: k, sign: true, number: number, of: of})
	return d
}

// box is a place on a plate.
type box struct{ x, y, wide, tall float64 }

func (b box) right() float64  { return b.x + b.wide }
func (b box) bottom() float64 { return b.y + b.tall }
func (b box) mid() at         { return at{b.x + b.wide/2, b.y + b.tall/2} }

// view lays a picture of a part on the plate, its own border outside the box.
func (d *drawing) view(b box, p photo, name string) {
	wide, tall := float64(p.Wide)/dots, float64(p.Tall)/dots
	c := b.mid()
	d.pictures = append(d.pictures, picture{at{c.x - wide/2, c.y - tall/2}, wide, tall, p.Data})
	d.begins(at{b.x, b.y - 9}, letters, name, true)
}

// fromOpening draws the view into the opening, with its rim and its size.
func (d *drawing) fromOpening(m *master, b box) {
	if m.Opening == nil {
		d.view(b, m.views[2], "From below")
		d.across(b.x, b.right(), b.bottom(), b.bottom()+8, size(m.Across.size()))
		return
	}
	d.view(b, m.views[2], "From the opening")
	o := m.Opening
	put := m.onto(b, m.Across, m.Deep)
	d.ring(thick, through(o.Rim, put))
	left, right := put(at{o.Across.Hi, o.Deep.mid()}), put(at{o.Across.Lo, o.Deep.mid()})
	top, foot := put(at{o.Across.mid(), o.Deep.Hi}), put(at{o.Across.mid(), o.Deep.Lo})
	d.chain(thin, at{left.x - 3, left.y}, at{right.x + 3, right.y})
	d.chain(thin, at{top.x, top.y - 3}, at{foot.x, foot.y + 3})
	d.across(left.x, right.x, b.bottom(), b.bottom()+8, size(o.Across.size()))
	d.upright(top.y, foot.y, b.x, b.x-10, size(o.Deep.size()))
}

// onto turns a place across and deep into one on the plate: across runs to the
// left and deep upward, as one looks into the opening.
func (m *master) onto(b box, across, deep span) func(at) at {
	c := b.mid()
	return func(p at) at {
		return at{c.x - float64(m.scale*(p.x-across.mid())), c.y - float64(m.scale*(p.y-deep.mid()))}
	}
}

func through(ring []at, put func(at) at) []at {
	out := make([]at, len(ring))
	for i, p := range ring {
		out[i] = put(p)
	}
	return out
}

// mark shows on the front view where the section lies, from where it is seen,
// and how far above the opening.
func (d *drawing) mark(m *master, front box) {
	y := front.bottom() - float64(m.scale*(m.Widest.Level-m.High.Lo))
	d.chain(thin, at{front.x - 6, y}, at{front.right() + 6, y})
	for _, x := range []float64{front.x - 5, front.right() + 5} {
		d.line(thick, at{x - 1.5, y}, at{x + 1.5, y})
		d.line(thin*1.5, at{x, y}, at{x, y - 4})
		d.head(at{x, y - 5}, 0, -1)
		d.says(at{x, y - 6}, letters, "A")
	}
	base := m.High.Lo
	if m.Opening != nil {
		base = m.Opening.Level
	}
	foot := front.bottom() - float64(m.scale*(base-m.High.Lo))
	d.upright(y, foot, front.right()+6, front.right()+16, size(m.Widest.Level-base))
}

// section draws the section A-A, hatched.
func (d *drawing) section(m *master, b box) {
	s := m.Widest
	put := m.onto(b, s.Across, s.Deep)
	var rings [][]at
	for _, r := range s.Rings {
		rings = append(rings, through(r, put))
	}
	d.hatch(rings)
	for _, r := range rings {
		d.ring(thick, r)
	}
	d.begins(at{b.x, b.y - 9}, letters, "Section A-A, the widest", true)
	d.across(b.x, b.right(), b.bottom(), b.bottom()+8, size(s.Across.size()))
	d.upright(b.y, b.bottom(), b.right(), b.right()+10, size(s.Deep.size()))
}

// title is what stands in a plate's title block.
type title struct {
	name       string
	about      []string
	scale      float64
	sign       bool // of the projection
	number, of int
}

// titleBlock draws the block at the foot of a plate: owner, what it is, scale,
// projection, number of the plate (fields of ISO 7200, from memory).
func (s *sheet) titleBlock(d *drawing, t title) {
	y := plateHeight - titleHeight
	d.ring(thick, []at{{0, y}, {plateWidth, y}, {plateWidth, plateHeight}, {0, plateHeight}})
	for _, x := range []float64{64, 129} {
		d.line(thin, at{x, y}, at{x, plateHeight})
	}
	d.column(2, y, 60, s.title, []string{s.text("studio", "studio not stated"), "Material: " + s.text("material", "not stated"), "Wall wanted: " + s.wall()})
	d.column(66, y, 61, t.name, append(t.about, "Dimensions of the master in mm", "at 20 °C (ISO 1), not of the finished part"))
	d.column(131, y, 40, "Scale "+scaleText(t.scale), nil)
	d.begins(at{131, y + 24}, small, fmt.Sprintf("Plate %d of %d", t.number, t.of), false)
	if t.sign {
		d.thirdAngle(at{179, y + 5})
	}
	d.scaleBar(at{132, y + 15}, t.scale)
}

// column writes lines below each other, the first bold, each cut to the room.
func (d *drawing) column(x, y, wide float64, first string, rest []string) {
	d.begins(at{x, y + 5.5}, 4, shortened(first, 4, wide), true)
	for i, text := range rest {
		d.begins(at{x, y + 10.5 + float64(4.4*float64(i))}, small, shortened(text, small, wide), false)
	}
}

// shortened cuts a text to a width in mm.
func shortened(text string, size, wide float64) string {
	if textWidth(text, size)*1.06 <= wide {
		return text
	}
	runes := []rune(text)
	for len(runes) > 0 && textWidth(string(runes)+"…", size)*1.06 > wide {
		runes = runes[:len(runes)-1]
	}
	return strings.TrimSpace(string(runes)) + "…"
}

// thousands writes a count with blanks between groups of three.
func thousands(n int) string {
	digits := fmt.Sprint(n)
	var b strings.Builder
	for i, r := range digits {
		if i > 0 && (len(digits)-i)%3 == 0 {
			b.WriteByte(' ')
		}
		b.WriteRune(r)
	}
	return b.String()
}
