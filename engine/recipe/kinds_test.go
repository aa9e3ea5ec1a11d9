package recipe

import (
	"context"

	"layette/engine/step"
)

// fake is a step that is only a handbook, for tests of the reader.
type fake struct{ book step.Handbook }

func (f fake) Handbook() step.Handbook                               { return f.book }
func (f fake) Run(context.Context, *step.Job) (*step.Outcome, error) { return &step.Outcome{}, nil }

// picky also complains of a plane at nought.
type picky struct{ fake }

func (picky) Check(v step.Values) []step.Complaint {
	if v.Has("near") && v.Point("near") == [3]float64{} {
		return []step.Complaint{{Value: "near", Says: "the plane goes nowhere", Hint: "give a point near the wrist"}}
	}
	return nil
}

var fakes = []step.Kind{
	fake{step.Handbook{Name: "shape", Version: 1, Summary: "A person shapes the part.", Hand: true,
		Inputs:  []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the person's file"}, {Name: "made-from", Kind: step.Any, Many: true, Optional: true}},
		Outputs: []step.Output{{Name: "surface", Kind: step.Surface}}}},
	fake{step.Handbook{Name: "gap", Version: 3, Summary: "Finds skins that face one another too closely.", Method: "By balls.", Memory: 4,
		Inputs: []step.Input{{Name: "surface", Kind: step.Surface, Doc: "a closed surface"}},
		Values: []step.Value{
			{Name: "least", Type: step.Length, Min: "0.05 mm", Max: "50 mm", Doc: "gaps below this are spots"},
			{Name: "wall", Type: step.Length, Default: "2.2 mm", Origin: "common practice"},
			{Name: "samples", Type: step.Count, Default: "10000", Min: "1"},
			{Name: "factor", Type: step.Number, Optional: true},
			{Name: "mode", Type: step.OneWord, OneOf: []string{"fine", "coarse"}, Default: "fine"},
			{Name: "note", Type: step.String, Optional: true},
		},
		Measures: []step.Measure{
			{Name: "air.least", Type: step.Length, Resolution: 0.001, Doc: "the narrowest gap"},
			{Name: "air.spots", Type: step.Count},
			{Name: "air.all", Type: step.Length, Many: true},
			{Name: "area", Type: step.Number, Unit: "mm²"},
			{Name: "closed", Type: step.Flag},
			{Name: "bend", Type: step.Angle},
		},
		Outputs: []step.Output{{Name: "spots", Kind: step.Rows}, {Name: "picture", Kind: step.Picture}}}},
	fake{step.Handbook{Name: "scale", Version: 1, Summary: "Scales.",
		Inputs:  []step.Input{{Name: "surface", Kind: step.Surface}},
		Values:  []step.Value{{Name: "links", Type: step.Tree}, {Name: "axes", Type: step.Strings, Optional: true}},
		Outputs: []step.Output{{Name: "master", Kind: step.Surface}, {Name: "steps", Kind: step.Rows}}}},
	picky{fake{step.Handbook{Name: "slice", Version: 1, Summary: "Cuts.",
		Inputs:  []step.Input{{Name: "surface", Kind: step.Surface}},
		Values:  []step.Value{{Name: "near", Type: step.Point, Optional: true}, {Name: "name", Type: step.String, Optional: true}, {Name: "dry", Type: step.Flag, Default: "false"}},
		Outputs: []step.Output{{Name: "pieces", Kind: step.Surface, Many: true}}}}},
	fake{step.Handbook{Name: "take", Version: 1, Summary: "Looks at a scan.",
		Inputs:   []step.Input{{Name: "scan", Kind: step.Scan}},
		Measures: []step.Measure{{Name: "points", Type: step.Count}},
		Outputs:  []step.Output{{Name: "scan", Kind: step.Scan}}}},
	fake{step.Handbook{Name: "join", Version: 1, Summary: "Joins scans.",
		Inputs:  []step.Input{{Name: "scans", Kind: step.Scan, Many: true}},
		Outputs: []step.Output{{Name: "surface", Kind: step.Surface}}}},
	fake{step.Handbook{Name: "word", Version: 1, Summary: "A person's word.", Word: true,
		Inputs: []step.Input{{Name: "files", Kind: step.Any, Many: true, Optional: true}}}},
	fake{step.Handbook{Name: "pack", Version: 1, Summary: "Packs.",
		Inputs:  []step.Input{{Name: "masters", Kind: step.Surface, Many: true}, {Name: "copies", Kind: step.Any, Many: true, Optional: true, Named: true}},
		Outputs: []step.Output{{Name: "bag", Kind: step.Any, Many: true}}}},
}
