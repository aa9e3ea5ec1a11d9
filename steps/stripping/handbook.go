package stripping

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
		Name:    "stripping",
		Version: 5,
		Summary: "Asks whether the moulding can be pulled out of its one-piece mould through its opening, and how far it must stretch.",
		Method: `The distance along the skin is counted from the edge of the opening and parts it into trunk and branches. Between the opening and the tips the skin is given even values (each the mean of those about it); rings of these, about "spacing" apart, lie square to the limb. There the part is cut; girth and area of these sections are the girth profile. Girth is that of a tape pulled tight. A head has no axis to follow: it is cut level, by height over its opening.

Pulled out, each section has to pass every narrower one between it and the opening, and the opening itself. If it is stretched round, it must stretch by the ratio of the girths less one: 100 mm through 80 mm is 25 %. Soft vinyl also folds; folding changes the outline but not what it encloses, so a flat or lobed section need only stretch by the ratio of the radii of discs with the two areas, less one. The lesser of the two counts, for discs they are the same. The ring and the narrower one that ask most are named.

A branch that points back towards the opening, or a stub on the limb, catches like a barb; so does an ear or flap of a head that hangs towards it farther than it is thick, and by more than "hook". Skin is undercut where it faces the opening by more than "draft", seen along the axis there; its share is given for each region. Bends of the trunk have to be straightened on the way.`,
		Sources: append(limb.Sources(),
			"D. Cohen-Steiner, H. Edelsbrunner, J. Harer, \"Stability of persistence diagrams\", 2007 (from memory): how far an ear hangs does not hinge on triangles",
			"stretch from perimeters of sections behind the opening: derived; 50 and 150 % are common practice, against a break of about 320 % at 23 °C (Danish EPA, 2010, table 2.3, from Wilson 1995)",
			"loesent.com, slush moulding: strip at about 66 °C (150 °F), by pulling and twisting; undercuts present few problems",
		),
		Cautions: []string{
			"How far a compound stretches warm depends on its plasticiser, its temperature and the hand that pulls: your factory's own figure replaces ours.",
			"Stripping is hot work at a hot mould: it is the factory's, by its own rules.",
			"The model knows no friction, no vacuum behind the part and no change of wall; a part near its limit wants a trial cast.",
		},
		Inputs: limb.Inputs(),
		Values: append(limb.Values(),
			step.Value{Name: "easy", Type: step.Share, Default: "50 %", Min: "0 %", Doc: "stretch over which a place is worth a remark", Origin: factory},
			step.Value{Name: "most", Type: step.Share, Default: "150 %", Min: "0 %", Doc: "stretch over which a place is a fault", Origin: factory},
			step.Value{Name: "wall", Type: step.Length, Default: "2.5 mm", Min: "0.2 mm", Max: "20 mm", Doc: "wall of the vinyl, for how full the narrow place gets", Origin: factory},
			step.Value{Name: "catch", Type: step.Angle, Default: "90 deg", Min: "10 deg", Max: "180 deg", Doc: "a branch that leans farther from the way in catches", Origin: practice},
			step.Value{Name: "hook", Type: step.Length, Default: "15 mm", Min: "0 mm", Max: "200 mm", Doc: "an ear or flap of a head that hangs farther towards the opening catches", Origin: practice},
			step.Value{Name: "bend", Type: step.Angle, Default: "30 deg", Min: "5 deg", Max: "180 deg", Doc: "least bend of the trunk that is named", Origin: practice},
			step.Value{Name: "draft", Type: step.Angle, Default: "3 deg", Min: "0 deg", Max: "45 deg", Doc: "skin that faces the opening by less is no undercut", Origin: practice},
		),
		Measures: []step.Measure{
			{Name: "opening.count", Type: step.Count, Doc: "openings found: one is right"},
			{Name: "opening.flat", Type: step.Length, Resolution: 0.001, Doc: "how far the opening strays from a plane; unknown without one, as are the next two"},
			{Name: "opening.area", Type: step.Number, Unit: "mm²", Resolution: 0.1, Doc: "area of the opening"},
			{Name: "opening.girth", Type: step.Length, Resolution: 0.01, Doc: "length of its edge"},
			{Name: "rings", Type: step.Count, Doc: "level rings"},
			{Name: "branches", Type: step.Count, Doc: "branches that end in a tip: fingers"},
			{Name: "stretch.greatest", Type: step.Share, Resolution: 0.001, Doc: "greatest stretch that any ring needs to come out; unknown without an opening"},
			{Name: "stretch.grade", Type: step.String, Doc: "pass up to easy, warn up to most, else fail"},
			{Name: "stretch.at", Type: step.Length, Resolution: 0.01, Doc: "distance along the skin from the opening of the ring that needs it"},
			{Name: "stretch.girth", Type: step.Length, Resolution: 0.01, Doc: "its girth"},
			{Name: "stretch.place", Type: step.String, Doc: "the region it lies in"},
			{Name: "stretch.limit-at", Type: step.Length, Resolution: 0.01, Doc: "distance of the narrower ring that it has to pass; 0 is the opening"},
			{Name: "stretch.limit-girth", Type: step.Length, Resolution: 0.01, Doc: "its girth"},
			{Name: "stretch.limit-place", Type: step.String, Doc: "the region it lies in"},
			{Name: "fold.fullness", Type: step.Share, Resolution: 0.01, Doc: "how much of a narrow place the vinyl of a ring fills at most, its wall laid together: over 1 it cannot fold through and must stretch"},
			{Name: "undercut.share", Type: step.Share, Resolution: 0.001, Doc: "share of the skin that faces the opening; unknown without one, as are the next two"},
			{Name: "undercut.greatest", Type: step.Share, Resolution: 0.001, Doc: "greatest share of a region"},
			{Name: "undercut.place", Type: step.String, Doc: "that region"},
			{Name: "catch.angle", Type: step.Angle, Resolution: 0.1, Doc: "how far a branch or stub leans at most from the way into the mould; 0 without any, unknown without an opening"},
			{Name: "catch.hook", Type: step.Length, Resolution: 0.01, Doc: "how far an ear or flap hangs towards the opening at most, on a head; 0 if none hangs farther than it is thick"},
			{Name: "catch.spots", Type: step.Count, Doc: "branches, ears and flaps that catch"},
			{Name: "bends.angle", Type: step.Angle, Resolution: 0.1, Doc: "greatest bend of the trunk; 0 if none is named"},
			{Name: "bends.count", Type: step.Count, Doc: "bends of the trunk to be straightened"},
		},
		Outputs: []step.Output{
			{Name: "map", Kind: step.Surface, Doc: "the surface with distance (mm), ring, stretch (share) and undercut (share) at each vertex; -1 where the skin does not lead, no number where a section lacks a piece"},
			{Name: "rows", Kind: step.Rows, Doc: "every ring as a row: place, girth, tape, area, stretch, and which ring it must pass (0 is the opening)"},
		},
		Memory: 10,
	}
}
