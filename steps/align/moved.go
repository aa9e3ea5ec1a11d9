package align

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// movedPlace is a region of a placed scan that lies off most of the others that
// saw the place, while the rest of the scan lies on them: the child moved. If it
// moved for good, the scans of the rarer state are told, for the place is in
// two states whichever is kept.
type movedPlace struct {
	scan   int
	at     geom.Vec // in the common frame
	radius float64  // mm
	off    float64  // mm, median
	points int
}

// fewMoved is how many thinned points a region needs; smaller ones are noise
// at borders. Common practice, no source.
const fewMoved = 15

// findMoved looks in every placed scan for regions off their neighbours.
func (r *result) findMoved(ctx context.Context) error {
	found := make([][]movedPlace, len(r.g.order))
	err := r.s.each(ctx, len(found), func(k int) error {
		found[k] = r.movedIn(r.g.order[k])
		return nil
	})
	for _, f := range found {
		r.moved = append(r.moved, f...)
	}
	slices.SortStableFunc(r.moved, func(a, b movedPlace) int {
		return cmp.Or(cmp.Compare(b.points, a.points), cmp.Compare(a.scan, b.scan))
	})
	return err
}

// movedIn returns the regions of one scan.
func (r *result) movedIn(i int) []movedPlace {
	c := r.s.scans[i].view
	off := r.offsets(i)
	var regions []movedPlace
	done := make([]bool, len(off))
	var near []geom.Near
	for k := range off {
		if done[k] || !(off[k] > 0) {
			continue
		}
		region := []int32{int32(k)}
		done[k] = true
		for h := 0; h < len(region); h++ {
			near = c.Tree.Within(c.Points[region[h]].Vec(), 1.8*c.Spacing, near[:0])
			for _, q := range near {
				if !done[q.ID] && off[q.ID] > 0 {
					done[q.ID] = true
					region = append(region, q.ID)
				}
			}
		}
		if len(region) >= fewMoved {
			regions = append(regions, r.describe(i, region, off))
		}
	}
	return regions
}

func (r *result) describe(i int, region []int32, off []float64) movedPlace {
	c := r.s.scans[i].view
	m := movedPlace{scan: i, points: len(region)}
	var far []float64
	for _, k := range region {
		m.at = m.at.Add(r.g.at[i].Apply(c.Points[k].Vec()))
		far = append(far, off[k])
	}
	m.at = m.at.Mul(1 / float64(len(region)))
	slices.Sort(far)
	m.off = far[len(far)/2]
	for _, k := range region {
		m.radius = max(m.radius, r.g.at[i].Apply(c.Points[k].Vec()).Sub(m.at).Len())
	}
	return m
}

// offsets returns for each point of scan i how far it lies off, mm, the median
// of those neighbours it lies off, if they are two or more and more than those
// it lies on; else 0.
func (r *result) offsets(i int) []float64 {
	c := r.s.scans[i].view
	off, on := make([][]float64, len(c.Points)), make([]int, len(c.Points))
	doubtful, rest := r.beside(i)
	for _, o := range doubtful {
		r.compare(i, o, func(k int) bool { return true }, off, on)
	}
	for _, o := range rest {
		r.compare(i, o, func(k int) bool { return len(off[k]) > 0 }, off, on)
	}
	far := make([]float64, len(off))
	for k, list := range off {
		if len(list) > max(1, on[k]) {
			slices.Sort(list)
			far[k] = list[len(list)/2]
		}
	}
	return far
}

// beside returns the members that scan i touches: those that it does not lie on
// here and there, and the rest.
func (r *result) beside(i int) (doubtful, rest []int) {
	for k := range r.pairs {
		p := &r.pairs[k]
		if p.a != i && p.b != i {
			continue
		}
		m := &p.meeting
		if m.OverA+m.OverB-m.On+m.Clash >= 3 {
			doubtful = append(doubtful, p.a+p.b-i)
		} else {
			rest = append(rest, p.a+p.b-i)
		}
	}
	return doubtful, rest
}

// compare adds to what is known of scan i's points, those that ask allows, what
// scan o says of them.
func (r *result) compare(i, o int, ask func(k int) bool, off [][]float64, on []int) {
	c, b := r.s.scans[i].view, r.s.scans[o].view
	to := r.g.at[i].Then(r.g.at[o].Inverse())
	lim := max(3*r.s.ratio*r.s.noise(i, o), r.s.within(i, o)) + float64(0.1*c.Spacing)
	for k := range off {
		if c.Rim[k] || !ask(k) {
			continue
		}
		at := to.Apply(c.Points[k].Vec())
		if b.Sight != nil {
			if gap, ok := b.Sight.InFront(at); ok && gap > 0 {
				off[k] = append(off[k], gap)
				continue
			}
		}
		if d, ok := above(at, to.Rot.Apply(c.Normals[k].Vec()), b, 4*c.Spacing); ok && math.Abs(d) <= lim {
			on[k]++
		} else if ok {
			off[k] = append(off[k], math.Abs(d))
		}
	}
}

// above returns how far p is from b's skin if it lies square above or below it
// and faces the same way: what faces the other way is the far side of a thin
// part, such as an ear or a fingertip.
func above(p, normal geom.Vec, b geom.View, reach float64) (float64, bool) {
	near := b.Nearest(p, reach)
	if near.ID < 0 || b.Rim[near.ID] {
		return 0, false
	}
	n, d := b.Normals[near.ID].Vec(), p.Sub(b.Points[near.ID].Vec())
	off := d.Dot(n)
	beside := d.Len2() - float64(off*off)
	return off, beside <= float64(2.25*b.Spacing)*b.Spacing && n.Dot(normal) > 0.7
}
