package proportions

import "layette/engine/step"

const practice = "common practice"

// Handbook says what the step needs and what it finds.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "proportions",
		Version: 9,
		Summary: "Measures all parts of a kit together: left against right, against the child's own numbers and castings, and against published tables.",
		Method: `Lengths run between joints: elbow and knee where the limb bends most (see bends), wrist and ankle where, beyond the narrowest place, the tape rises most steeply; girths are those of a tape pulled tight, so that hollows do not count. The head's girth is the greatest tape in planes level with its opening. A hand is measured from the wrist to where the middle finger leaves it and on along the finger; a foot from toes to heel.

Left is mirrored and laid on right, openings first, without hand or foot: their scale tells whether one limb was rescaled. Hand and foot are then fitted alone; against their own limb they tell of another child's. Two parts that lie better on one another unmirrored are the same side.

Where limbs are held differently their skins cannot tell, and the middle of lengths and girths does, with twice the allowance.

The head is compared with the tables of the stated age, sex and weeks of gestation; where a table has no row the answer is "no reference", and nothing is extrapolated. Shares against published ranges are warnings, never faults.`,
		Sources: []string{
			"WHO Child Growth Standards, 2006; INTERGROWTH-21st, Lancet 2014;384:857 and 2016;387:844",
			"Figueira, Segre, Sao Paulo Medical Journal 2004;122; Halder, Dharap, Than, Anthropologischer Anzeiger 1999;57; Sajjan et al. 2022; Moon et al. 2012",
			"Y. Chen, G. Medioni, \"Object modelling by registration of multiple range images\", Image and Vision Computing 1992 (from memory)",
		},
		Cautions: []string{
			"This checks a doll. A warning is never a diagnosis and says nothing about a child.",
			"Children differ: a part outside a published range may be exactly this child.",
		},
		Inputs: []step.Input{
			{Name: "parts", Kind: step.Surface, Many: true, Named: true, Doc: "all parts of the kit; left and right limbs are told by their names"},
			{Name: "references", Kind: step.Surface, Many: true, Optional: true, Named: true, Doc: "castings or merged scans, each of the part it is named for"},
		},
		Values: []step.Value{
			{Name: "sides-within", Type: step.Share, Default: "2 %", Min: "0.1 %", Max: "50 %", Doc: "how far left and right limbs may differ in size", Origin: practice},
			{Name: "end-within", Type: step.Share, Default: "4 %", Min: "0.1 %", Max: "50 %", Doc: "how far hands, or feet, may differ against their own limbs", Origin: practice},
			{Name: "child-within", Type: step.Share, Default: "4 %", Min: "0.1 %", Max: "50 %", Doc: "how far a part may lie from the child's own number", Origin: practice},
			{Name: "child-ends-within", Type: step.Share, Default: "8 %", Min: "0.1 %", Max: "50 %", Doc: "the same for hands and feet: a wrist is found to about 2 mm, an ankle to 6", Origin: practice},
			{Name: "reference-within", Type: step.Share, Default: "2 %", Min: "0.1 %", Max: "50 %", Doc: "how far a part may lie from its casting or scan", Origin: practice},
			{Name: "z-most", Type: step.Number, Default: "2", Min: "0.5", Doc: "standard deviations from the middle that are worth a warning", Origin: practice},
			{Name: "size", Type: step.Number, Default: "1", Min: "0.05", Max: "2", Doc: "size of the kit against the child", Origin: practice},
			{Name: "open-hands", Type: step.Flag, Default: "false", Doc: "fingers are stretched: hands can be held against the published finger index", Origin: practice},
			{Name: "sex", Type: step.OneWord, Default: "not-said", OneOf: []string{"boy", "girl", "not-said"}, Doc: "which table", Origin: practice},
			{Name: "age", Type: step.Time, Optional: true, Doc: "since birth"},
			{Name: "gestation", Type: step.Number, Optional: true, Min: "20", Max: "44", Doc: "weeks of gestation at birth"},
			{Name: "length", Type: step.Length, Optional: true, Doc: "the child's length, crown to heel"},
			{Name: "crown-rump", Type: step.Length, Optional: true, Doc: "the child's length, crown to rump"},
			{Name: "child-head-girth", Type: step.Length, Optional: true, Doc: "the child's head, with a tape"},
			{Name: "child-hand", Type: step.Length, Optional: true, Doc: "the child's hand, wrist to tip of the middle finger"},
			{Name: "child-mid-arm", Type: step.Length, Optional: true, Doc: "round the middle of the upper arm"},
			{Name: "child-foot", Type: step.Length, Optional: true, Doc: "heel to toe"},
			{Name: "points", Type: step.Tree, Optional: true, Doc: "places on the head: inner-left, inner-right, outer-left, outer-right (corners of the eyes), chin, crown, each [x, y, z] in mm"},
		},
		Measures: measures(),
		Outputs:  []step.Output{{Name: "rows", Kind: step.Rows, Doc: "every length and girth of every part"}},
		Memory:   14,
	}
}

