package shrinkage

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// link is one copy made of another: how much of the one it was made from is
// left along each axis of its frame.
type link struct {
	name   string
	share  [3]float64 // as the recipe gives it; shrinking is positive
	factor [3]float64 // size of the copy over size of what it was made from
	frame  string     // empty: the surface's own axes
	axes   geom.Mat   // rows are the frame's axes
}

// even reports whether the link is the same in every direction.
func (l link) even() bool { return l.factor[0] == l.factor[1] && l.factor[1] == l.factor[2] }

// undo returns the map from the copy back to what it was made from.
func (l link) undo() geom.Mat {
	if l.even() {
		f := 1 / l.factor[0]
		return geom.Mat{{f, 0, 0}, {0, f, 0}, {0, 0, f}}
	}
	d := geom.Mat{{1 / l.factor[0], 0, 0}, {0, 1 / l.factor[1], 0}, {0, 0, 1 / l.factor[2]}}
	return l.axes.Transposed().Mul(d).Mul(l.axes)
}

// chainOf reads the links of one table in the recipe's order. Every complaint
// names the link.
func chainOf(t step.Table, frames map[string]geom.Mat) (links []link, wrong []string) {
	for i, name := range t.Names {
		l, err := linkOf(name, t.Values[i], frames)
		if err != nil {
			wrong = append(wrong, err.Error())
			continue
		}
		links = append(links, l)
	}
	return links, wrong
}

// linkOf reads one link:
//
//	mould  = "2 %"                                     a share of the larger piece
//	gypsum = { grows = "0.3 %" }                       a share of what it was made from
//	resin  = { volume = "7.28 %" }                     of the volume
//	vinyl  = { x = "2 %", y = "2 %", z = "3 %", frame = "mould" }
func linkOf(name string, value any, frames map[string]geom.Mat) (link, error) {
	l := link{name: name, axes: geom.Identity}
	switch v := value.(type) {
	case float64:
		return l.with(v, v, v, 1-v, 1-v, 1-v)
	case step.Table:
		return l.table(v, frames)
	}
	return l, fmt.Errorf("%s: a link is a share such as \"2 %%\" or a table of shares", name)
}

func (l link) with(sx, sy, sz, fx, fy, fz float64) (link, error) {
	l.share, l.factor = [3]float64{sx, sy, sz}, [3]float64{fx, fy, fz}
	for _, f := range l.factor {
		if !(f >= 0.5 && f <= 2) {
			return l, fmt.Errorf("%s: a share of %s leaves %s of the size; a link may halve or double it at most", l.name, percent(l.share[0]), percent(f))
		}
	}
	return l, nil
}

func (l link) table(t step.Table, frames map[string]geom.Mat) (link, error) {
	get := func(key string) (float64, bool) {
		v, _ := t.Get(key)
		x, ok := v.(float64)
		return x, ok
	}
	names := slices.Sorted(slices.Values(t.Names))
	switch strings.Join(names, " ") {
	case "grows":
		if e, ok := get("grows"); ok {
			return l.with(-e, -e, -e, 1+e, 1+e, 1+e)
		}
	case "volume":
		if s, ok := get("volume"); ok && s < 1 {
			f := cubeRoot(1 - s)
			return l.with(1-f, 1-f, 1-f, f, f, f)
		}
	case "frame x y z", "x y z":
		x, okx := get("x")
		y, oky := get("y")
		z, okz := get("z")
		if okx && oky && okz {
			return l.inFrame(t, frames, x, y, z)
		}
	}
	return l, fmt.Errorf("%s: a link's table holds grows, or volume, or x, y, z and frame; it holds %s", l.name, strings.Join(t.Names, ", "))
}

func (l link) inFrame(t step.Table, frames map[string]geom.Mat, x, y, z float64) (link, error) {
	if f, ok := t.Get("frame"); ok {
		l.frame, _ = f.(string)
		axes, known := frames[l.frame]
		if !known {
			return l, fmt.Errorf("%s: there is no frame %q among frames", l.name, l.frame)
		}
		l.axes = axes
	} else if x != y || y != z {
		return l, fmt.Errorf("%s: shares that differ by axis need a frame: whose x, y and z are they?", l.name)
	}
	return l.with(x, y, z, 1-x, 1-y, 1-z)
}

// framesOf reads frames: name = { x = [..], y = [..] }, two directions at right
// angles; z follows by the right hand.
func framesOf(t step.Table) (frames map[string]geom.Mat, wrong []string) {
	frames = map[string]geom.Mat{}
	for i, name := range t.Names {
		axes, ok := t.Values[i].(step.Table)
		if !ok {
			wrong = append(wrong, name+": a frame is a table of two directions, x and y")
			continue
		}
		x, okx := direction(axes, "x")
		y, oky := direction(axes, "y")
		if !okx || !oky || len(axes.Names) != 2 || math.Abs(x.Dot(y)) > 1e-6 {
			wrong = append(wrong, name+": a frame is two directions at right angles, such as x = [1, 0, 0] and y = [0, 1, 0]")
			continue
		}
		y = y.Sub(x.Mul(x.Dot(y))).Unit()
		z := x.Cross(y)
		frames[name] = geom.Mat{{x.X, x.Y, x.Z}, {y.X, y.Y, y.Z}, {z.X, z.Y, z.Z}}
	}
	return frames, wrong
}

func direction(t step.Table, name string) (geom.Vec, bool) {
	v, _ := t.Get(name)
	d, ok := v.([]float64)
	if !ok || len(d) != 3 {
		return geom.Vec{}, false
	}
	u := geom.Vec{X: d[0], Y: d[1], Z: d[2]}.Unit()
	return u, u != geom.Vec{}
}

// cubeRoot returns the cube root of x > 0 by Newton's steps, of the same bits
// on every processor, which math.Cbrt does not promise.
func cubeRoot(x float64) float64 {
	r := max(x, 1)
	for range 200 {
		next := (r + r + x/float64(r*r)) / 3
		if !(next < r) {
			break
		}
		r = next
	}
	return r
}

// percent writes a share for people.
func percent(x float64) string { return fmt.Sprintf("%.4g %%", 100*x) }
