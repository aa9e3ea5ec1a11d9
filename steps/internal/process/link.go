// Package process knows what happens to a surface on its way from master to
// finished part: a chain of copies, each of which loses size and fine relief.
package process

import (
	"fmt"
	"math"
	"slices"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// Link is one copy made of another: how much of the one it was made from is
// left along each axis of its frame, and how fine a line it still holds.
type Link struct {
	Name   string
	Share  [3]float64 // as the recipe gives it; shrinking is positive
	Factor [3]float64 // size of the copy over size of what it was made from
	Frame  string     // empty: the surface's own axes
	Axes   geom.Mat   // rows are the frame's axes
	// Detail is the wavelength of which half the depth survives this copy, mm
	// on the copy; 0 for one that loses nothing. Shorter waves lose more by the
	// curve of a Gaussian filter: a wave of length l keeps 2^-(Detail/l)².
	Detail float64
	// Waves and Details stand for a measured curve in place of Detail: of waves
	// of these lengths on the copy, mm, each longer than the one before, as much
	// survives as if the copy held that detail. nil for a Gaussian filter.
	Waves, Details []float64
	// DetailFrom and DetailTo bound Detail with 95 % where it was measured.
	DetailFrom, DetailTo float64
	// ShareFrom and ShareTo bound the share with 95 % where it was measured.
	ShareFrom, ShareTo float64
	// AxisFrom and AxisTo do so for x, y and z where these differ.
	AxisFrom, AxisTo [3]float64
	Origin           string // where the figures come from; may be empty
}

// Even reports whether the link is the same in every direction.
func (l Link) Even() bool { return l.Factor[0] == l.Factor[1] && l.Factor[1] == l.Factor[2] }

// Undo returns the map from the copy back to what it was made from.
func (l Link) Undo() geom.Mat {
	return l.scale([3]float64{1 / l.Factor[0], 1 / l.Factor[1], 1 / l.Factor[2]})
}

func (l Link) do() geom.Mat { return l.scale(l.Factor) }

// scale returns the map that scales by f along the axes of the link's frame.
func (l Link) scale(f [3]float64) geom.Mat {
	d := geom.Mat{{f[0], 0, 0}, {0, f[1], 0}, {0, 0, f[2]}}
	if l.Even() {
		return d
	}
	return l.Axes.Transposed().Mul(d).Mul(l.Axes)
}

// Read reads the links of one table in the recipe's order. Every complaint
// names the link.
func Read(t step.Table, frames map[string]geom.Mat) (links []Link, wrong []string) {
	for i, name := range t.Names {
		l, err := One(name, t.Values[i], frames)
		if err != nil {
			wrong = append(wrong, err.Error())
			continue
		}
		links = append(links, l)
	}
	return links, wrong
}

// One reads one link:
//
//	mould  = "2 %"                                     a share of the larger piece
//	gypsum = { grows = "0.3 %" }                       a share of what it was made from
//	resin  = { volume = "7.28 %" }                     of the volume
//	vinyl  = { x = "2 %", y = "2 %", z = "3 %", frame = "mould" }
//	vinyl  = { x = "2 %", y = "2 %", z = "3 %", frame = { x = [1, 0, 0], y = [0, 1, 0] } }
//	wax    = { shrinks = "2 %", detail = "0.4 mm", origin = "ask your factory" }
//	vinyl  = { shrinks = "3 %", kept = ["12 % at 1 mm", "60 % at 2 mm", "88 % at 4 mm"] }
//
// Every table may also hold detail, or in its place kept: which share of the
// depth survives at which wavelength on the copy, as it was measured. It may hold detail-from, detail-to, shrinks-from,
// shrinks-to, x-from, x-to and so on, and origin; a link with no share at all neither shrinks nor grows.
func One(name string, value any, frames map[string]geom.Mat) (Link, error) {
	l := Link{Name: name, Axes: geom.Identity}
	switch v := value.(type) {
	case float64:
		return l.with(v, v, v, 1-v, 1-v, 1-v)
	case step.Table:
		rest, err := l.detail(v)
		if err != nil {
			return l, err
		}
		return l.table(rest, frames)
	}
	return l, fmt.Errorf("%s: a link is a share such as \"2 %%\" or a table of shares", name)
}

func (l Link) with(sx, sy, sz, fx, fy, fz float64) (Link, error) {
	l.Share, l.Factor = [3]float64{sx, sy, sz}, [3]float64{fx, fy, fz}
	for _, f := range l.Factor {
		if !(f >= 0.5 && f <= 2) {
			return l, fmt.Errorf("%s: a share of %s leaves %s of the size; a link may halve or double it at most", l.Name, Percent(l.Share[0]), Percent(f))
		}
	}
	return l, nil
}

// detail reads what a link's table says beside its share and returns the rest
// of the table.
func (l *Link) detail(t step.Table) (step.Table, error) {
	var rest step.Table
	into := map[string]*float64{"detail": &l.Detail, "detail-from": &l.DetailFrom, "detail-to": &l.DetailTo, "shrinks-from": &l.ShareFrom, "shrinks-to": &l.ShareTo}
	for k, axis := range [3]string{"x", "y", "z"} {
		into[axis+"-from"], into[axis+"-to"] = &l.AxisFrom[k], &l.AxisTo[k]
	}
	for i, name := range t.Names {
		if name == "origin" {
			l.Origin, _ = t.Values[i].(string)
			continue
		}
		if name == "kept" {
			if err := l.keeps(t.Values[i]); err != nil {
				return rest, err
			}
			continue
		}
		if x := into[name]; x != nil {
			v, ok := t.Values[i].(float64)
			if !strings.HasPrefix(name, "detail") && !ok {
				return rest, fmt.Errorf("%s: %s is a share such as \"2 %%\"", l.Name, name)
			}
			if strings.HasPrefix(name, "detail") && (!ok || !(v >= 0 && v <= 100) || i < len(t.Kinds) && t.Kinds[i] != step.Length) {
				return rest, fmt.Errorf("%s: %s is a length such as \"0.5 mm\", from 0 to 100 mm", l.Name, name)
			}
			*x = v
			continue
		}
		rest.Names, rest.Values = append(rest.Names, name), append(rest.Values, t.Values[i])
	}
	if l.Waves != nil && l.Detail != 0 {
		return rest, fmt.Errorf("%s: it holds detail or kept, not both: kept says more", l.Name)
	}
	return rest, nil
}

func (l Link) table(t step.Table, frames map[string]geom.Mat) (Link, error) {
	get := func(key string) (float64, bool) {
		v, _ := t.Get(key)
		x, ok := v.(float64)
		return x, ok
	}
	names := slices.Sorted(slices.Values(t.Names))
	switch strings.Join(names, " ") {
	case "":
		return l.with(0, 0, 0, 1, 1, 1)
	case "shrinks":
		if x, ok := get("shrinks"); ok {
			return l.with(x, x, x, 1-x, 1-x, 1-x)
		}
	case "grows":
		if e, ok := get("grows"); ok {
			return l.with(-e, -e, -e, 1+e, 1+e, 1+e)
		}
	case "volume":
		if s, ok := get("volume"); ok && s < 1 {
			f := CubeRoot(1 - s)
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
	return l, fmt.Errorf("%s: a link's table holds shrinks, or grows, or volume, or x, y, z and frame, and may hold detail and origin; it holds %s", l.Name, strings.Join(t.Names, ", "))
}

func (l Link) inFrame(t step.Table, frames map[string]geom.Mat, x, y, z float64) (Link, error) {
	if f, ok := t.Get("frame"); ok {
		known := false
		if here, ok := f.(step.Table); ok {
			l.Frame = "given in place"
			if l.Axes, known = axesOf(here); !known {
				return l, fmt.Errorf("%s: a frame is two directions at right angles, such as { x = [1, 0, 0], y = [0, 1, 0] }", l.Name)
			}
			return l.with(x, y, z, 1-x, 1-y, 1-z)
		}
		l.Frame, _ = f.(string)
		if l.Axes, known = frames[l.Frame]; !known {
			return l, fmt.Errorf("%s: there is no frame %q among frames", l.Name, l.Frame)
		}
	} else if x != y || y != z {
		return l, fmt.Errorf("%s: shares that differ by axis need a frame: whose x, y and z are they?", l.Name)
	}
	return l.with(x, y, z, 1-x, 1-y, 1-z)
}

// Frames reads frames: name = { x = [..], y = [..] }, two directions at right
// angles; z follows by the right hand.
func Frames(t step.Table) (frames map[string]geom.Mat, wrong []string) {
	frames = map[string]geom.Mat{}
	for i, name := range t.Names {
		given, ok := t.Values[i].(step.Table)
		if !ok {
			wrong = append(wrong, name+": a frame is a table of two directions, x and y")
			continue
		}
		axes, ok := axesOf(given)
		if !ok {
			wrong = append(wrong, name+": a frame is two directions at right angles, such as x = [1, 0, 0] and y = [0, 1, 0]")
			continue
		}
		frames[name] = axes
	}
	return frames, wrong
}

func axesOf(t step.Table) (geom.Mat, bool) {
	x, okx := direction(t, "x")
	y, oky := direction(t, "y")
	if !okx || !oky || len(t.Names) != 2 || math.Abs(x.Dot(y)) > 1e-6 {
		return geom.Mat{}, false
	}
	y = y.Sub(x.Mul(x.Dot(y))).Unit()
	z := x.Cross(y)
	return geom.Mat{{x.X, x.Y, x.Z}, {y.X, y.Y, y.Z}, {z.X, z.Y, z.Z}}, true
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

// CubeRoot returns the cube root of x > 0 by Newton's steps, of the same bits
// on every processor, which math.Cbrt does not promise.
func CubeRoot(x float64) float64 {
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

// Percent writes a share for people.
func Percent(x float64) string { return fmt.Sprintf("%.4g %%", 100*x) }
