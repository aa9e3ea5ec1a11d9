package proportions

import (
	"context"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/limb"
)

// kit is all parts together and what was found of them.
type kit struct {
	values step.Values
	parts  []*part
	twins  []*twin
	spots  []step.Spot
	notes  []string
	m      map[string]any
}

func (k *kit) named(name string) *part {
	for _, p := range k.parts {
		if p.name == name {
			return p
		}
	}
	return nil
}

// of returns the parts of a shape.
func (k *kit) of(s limb.Shape) []*part {
	var out []*part
	for _, p := range k.parts {
		if p.shape == s {
			out = append(out, p)
		}
	}
	return out
}

func (k *kit) count(name string) { k.m[name] = k.m[name].(int64) + 1 }

// fault points at a part where something does not belong.
func (k *kit) fault(counts string, p *part, what, at string, value float64, unit, format string, args ...any) {
	k.count(counts)
	k.spot(p, what, at, value, unit, true, fmt.Sprintf(format, args...))
}

// warn is a remark: a doll outside what is published is not wrong for it.
func (k *kit) warn(p *part, what, at string, value float64, unit, format string, args ...any) {
	k.count("warnings")
	k.spot(p, what, at, value, unit, false, fmt.Sprintf(format, args...))
}

func (k *kit) spot(p *part, what, at string, value float64, unit string, fault bool, says string) {
	if p == nil {
		k.notes = append(k.notes, says)
		return
	}
	q, ok := p.At[at]
	if !ok {
		q = p.Middle
	}
	q = q.Add(p.Origin)
	k.spots = append(k.spots, step.Spot{What: what, At: [3]float64{round(q.X), round(q.Y), round(q.Z)}, Radius: 10, Value: math.Round(value*1e4) / 1e4, Unit: unit, Says: says, Surface: p.file.Name, Part: p.name, Fault: fault})
}

func round(x float64) float64 { return math.Round(x*1000) / 1000 }

// sides judges left against right.
func (k *kit) sides() {
	within, end := k.values.Float("sides-within"), k.values.Float("end-within")
	for _, t := range k.twins {
		ends := map[limb.Shape][2]string{limb.Arm: {"hand", "wrist"}, limb.Leg: {"foot", "ankle"}}[t.left.shape]
		both := map[limb.Shape]string{limb.Arm: "hands", limb.Leg: "feet"}[t.left.shape]
		if t.swapped() {
			p, says := t.wrong()
			k.fault("swapped", p, "wrong side", ends[1], 0, "", "%s", says)
			continue
		}
		what := map[limb.Shape]string{limb.Arm: "arms", limb.Leg: "legs"}[t.left.shape]
		factor, by, slack := t.factor()
		k.m[what+".left-to-right"] = factor
		if math.Abs(factor-1) > within*slack {
			p, q, f := t.left, t.right, factor
			if f < 1 {
				p, q, f = t.right, t.left, 1/f
			}
			k.fault("sides.differ", p, "larger than its twin", "", f, "", "%s is %.1f %% larger than %s, by %s: one of them was rescaled; measure both against the casting or the child's numbers and scale that one back", p.name, 100*(f-1), q.name, by)
		}
		if !t.HasEnd || t.End.RMS > 1.5 {
			k.notes = append(k.notes, fmt.Sprintf("the %s of %s could not be laid on that of %s: whether they go together is not told", ends[0], t.left.name, t.right.name))
			continue
		}
		f := t.End.Scale / factor
		k.m[both+".left-to-right"] = f
		if math.Abs(f-1) > end*slack {
			p := t.left
			k.fault("ends.differ", p, ends[0]+" of another size", ends[1], f, "", "against its own limb the %s of %s is %.1f %% of that of %s: one of them is another child's, or was rescaled alone", ends[0], t.left.name, 100*f, t.right.name)
		}
	}
}

// swapped reports whether the two are the same side: they lie on one another
// far better as they are than mirrored, or somewhat better and both hands say so.
func (t *twin) swapped() bool {
	l, r := t.left.Hand, t.right.Hand
	return t.Whole.RMS > 0.05 && t.Unmirrored.RMS < 0.5*t.Whole.RMS ||
		l != "" && l == r && t.Unmirrored.RMS < t.Whole.RMS
}

