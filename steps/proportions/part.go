package proportions

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
	"layette/steps/internal/workpiece"
)

// found is all that is told of a part once its surface is put away. Places are
// about the mesh's origin.
type found struct {
	Size       map[string]float64  // mm by name: "hand", "upper", ...; only what was found
	At         map[string]geom.Vec // by name: "wrist", "tip.index", ...
	Far        float64             // how far along the skin the hand or foot begins; 0 if it is not known
	Opens      bool                // it has an opening
	Up, Foot   geom.Vec            // into the part, square to the opening, and the opening's middle
	Inside     bool                // its surface was inside out
	Hand       string              // the side that its hand is of; nothing where it cannot be told
	Origin     geom.Vec
	Middle     geom.Vec
	Skin       []geom.Vec // places spread over it
	Trunk, End []geom.Vec // the same without hand or foot, and of these alone
	Casting    []geom.Vec // the same but for the rim of the opening, as a casting is laid on it
	Notes      []string
}

// part is one part of the kit.
type part struct {
	found
	name  string // as the recipe calls it
	side  string // left, right or nothing
	shape limb.Shape
	file  step.File
	limb  *limb.Limb // while it is measured
}

func newPart(name string) *part {
	p := &part{name: name}
	p.side, p.shape = shapeOf(name)
	return p
}

// shapeOf tells a part's side and shape by its name.
func shapeOf(name string) (side string, shape limb.Shape) {
	for _, s := range []string{"left", "right"} {
		if strings.Contains(name, s) {
			side = s
		}
	}
	switch {
	case strings.Contains(name, "head"):
		return "", limb.Head
	case strings.Contains(name, "arm") || strings.Contains(name, "hand"):
		return side, limb.Arm
	case strings.Contains(name, "leg") || strings.Contains(name, "foot"):
		return side, limb.Leg
	}
	return side, limb.Other
}

func (p *part) note(format string, args ...any) {
	p.Notes = append(p.Notes, p.name+": "+fmt.Sprintf(format, args...))
}

// look measures a part. What cannot be found is left out and said.
func look(ctx context.Context, name string, m *geom.Mesh, workers int) (*part, error) {
	p := newPart(name)
	p.Size, p.At, p.Origin = map[string]float64{}, map[string]geom.Vec{}, m.Origin
	l, err := limb.New(ctx, m, limb.Want{Shape: p.shape, Spacing: 1, Strays: 0.3, Workers: workers})
	if err != nil {
		return nil, err
	}
	p.limb, p.Inside, p.Middle = l, l.Inside, l.Mesh.Bounds().Centre()
	for _, n := range l.Notes {
		p.note("%s", n)
	}
	if p.Opens = len(l.Openings) > 0; p.Opens {
		p.Up, p.Foot = l.Openings[0].Plane.Normal.Mul(-1), l.Openings[0].Centre
	}
	switch p.shape {
	case limb.Head:
		err = p.head(ctx)
	case limb.Arm:
		p.arm()
	case limb.Leg:
		p.leg()
	}
	p.Hand = p.handed()
	p.spread()
	return p, err
}

// key names all that a part's measures are made from.
func (p *part) key() string {
	return fmt.Sprintf("%s in %s, %q of %q", p.file.SHA256, p.file.Units, p.name, p.file.Name)
}

// tree reads a part's surface again, to lay others on it.
func (p *part) tree(ctx context.Context, job *step.Job) (*geom.Tree, error) {
	piece, err := workpiece.Open(ctx, job, p.file)
	if err != nil {
		return nil, err
	}
	if p.Inside {
		piece.Mesh = limb.TurnedOver(piece.Mesh)
	}
	return geom.NewTree(ctx, piece.Mesh, job.Workers)
}

// spread takes the places of a part that it is compared by.
func (p *part) spread() {
	p.Skin = p.places(func(float64) bool { return true })
	p.Trunk = p.places(func(d float64) bool { return p.Far == 0 || d <= p.Far })
	p.End = p.places(func(d float64) bool { return d > p.Far })
	p.Casting = p.places(func(d float64) bool { return d > 0 })
}

// mirrored returns places as in a mirror across x.
func mirrored(pts []geom.Vec) []geom.Vec {
	out := make([]geom.Vec, len(pts))
	for i, q := range pts {
		out[i] = geom.Vec{X: -q.X, Y: q.Y, Z: q.Z}
	}
	return out
}

// places returns samples of the skin at distances from the opening that hold,
// weighted alike by area.
func (p *part) places(holds func(d float64) bool) []geom.Vec {
	m := p.limb.Mesh
	area := 0.0
	size := make([]float64, len(m.Tris)) // below nought where it does not hold
	for t := range m.Tris {
		size[t] = -1
		if d := float64(p.limb.Rings.Dist[m.Tris[t][0]]); !math.IsInf(d, 1) && holds(d) {
			a, b, c := m.Corners(t)
			size[t] = b.Sub(a).Cross(c.Sub(a)).Len() / 2
			area += size[t]
		}
	}
	var out []geom.Vec
	sum, every := 0.0, area/samples
	for t, s := range size {
		if s < 0 {
			continue
		}
		if sum += s; sum < every*float64(len(out)+1) {
			continue
		}
		a, b, c := m.Corners(t)
		out = append(out, a.Add(b).Add(c).Mul(1.0/3))
	}
	return out
}
