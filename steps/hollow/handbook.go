package hollow

import "layette/engine/step"

const (
	practice = "common practice"
	factory  = "ask your factory"
)

// Handbook says what the step needs and what it finds.
func (Kind) Handbook() step.Handbook {
	return step.Handbook{
		Name:    "hollow",
		Version: 5,
		Summary: "Tells how a part comes out hollow: solid tips, chambers cut off from the opening, liquid that stays behind, volume and mass of vinyl.",
		Method: `The part is a mould filled with liquid vinyl that builds inward from the skin by "wall"; the opening, a flat end, builds none. What lies deeper below the skin than the wall stays hollow. Depths are measured in cubes of side "cube", exactly (to the triangles) at every middle up to the wall and half the drain width, so volumes are far finer than a cube; a way narrower than about a cube may be taken for closed.

Voids that do not reach the opening are trapped chambers: liquid and air stay in them. Their throat is the narrowest place of the widest way out; it is a mountain pass of the depth, and settled to a hundredth of a cube or so. Of voids that do reach the opening, what lies behind a way narrower than "drain" is held back, for the liquid is thick.

The vinyl is a wall deep where a void follows the skin. Where it is at least two walls deep, walls have met and the part is solid; between, it has built up in a corner of the mould (two faces at an angle a build up wall / sin(a/2)). Digits that fill solid are a choice for the recipe, with its reason: with "fills-solid" what is no thicker than "digit" is a remark, not a fault.

The shot by area is the supplier's rule, skin times wall; the volume of vinyl is the part less its voids, which is less where skin is round and where walls meet.

How far apart facing walls of the cavity should be (three walls, five at best) is judged by gaps, not here.`,
		Sources: []string{
			"P. F. Felzenszwalb, D. P. Huttenlocher, \"Distance transforms of sampled functions\", Theory of Computing 2012 (from memory)",
			"loesent.com, rotational casting of plastisol: ten fluid ounces to the square foot give about 1/8 in of wall",
		},
		Cautions: []string{
			"The wall is taken as even. Published variation is 10 to 20 %, and heat, turning and time decide it: your factory's own figures replace ours.",
			"Liquid that is poured out turned and shaken runs farther than this supposes, and air rises into tips that this takes for filled.",
			"Nothing here says that a solid tip cures through: ask your factory what thickness does.",
		},
		Inputs: []step.Input{{Name: "surface", Kind: step.Surface, Doc: "the part as moulded: closed with a flat end for its opening, or open at that one rim; other rims are closed straight across"}},
		Values: []step.Value{
			{Name: "wall", Type: step.Length, Default: "2.5 mm", Min: "0.2 mm", Max: "20 mm", Doc: "wall of the vinyl", Origin: factory},
			{Name: "cube", Type: step.Length, Default: "0.4 mm", Min: "0.05 mm", Max: "5 mm", Doc: "resolution; made coarser, and said so, for parts of more than 40 million cubes", Origin: practice},
			{Name: "drain", Type: step.Length, Default: "2 mm", Min: "0.2 mm", Max: "20 mm", Doc: "least clear width through which liquid runs out", Origin: factory},
			{Name: "fills-solid", Type: step.Flag, Default: "false", Doc: "slim limbs may fill solid", Origin: factory},
			{Name: "reason", Type: step.String, Optional: true, Doc: "why slim limbs may fill solid, and who agreed to it"},
			{Name: "digit", Type: step.Length, Default: "10 mm", Min: "1 mm", Max: "50 mm", Doc: "solid no thicker than this is a slim limb", Origin: practice},
			{Name: "build-up", Type: step.Number, Default: "1.5", Min: "1", Max: "2", Doc: "walls of vinyl in a corner that are worth a word; a square edge has 1.41", Origin: practice},
			{Name: "least-chamber", Type: step.Volume, Default: "3 mm3", Min: "0 mm3", Doc: "chambers and pools smaller than this are left out", Origin: practice},
			{Name: "density", Type: step.Density, Default: "1.2 g/cm3", Min: "0.5 g/cm3", Max: "3 g/cm3", Doc: "of the cured vinyl", Origin: factory},
			{Name: "opening", Type: step.Point, Optional: true, Doc: "a place on the opening, where a part has several flat ends or rims"},
		},
		Measures: []step.Measure{
			{Name: "cube", Type: step.Length, Resolution: 0.001, Doc: "side of the cubes that were used"},
			volume("whole.volume", "all within the skin"),
			volume("void.volume", "what stays hollow, open or not"),
			volume("vinyl.volume", "vinyl in the finished part"),
			{Name: "vinyl.mass", Type: step.Mass, Resolution: 0.01, Doc: "its mass"},
			{Name: "skin.area", Type: step.Area, Resolution: 0.1, Doc: "skin on which vinyl builds"},
			volume("shot.by-area", "skin times wall, the supplier's rule"),
			{Name: "shot.mass", Type: step.Mass, Resolution: 0.01, Doc: "mass of the shot by area"},
			{Name: "opening.found", Type: step.Flag, Doc: "there is a flat end or an open rim"},
			{Name: "opening.clear", Type: step.Length, Resolution: 0.01, Doc: "clear width of the opening between its walls of vinyl; 0 if it shuts"},
			count("chambers.trapped", "chambers cut off from the opening, digits that may fill solid apart"),
			count("chambers.in-digits", "of slim limbs that may fill solid"),
			volume("chambers.volume", "all chambers cut off"),
			volume("chambers.largest", "the largest of them"),
			{Name: "throat.least", Type: step.Length, Resolution: 0.001, Doc: "narrowest throat of a trapped chamber; the opening's width if none is trapped"},
			volume("held.volume", "liquid held back in voids that are open"),
			volume("surplus.volume", "all liquid that cannot be poured out: trapped and held back"),
			count("solid.spots", "places where walls meet, digits that may fill solid apart"),
			count("solid.in-digits", "of slim limbs that may fill solid"),
			volume("solid.volume", "vinyl farther from a void than the wall, where walls meet"),
			{Name: "solid.thickest", Type: step.Length, Resolution: 0.001, Doc: "thickness of the thickest solid, in the half of it farther from the void"},
			{Name: "solid.deepest", Type: step.Length, Resolution: 0.01, Doc: "from skin to void through the deepest solid"},
			{Name: "build-up.most", Type: step.Number, Resolution: 0.01, Doc: "walls of vinyl in the deepest corner that is not solid; 1 if there is none"},
		},
		Outputs: []step.Output{
			{Name: "map", Kind: step.Surface, Doc: "the surface with the thickness of vinyl under each vertex, mm"},
			{Name: "rows", Kind: step.Rows, Doc: "every spot as a row"},
		},
		Memory: 20,
	}
}

func volume(name, doc string) step.Measure {
	return step.Measure{Name: name, Type: step.Volume, Resolution: 0.001, Doc: doc}
}

func count(name, doc string) step.Measure {
	return step.Measure{Name: name, Type: step.Count, Doc: doc}
}
