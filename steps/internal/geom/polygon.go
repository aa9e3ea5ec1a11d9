package geom

// Polygon cuts a face of three or more corners into triangles, each three
// numbers of corners; they turn as the face does. A face may be dented or a
// little bent: it is seen along its mean normal (M. E. Newell's, from I. E.
// Sutherland and others, 1974; from memory) and its ears are clipped.
func Polygon(corners []Vec) []Tri {
	var n Vec
	for i, p := range corners {
		q := corners[(i+1)%len(corners)]
		n = n.Add(p.Sub(corners[0]).Cross(q.Sub(corners[0])))
	}
	lay := layFlat(Plane{Normal: n})
	loop := make([]flatPoint, len(corners))
	for i, p := range corners {
		loop[i] = lay(int32(i), p.Sub(corners[0]).Point().Vec())
	}
	return clipEars(loop)
}
