package deepen

import "layette/engine/step"

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "deepen",
		Version: 8,
		Summary: "Finds the master whose moulded outcome is nearest to the wanted part: lines deepened by what moulding takes.",
		Method: "The chain of copies holds a detail: the wavelength of which half the depth survives, the root of the sum of squares of " +
			"the links' own. A wave of length l keeps 2^-(detail/l)² of its depth, so it is cut 1 / 2^-(detail/l)² times as deep. Where a " +
			"link was measured wavelength by wavelength, kept = [\"12 % at 1 mm\", \"60 % at 2 mm\"] stands in place of its detail. That is " +
			"done for all waves at once, along the skin, and then the outcome of the new surface is predicted and what is still missing " +
			"is put on twice more (P. H. van Cittert, 1931). Waves longer than six details are form and are left alone. Where a wave asks for " +
			"about `gain` and more it is damped, so that it never becomes deeper than that, and what is far finer than the process can hold " +
			"stays as it is; a plain cut there would leave ripples beside every sharp line. Nor is made deeper what is less than three or four triangles long: that is " +
			"how the skin was cut into triangles, not how the child is.\n\n" +
			"Limits hold it back: no wave becomes more than `gain` times as deep; no place moves farther than " +
			"`most`; skins that face each other across air, by touching balls as in the step gaps, do not come nearer than `gap`, or, where " +
			"they are nearer as wanted, than they are; the two walls of one such line may by a twentieth, for a line round a finger is cut toward its middle. " +
			"No wall of a line becomes steeper than `steepest` off the skin beside the line, which is the skin with its lines filled, and none " +
			"begins to overhang it; one that stands steeper as wanted may lean by 3 degrees more. Where the skin folds over itself within " +
			"a detail or two the correction may run past what is wanted: there it is taken back until the forecast does not. " +
			"Where the relief is no more than the scan's `noise` nothing is deepened; regions and a painted surface say how " +
			"strongly. Rims and flat openings are not moved.\n\n" +
			"The forecast is the predicted finished part: the same process applied to the new surface, measured along its own form. Each " +
			"line is listed with its depth as wanted, on the master, as it would be without deepening, and as it will be.",
		Sources: []string{
			"Line deepening: gain = 1/H of a Gaussian low-pass is a model, not a published rule for vinyl; measure your own with the step calibrate",
			"G. Taubin, A signal processing approach to fair surface design, SIGGRAPH 1995 (from memory): what the triangles cannot tell",
			"A. N. Tikhonov, Solution of incorrectly formulated problems and the regularization method, Soviet Mathematics Doklady 1963, and J. D. Riley, Solving systems of linear equations with a positive definite, symmetric, but possibly ill-conditioned coefficient matrix, MTAC 1955 (both from memory): damping, twice iterated",
			"P. H. van Cittert, Zum Einfluss der Spaltbreite auf die Intensitätsverteilung in Spektrallinien II, Zeitschrift für Physik 1931 (from memory)",
			"ISO 16610-21 (Gaussian transmission); see the step relief",
		},
		Cautions: []string{
			"Look at the deepened surface before a mould is cut: gaps, stripping and hollow are to be checked on it again.",
			"A scan from life is already softened by the skin's own translucency; deepen from castings where there are any.",
		},
		Inputs: []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the part as it is wanted, at its finished size"}},
		Values: []step.Value{
			{Name: "links", Type: step.Tree, Doc: "the chain from master to finished part: name = { shrinks = \"2 %\", detail = \"0.5 mm\" }, or kept = [\"12 % at 1 mm\", \"60 % at 2 mm\"] in place of detail", Origin: "ask your factory"},
			{Name: "frames", Type: step.Tree, Optional: true, Doc: "named frames of links that differ by axis, as in shrinkage"},
			{Name: "gain", Type: step.Number, Default: "3", Min: "1", Max: "10", Doc: "no wave becomes more than this many times as deep", Origin: "common practice: 2 to 3"},
			{Name: "most", Type: step.Length, Default: "0.5 mm", Min: "0 mm", Doc: "no place moves farther than this", Origin: "common practice, no source"},
			{Name: "gap", Type: step.Length, Default: "1.2 mm", Min: "0 mm", Doc: "the least air: skins that face each other come no nearer than this; 0 does not look", Origin: "ask your factory"},
			{Name: "steepest", Type: step.Number, Default: "4", Min: "0.1", Doc: "how steep the wall of a line may become off the skin beside it: rise over run", Origin: "common practice, no source"},
			{Name: "noise", Type: step.Length, Default: "0.003 mm", Min: "0 mm", Doc: "root mean square of the noise left in the surface; relief no stronger is left alone", Origin: "measure yours: relief.rms of a smooth place"},
			{Name: "regions", Type: step.Tree, Optional: true, Doc: "named places and how strongly they are deepened: nose = { at = [x, y, z], radius = \"8 mm\", strength = \"50 %\" }"},
			{Name: "painted", Type: step.Flag, Default: "false", Doc: "the surface's colours say how strongly: white fully, black not at all"},
			{Name: "cutoff", Type: step.Length, Default: "4 mm", Min: "0.2 mm", Max: "50 mm", Doc: "the wavelength between relief and form in which lines are counted", Origin: "common practice, no source"},
			{Name: "least", Type: step.Length, Default: "0.05 mm", Min: "0.001 mm", Doc: "a line less deep is not listed", Origin: "common practice, no source"},
			{Name: "allow", Type: step.Length, Default: "0.03 mm", Min: "0.001 mm", Doc: "how far a line's depth may miss what is wanted before it is shown as a fault", Origin: "common practice, no source"},
			{Name: "spots", Type: step.Count, Default: "60", Min: "1", Max: "1000", Doc: "how many lines are shown at most"},
		},
		Measures: []step.Measure{
			{Name: "detail", Type: step.Length, Resolution: 0.001, Doc: "the wavelength of which half the depth survives the chain"},
			{Name: "moved.rms", Type: step.Length, Resolution: 0.0001, Doc: "root mean square of how far the skin was moved"},
			{Name: "moved.in", Type: step.Length, Resolution: 0.001, Doc: "the farthest that any place was cut in"},
			{Name: "moved.out", Type: step.Length, Resolution: 0.001, Doc: "the farthest that any place was raised"},
			{Name: "moved.mean", Type: step.Length, Resolution: 0.0001, Doc: "mean of it, raised positive: what the size changed by"},
			{Name: "error.before", Type: step.Length, Resolution: 0.0001, Doc: "root mean square of wanted against predicted without deepening"},
			{Name: "error.after", Type: step.Length, Resolution: 0.0001, Doc: "the same with deepening"},
			{Name: "error.free", Type: step.Length, Resolution: 0.0001, Doc: "the same where no limit held"},
			{Name: "limited.share", Type: step.Share, Resolution: 1e-4, Doc: "share of the skin where a limit held"},
			{Name: "limited.most", Type: step.Share, Resolution: 1e-4, Doc: "share where `most` held"},
			{Name: "limited.gap", Type: step.Share, Resolution: 1e-4, Doc: "share where `gap` held"},
			{Name: "limited.steep", Type: step.Share, Resolution: 1e-4, Doc: "share where `steepest` held"},
			{Name: "limited.overhang", Type: step.Share, Resolution: 1e-4, Doc: "share where a wall would have overhung that does not as wanted, or farther than it does"},
			{Name: "limited.fold", Type: step.Share, Resolution: 1e-4, Doc: "share where the skin folds over itself and more would have gone past what is wanted"},
			{Name: "quiet.share", Type: step.Share, Resolution: 1e-4, Doc: "share left alone because the scan holds only noise there"},
			{Name: "lines", Type: step.Count, Doc: "pieces of lines"},
			{Name: "lines.short", Type: step.Count, Doc: "those that will be shallower than wanted by more than `allow`"},
			{Name: "lines.asked", Type: step.Count, Doc: "those left shallower by more than that because regions or paint ask for less; they are in neither of the other two"},
			{Name: "lines.over", Type: step.Count, Doc: "those that will be deeper by more than that"},
		},
		Outputs: []step.Output{
			{Name: "master", Kind: step.Surface, Doc: "the deepened surface, at finished size: shrinkage comes after"},
			{Name: "forecast", Kind: step.Surface, Doc: "the predicted finished part"},
			{Name: "map", Kind: step.Surface, Doc: "the wanted surface with moved, error (mm) and limit at every vertex (0 none, 1 most, 2 gap, 3 steepest, 4 noise, 5 strength, 6 gain, 7 overhang, 8 fold)"},
			{Name: "rows", Kind: step.Rows, Doc: "one line a piece: depth wanted, on the master, without deepening, predicted (CSV)"},
			{Name: "pictures", Kind: step.Picture, Many: true, Doc: "wanted beside deepened, wanted beside predicted, the error left; wanted beside predicted for each of the first eight regions"},
		},
		Memory: 26,
	}
}
