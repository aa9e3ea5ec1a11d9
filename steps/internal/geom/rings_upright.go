package geom

import (
	"context"
	"errors"
	"math"
	"slices"
)

// Hang is a piece of a part that hangs beside it towards the opening, as a
// chin beside a neck: its rings begin by themselves and run into a wider one
// higher up.
type Hang struct {
	Low  int32 // its lowest vertex
	Root int32 // its last ring, the widest: index into Rings.Rings
	Into int32 // the ring that it runs beside into the part
}

// RingsUpright finds level rings of the height over the plane of an opening
// instead of the distance along the skin: flat sections all along, for a part
// such as a head that is stouter than long and has no axis to follow. All is
// trunk; what stands out beside it is no branch of it. of tells
// the shell of each vertex, shell the one to look at. What lies below the plane
// counts as lying in it.
//
// Heights differ between two triangulations of one surface by no more than
// their distance, and so do girths and areas and how far a hang hangs (D.
// Cohen-Steiner, H. Edelsbrunner, J. Harer, "Stability of persistence
// diagrams", 2007, from memory): nothing hinges on where triangles lie.
func (m *Mesh) RingsUpright(ctx context.Context, e *Edges, o Opening, of []int32, shell int32, spacing float64) (*Rings, error) {
	if !(spacing > 0) || len(of) != len(m.Verts) {
		return nil, errors.New("rings need a shell for each vertex and a spacing over zero")
	}
	height := make([]float32, len(m.Verts))
	for v, p := range m.Verts {
		height[v] = float32(max(0, -o.Plane.Dist(p.Vec())))
		if of[v] != shell {
			height[v] = float32(math.Inf(1))
		}
	}
	r := &Rings{Mesh: m, Dist: height, Spacing: spacing, field: height, e: e, trace: newTracer(m, e), alone: true}
	if err := r.find(ctx); err != nil {
		return nil, err
	}
	up, normals := o.Plane.Normal.Mul(-1), m.VertexNormals()
	for k := range r.Rings {
		g := &r.Rings[k]
		g.Across = g.itself(Plane{up, up.Dot(g.Centre)})
		g.Across.Mid, g.Across.Tape, g.Across.Found = middle(g.At, up), Tape(g.At, up), true
	}
	// Hollows of the skin begin by themselves too, but their floors face the way.
	r.Hangs = slices.DeleteFunc(r.Hangs, func(h Hang) bool { return normals[h.Low].Vec().Dot(up) >= 0 })
	return r, nil
}

// hangs finds what begins by itself on the way from the opening and runs into
// something wider farther on.
func (r *Rings) hangs(s *seams, forks map[int32]*fork) []Hang {
	beginnings := 0
	for _, f := range forks {
		if len(f.from) == 0 {
			beginnings++
		}
	}
	if beginnings < 2 {
		return nil
	}
	low := map[int32]int32{} // of each piece: the lowest vertex that leads to it
	lower := func(p, v int32) {
		if u, met := low[p]; !met || r.field[v] < r.field[u] {
			low[p] = v
		}
	}
	for v, d := range r.slabs {
		if d >= 0 {
			lower(s.sets.lead(s.of[v]), int32(v))
		}
	}
	lowOf := make([]int32, len(r.Rings)) // -1 where a lesser ring forks off
	for i := range r.Rings {
		f := forks[r.Rings[i].below]
		switch {
		case r.widest(f.to) != int32(i):
			lowOf[i] = -1
		case len(f.from) > 0:
			lowOf[i] = lowOf[r.widest(f.from)]
		default:
			lowOf[i] = low[r.Rings[i].below]
		}
	}
	var list []Hang
	for i := range r.Rings {
		f := forks[r.Rings[i].above]
		into := r.widest(f.from)
		if len(f.from) < 2 || int32(i) == into || lowOf[i] < 0 || lowOf[i] == lowOf[into] {
			continue
		}
		list = append(list, Hang{Low: lowOf[i], Root: int32(i), Into: into})
	}
	return list
}
