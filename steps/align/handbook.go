package align

import "layette/engine/step"

// Handbook implements step.Kind.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "align",
		Version: 14,
		Summary: "Places the scans of a part in one frame.",
		Method: "Every scan is thinned to an even spacing; of each place the turn of the normals round it is described at two radii. " +
			"Places that look alike in two scans, and lie alike to each other, suggest poses; in the thirty others that look most like a scan " +
			"each is brought nearer by point-to-plane " +
			"fitting with Tukey's weights and judged: how much lies over the other scan, how much of that lies on it, how much would " +
			"hang in front of what the other's scanner saw, and how firmly the shape holds it.\n\n" +
			"From the surest pair a group grows. A scan joins when it fits all its neighbours in the group at once and nowhere else; " +
			"whatever is not sure is left out, with the reason. What has not joined begins groups of its own; two groups join where three scans of both or more lie alike, " +
			"or one or two that are sure in each, or where their skins surely hold each other in one way only; scans about which they disagree are placed anew. After each round, and on finer points at the end, all poses are moved " +
			"together, each pulled by the eight scans and more that it meets best, so that error does not pile up round a limb. Then every scan is judged once more against all its neighbours, by its size too: " +
			"one that they would surely have larger or smaller by more than 3 % shows another child or is in another unit.\n\n" +
			"A casting is the frame that nothing moves. Pins (points of one scan that a person found again in another) make the two " +
			"one body whatever else speaks against it.\n\n" +
			"How firm: when the scan is moved by one mm in the direction its neighbours hold least, its points leave their skin by the " +
			"root of `firm` mm. A ball or a tube gives 0 for a turn about itself; shape gives 0.01 and more; below 0.001 the scan is " +
			"not placed by itself. Nor is it where its distances to its neighbours rise and fall together from place to place, by more than " +
			"2.5 mm of sliding would explain: smooth skin nearly fits in many places.\n\n" +
			"poses.json: {\"format\": \"poses 1\", \"unit\": \"mm\", \"frame\": scan whose own frame is the common one, \"spacing\": mm, " +
			"\"scans\": [{\"name\", \"file\", \"sha256\", \"placed\", \"fixed\", \"rotation\": nine numbers by rows, \"move\": three mm, \"rms\", \"overlap\", " +
			"\"agree\", \"firm\", \"held\": mm, \"loosest\": words, \"neighbours\": names, \"why\": words}]}: a point of a scan's file, in mm, " +
			"goes to rotation · point + move.",
		Sources: []string{
			"R. B. Rusu, N. Blodow, M. Beetz, Fast point feature histograms (FPFH) for 3D registration, 2009 (from memory)",
			"M. Leordeanu, M. Hebert, A spectral technique for correspondence problems using pairwise constraints, 2005 (from memory)",
			"Y. Chen, G. Medioni, Object modelling by registration of multiple range images, 1992 (from memory)",
			"D. F. Huber, M. Hebert, Fully automatic registration of multiple 3D data sets, 2003 (judging by what must have been seen; from memory)",
			"F. Lu, E. Milios, Globally consistent range scan alignment for environment mapping, 1997 (from memory)",
			"R. A. Fisher, Statistical Methods for Research Workers, 1925 (analysis of variance; from memory)",
			"J. W. Tukey's biweight, tuning constant 4.685 (textbook; from memory)",
		},
		Cautions: []string{"Acceptance figures of scanners hold for matt, still bodies, not for skin and not for a child that breathes."},
		Inputs: []step.Input{
			{Name: "scans", Kind: step.Scan, Many: true, Named: true, Doc: "the shots of the part, each in its own frame"},
			{Name: "casting", Kind: step.Surface, Optional: true, Doc: "a casting of the part: the fixed reference"},
		},
		Values: []step.Value{
			{Name: "spacing", Type: step.Length, Optional: true, Min: "0.01 mm", Doc: "spacing that scans are thinned to; left out, it is taken from the scans' size", Origin: "common practice, no source"},
			{Name: "pins", Type: step.Tree, Optional: true, Doc: "for each scan placed by hand: onto which scan, and three or more points of both, in mm"},
		},
		Measures: []step.Measure{
			{Name: "scans", Type: step.Count, Doc: "how many scans there are"},
			{Name: "placed", Type: step.Count, Doc: "how many were placed"},
			{Name: "unplaced", Type: step.Count, Doc: "how many were not, copies left aside"},
			{Name: "copies", Type: step.Count, Doc: "how many are another file again: the same bytes, or the same points in another order or format"},
			{Name: "pairs", Type: step.Count, Doc: "how many pairs of placed scans touch"},
			{Name: "groups", Type: step.Count, Doc: "how many groups hang together that do not join each other; 1 is right"},
			{Name: "residual.rms", Type: step.Length, Resolution: 0.001, Doc: "root mean square distance between scans where they lie on each other, thinned points"},
			{Name: "overlap.least", Type: step.Share, Resolution: 0.001, Doc: "the least share of a placed scan that lies over others"},
			{Name: "agree.least", Type: step.Share, Resolution: 0.001, Doc: "the least share of that which lies on them"},
			{Name: "firm.least", Type: step.Share, Resolution: 1e-5, Doc: "how firmly the loosest placed scan is held"},
			{Name: "loop.worst", Type: step.Length, Resolution: 0.001, Doc: "how far a pair placed by itself lies, at worst, from where all together have it"},
			{Name: "moved.places", Type: step.Count, Doc: "places where the child seems to have moved between shots"},
		},
		Outputs: []step.Output{
			{Name: "poses", Kind: step.Rows, Doc: "where each scan lies, or why it is not placed (JSON)"},
			{Name: "pairs", Kind: step.Rows, Doc: "every two placed scans that touch: overlap, residual, agreement (CSV)"},
			{Name: "table", Kind: step.Rows, Doc: "one line a scan, unplaced ones first: whether it is placed, in which group, the neighbour it lies over most with overlap and residual, how firmly it is held, or why it is not placed (CSV)"},
			{Name: "placed", Kind: step.Surface, Doc: "the placed scans, thinned, each in its own tint: to look at"},
			{Name: "pictures", Kind: step.Picture, Many: true, Doc: "the placed scans from two sides, each in its own tint"},
		},
		Memory: 4,
	}
}
