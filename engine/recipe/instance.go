package recipe

import (
	"strings"

	"layette/engine/step"
)

// Quantity returns the named quantity as it counts for one part and one scan
// (each may be empty), or nil if the recipe has none of that name. For a part,
// "part.longest" is the part's own; "part.name", "part.mirror" and "scan.name"
// are texts.
func (r *Recipe) Quantity(name, part, scan string) *Quantity {
	if q := own(name, part, scan); q != nil {
		return q
	}
	if rest, ok := cutPrefix(name, "part."); ok {
		if rest == "mirror" {
			return &Quantity{Name: name, Type: step.String, Value: r.mirror(part)}
		}
		name = "parts." + part + "." + rest
	}
	q := r.Quantities[name]
	if q == nil {
		return nil
	}
	for i := len(q.For) - 1; i >= 0; i-- {
		if q.For[i].Given.covers(part, scan) {
			return q.For[i]
		}
	}
	return q
}

func cutPrefix(s, prefix string) (string, bool) {
	if len(s) > len(prefix) && s[:len(prefix)] == prefix {
		return s[len(prefix):], true
	}
	return "", false
}

// own returns what the words "part.name" and "scan.name" stand for.
func own(name, part, scan string) *Quantity {
	switch name {
	case "part.name":
		return &Quantity{Name: name, Type: step.String, Value: part}
	case "scan.name":
		return &Quantity{Name: name, Type: step.String, Value: scan}
	}
	return nil
}

func (r *Recipe) mirror(part string) string {
	for _, p := range r.Parts {
		if p.Name == part {
			return p.Mirror
		}
	}
	return ""
}

// covers reports whether the override is meant for this part and scan.
func (g *Given) covers(part, scan string) bool {
	return (g.Part == "" || g.Part == part) && (g.Scan == "" || g.Scan == scan)
}

// At returns what the value is for one part and one scan (each may be empty),
// as step.Values holds it, and the quantity it refers to, or nil where it was
// written out. The value itself is nil where this part or scan has none: an
// optional value that the model sheet gives to another only.
func (v *StageValue) At(r *Recipe, part, scan string) (any, *Quantity) {
	for i := len(v.Given) - 1; i >= 0; i-- {
		if v.Given[i].covers(part, scan) {
			return v.Given[i].Value, nil
		}
	}
	if v.Refer == "" {
		return v.Value, nil
	}
	q := r.Quantity(v.Refer, part, scan)
	if q == nil {
		return v.Value, nil
	}
	return fit(q.Value, q.Type, v.Type), q
}

// fit turns a quantity's value into what a step's value of the wanted type
// holds: a count may stand for a number and the other way round.
func fit(value any, from, want step.ValueType) any {
	switch n := value.(type) {
	case int64:
		if want == step.Number {
			return float64(n)
		}
	case float64:
		if want == step.Count && from == step.Number {
			return int64(n)
		}
	}
	return value
}

// FilesAt returns the globs (see Match) of the input's files, below the model's
// folder or the input's Folder, for one part and one scan,
// with "{part}" and "{scan}" filled in. A scan is its path below the model.
func (in *Input) FilesAt(part, scan string) []string {
	globs := in.Files
	for i := len(in.Given) - 1; i >= 0; i-- {
		if in.Given[i].covers(part, scan) {
			globs = in.Given[i].Value.([]string)
			break
		}
	}
	filled := make([]string, len(globs))
	for i, glob := range globs {
		filled[i] = fill(glob, part, scan)
	}
	return filled
}

// fill puts the part's and scan's names into a glob.
func fill(glob, part, scan string) string {
	plain := strings.NewReplacer(`\`, `\\`, "*", `\*`, "?", `\?`, "[", `\[`)
	return strings.NewReplacer("{part}", part, "{scan}", plain.Replace(scan)).Replace(glob)
}
