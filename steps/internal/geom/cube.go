package geom

import "slices"

// This file works out how the cells of a grid are cut by the zero of a field:
// W. Lorensen and H. Cline, "Marching cubes: a high resolution 3D surface
// construction algorithm", SIGGRAPH 1987 (from memory). The cases are not taken
// from a table but derived: on each face of the cube the crossings are joined
// so that inside corners are kept apart where they touch only across the
// face's diagonal. Two cells see the same signs on their shared face, hence the
// same segments, so that no crack opens; and each segment is run through in
// opposite ways.

// cubeLoop is a closed way round the inside corners of a cell, inside on its
// left seen from outside. Corner c of a cell lies at (c&1, c>>1&1, c>>2&1);
// edge c|d<<3 runs from corner c in direction d (0 x, 1 y, 2 z).
type cubeLoop struct {
	edges []uint8
	fan   bool // its fan from the first edge has no edge in a face of the cell
}

// cubes holds the loops of each of the 256 ways in which corners are inside.
var cubes = func() (all [256][]cubeLoop) {
	for mask := range all {
		all[mask] = loopsOf(mask)
	}
	return all
}()

// cubeFaces are the corners of each face in order round it, counter-clockwise
// seen from outside.
var cubeFaces = [6][4]uint8{{0, 4, 6, 2}, {1, 3, 7, 5}, {0, 1, 5, 4}, {2, 6, 7, 3}, {0, 2, 3, 1}, {4, 5, 7, 6}}

// cubeEdge returns the edge between two neighbouring corners.
func cubeEdge(a, b uint8) uint8 {
	low := min(a, b)
	switch a ^ b {
	case 1:
		return low
	case 2:
		return low | 1<<3
	}
	return low | 2<<3
}

func loopsOf(mask int) []cubeLoop {
	next := map[uint8]uint8{}
	for _, face := range cubeFaces {
		for n, c := range face {
			inside := func(c uint8) bool { return mask>>c&1 != 0 }
			if !inside(c) || inside(face[(n+3)%4]) {
				continue
			}
			// A run of inside corners begins at c; it ends at the last before outside.
			last := n
			for inside(face[(last+1)%4]) {
				last++
			}
			enter := cubeEdge(face[(n+3)%4], c)
			leave := cubeEdge(face[last%4], face[(last+1)%4])
			next[enter] = leave
		}
	}
	var loops []cubeLoop
	for e := range uint8(24) {
		if _, ok := next[e]; !ok {
			continue
		}
		var loop []uint8
		for at := e; ; {
			to, ok := next[at]
			if !ok {
				break
			}
			loop = append(loop, at)
			delete(next, at)
			at = to
		}
		loops = append(loops, fanned(loop))
	}
	return loops
}

// fanned turns a loop so that a fan from its first edge stays off the faces, if
// it can be.
func fanned(loop []uint8) cubeLoop {
	n := len(loop)
	for first := range n {
		turned := append(slices.Clone(loop[first:]), loop[:first]...)
		good := true
		for k := 2; k < n-1; k++ {
			good = good && !shareFace(turned[0], turned[k])
		}
		if good {
			return cubeLoop{turned, true}
		}
	}
	return cubeLoop{loop, false}
}

// shareFace reports whether two edges lie in one face of the cube.
func shareFace(a, b uint8) bool {
	for _, face := range cubeFaces {
		if inFace(a, face) && inFace(b, face) {
			return true
		}
	}
	return false
}

func inFace(e uint8, face [4]uint8) bool {
	from := e & 7
	to := from | 1<<(e>>3)
	return slices.Contains(face[:], from) && slices.Contains(face[:], to)
}
