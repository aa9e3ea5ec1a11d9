package gaps

import "layette/engine/step"

const (
	published = "published: "
	practice  = "common practice"
	factory   = "ask your factory"
)

// Handbook says what the step needs and what it finds.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "gaps",
		Version: 8,
		Summary: "Measures how close skins come: air between fingers, folds, crevices, lines, inside corners, and solid between facing walls.",
		Method: `At every place of the skin a ball grows out of it, into the air and into the solid, until it touches the skin a second time. Its diameter is the gap to the facing skin, or the thickness; where the skin turns, its radius is that of the corner. Triangles are cut until no edge is longer than "spacing"; the least values are then measured again on the triangles themselves, so that they are exact for the surface as it is.

Two skins are a gap if they face within 60 degrees, and the way from one to the other along the skin is over four times the gap and over "apart". Nearer along the skin they are the walls of a fold, or of a crevice if balls shrink towards where the walls would meet. So do the balls between splayed fingers, down to the web at their roots: walls that open by over 6 degrees and only come nearer until they meet are those of a crevice, too; a gap has its least width where they stop coming nearer. Where on the way down they lie along one another, within 3 degrees, for longer than they open, as under a finger curled over the palm that meets it only at its root, they are a gap as wide as there. A gap is named by the solid behind it: slimmer than "digit" on both sides it is a finger gap, on one side a curled finger; on a face lips and ears are as slim. Skins that touch or run into one another are neither gap nor wall.

Air between fingers and solid between facing walls are different things. Between fingers the mould is a thin fin of metal that has to plate into a slot of the wax: a slot deeper than wide plates thin. Its depth is measured along the skin from where it is twice as wide as at its narrowest. The solid is the cavity of the mould, thin where a third of the skin round about is as thin: its facing walls should be three walls of vinyl apart at least and five at best, or vinyl bridges them; a newborn's digits never are, and a recipe says that they fill solid.

An inside corner is too sharp if giving it the radius asked for takes more filling at its bottom than "rough": a wide open one, as where few triangles go round a bend, is none. Where triangles are so large that the radius asked for would show as one edge, only corners between flat walls are judged; how many others there are is said.

Curves give the values under which 0, 1, 5, 25, 50, 75 and 100 % of the skin concerned lies.`,
		Sources: []string{
			"J. Ma, S. W. Bae, S. Choi, \"3D medial axis point approximation using nearest neighbors and the normal field\", The Visual Computer 28, 2012 (from memory)",
			"firstratemold.com, design considerations of rotational molding: facing walls 3 to 5 walls apart; corners under 45 degrees bridge",
			"electroforming: recesses deeper than about their width plate thin (common practice, no source)",
		},
		Cautions: []string{
			"Published figures are for rotational moulding of powder and for electroforming at large; your factory's own figures replace them.",
			"A sound number here does not show that the part moulds: bends, stripping and hollows are checked by other steps.",
		},
		Inputs: []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the part to be moulded, closed and right way round; what is not is said, and measured as far as it can be"}},
		Values: []step.Value{
			{Name: "least", Type: step.Length, Default: "1.2 mm", Min: "0.02 mm", Max: "20 mm", Doc: "least air between facing skins of two limbs", Origin: factory},
			{Name: "widest", Type: step.Length, Default: "3 mm", Min: "0.1 mm", Max: "30 mm", Doc: "widest air gap and inside corner looked for; at least one and a half times the least gap is", Origin: practice},
			{Name: "touch", Type: step.Length, Default: "0.02 mm", Min: "0.001 mm", Max: "1 mm", Doc: "skins nearer than this touch", Origin: practice},
			{Name: "wall", Type: step.Length, Default: "2.5 mm", Min: "0.2 mm", Max: "20 mm", Doc: "wall of the vinyl, for facing walls of the cavity", Origin: factory},
			{Name: "fills-solid", Type: step.Flag, Default: "false", Doc: "slim limbs may fill solid: facing cavity walls under three walls are remarks, not faults", Origin: factory},
			{Name: "digit", Type: step.Length, Default: "10 mm", Min: "1 mm", Max: "50 mm", Doc: "solid slimmer than this is a finger or a toe", Origin: practice},
			{Name: "apart", Type: step.Length, Default: "8 mm", Min: "0.5 mm", Max: "100 mm", Doc: "facing skins farther apart than this along the skin are two limbs, nearer ones a fold: a fold half as deep at most", Origin: practice},
			{Name: "corner", Type: step.Length, Default: "0.3 mm", Min: "0 mm", Max: "10 mm", Doc: "least radius of an inside corner; one wall of vinyl is common practice, lines need less", Origin: factory},
			{Name: "crevice", Type: step.Angle, Default: "45 deg", Min: "0 deg", Max: "60 deg", Doc: "least angle between two walls that meet", Origin: published + "firstratemold.com, design considerations of rotational molding"},
			{Name: "slot-warn", Type: step.Number, Default: "1", Min: "0", Doc: "depth of a slot over its width that is worth a remark", Origin: practice},
			{Name: "slot-fail", Type: step.Number, Default: "2", Min: "0", Doc: "depth of a slot over its width that is a fault", Origin: practice},
			{Name: "spacing", Type: step.Length, Default: "0.4 mm", Min: "0.02 mm", Max: "5 mm", Doc: "longest edge that is looked at whole; longer ones are halved", Origin: practice},
			{Name: "rough", Type: step.Length, Default: "0.1 mm", Min: "0 mm", Max: "2 mm", Doc: "bumps lower than this are no corner, and corners filled by less are round enough: about twice the noise of the scanner", Origin: practice},
		},
		Measures: []step.Measure{
			length("air.least", "least air between skins of two limbs; the widest looked for if none is narrower"),
			{Name: "air.area", Type: step.Number, Unit: "mm²", Resolution: 0.01, Doc: "skin on one side of gaps under the least"},
			count("air.spots", "gaps under the least"),
			count("air.fingers", "of these, between two slim limbs"),
			count("air.curled", "of these, between a slim limb and a broad one"),
			count("air.touching", "places where skins touch or run into one another"),
			curve("air.curve", "air between skins of two limbs, over the skin that has any"),
			count("slot.folds", "folds deeper than slot-warn times their width"),
			{Name: "slot.ratio", Type: step.Number, Resolution: 0.01, Doc: "greatest depth over width of a gap or fold; 0 if there is none"},
			length("slot.depth", "depth of the deepest fold"),
			{Name: "crevice.least", Type: step.Angle, Resolution: 0.1, Doc: "least angle between walls that meet; 180 if none do"},
			count("crevice.spots", "crevices under the least angle"),
			count("line.count", "V-shaped lines"),
			length("line.width", "width of the widest line"),
			length("line.depth", "depth of the deepest line"),
			length("corner.least", "least radius of an inside corner, 0 for a sharp edge; half the widest gap looked for if there is none"),
			count("corner.spots", "inside corners and lines under the least radius"),
			curve("corner.curve", "radius of inside corners, over the skin in corners"),
			length("outside.least", "least radius of an outside corner"),
			curve("outside.curve", "radius of outside corners, over the skin in corners"),
			length("solid.least", "least thickness of the solid: facing walls of the cavity"),
			{Name: "solid.area", Type: step.Number, Unit: "mm²", Resolution: 0.01, Doc: "skin over solid under three walls thick"},
			curve("solid.curve", "thickness, over the skin that faces skin through the solid"),
			{Name: "cavity.walls", Type: step.Number, Resolution: 0.01, Doc: "least thickness over the wall of the vinyl"},
			{Name: "cavity.grade", Type: step.String, Doc: "fail under three walls, warn under five, else pass"},
		},
		Outputs: []step.Output{
			{Name: "map", Kind: step.Surface, Doc: "the surface with air, solid and corner at each vertex, mm"},
			{Name: "rows", Kind: step.Rows, Doc: "every spot as a row"},
		},
		Memory: 16,
	}
}

func length(name, doc string) step.Measure {
	return step.Measure{Name: name, Type: step.Length, Resolution: 0.001, Doc: doc}
}

func count(name, doc string) step.Measure {
	return step.Measure{Name: name, Type: step.Count, Doc: doc}
}

func curve(name, doc string) step.Measure {
	return step.Measure{Name: name, Type: step.Length, Resolution: 0.001, Many: true, Doc: doc}
}
