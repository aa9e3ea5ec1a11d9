package relief

import "layette/engine/step"

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "relief",
		Version: 9,
		Summary: "Tells fine lines from form, and shows what is left of them after moulding.",
		Method: "The skin is split at a wavelength: what is longer along the skin is form, what is shorter is relief, and form + relief is " +
			"the surface exactly. A wave of length l passes into the form with the share 2^-(cutoff/l)², half at the cut-off, as a Gaussian " +
			"filter does (ISO 16610-21). On a skin that filter is heat flow, by the cotangent Laplacian of the form with lumped areas; " +
			"the flow is a Chebyshev series cut below 1e-7, so what is left of error is that of the triangles. Measured on flat waves of 16 " +
			"triangles and more: within 0.002. On skins of over 250,000 vertices whose triangles are far finer than the cut-off, heat flows " +
			"between patches a twentieth of the cut-off wide, or narrower: within 0.001 on the mean, 0.003 of a wave's height as a rule (root mean " +
			"square) and 0.02 at most. Where the form of a narrow web folds over itself, away from the part is what the skin says. Heat flow shrinks round forms; that loss, being a wave of the height longer than six " +
			"cut-offs, goes back to the form, which changes the transmission by 0.0095 at most (at four cut-offs).\n\n" +
			"A line is what lies deeper than `least` below the skin beside it: the form dips under a line, and that dip is taken out by " +
			"filling the lines and averaging again. Depths of lines up to a fifth of the cut-off wide are right to 2 %; of a third, 6 % are taken for " +
			"form, and of wider ones more: they want a longer cut-off. Its width is taken at half its depth. Long " +
			"lines are counted in pieces of three cut-offs.\n\n" +
			"What moulding leaves is the form at the wavelength of which half the depth survives the whole chain: each link holds a detail, " +
			"and their squares add up. No figure for doll vinyl was found in print; measure your own with the step calibrate.\n\n" +
			"Within one cut-off of a rim or a flat opening the filter cannot be trusted; the map marks it and no line there is counted. Nor can it where " +
			"two skins face one another within a cut-off, as where fingers part: it knows one skin at a time. There too the map says so, no depth is told, " +
			"and the picture of the moulded part leaves skin in place that would run through itself. The step gaps measures such places.",
		Sources: []string{
			"ISO 11562 / ISO 16610-21, Gaussian profile filter: transmission 2^-(cutoff/length)² (alpha = 0.4697 seen in Yuan, Vorburger et al., NIST 2000, docslib.org/doc/2401963)",
			"ISO 16610-31, robust Gaussian regression (from memory): the level beside lines",
			"U. Pinkall, K. Polthier, Computing discrete minimal surfaces and their conjugates, 1993 (cotangents; from memory)",
			"H. Tal-Ezer, R. Kosloff, J. Chem. Phys. 1984 (exponential as a Chebyshev series; from memory)",
			"Line softening: no published transfer figure for doll vinyl found; Gaussian form is a proposal to be measured",
		},
		Cautions: []string{
			"How much relief survives is your factory's: mould a sample and calibrate before you trust the picture.",
			"Soft vinyl is stripped by stretching; undercuts are judged by the step stripping, deep narrow lines here only by depth to width.",
		},
		Inputs: []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the part at its finished size"}},
		Values: []step.Value{
			{Name: "cutoff", Type: step.Length, Default: "4 mm", Min: "0.2 mm", Max: "50 mm", Doc: "the wavelength between relief and form", Origin: "common practice, no source"},
			{Name: "links", Type: step.Tree, Optional: true, Doc: "the chain from master to finished part: name = { shrinks = \"2 %\", detail = \"0.5 mm\" }; left out: nothing softens", Origin: "ask your factory"},
			{Name: "frames", Type: step.Tree, Optional: true, Doc: "named frames of links that differ by axis, as in shrinkage"},
			{Name: "least", Type: step.Length, Default: "0.05 mm", Min: "0.001 mm", Doc: "a line less deep is not counted", Origin: "common practice, no source"},
			{Name: "seen", Type: step.Length, Default: "0.03 mm", Doc: "a line less deep than this is not seen: one that is deeper before moulding, and not after, is gone", Origin: "common practice, no source"},
			{Name: "slot", Type: step.Number, Default: "2", Min: "0.1", Doc: "a line deeper than this many times its width is too deep", Origin: "common practice: metal plates thin in such a slot, and vinyl tears in it when stripped"},
			{Name: "regions", Type: step.Tree, Optional: true, Doc: "names for places: nose = { at = [x, y, z], radius = \"8 mm\" }"},
			{Name: "spots", Type: step.Count, Default: "60", Min: "1", Max: "1000", Doc: "how many lines are shown at most"},
		},
		Measures: []step.Measure{
			{Name: "relief.rms", Type: step.Length, Resolution: 0.0001, Doc: "root mean square of the relief over the skin"},
			{Name: "lines", Type: step.Count, Doc: "pieces of lines found"},
			{Name: "lines.gone", Type: step.Count, Doc: "those of them that moulding takes away"},
			{Name: "lines.too-deep", Type: step.Count, Doc: "those of them deeper than `slot` widths"},
			{Name: "lines.unknown", Type: step.Count, Doc: "places between two skins that face one another, as where fingers part: no lines of one skin, and how deep they are is not told; see the step gaps"},
			{Name: "depth.most", Type: step.Length, Resolution: 0.001, Doc: "the deepest line; 0 without lines"},
			{Name: "depth-to-width.most", Type: step.Number, Resolution: 0.01, Doc: "the greatest depth over width; 0 without lines"},
			{Name: "kept.mean", Type: step.Share, Resolution: 0.001, Doc: "what is left of the lines' depth, over all of them; unknown without lines"},
			{Name: "kept.least", Type: step.Share, Resolution: 0.001, Doc: "what is left of the line that loses most; unknown without lines"},
			{Name: "lost.rms", Type: step.Length, Resolution: 0.0001, Doc: "root mean square of what moulding takes off or fills in"},
			{Name: "detail", Type: step.Length, Resolution: 0.001, Doc: "the wavelength of which half the depth survives the chain"},
			{Name: "edge", Type: step.Length, Resolution: 0.001, Doc: "mean edge of the triangles; waves shorter than six edges are not held well"},
			{Name: "beside.share", Type: step.Share, Resolution: 1e-4, Doc: "share of the skin not to be trusted: too near a rim or opening, or between two skins"},
		},
		Outputs: []step.Output{
			{Name: "form", Kind: step.Surface, Doc: "the skin without its relief"},
			{Name: "map", Kind: step.Surface, Doc: "the surface with relief, loss (mm) and trust (1 or 0) at every vertex"},
			{Name: "moulded", Kind: step.Surface, Doc: "the surface as it will come out of the mould, at its finished size"},
			{Name: "rows", Kind: step.Rows, Doc: "one line a piece: place, region, depth, width, depth after moulding (CSV)"},
			{Name: "pictures", Kind: step.Picture, Many: true, Doc: "before and after moulding, and the relief"},
		},
		Memory: 24,
	}
}
