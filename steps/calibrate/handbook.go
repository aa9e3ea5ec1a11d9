package calibrate

import "layette/engine/step"

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "calibrate",
		Version: 8,
		Summary: "Learns from scans of samples how much a copy truly shrinks and which lines it holds.",
		Method: "Each sample is laid on its master, with a common scale, by its axes of inertia 24 ways round and by the planes of the skin that lie nearest; the best is kept. " +
			"Then a map from sample to master is fitted point to plane with Tukey's weights: shift, turn and stretch, and so that they are not " +
			"taken for shrinkage, all bending, twisting and uneven shrinking that is of second order in place; a bend to an arc towards any side " +
			"is followed to the next order. Shrinkage is a share of the master, (master - sample) / master, at the middle of the master's skin: a part " +
			"that bends keeps its length there. The fit begins on the master's form without what is finer than 8, 4 and 2 mm, so that no line catches a " +
			"neighbouring one. Then the master is softened as the sample seems to be and the fit done again, four times over: the map and " +
			"the detail (the wavelength of which half the depth survives) are solved for together from the sample's points themselves, so " +
			"that nothing is lost between them. A master whose triangles are finer than 0.16 mm is compared on some of its own vertices, 0.2 mm apart. " +
			"The corners of its triangles are taken to lie on the skin that is meant, and that its facets soften what lies between is counted " +
			"with the detail: as a squared detail of 3.56 times the square of an even triangle's edge. The foot of a point that lies off slides along a facet, which is steeper than the skin; that is taken back, so that noise does not pull. Flash and seams are left out: places that lie off by more than 3.5 times the usual over 1.5 mm, and what is beside them.\n\n" +
			"The shares that survive are those of a Gaussian curve, some of which may be of a longer and a shorter detail; where free shares, of three " +
			"wavelengths apart, differ from that by more than chance does in one of a thousand, they are taken and a note says so.\n\n" +
			"Bounds are meant to hold the truth with 95 %: the points are cut into 40 pieces of skin and each is left out in turn (jackknife), so that " +
			"errors which neighbours share count as one; Student's t, for fewer degrees where pieces weigh unevenly (Satterthwaite). That does not show what is off in the whole sample: " +
			"0.0005 mm over half the size of shrinkage and 0.002 of the squared detail are added, as squares add, which is what was left on samples without noise, a tenth of what facets soften, four times the square of the noise, which never lies quite across the skin, and a fifth of what scatter hides. A wave of fewer than three edges of the master's triangles is not told.\n\n" +
			"A sample whose bounds are wider than half a point, or of which the fit leaves too much beyond noise, cannot tell: everything it " +
			"says is unknown, and it is left out. Several samples are averaged, each weighed by its own bounds; where they differ by more than these explain, " +
			"that widens them.\n\n" +
			"What has been shown: see the cautions. Paste the table under the material in the recipe; every stage that uses the material falls due by itself.",
		Sources: []string{
			"ISO 294-4:2018 and ASTM D955 (shrinkage is a share of the mould; measured at 24 and 48 h after demoulding)",
			"ISO 1:2016: lengths are stated at 20 °C",
			"P. J. Besl, N. D. McKay, PAMI 1992 (nearest points); Y. Chen, G. Medioni, 1992 (point to plane); J. W. Tukey (biweight 4.685; jackknife 1958): from memory",
			"R. DerSimonian, N. Laird, 1986; G. Knapp, J. Hartung, 2003 (several samples together): from memory",
			"ISO 16610-21 (Gaussian transmission); see the step relief",
		},
		Cautions: []string{
			"The bounds were tried on simulated samples only: 100 simulated samples of one lump (seeds 0 to 99, version 8, triangles of 0.26 mm, noise 0.05 mm across the skin): shrinkage was off by 0.018 points at most, shares by 0.025 at most at 1 mm and by 0.017 beyond; the bounds held 90/97/97 of 100 along x, y and z, and 94/94/93/97/97/95 at 1, 1.4, 2, 2.8, 4 and 5.7 mm. " +
				"A sample of a hand with triangles of 0.23 mm: 0.004 points, 0.006. " +
				"Measure a length on the sample by hand and hold it against the table before a mould is cut.",
			"Noise is taken to lie across the skin, as it does where a surface was fused from many shots; there it does no harm. Noise of the same size in every direction makes lines look sharper than they are: the squared detail " +
				"comes out less by 28 times the square of the noise (0.07 mm² for 0.05 mm); give scatter = 1, which adds that. Noise straight down onto the skin, as of a single shot, costs twice as much (scatter = 1.4). " +
				"Which way it lies the sample cannot tell: where you do not know, the detail may be that much larger.",
			"Corners of the master are taken to lie on the skin that is meant. If the mould truly has flat facets, waves are told to keep too little: at 1 mm by a sixth with triangles of 0.26 mm, by a fortieth with 0.1 mm.",
			"Of a piece of a sample that shows a twentieth of the skin nothing is told.",
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
			{Name: "scatter", Type: step.Number, Default: "0", Min: "0", Max: "2", Doc: "how far the scan's points lie off along the skin, as a share of how far across it: 0 where a surface was fused from many shots, 1 for noise alike in every direction", Origin: "common practice, no source"},
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
			{Name: "map", Kind: step.Surface, Doc: "the master with the first sample's difference at every vertex (mm, means over places of 1 mm; softening not taken out; NaN: not seen)"},
			{Name: "laid", Kind: step.Surface, Doc: "the first sample, only turned and moved, where the finished part is meant to be: to be compared with a forecast (likeness)"},
			{Name: "pictures", Kind: step.Picture, Many: true, Doc: "the transfer curve and the difference"},
		},
		Memory: 40,
	}
}