// wrong returns which of two parts of the same side has the wrong name, as
// far as its hand tells.
func (t *twin) wrong() (*part, string) {
	for _, p := range []*part{t.left, t.right} {
		if p.Hand != "" && p.Hand != p.side {
			return p, fmt.Sprintf("%s is a %s one: it was mirrored, or given the wrong name; %s and %s are not mirror images", p.name, p.Hand, t.left.name, t.right.name)
		}
	}
	return t.right, fmt.Sprintf("%s and %s are the same side, not mirror images: one was mirrored, or given the wrong name; look which", t.left.name, t.right.name)
}

// factor returns how large left is against right, how that was found, and by
// how much to widen what is allowed: where both are held alike their skins
// tell to a few thousandths; otherwise the middle of their lengths and girths does.
func (t *twin) factor() (float64, string, float64) {
	if t.Limb.RMS < 0.6 {
		return t.Limb.Scale, "the fit of their skins", 1
	}
	var shares []float64
	for _, n := range []string{"upper", "lower", "mid", "wrist", "ankle"} {
		if a, b := t.left.Size[n], t.right.Size[n]; a > 0 && b > 0 {
			shares = append(shares, a/b)
		}
	}
	if len(shares) == 0 {
		return t.Limb.Scale, "the fit of their skins, which are held differently", 2
	}
	return share(shares, 0.5), "the middle of their lengths and girths", 2
}

// share returns the value below which a share of some values lies.
func share(values []float64, part float64) float64 {
	s := slices.Clone(values)
	slices.Sort(s)
	return s[min(int(part*float64(len(s))), len(s)-1)]
}

// child judges the parts against the numbers written down at the session.
func (k *kit) child() {
	within, ends, size := k.values.Float("child-within"), k.values.Float("child-ends-within"), k.values.Float("size")
	for _, w := range []struct {
		value, size string
		shape       limb.Shape
		at          string
		within      float64
	}{
		{"child-head-girth", "head.girth", limb.Head, "head.girth", within},
		{"child-hand", "hand", limb.Arm, "wrist", ends},
		{"child-mid-arm", "mid", limb.Arm, "elbow", within},
		{"child-foot", "foot", limb.Leg, "ankle", ends},
	} {
		if !k.values.Has(w.value) {
			continue
		}
		want := k.values.Float(w.value) * size
		for _, p := range k.of(w.shape) {
			got, ok := p.Size[w.size]
			if !ok {
				k.notes = append(k.notes, fmt.Sprintf("%s could not be measured against the child's own number", p.name))
				continue
			}
			if f := got / want; math.Abs(f-1) > w.within {
				k.fault("own.differ", p, "not the child's size", w.at, f, "", "%s of %s is %.1f mm and the child's was %.1f mm: %+.1f %%; was the part rescaled, or the number taken of another place?", w.size, p.name, got, want, 100*(f-1))
			}
		}
	}
}

// references judges parts against castings and merged scans of the same part.
func (k *kit) references(ctx context.Context, job *step.Job, refs []*part) error {
	within := k.values.Float("reference-within")
	for _, r := range refs {
		p := k.named(r.name)
		if p == nil {
			k.notes = append(k.notes, fmt.Sprintf("%s belongs to no part of the kit", r.file.Name))
			continue
		}
		var shares []float64
		for _, n := range []string{"head.girth", "head.long", "head.broad", "hand", "foot"} {
			if a, b := p.Size[n], r.Size[n]; a > 0 && b > 0 {
				shares = append(shares, a/b)
			}
		}
		if f, ok, err := p.against(ctx, job, r); err != nil {
			return err
		} else if ok {
			shares = []float64{f.Scale}
		}
		if len(shares) == 0 {
			k.notes = append(k.notes, fmt.Sprintf("nothing that %s and %s have in common could be measured", p.file.Name, r.file.Name))
			continue
		}
		f := share(shares, 0.5)
		k.m["references.compared"] = k.m["references.compared"].(int64) + 1
		if most, _ := k.m["references.most"].(float64); math.Abs(f-1) >= math.Abs(most-1) || math.IsNaN(most) {
			k.m["references.most"] = f
		}
		if math.Abs(f-1) > within {
			k.fault("references.differ", p, "rescaled", "wrist", f, "", "%s is %.2f %% of %s in size: it was rescaled since, or the casting was", p.name, 100*f, r.file.Name)
		}
	}
	return nil
}
