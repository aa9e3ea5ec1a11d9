package proportions

import (
	"errors"
	"fmt"
	"math"

	"layette/steps/internal/growth"
	"layette/steps/internal/limb"
)

// published judges against tables and shares of newborns.
func (k *kit) published() {
	size := k.values.Float("size")
	heads := k.of(limb.Head)
	girth := math.NaN()
	if len(heads) > 0 && heads[0].Size["head.girth"] > 0 {
		girth = heads[0].Size["head.girth"]
		z, source, err := k.z(growth.Head, girth/size/10)
		k.reference(heads[0], z, source, err)
		k.band(heads[0], "head.index", heads[0].Size["head.broad"]/heads[0].Size["head.long"], growth.HeadIndex)
		if k.values.Has("length") {
			k.band(heads[0], "head.to-length", girth/size/k.values.Float("length"), growth.HeadToLength)
		}
		if k.values.Has("crown-rump") {
			k.rump(heads[0], girth/size, k.values.Float("crown-rump"))
		}
	}
	for _, p := range k.of(limb.Arm) {
		k.band(p, "arm.to-head", p.Size["mid"]/girth, growth.ArmToHead)
		if k.values.Flag("open-hands") {
			k.band(p, "finger.to-hand", p.Size["finger.middle"]/p.Size["hand"], growth.FingerToHand)
			k.band(p, "palm.to-hand", p.Size["palm"]/p.Size["hand"], growth.PalmToHand)
		}
		for _, q := range k.of(limb.Leg) {
			if p.side == q.side {
				k.band(q, "foot.to-hand", q.Size["foot"]/p.Size["hand"], growth.FootToHand)
			}
		}
	}
	k.canthi(size)
}

// rump warns where head and body differ by more than is usual.
func (k *kit) rump(p *part, girth, rump float64) {
	want := 10 * growth.HeadFromRump(rump/10)
	k.m["head.from-rump"] = girth - want
	if math.Abs(girth-want) > 10*growth.HeadFromRumpMost {
		k.warn(p, "unlike the published", "head.girth", girth-want, "mm", "the head is %.1f mm round at the child's size, and %.1f mm go with %.1f mm from crown to rump: more than 25 mm apart, are they of one child?", girth, want, rump)
	}
}

// band warns where a share lies outside what is published.
func (k *kit) band(p *part, name string, x float64, b growth.Band) {
	if math.IsNaN(x) || math.IsInf(x, 0) || x == 0 {
		return
	}
	key := name
	if p.side != "" {
		key += "." + p.side
	}
	k.m[key] = x
	if !b.Holds(x) {
		k.warn(p, "unlike the published", "", x, "", "%s of %s is %.3f; published is %.3f, mostly %.3f to %.3f (%s)", name, p.name, x, b.Mean, b.Least, b.Most, b.Source)
	}
}

// z returns where a size lies among children of the stated age, sex and weeks.
func (k *kit) z(m growth.Measure, x float64) (float64, growth.Source, error) {
	sex := growth.Boy
	switch k.values.Text("sex") {
	case "girl":
		sex = growth.Girl
	case "not-said":
		return 0, "", errors.New("no reference: the tables part boys and girls, and the recipe does not say which")
	}
	weeks, hasWeeks := 40.0, k.values.Has("gestation")
	if hasWeeks {
		weeks = k.values.Float("gestation")
	}
	days, hasDays := 0.0, k.values.Has("age")
	if hasDays {
		days = k.values.Float("age") / 86400
	}
	var r growth.Reference
	var err error
	switch {
	case !hasWeeks && !hasDays:
		return 0, "", errors.New("no reference: neither age nor weeks of gestation are stated")
	case hasWeeks && weeks < 37 && days > 7:
		return 0, "", fmt.Errorf("no reference: the tables kept here know preterm children at birth only, not after %.0f days", days)
	case hasWeeks && (weeks < 37 || !hasDays):
		r, err = growth.AtBirth(m, sex, math.Floor(weeks*7+0.5))
	default:
		r, err = growth.AtAge(m, sex, days)
	}
	if err != nil {
		return 0, "", err
	}
	return r.Z(x), r.Source, nil
}

// reference judges the head by the tables, and with a stated length whether
// head and body are of one child.
func (k *kit) reference(p *part, z float64, source growth.Source, err error) {
	if err != nil {
		k.notes = append(k.notes, "head girth: "+err.Error())
		return
	}
	k.m["head.z"], k.m["head.reference"] = z, string(source)
	if math.Abs(z) > k.values.Float("z-most") {
		k.warn(p, "unlike the published", "head.girth", z, "", "the head's girth is %.1f mm, %.1f standard deviations from the middle of the age stated (%s): is the age right, and the scale?", p.Size["head.girth"], z, source)
	}
	if !k.values.Has("length") {
		return
	}
	zl, _, err := k.z(growth.Length, k.values.Float("length")/10)
	if err != nil {
		return
	}
	k.m["length.z"] = zl
	if math.Abs(z-zl) > 2 {
		k.warn(p, "unlike the published", "head.girth", z-zl, "", "head and body are %.1f standard deviations apart at the same age: are they of one child?", z-zl)
	}
}

// canthi measures between the corners of the eyes, where they were named.
func (k *kit) canthi(size float64) {
	heads := k.of(limb.Head)
	points, err := limb.Points(k.values, limb.OfFace...)
	if err != nil || len(heads) == 0 {
		return // Check has said what is wrong
	}
	span := func(a, b string) float64 {
		p, ok := points[a]
		q, ok2 := points[b]
		if !ok || !ok2 {
			return math.NaN()
		}
		return p.Sub(q).Len()
	}
	inner, outer, tall := span("inner-left", "inner-right"), span("outer-left", "outer-right"), span("chin", "crown")
	k.m["canthi.inner"], k.m["canthi.outer"], k.m["head.height"] = inner, outer, tall
	k.band(heads[0], "canthus.index", inner/outer, growth.CanthusIndex)
	if k.term() {
		k.band(heads[0], "canthi.inner-of-child", inner/size, growth.InnerCanthi)
		k.band(heads[0], "canthi.outer-of-child", outer/size, growth.OuterCanthi)
	}
}

// term reports whether the child is said to be born at term.
func (k *kit) term() bool {
	return k.values.Has("gestation") && k.values.Float("gestation") >= 37
}
