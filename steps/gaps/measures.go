package gaps

// measures turns finds into the numbers that gates judge.
func (l *look) measures(finds []find) map[string]any {
	m := map[string]any{}
	airLeast, airArea, solidLeast, solidArea := l.widest, 0.0, l.thinnest, 0.0
	slotRatio, angle, foldDepth := 0.0, 180.0, 0.0
	lineWidth, lineDepth := 0.0, 0.0
	count := map[string]int64{}
	faults := map[string]int64{}
	for _, f := range finds {
		count[f.what]++
		if f.fault {
			faults[f.what]++
		}
		switch f.what {
		case fingerGap, curledFinger, limbGap, pieceGap:
			airLeast = min(airLeast, f.pinch.wide)
			if f.fault {
				airArea += f.area
			}
			slotRatio = max(slotRatio, f.ratio)
		case fold:
			slotRatio, foldDepth = max(slotRatio, f.ratio), max(foldDepth, f.depth)
		case thinSolid:
			solidArea += f.area
		case vLine:
			lineWidth, lineDepth = max(lineWidth, f.width), max(lineDepth, f.depth)
			angle = min(angle, f.angle)
		case narrowEdge, tightCorner:
			angle = min(angle, f.angle)
		}
	}
	m["air.least"], m["air.area"] = airLeast, airArea
	m["air.spots"] = faults[fingerGap] + faults[curledFinger] + faults[limbGap] + faults[pieceGap]
	m["air.fingers"], m["air.curled"] = faults[fingerGap], faults[curledFinger]
	m["air.touching"] = count[touching]
	m["air.curve"] = l.curve(func(i int32) bool { return l.class[i] == gap }, l.airWidth)
	m["slot.folds"], m["slot.ratio"], m["slot.depth"] = count[fold], slotRatio, foldDepth
	m["crevice.least"], m["crevice.spots"] = angle, count[narrowEdge]
	m["line.count"], m["line.width"], m["line.depth"] = count[vLine], lineWidth, lineDepth
	corners := l.curve(func(i int32) bool { return l.class[i] == corner || l.class[i] == crevice }, l.radius)
	m["corner.curve"], m["corner.least"] = corners, l.widest/2
	if len(corners) > 0 {
		m["corner.least"] = corners[0]
	}
	m["corner.spots"] = faults[tightCorner] + faults[vLine]
	outer := l.curve(func(i int32) bool { return l.inner[i] == corner || l.inner[i] == crevice },
		func(i int32) float64 { return float64(l.solid[i].Radius) })
	m["outside.curve"], m["outside.least"] = outer, l.thickest()/2
	if len(outer) > 0 {
		m["outside.least"] = outer[0]
	}
	m["solid.least"], m["solid.area"] = solidLeast, solidArea
	m["solid.curve"] = l.curve(func(i int32) bool { return l.inner[i] == gap },
		func(i int32) float64 { return 2 * float64(l.solid[i].Radius) })
	m["cavity.walls"], m["cavity.grade"] = solidLeast/l.wall, l.grade(solidLeast)
	return m
}

func (l *look) airWidth(i int32) float64 { return 2 * float64(l.air[i].Radius) }
