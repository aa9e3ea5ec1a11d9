package calibrate

import "layette/engine/step"

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "calibrate",
		Version: 2,
		Summary: "Learns from scans of samples how much a copy truly shrinks and which lines it holds.",
		Method: "Each sample is laid on its master by its axes of inertia and by what lies nearest, in five ways, and the best is kept. Then a map " +
			"from sample to master is fitted point to plane with Tukey's weights: shift, turn, stretch along each axis of the master's " +
			"frame, and so that they are not taken for shrinkage, bending of each axis and twisting about each. Shrinkage is a share of " +
			"the master: (master - sample) / master.\n\n" +
			"Brought to the master's size and shape, the sample's distance from it is compared with what a Gaussian filter takes from the " +
			"master at cut-offs from 0.5 to 8 mm; that gives the detail (the wavelength of which half the depth survives) and the share " +
			"that survives at each wavelength. Then everything is done again against the master softened so, without flash and seams: " +
			"places that lie off by more than four times the usual over 1.5 mm.\n\n" +
			"Bounds are meant to hold the truth with 95 %: the skin is cut into 40 pieces and each is left out in turn (jackknife). That does " +
			"not show what is off in the whole sample, so the bounds are widened, as squares add, by 0.05 points of shrinkage, by a tenth of the " +
			"bending over half the length of the part, and by twice what the fit leaves beyond noise over the same length; shares of depth by 0.05 " +
			"and the detail by 5 %. Noise is what a place does not share with its neighbours. A sample whose shrinkage may be off by more than half " +
			"a point so reckoned cannot tell: everything it says is unknown, and it is left out. Several samples are averaged; the bounds " +
			"grow no narrower than 0.05 points, and where samples differ by more than their own bounds explain, that widens them. A " +
			"recipe's figure outside the bounds is a contradiction and is shown.\n\n" +
			"What has been shown: on 27 simulated samples of one lump of 38 mm, scanned 0.4 mm apart, shrunk by 1 to 6 %, slightly bent, with 0.05 mm " +
			"of noise, flash and a quarter missing, shrinkage was off by 0.077 points at most, and bounds of at most 0.086 points held it 81 times of " +
			"81; the share of depth was off by 0.118 at most and its bounds held it 158 times of 162. Of waves of 1 to 2 mm rather too " +
			"little was found. A sample of the same lump in which lines had caught their neighbours was off by 1.3 points; it says that it cannot " +
			"tell. What has not: real samples, other shapes and sizes, large bends, noise that neighbours share, a hundred samples. The bounds " +
			"are chosen wide, after these same samples, and no source gives the widening.\n\n" +
			"Paste the table under the material in the recipe; every stage that uses the material falls due by itself.",
		Sources: []string{
			"ISO 294-4:2018 and ASTM D955 (shrinkage is a share of the mould; measured at 24 and 48 h after demoulding)",
			"ISO 1:2016: lengths are stated at 20 °C",
			"P. J. Besl, N. D. McKay, PAMI 1992 (nearest points); Y. Chen, G. Medioni, 1992 (point to plane); J. W. Tukey (biweight 4.685; jackknife 1958): from memory",
			"ISO 16610-21 (Gaussian transmission); see the step relief",
		},
		Cautions: []string{
			"The bounds are not proved: they were tried on simulated samples only. Measure a length on the sample by hand and hold it against the table before a mould is cut.",
			"A sample without relief, or one whose noise is as deep as its lines, tells no transfer that is worth keeping.",
			"Let samples rest as the factory does, and write down the hours: vinyl goes on shrinking for a day or two.",
			"A scanner's own scale error goes straight into the shrinkage: scan a length standard beside the sample.",
			"ASTM D955 warns that test figures do not tell the exact size of another part: calibrate each family of parts.",
		},
		Inputs: []step.Input{
			{Name: "master", Kind: step.Surface, Doc: "what the sample was made from, as it was sent"},
			{Name: "samples", Kind: step.Surface, Many: true, Doc: "scans of finished parts, or of the wax, print or casting; pieces may be missing"},
		},
		Values: []step.Value{
			{Name: "material", Type: step.String, Default: "vinyl", Doc: "the material that the table is for"},
			{Name: "link", Type: step.String, Default: "whole-chain", Doc: "the name of what lies between master and sample"},
			{Name: "links", Type: step.Tree, Optional: true, Doc: "the recipe's figures for the same, to be held against what is found"},
			{Name: "frames", Type: step.Tree, Optional: true, Doc: "named frames of links that differ by axis, as in shrinkage"},
			{Name: "date", Type: step.String, Default: "no date given", Doc: "when the samples were measured, as it is to stand in the table"},
			{Name: "hours", Type: step.Time, Optional: true, Doc: "time since demoulding"},
			{Name: "temperature", Type: step.Temperature, Default: "20 degC", Doc: "of the samples when they were scanned"},
			{Name: "expansion", Type: step.Number, Default: "0", Min: "0", Max: "500", Doc: "thermal expansion of the sample, millionths a kelvin; 0 makes no correction to 20 °C", Origin: "ask your supplier"},
			{Name: "reach", Type: step.Length, Default: "2 mm", Min: "0.1 mm", Doc: "how far from the master skin is still taken for the same", Origin: "common practice, no source"},
			{Name: "regions", Type: step.Tree, Optional: true, Doc: "named places whose relief is judged apart: nose = { at = [x, y, z], radius = \"8 mm\" }"},
		},
		Measures: []step.Measure{
			{Name: "samples", Type: step.Count, Doc: "how many samples"},
			{Name: "samples.mute", Type: step.Count, Doc: "how many of them cannot tell and were left out; where none can, all estimates are unknown"},
			{Name: "shrinks", Type: step.Share, Resolution: 1e-5, Doc: "mean shrinkage over the axes, a share of the master"},
			{Name: "shrinks.from", Type: step.Share, Resolution: 1e-5, Doc: "its lower bound"},
			{Name: "shrinks.to", Type: step.Share, Resolution: 1e-5, Doc: "its upper bound"},
			{Name: "shrinks.axes", Type: step.Share, Many: true, Resolution: 1e-5, Doc: "along x, y and z of the master's frame"},
			{Name: "shrinks.axes.from", Type: step.Share, Many: true, Resolution: 1e-5, Doc: "their lower bounds"},
			{Name: "shrinks.axes.to", Type: step.Share, Many: true, Resolution: 1e-5, Doc: "their upper bounds"},
			{Name: "uneven", Type: step.Flag, Doc: "whether the axes differ by more than their bounds"},
			{Name: "detail", Type: step.Length, Resolution: 0.001, Doc: "the wavelength on the sample of which half the depth survives"},
			{Name: "detail.from", Type: step.Length, Resolution: 0.001, Doc: "its lower bound"},
			{Name: "detail.to", Type: step.Length, Resolution: 0.001, Doc: "its upper bound"},
			{Name: "wavelengths", Type: step.Length, Many: true, Resolution: 0.001, Doc: "on the master: where the transfer is told"},
			{Name: "kept", Type: step.Share, Many: true, Resolution: 0.001, Doc: "the share of relief depth that survives there"},
			{Name: "kept.from", Type: step.Share, Many: true, Resolution: 0.001, Doc: "lower bounds"},
			{Name: "kept.to", Type: step.Share, Many: true, Resolution: 0.001, Doc: "upper bounds"},
			{Name: "bend", Type: step.Length, Resolution: 0.001, Doc: "bending and twisting of the sample most bent: 95 of 100 places moved less"},
			{Name: "left", Type: step.Length, Resolution: 0.0001, Doc: "spread of what the fit does not explain, in the worst sample"},
			{Name: "covered.least", Type: step.Share, Resolution: 0.001, Doc: "how much of the master's skin the poorest sample shows"},
			{Name: "hours", Type: step.Number, Unit: "h", Doc: "hours since demoulding; unknown if not given"},
			{Name: "contradicts", Type: step.Flag, Doc: "whether the recipe's figures lie outside the bounds"},
		},
		Outputs: []step.Output{
			{Name: "table", Kind: step.Text, Doc: "a TOML table to paste into the recipe"},
			{Name: "rows", Kind: step.Rows, Doc: "every sample, axis, wavelength and region with its bounds (CSV)"},
			{Name: "map", Kind: step.Surface, Doc: "the master with the first sample's difference at every vertex (mm; form and softening not taken out; NaN: not seen)"},
			{Name: "pictures", Kind: step.Picture, Many: true, Doc: "the transfer curve and the difference"},
		},
		Memory: 40,
	}
}
