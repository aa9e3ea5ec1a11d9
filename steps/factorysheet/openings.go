package factorysheet

import "fmt"

// Room round an opening on the plate of openings, mm.
const (
	cellSide = 16.0
	cellHead = 12.0
	cellFoot = 22.0
)

// openingPlates draws every master's opening at its true size, to be cut out
// and laid on, as many to a plate as find room. One too large for the paper is
// drawn smaller and says so.
func (s *sheet) openingPlates(first, of int) []*drawing {
	var plates []*drawing
	var d *drawing
	var x, y, row float64
	for _, m := range s.masters {
		if m.Opening == nil {
			continue
		}
		o, k := m.Opening, 1.0
		for _, k = range scales {
			if k*o.Across.size() <= plateWidth-2*cellSide && k*o.Deep.size() <= plateHeight-titleHeight-cellHead-cellFoot {
				break
			}
		}
		wide, tall := max(k*o.Across.size()+2*cellSide, 62), k*o.Deep.size()+cellHead+cellFoot
		if d != nil && x+wide > plateWidth {
			x, y, row = 0, y+row, 0
		}
		if d == nil || y+tall > plateHeight-titleHeight {
			d = &drawing{width: plateWidth, height: plateHeight, title: "Openings"}
			plates = append(plates, d)
			x, y, row = 0, 0, 0
		}
		d.template(m, k, box{x + cellSide, y + cellHead, k * o.Across.size(), k * o.Deep.size()})
		x, row = x+wide, max(row, tall)
	}
	for i, p := range plates {
		s.titleBlock(p, title{name: "Openings of the masters", about: []string{"seen as one looks into the part", "check the bar before you lay them on"}, scale: 1, number: first + i, of: of})
	}
	return plates
}

// template draws one opening with its dimensions.
func (d *drawing) template(m *master, k float64, b box) {
	o := m.Opening
	put := (&master{scale: k}).onto(b, o.Across, o.Deep)
	d.ring(thick, through(o.Rim, put))
	c := b.mid()
	d.chain(thin, at{b.x - 3, c.y}, at{b.right() + 3, c.y})
	d.chain(thin, at{c.x, b.y - 3}, at{c.x, b.bottom() + 3})
	name := m.name
	if k != 1 {
		name += ", " + scaleText(k)
	}
	d.begins(at{b.x - 8, b.y - 5}, letters, name, true)
	d.across(b.x, b.right(), b.bottom()+2, b.bottom()+8, size(o.Across.size()))
	d.upright(b.y, b.bottom(), b.x-2, b.x-8, size(o.Deep.size()))
	d.begins(at{b.x - 8, b.bottom() + 14}, small, fmt.Sprintf("girth %s, area %.0f mm²", size(o.Girth), o.Area), false)
	d.begins(at{b.x - 8, b.bottom() + 18}, small, fmt.Sprintf("flat within %.2f mm; %s", o.Flat, o.closing()), false)
}

func (o *opening) closing() string {
	if o.Open {
		return "the surface is open here"
	}
	return "closed by a flat face"
}
