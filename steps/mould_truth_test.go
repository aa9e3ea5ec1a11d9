package steps_test

import (
	"math"

	"layette/steps/internal/geom"
	"layette/steps/specimen"
)

// knobVoid is what stays hollow of a ball on a stalk thinner than two walls,
// mm³, by summing over its profile: deeper than a wall below the ball's skin, or
// the rim where the stalk meets it.
func knobVoid(stalk, ball float64) float64 {
	const step = 0.01
	low := -math.Sqrt(ball*ball - stalk*stalk) // of the rim, below the ball's middle
	sum := 0.0
	for z := -ball + step/2; z < ball; z += step {
		for x := step / 2; x < ball; x += step {
			d := math.Hypot(x, z)
			if d >= ball {
				break
			}
			deep := math.Hypot(x-stalk, z-low)
			if d == 0 || x*ball/d >= stalk || z > 0 { // the nearest skin of the whole ball is there
				deep = min(deep, ball-d)
			}
			if deep > wall {
				sum += 2 * math.Pi * x * step * step
			}
		}
	}
	return sum
}

// furrowAfter is how deep a long furrow of section (1-(d/w)²)³ is after a
// Gaussian filter that passes half at the chain's detail (ISO 16610-21): the
// filter's weighting function, summed over the section.
func furrowAfter(depth, w float64) float64 {
	const step = 0.001
	alpha := math.Sqrt(math.Ln2 / math.Pi)
	sum, all := 0.0, 0.0
	for s := -2 * detail; s <= 2*detail; s += step {
		k := math.Exp(-math.Pi * math.Pow(s/(alpha*detail), 2))
		all += k
		if x := 1 - s*s/(w*w); x > 0 {
			sum += k * depth * x * x * x
		}
	}
	return sum / all
}

// stretch is what a waist asks of the widest level section between it and the
// elbow, knee or crown: of girth or of area, whichever is less. Girths are summed
// over rays from the middle of each section of the exact solid.
func (c child) stretch(q specimen.Planted) float64 {
	top := c.bent().Z - 12
	if c.part.Name == "head" {
		top = c.part.Marks["crown"].Z
	}
	worst := 0.0
	for z := q.At.Z + 7; z < top; z += 1 {
		girth, area := section(c.part.Field, geom.Vec{X: q.At.X, Y: q.At.Y, Z: z})
		worst = max(worst, min(girth/(math.Pi*q.Value), math.Sqrt(area/math.Pi)/(q.Value/2))-1)
	}
	return worst
}

// section is the girth and area of the level section through o, inside the solid.
func section(f specimen.Field, o geom.Vec) (girth, area float64) {
	const n = 360
	var last geom.Vec
	for i := range n + 1 {
		a := 2 * math.Pi * float64(i%n) / n
		dir := geom.Vec{X: math.Cos(a), Y: math.Sin(a)}
		lo, hi := 0.0, 0.5
		for d, _ := f.At(o.Add(dir.Mul(hi))); d < 0 && hi < 100; d, _ = f.At(o.Add(dir.Mul(hi))) {
			lo, hi = hi, hi+0.5
		}
		for range 30 {
			mid := (lo + hi) / 2
			if d, _ := f.At(o.Add(dir.Mul(mid))); d < 0 {
				lo = mid
			} else {
				hi = mid
			}
		}
		p := dir.Mul(lo)
		if i > 0 {
			girth += p.Sub(last).Len()
			area += last.Cross(p).Z / 2
		}
		last = p
	}
	return girth, area
}
