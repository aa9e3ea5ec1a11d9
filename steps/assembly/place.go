package assembly

import (
	"context"
	"fmt"
	"math"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/geom"
	"layette/steps/internal/limb"
	"layette/steps/internal/workpiece"
)

// add puts one part in its place.
func (k *kit) add(ctx context.Context, f step.File) error {
	piece, err := workpiece.Open(ctx, k.job, f)
	if err != nil {
		return err
	}
	k.notes = append(k.notes, piece.Notes()...)
	name := f.Part
	if name == "" {
		name = piece.Base()
	}
	if _, twice := k.tips[name]; twice {
		return fmt.Errorf("%s: %q is there twice: a kit has each part once", f.Name, name)
	}
	to, ok := k.seatOf(name)
	if !ok {
		k.unplaced++
		k.note("%s has no seat: it is left out", name)
		return nil
	}
	l, err := limb.Open(ctx, piece.Mesh, limb.Want{Strays: 0.3, Workers: k.job.Workers})
	if err != nil {
		return fmt.Errorf("%s: %w", f.Name, err)
	}
	from, ok := l.Seat(to.looks)
	if !ok {
		k.unplaced++
		k.note("%s is left out: it has no opening, or its front, %v, is square to it", name, to.looks)
		return nil
	}
	pose := from.Onto(to.on)
	tip := k.lay(l.Mesh, pose, to.on)
	k.placed++
	k.tips[name] = tip
	k.row(name, "seat", to.on.At)
	k.row(name, "tip", tip)
	k.row(name, "up", to.on.Up)
	k.row(name, "front", to.on.Front)
	if name == k.job.Values.Text("head") {
		return k.head(l, from, pose, to.on)
	}
	return nil
}

func (k *kit) seatOf(name string) (seat, bool) {
	for _, s := range k.seats {
		if s.part == name {
			return s, true
		}
	}
	return seat{}, false
}

// lay adds a part to the whole and returns its place farthest from its seat.
func (k *kit) lay(m *geom.Mesh, pose geom.Pose, on limb.Seat) geom.Vec {
	base := int32(len(k.whole.Verts))
	tip, far := on.At, -1.0
	for _, p := range m.Verts {
		q := pose.Apply(p.Vec())
		if d := q.Sub(on.At).Len2(); d > far {
			tip, far = q, d
		}
		k.whole.Verts = append(k.whole.Verts, q.Point())
	}
	for _, t := range m.Tris {
		k.whole.Tris = append(k.whole.Tris, geom.Tri{t[0] + base, t[1] + base, t[2] + base})
	}
	return tip
}

func (k *kit) row(part, what string, p geom.Vec) {
	fmt.Fprintf(&k.rows, "%s,%s,%.3f,%.3f,%.3f\n", part, what, p.X+0, p.Y+0, p.Z+0)
}

// upright is the kit's own frame.
var upright, _ = limb.NewSeat(geom.Vec{}, geom.Vec{Z: 1}, geom.Vec{Y: 1})

// head measures how the head leans in the kit.
func (k *kit) head(l *limb.Limb, from limb.Seat, pose geom.Pose, on limb.Seat) error {
	k.m["head.turn"] = upright.Roll(on.Front)
	cutter, err := geom.NewCutter(l.Mesh, l.Edges)
	if err != nil {
		k.note("the head is not closed, its lean cannot be told: %v", err)
		return nil
	}
	up := k.job.Values.Float("lean-at") * l.Tall(from)
	s, ok := limb.Level(cutter, from, up, l.Between(from, up, up))
	if !ok {
		k.note("no section of the head was found %.1f mm up: its lean cannot be told", up)
		return nil
	}
	k.m["head.front"], k.m["head.right"] = upright.Lean(pose.Rot.Apply(limb.Middle(s.Outline(), from.Up).Sub(from.At)))
	return nil
}

// sum measures what is known once all parts lie in their places.
func (k *kit) sum() {
	empty := 0
	for _, s := range k.seats {
		if _, ok := k.tips[s.part]; !ok {
			empty++
			k.note("the seat of %s is empty", s.part)
		}
	}
	k.m["placed"], k.m["unplaced"], k.m["empty"] = int64(k.placed), int64(k.unplaced), int64(empty)
	if k.placed > 0 {
		size := k.whole.Bounds().Size()
		k.m["kit.wide"], k.m["kit.deep"], k.m["kit.tall"] = size.X, size.Y, size.Z
	}
	for _, what := range [2]string{"arm", "leg"} {
		l, ok := k.tips["left-"+what]
		r, ok2 := k.tips["right-"+what]
		if ok && ok2 {
			l.X = -l.X
			k.m[what+"s.uneven"] = l.Sub(r).Len()
		}
	}
}

// draw draws the kit from three sides.
func (k *kit) draw(ctx context.Context) error {
	if k.placed == 0 {
		return nil
	}
	says := "as tied to the body of the recipe; the body is not shown"
	if lean, ok := k.m["head.front"].(float64); ok && !math.IsNaN(lean) {
		says = fmt.Sprintf("head %+.1f degrees to the front, %+.1f to its right; the body is not shown", lean, k.m["head.right"])
	}
	for _, v := range []draw.View{draw.Front, draw.Right, draw.Above} {
		v.Parallel = true
		p, err := draw.Draw(ctx, draw.Scene{Title: "the kit put together", Note: says, Mesh: k.whole, Workers: k.job.Workers}, v, draw.Usual)
		if err != nil {
			return err
		}
		name := strings.ReplaceAll(strings.TrimPrefix(v.Name, "its "), " ", "-")
		if err := workpiece.WritePicture(k.job, "pictures", "kit-"+name+".png", p); err != nil {
			return err
		}
	}
	return nil
}
