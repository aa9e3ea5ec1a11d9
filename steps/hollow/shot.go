package hollow

// Shot returns the volume, mm³, of liquid that builds a wall, mm, over an area
// of skin, mm². It is the rule that suppliers state (ten US fluid ounces to a
// square foot give about an eighth of an inch; loesent.com, rotational casting
// of plastisol), exact for flat skin.
func Shot(area, wall float64) float64 { return area * wall }

// WallOfShot returns the wall that a shot builds: the rule the other way round.
func WallOfShot(shot, area float64) float64 { return shot / area }
