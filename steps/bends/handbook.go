package bends

import (
	"layette/engine/step"
	"layette/steps/internal/limb"
)

const (
	practice = "common practice"
	factory  = "ask your factory"
)

// Handbook says what the step needs and what it finds.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "bends",
		Version: 8,
		Summary: "Measures how sharply limbs and fingers bend, the radius on the inner side, and where skin nearly touches its own limb.",
		Method: `The distance along the skin is counted from the edge of the opening and parts it into trunk and branches: five fingers are five branches. Between the opening and the tips the skin is given even values (each the mean of those about it); rings of these lie square to the limb on straight stretches and on evenly bent ones, and turn through a sharp joint without crossing. The part is cut there, and again square to the line through the middles of the cuts where that makes them no larger. Middles and directions of the cuts are the axis.

A bend is a stretch that turns one way. Its angle is that between the directions where it begins and ends; its inside radius is that of a circle through the skin of the inner side, in the plane of the bend, over seven tenths of its turn: creases much shorter than that do not count. On bent tubes of 20 to 120 degrees and radii of 1.05 to 6 times the tube's, angle and inside radius come within 2 %; elbows and knees, which are no tubes, within 5 degrees of their bones.

Where a forearm or shin has grown together with what it lies on, sections go through both and jump to where it leaves again. The angle is then that of the way from the middle of elbow or knee to wrist or ankle, within 5 degrees up to about 120; folded farther, no elbow or knee is found and the bend is unknown: pin the joint and look at it. Hand and foot are no tubes: where the trunk turns at and beyond wrist or ankle is named and not judged; fingers are.

Skin that faces skin of its own limb across less than "least" is looked for where the way between them along the skin is over "apart" and over four times the air: a limb folded onto itself, or a finger curled over the hand. On a head, lips and lids are found so. Touching is no fault: it can be joined; a thin gap is. The least air is measured on the triangles. Air between two fingers side by side is the step gaps' to find.`,
		Sources: append(limb.Sources(),
			"I. Kåsa, \"A circle fitting procedure and its error analysis\", 1976 (from memory)",
			"Penn State Behrend, rotational moulding design: sharp corners lead to blow holes and porosity, bigger is usually better; no figure",
		),
		Cautions: []string{
			"No published figure was found for how sharply a vinyl limb may bend: the limits are practice until your factory gives its own.",
			"A fold of skin that closes along its whole length is measured by the step gaps, not here.",
		},
		Inputs: limb.Inputs(),
		Values: append(limb.Values(),
			step.Value{Name: "named", Type: step.Angle, Default: "15 deg", Min: "3 deg", Max: "90 deg", Doc: "least bend that is named", Origin: practice},
			step.Value{Name: "most", Type: step.Angle, Default: "100 deg", Min: "5 deg", Max: "180 deg", Doc: "bends over this are too sharp", Origin: factory},
			step.Value{Name: "inside", Type: step.Length, Default: "1 mm", Min: "0 mm", Max: "50 mm", Doc: "least inside radius of the bends that are judged by it", Origin: factory},
			step.Value{Name: "judged", Type: step.Angle, Default: "75 deg", Min: "0 deg", Max: "180 deg", Doc: "bends over this are judged by their inside radius", Origin: practice},
			step.Value{Name: "least", Type: step.Length, Default: "1.2 mm", Min: "0.02 mm", Max: "20 mm", Doc: "least air between facing skins of one limb", Origin: factory},
			step.Value{Name: "touch", Type: step.Length, Default: "0.02 mm", Min: "0.001 mm", Max: "1 mm", Doc: "skins nearer than this touch", Origin: practice},
			step.Value{Name: "apart", Type: step.Length, Default: "8 mm", Min: "0.5 mm", Max: "100 mm", Doc: "skins nearer than this along the skin are one fold", Origin: practice},
		),
		Measures: []step.Measure{
			{Name: "opening.count", Type: step.Count, Doc: "openings found: one is right"},
			{Name: "digits", Type: step.Count, Doc: "branches that end in a tip: fingers"},
			{Name: "bends.count", Type: step.Count, Doc: "bends that are named"},
			{Name: "bends.sharpest", Type: step.Angle, Resolution: 0.1, Doc: "greatest angle of a bend that is judged; 0 if none is"},
			{Name: "bends.sharpest-place", Type: step.String, Doc: "where it is"},
			{Name: "bends.too-sharp", Type: step.Count, Doc: "bends over the most that is allowed"},
			{Name: "bends.unknown", Type: step.Count, Doc: "1 for an arm without an elbow or a leg without a knee: where skins have grown together, or for a hand or foot alone; else 0"},
			{Name: "bends.angles", Type: step.Angle, Resolution: 0.1, Many: true, Doc: "angles of all bends, by branch and from the opening on"},
			{Name: "bends.radii", Type: step.Length, Resolution: 0.001, Many: true, Doc: "their inside radii, 200 mm at most"},
			{Name: "inside.least", Type: step.Length, Resolution: 0.001, Doc: "least inside radius of the bends judged by it; 200 mm if there are none"},
			{Name: "inside.spots", Type: step.Count, Doc: "bends with too small an inside radius"},
			{Name: "air.least", Type: step.Length, Resolution: 0.001, Doc: "least air between skins of one limb that do not touch; the least asked for if none is nearer"},
			{Name: "air.curled", Type: step.Count, Doc: "branches curled over what they grow from, nearly touching"},
			{Name: "air.folded", Type: step.Count, Doc: "branches folded onto themselves, nearly touching"},
			{Name: "air.touching", Type: step.Count, Doc: "branches that touch what they grow from, or themselves"},
			{Name: "joint.elbow", Type: step.Angle, Resolution: 0.1, Doc: "bend at the elbow; 0 if there is none"},
			{Name: "joint.wrist", Type: step.Angle, Resolution: 0.1, Doc: "bend at the wrist"},
			{Name: "joint.knee", Type: step.Angle, Resolution: 0.1, Doc: "bend at the knee"},
			{Name: "joint.ankle", Type: step.Angle, Resolution: 0.1, Doc: "bend at the ankle"},
		},
		Outputs: []step.Output{
			{Name: "map", Kind: step.Surface, Doc: "the surface with distance (mm), ring and turn (degrees over one radius of the limb) at each vertex; -1 where the skin does not lead"},
			{Name: "rows", Kind: step.Rows, Doc: "every bend and every near skin as a row, with advice"},
		},
		Memory: 10,
	}
}
