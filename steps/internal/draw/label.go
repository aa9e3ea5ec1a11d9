package draw

import (
	"cmp"
	"image"
	"math"
	"slices"
	"strconv"
)

// A note is a label on its way to its place.
type note struct {
	spot int
	x, y float64 // where the spot falls
	top  int     // where the label goes
}

// labels writes the labels of the spots that show, in two columns, joined to
// their spots by lines. Labels of one column never overlap; those that find no
// room are left to the list on the page. The boxes are by spot.
func (b brush) labels(s Scene, cam camera, l layout, seen []bool) []image.Rectangle {
	boxes := make([]image.Rectangle, len(s.Spots))
	left, right := sides(s, cam, l, seen)
	hand := lettering(plainHand, l.letter)
	pitch := hand.height() + int(l.letter*0.5)
	for i, notes := range [2][]note{left, right} {
		column := l.left
		if i == 1 {
			column = l.right
		}
		notes = stack(s, notes, column, pitch)
		for _, n := range notes {
			boxes[n.spot] = b.label(s.Spots[n.spot], n, column, hand, pitch, i == 1)
		}
	}
	return boxes
}

// sides shares the spots that show out to the two columns: each to the nearer
// one, then from the fuller to the emptier, those nearest the middle first.
func sides(s Scene, cam camera, l layout, seen []bool) (left, right []note) {
	middle := float64(l.stage.Min.X+l.stage.Max.X) / 2
	var all []note
	for i, spot := range s.Spots {
		if x, y, _ := cam.project(spot.At); seen[i] {
			all = append(all, note{spot: i, x: x, y: y})
		}
	}
	slices.SortStableFunc(all, func(a, b note) int { return cmp.Compare(a.x, b.x) })
	k := 0
	for k < len(all) && all[k].x < middle {
		k++
	}
	even := (len(all) + 1) / 2
	if most := even + even/2; k > most {
		k = most
	} else if k < len(all)-most {
		k = len(all) - most
	}
	return all[:k], all[k:]
}

// stack sets labels of one column under each other, each as near to the height
// of its spot as room allows. If there is not room for all, the gravest stay.
func stack(s Scene, notes []note, column image.Rectangle, pitch int) []note {
	room := max(column.Dy()/pitch, 0)
	notes = slices.Clone(notes)
	if len(notes) > room {
		slices.SortStableFunc(notes, func(a, b note) int { return cmp.Compare(s.Spots[a.spot].Number, s.Spots[b.spot].Number) })
		notes = notes[:room]
	}
	slices.SortStableFunc(notes, func(a, b note) int { return cmp.Compare(a.y, b.y) })
	next := column.Min.Y
	for i := range notes {
		notes[i].top = max(next, int(notes[i].y)-pitch/2)
		next = notes[i].top + pitch
	}
	last := column.Max.Y
	for i := len(notes) - 1; i >= 0; i-- {
		notes[i].top = min(notes[i].top, last-pitch)
		last = notes[i].top
	}
	return notes
}

// label writes one label and its line.
func (b brush) label(s Spot, n note, column image.Rectangle, hand letterer, pitch int, right bool) image.Rectangle {
	size := int(hand.size)
	text := hand.fit(label(s), column.Dx()-size)
	digits := strconv.Itoa(s.Number)
	w := hand.width(text) + size
	box := image.Rect(column.Max.X-w, n.top, column.Max.X, n.top+pitch-size/4)
	from := float64(box.Max.X)
	if right {
		box = image.Rect(column.Min.X, n.top, column.Min.X+w, n.top+pitch-size/4)
		from = float64(box.Min.X)
	}
	c := spotColour(s)
	y := float64(box.Min.Y+box.Max.Y) / 2
	ux, uy := n.x-from, n.y-y
	// stop short of the ring
	if l := float64(ux*ux) + float64(uy*uy); l > 0 {
		k := 1 - min(1, float64(hand.size*0.45)/math.Sqrt(l))
		ux, uy = float64(ux*k), float64(uy*k)
	}
	b.line(from, y, from+ux, y+uy, 3, paperColour)
	b.line(from, y, from+ux, y+uy, 1.2, c)
	b.box(box, 4, c)
	b.box(box.Inset(1), 3, paperColour)
	x, top := box.Min.X+size/2, box.Min.Y+(box.Dy()-hand.height())/2
	lettering(boldHand, hand.size).write(b.im, x, top, digits, c)
	if rest := text[min(len(digits), len(text)):]; rest != "" {
		hand.write(b.im, x+hand.width(digits), top, rest, inkColour)
	}
	return box
}
