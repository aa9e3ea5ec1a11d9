// Package region reads the named places of a part from a recipe.
package region

import (
	"fmt"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// Ball is a named place of the part.
type Ball struct {
	Name     string
	At       geom.Vec
	Radius   float64 // mm
	Strength float64 // share of what is done elsewhere; 1 unless stated
}

// Read reads name = { at = [x, y, z], radius = "8 mm", strength = "50 %" }.
func Read(t step.Table) (all []Ball, wrong []string) {
	for i, name := range t.Names {
		r := Ball{Name: name, Strength: 1}
		in, _ := t.Values[i].(step.Table)
		at, _ := in.Get("at")
		p, okAt := at.([]float64)
		radius, _ := in.Get("radius")
		length, okRadius := radius.(float64)
		known := 2
		if s, given := in.Get("strength"); given {
			known++
			share, ok := s.(float64)
			if !ok || !(share >= 0 && share <= 2) {
				wrong = append(wrong, name+": strength is a share from 0 % to 200 %")
				continue
			}
			r.Strength = share
		}
		if !okAt || len(p) != 3 || !okRadius || !(length > 0 && length < 1e4) || len(in.Names) != known {
			wrong = append(wrong, fmt.Sprintf("%s: a region is { at = [x, y, z], radius = \"8 mm\" } and may have a strength", name))
			continue
		}
		r.At, r.Radius = geom.Vec{X: p[0], Y: p[1], Z: p[2]}, length
		all = append(all, r)
	}
	return all, wrong
}

// Name names the smallest region that p lies in, or nothing.
func Name(all []Ball, p geom.Vec) string {
	name, radius := "", 0.0
	for _, r := range all {
		if p.Sub(r.At).Len2() <= float64(r.Radius*r.Radius) && (name == "" || r.Radius < radius) {
			name, radius = r.Name, r.Radius
		}
	}
	return name
}

// Strength returns how strongly to work at p: 1, or what the region there
// says, blended over the outer third of each region so that no edge shows. Of
// regions that overlap the last one counts most.
func Strength(all []Ball, p geom.Vec) float64 {
	s := 1.0
	for _, r := range all {
		d := p.Sub(r.At).Len() / r.Radius
		if d >= 1 {
			continue
		}
		w := min(1, 3*(1-d))
		w = float64(w*w) * (3 - 2*w)
		s += float64(w * (r.Strength - s))
	}
	return s
}
