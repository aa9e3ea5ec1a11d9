package gate

import (
	"fmt"
	"strings"

	"layette/engine/diag"
	"layette/engine/step"
	"layette/engine/unit"
)

// A dimension says what sort of number something is: powers of the base units.
// A share of something is a number of its own kind, so that "2 %" is never
// compared with a bare 2.
type dimension struct {
	mm, deg, g, density, s, degC int8
	share                        bool
}

var dimensions = map[step.ValueType]dimension{
	step.Length:      {mm: 1},
	step.Area:        {mm: 2},
	step.Volume:      {mm: 3},
	step.Angle:       {deg: 1},
	step.Mass:        {g: 1},
	step.Density:     {density: 1},
	step.Time:        {s: 1},
	step.Temperature: {degC: 1},
	step.Share:       {share: true},
	step.Number:      {},
	step.Count:       {},
}

// dimensionOf returns the dimension of a name: of its type, or for a bare
// number that is shown with a unit, of that unit.
func dimensionOf(n Name) dimension {
	if n.Type != step.Number || n.Unit == "" {
		return dimensions[n.Type]
	}
	over, under, _ := strings.Cut(n.Unit, "/")
	d, e := unitDimension(over), unitDimension(under)
	return d.times(e, -1)
}

func unitDimension(symbol string) dimension {
	q, err := unit.Parse("1 " + symbol)
	if err != nil {
		return dimension{} // "points", "1": a bare number
	}
	return dimensions[q.Type]
}

// times returns the dimension of a product (sign 1) or a quotient (sign -1). A
// share of a length is a length.
func (d dimension) times(e dimension, sign int8) dimension {
	return dimension{
		mm: d.mm + sign*e.mm, deg: d.deg + sign*e.deg, g: d.g + sign*e.g,
		density: d.density + sign*e.density, s: d.s + sign*e.s, degC: d.degC + sign*e.degC,
	}.shared(d, e, sign)
}

// shared settles whether a product or quotient is still a share: a share of a
// share is, and so is a share times or over a bare number.
func (d dimension) shared(a, b dimension, sign int8) dimension {
	if d != (dimension{}) {
		return d
	}
	bare := dimension{}
	switch {
	case a.share && b.share:
		d.share = sign > 0
	case a.share && b == bare:
		d.share = true
	case b.share && a == bare:
		d.share = sign > 0
	}
	return d
}

// String says what sort of number it is, with the article.
func (d dimension) String() string {
	for _, kind := range []step.ValueType{step.Number, step.Share, step.Length, step.Area, step.Volume, step.Angle, step.Mass, step.Density, step.Time, step.Temperature} {
		if dimensions[kind] == d {
			return diag.A(string(kind))
		}
	}
	var parts []string
	for _, p := range []struct {
		unit  string
		power int8
	}{{"mm", d.mm}, {"deg", d.deg}, {"g", d.g}, {"g/cm3", d.density}, {"s", d.s}, {"degC", d.degC}} {
		if p.power != 0 {
			parts = append(parts, fmt.Sprintf("%s^%d", p.unit, p.power))
		}
	}
	return "a number in " + strings.Join(parts, " ")
}
