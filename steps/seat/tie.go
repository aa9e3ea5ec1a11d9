package seat

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
)

const (
	apart  = 0.25 // mm between sections
	widest = 9.0  // mm: what dips over a longer way is the shape of neck or limb. Common practice, no source
	falls  = 3.0  // mm of height within which a flange falls off. Common practice, no source
)

// tie looks for the groove or the flange below "reach".
func (p *part) tie(ctx context.Context) error {
	reach := p.values.Float("reach")
	among := p.limb.Between(p.seat, 0, reach)
	var tapes []float64
	for i := 1; float64(i)*apart <= reach; i++ {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		s, ok := limb.Level(p.cutter, p.seat, float64(i)*apart, among)
		if !ok {
			break
		}
		p.tapes = append(p.tapes, s)
		tapes = append(tapes, geom.Tape(s.Outline(), p.seat.Up))
	}
	least := p.values.Float("tie-least")
	g, f := grooveOf(tapes), flangeOf(tapes)
	at, dips := 0, g.depth >= least && g.rise >= g.depth/4
	switch {
	case dips && g.proud >= least:
		p.m["tie"], at = "groove", g.bottom
		p.m["lip.high"], p.m["lip.proud"] = g.from, g.proud
	case !dips && f.proud >= max(least, 2*rounded):
		p.m["tie"], at = "flange", f.edge
		p.m["lip.high"], p.m["lip.proud"] = f.high, f.proud
		g = groove{}
	default:
		p.m["tie"], p.m["lip.high"], p.m["lip.proud"] = "none", 0.0, 0.0
		g = groove{}
	}
	if e := p.edge(among); e > 1 && p.m["tie"] != "flange" {
		p.note("the triangles near the opening have edges of %.1f mm: a groove reads some %.1f mm shallower than it is; give edges of half a millimetre", e, shallower*e*e)
	}
	p.m["groove.depth"], p.m["groove.width"], p.m["groove.at"] = g.depth, g.width, 0.0
	switch p.m["tie"] {
	case "groove":
		p.m["groove.at"] = g.from + g.width/2
		s := &p.tapes[at]
		p.spot("groove", s.Mid, s.Mid, g.depth, "mm", fmt.Sprintf("a groove %.2f mm deep and %.1f mm wide, %.1f mm above the opening; its lip stands %.2f mm proud", g.depth, g.width, p.m["groove.at"], g.proud), s.Outline())
	case "flange":
		s := &p.tapes[at]
		p.spot("flange", s.Mid, s.Mid, f.proud, "mm", fmt.Sprintf("a flange %.1f mm high that stands %.2f mm proud", f.high, f.proud), s.Outline())
	}
	return nil
}

// shallower times the square of the mean edge, mm, is by how much a groove for
// a tie reads too shallow: that of chords over curves of 2 mm radius, and
// what grooves in arms and legs of 6,000 to 300,000 triangles showed.
const shallower = 0.06

// edge returns the mean edge of some triangles, mm.
func (p *part) edge(among []int32) float64 {
	var sum geom.Sum
	for _, t := range among {
		a, b, c := p.limb.Mesh.Corners(int(t))
		sum.Add(b.Sub(a).Len() + c.Sub(b).Len() + a.Sub(c).Len())
	}
	return sum.Total() / float64(3*max(len(among), 1))
}

// groove is a dip of the tape, in mm.
type groove struct {
	depth, width float64 // as radius; at half of it
	from         float64 // height of its lower edge, at half its depth
	proud        float64 // of the lower shoulder over the bottom
	rise         float64 // of its upper wall, against what lies above it
	bottom       int     // which tape is least against its chord
}

// grooveOf returns the deepest dip of girths below a straight line between two
// of them, no farther apart than a groove is wide.
func grooveOf(tapes []float64) (g groove) {
	const most = int(widest / apart)
	from, to := 0, 0
	dip := func(k, i, j int) float64 {
		chord := tapes[k] + float64((tapes[j]-tapes[k])*float64(i-k)/float64(j-k))
		return (chord - tapes[i]) / (2 * math.Pi)
	}
	for i := range tapes {
		for k := max(0, i-most); k < i; k++ {
			for j := i + 1; j < min(len(tapes), k+most+1); j++ {
				if d := dip(k, i, j); d > g.depth {
					g.depth, g.bottom, from, to = d, i, k, j
				}
			}
		}
	}
	if g.depth == 0 {
		return g
	}
	// where the dip passes half its depth, between two sections
	cross := func(step int) float64 {
		i := g.bottom
		for i+step != from && i+step != to && dip(from, i+step, to) > g.depth/2 {
			i += step
		}
		a, b := dip(from, i, to), 0.0
		if i+step != from && i+step != to {
			b = dip(from, i+step, to)
		}
		return height(i) + float64(float64(step)*apart*(a-g.depth/2)/(a-b))
	}
	low, high := cross(-1), cross(1)
	g.from, g.width = low, high-low
	g.proud = (tapes[from] - tapes[g.bottom]) / (2 * math.Pi)
	for i := g.bottom; i <= to; i++ {
		if d, ok := bend(tapes, i); ok {
			g.rise = max(g.rise, -d)
		}
	}
	return g
}

// height returns that of tape i above the opening.
func height(i int) float64 { return float64(float64(i+1) * apart) }

// flange is a rim that stands out over what lies above it, in mm.
type flange struct {
	proud, high float64
	edge        int // the tape where it falls off
}

// rounded is by how much the radius of soft shapes falls faster over 3 mm than
// over the next 3 mm, at most: 3² mm² over a bulge of 30 mm radius. Less is no
// flange.
const rounded = falls * falls / 30

// flangeOf returns the greatest fall of girths within a few millimetres, less
// that within the next few.
func flangeOf(tapes []float64) (f flange) {
	const n = int(falls / apart)
	for i := range tapes {
		d, ok := bend(tapes, i)
		if !ok || d <= f.proud+1e-9 {
			continue
		}
		f.proud, f.edge = d, i+n
		for k := i; k < i+n; k++ { // half of the fall
			if a, b := tapes[i]-tapes[k], tapes[i]-tapes[k+1]; b >= (tapes[i]-tapes[i+n])/2 {
				f.edge = k
				f.high = height(k) + float64(apart*((tapes[i]-tapes[i+n])/2-a)/(b-a))
				break
			}
		}
	}
	return f
}

// bend returns by how much, as radius, girths fall from tape i on within a few
// millimetres, less how they fall within the next few.
func bend(tapes []float64, i int) (float64, bool) {
	const n = int(falls / apart)
	if i+2*n >= len(tapes) {
		return 0, false
	}
	return (tapes[i] - tapes[i+n] - (tapes[i+n] - tapes[i+2*n])) / (2 * math.Pi), true
}

// rows writes the tape at each height.
func (p *part) rows() string {
	var b strings.Builder
	b.WriteString("height_mm,tape_mm\n")
	for i := range p.tapes {
		fmt.Fprintf(&b, "%.2f,%.3f\n", height(i), geom.Tape(p.tapes[i].Outline(), p.seat.Up))
	}
	return b.String()
}