// measures declares what is found; what could not be measured is unknown.
func measures() []step.Measure {
	length := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Length, Resolution: 0.01, Doc: doc}
	}
	number := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Number, Resolution: 0.0001, Doc: doc}
	}
	count := func(name, doc string) step.Measure {
		return step.Measure{Name: name, Type: step.Count, Doc: doc}
	}
	list := []step.Measure{
		count("swapped", "limbs that are the same side as their twins"),
		count("sides.differ", "limbs larger than their twins"),
		count("ends.differ", "hands and feet that do not go with their twins"),
		count("own.differ", "sizes that are not the child's"),
		count("references.differ", "parts that are not the size of their casting or scan"),
		count("references.compared", "parts compared with a casting or scan"),
		number("references.most", "the size farthest from that of its casting or scan, as a factor"),
		count("warnings", "shares and sizes outside what is published: to look at, not to judge"),
		number("arms.left-to-right", "left arm against right, as a factor"), number("legs.left-to-right", "left leg against right"),
		number("hands.left-to-right", "left hand against right, each against its own arm"), number("feet.left-to-right", "left foot against right, each against its own leg"),
		length("head.girth", "greatest tape round the head"), length("head.long", "the head's length there"), length("head.broad", "its breadth there"),
		length("head.tall", "from the opening to the crown"), length("head.height", "from chin to crown, where both are named"),
		number("head.z", "standard deviations from the middle of the stated age"), number("length.z", "the same of the stated length"),
		{Name: "head.reference", Type: step.String, Doc: "the table it was compared with"},
		number("head.index", "breadth over length"), number("head.to-length", "head girth over the child's length"),
		length("head.from-rump", "the child's head girth less that which goes with its length from crown to rump"),
		length("canthi.inner", "between the inner corners of the eyes"), length("canthi.outer", "between the outer ones"),
		length("canthi.inner-of-child", "the same at the child's size, for term newborns"), length("canthi.outer-of-child", "the same of the outer ones"),
		number("canthus.index", "inner over outer"),
	}
	for _, side := range []string{"left", "right"} {
		list = append(list,
			length("arm.upper."+side, "opening to elbow"), length("arm.lower."+side, "elbow to wrist"), length("arm.mid."+side, "tape round the middle of the upper arm"),
			length("wrist."+side, "tape round the wrist"), length("hand."+side, "wrist to tip of the middle finger, straightened"),
			length("leg.upper."+side, "opening to knee"), length("leg.lower."+side, "knee to ankle"), length("leg.mid."+side, "tape round the middle of the thigh"),
			length("ankle."+side, "tape round the ankle"), length("foot."+side, "toes to heel"),
			number("arm.to-head."+side, "mid-arm over head girth"), number("finger.to-hand."+side, "middle finger over hand, for open hands"), number("palm.to-hand."+side, "what is left of the hand"), number("foot.to-hand."+side, "foot over hand"),
		)
	}
	return list
}
