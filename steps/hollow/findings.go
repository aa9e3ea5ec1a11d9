package hollow

import (
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

const (
	trapped   = "trapped chamber"
	solidTip  = "solid"
	heldBack  = "liquid held back"
	builtUp   = "build-up in a corner"
	shutMouth = "opening shut"
)

// mostSpots is how many spots are listed.
const mostSpots = 200

// leastLump is the least of solid or build-up worth a word, mm³.
const leastLump = 2.0

// slim reports whether solid of that width is a limb that may fill solid.
func (c *casting) slim(wide float64) bool { return c.fillsSolid && wide <= c.digit }

// spots lists what was found: faults before remarks, larger before smaller.
func (c *casting) spots() []step.Spot {
	var out []step.Spot
	for _, f := range [](func() []step.Spot){c.shut, c.trapped, c.solids, c.heldBack, c.corners} {
		out = append(out, f()...)
	}
	slices.SortStableFunc(out, func(a, b step.Spot) int {
		switch {
		case a.Fault == b.Fault:
			return 0
		case a.Fault:
			return -1
		}
		return 1
	})
	out = out[:min(len(out), mostSpots)]
	for i := range out {
		out[i].Number, out[i].Surface = i+1, "surface"
	}
	return out
}

// shut says that the opening itself closes.
func (c *casting) shut() []step.Spot {
	if c.mouth == nil || c.clear > 0 {
		return nil
	}
	return []step.Spot{{What: shutMouth, At: c.home(c.stoodMouth()), Radius: round(math.Sqrt(c.mouth.Area/math.Pi), 0.01), Unit: "mm", Fault: true,
		Says: fmt.Sprintf("the opening is nowhere wider than two walls of %.2f mm: it fills solid, and nothing can be poured out. Widen it.", c.wall)}}
}

func (c *casting) trapped() []step.Spot {
	var out []step.Spot
	for _, x := range c.chambers {
		if x.open || x.volume < c.least {
			continue
		}
		s := step.Spot{What: trapped, At: c.home(c.depth.centre(x.at)), Radius: round(x.deep, 0.01), Value: round(x.volume, 0.001), Unit: "mm³", Fault: !c.slim(2 * x.deep)}
		s.Says = fmt.Sprintf("a chamber of %.0f mm³ is cut off from the opening: liquid and air stay in it. ", x.volume)
		if t := x.throat; t.found {
			s.To = c.home(t.at)
			s.Says += fmt.Sprintf("Its way out is %.2f mm wide and two walls are %.2f mm: open it to more than %.2f mm, or fill what lies beyond solid.", t.wide, 2*c.wall, 2*c.wall+c.drain)
		} else {
			s.Says += "It has no way out at all."
		}
		out = append(out, s)
	}
	return out
}

func (c *casting) solids() []step.Spot {
	var out []step.Spot
	for _, l := range c.lumps {
		if !l.solid(c.wall) || l.volume < leastLump {
			continue
		}
		s := step.Spot{What: solidTip, At: c.home(l.at), Radius: round(max(l.wide/2, math.Cbrt(l.volume)/2), 0.01), Value: round(l.wide, 0.001), Unit: "mm", Fault: !c.slim(l.wide)}
		s.Says = fmt.Sprintf("solid for %.1f mm below the skin and %.2f mm thick: walls of %.2f mm meet where the part is under %.2f mm thick. ", l.reach, l.wide, c.wall, 2*c.wall)
		if c.slim(l.wide) {
			s.Says += "The recipe lets it fill solid."
		} else {
			s.Says += "Make it thicker, agree on a thinner wall, or let it fill solid for a reason that is written down."
		}
		out = append(out, s)
	}
	return out
}

func (c *casting) heldBack() []step.Spot {
	var out []step.Spot
	for _, h := range c.held {
		if h.volume < c.least {
			continue
		}
		out = append(out, step.Spot{What: heldBack, At: c.home(h.at), Radius: round(math.Cbrt(h.volume)/2, 0.01), Value: round(h.volume, 0.001), Unit: "mm³", Fault: !c.slim(h.wide + 2*c.wall),
			Says: fmt.Sprintf("%.0f mm³ of liquid stay behind: the void is %.2f mm clear at its widest here, and what is under %.2f mm does not run out. Widen it, or let it fill solid.", h.volume, h.wide, c.drain)})
	}
	return out
}

func (c *casting) corners() []step.Spot {
	var out []step.Spot
	for _, l := range c.lumps {
		if l.solid(c.wall) || l.volume < leastLump || l.reach < c.buildUp*c.wall {
			continue
		}
		out = append(out, step.Spot{What: builtUp, At: c.home(l.at), Radius: round(max(l.reach, math.Cbrt(l.volume)/2), 0.01), Value: round(l.reach, 0.001), Unit: "mm",
			Says: fmt.Sprintf("vinyl is %.2f mm deep in this corner of the mould, %.1f walls: it cools last and may sink. Round the edge of the part.", l.reach, l.reach/c.wall)})
	}
	return out
}

// measures are the numbers that gates judge.
func (c *casting) measures() map[string]any {
	part := c.part.Volume()
	void, closed, largest, trappedCount, digits := 0.0, 0.0, 0.0, int64(0), int64(0)
	for _, x := range c.chambers {
		void += x.volume
		if x.open || x.volume < c.least {
			continue
		}
		closed, largest = closed+x.volume, max(largest, x.volume)
		if c.slim(2 * x.deep) {
			digits++
		} else {
			trappedCount++
		}
	}
	kept := 0.0
	for _, h := range c.held {
		if h.volume >= c.least {
			kept += h.volume
		}
	}
	m := map[string]any{
		"cube": c.depth.h, "whole.volume": part, "void.volume": void, "vinyl.volume": part - void,
		"vinyl.mass": (part - void) / 1000 * c.density, "skin.area": c.skin, "shot.by-area": Shot(c.skin, c.wall), "shot.mass": Shot(c.skin, c.wall) / 1000 * c.density,
		"chambers.trapped": trappedCount, "chambers.in-digits": digits, "chambers.volume": closed, "chambers.largest": largest,
		"held.volume": kept, "surplus.volume": kept + closed, "opening.found": c.mouth != nil, "opening.clear": c.clear,
		"throat.least": c.throat(),
	}
	c.solidMeasures(m)
	return m
}

// throat returns the narrowest way out of a trapped chamber, or the clear
// opening's full width where nothing is trapped.
func (c *casting) throat() float64 {
	least := c.clear + 2*c.wall
	for _, x := range c.chambers {
		if !x.open && x.volume >= c.least && x.throat.found {
			least = min(least, x.throat.wide)
		}
	}
	return least
}

func (c *casting) solidMeasures(m map[string]any) {
	spots, digits, volume, thickest, deepest, most := int64(0), int64(0), 0.0, 0.0, 0.0, 1.0
	for _, l := range c.lumps {
		switch {
		case l.volume < leastLump:
		case l.solid(c.wall):
			volume, thickest, deepest = volume+l.volume, max(thickest, l.wide), max(deepest, l.reach)
			if c.slim(l.wide) {
				digits++
			} else {
				spots++
			}
		default:
			most = max(most, l.reach/c.wall)
		}
	}
	m["solid.spots"], m["solid.in-digits"], m["solid.volume"] = spots, digits, volume
	m["solid.thickest"], m["solid.deepest"], m["build-up.most"] = thickest, deepest, most
}

// stoodMouth is the opening's middle in the standing part's frame.
func (c *casting) stoodMouth() geom.Vec { return c.pose.Apply(c.mouth.Centre) }
