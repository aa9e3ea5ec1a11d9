package assembly

import (
	"cmp"
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

// laid is a part in its place, in the kit's frame. It is kept from run to run:
// when one part was edited, the others' files need not be read.
type laid struct {
	Placed       bool
	Tip          geom.Vec // its place farthest from its seat
	Low, High    geom.Vec // how far it reaches
	Leans        bool     // it is the head, and its lean could be told:
	Front, Right float64  // degrees
	Skin         geom.Mesh
	Notes        []string
}

// fine is how many triangles of a part are drawn: about one a pixel.
const fine = 200_000

// add puts one part in its place.
func (k *kit) add(ctx context.Context, f step.File) error {
	name := cmp.Or(f.Part, workpiece.Piece{File: f}.Base())
	if _, twice := k.tips[name]; twice {
		return fmt.Errorf("%s: %q is there twice: a kit has each part once", f.Name, name)
	}
	to, ok := k.seatOf(name)
	if !ok {
		k.unplaced++
		k.note("%s has no seat: it is left out", name)
		return nil
	}
	lean := 0.0
	if name == k.job.Values.Text("head") {
		lean = k.job.Values.Float("lean-at")
	}
	key := fmt.Sprintf("%s in %s, %q of %q on %v, its front %v, lean at %v", f.SHA256, f.Units, name, f.Name, to.on, to.looks, lean)
	l, err := workpiece.Once(k.job, key, func() (laid, error) { return k.lay(ctx, f, to, lean) })
	if err != nil {
		return err
	}
	k.notes = append(k.notes, l.Notes...)
	if !l.Placed {
		k.unplaced++
		return nil
	}
	k.placed++
	k.tips[name] = l.Tip
	k.box = k.box.Include(l.Low).Include(l.High)
	k.join(&l.Skin)
	k.row(name, "seat", to.on.At)
	k.row(name, "tip", l.Tip)
	k.row(name, "up", to.on.Up)
	k.row(name, "front", to.on.Front)
	if lean > 0 {
		k.m["head.turn"] = upright.Roll(to.on.Front)
	}
	if l.Leans {
		k.m["head.front"], k.m["head.right"] = l.Front, l.Right
	}
	return nil
}

// lay reads a part and moves it to its seat.
func (k *kit) lay(ctx context.Context, f step.File, to seat, lean float64) (out laid, err error) {
	piece, err := workpiece.Open(ctx, k.job, f)
	if err != nil {
		return out, err
	}
	out.Notes = piece.Notes()
	l, err := limb.Open(ctx, piece.Mesh, limb.Want{Strays: 0.3, Workers: k.job.Workers})
	if err != nil {
		return out, fmt.Errorf("%s: %w", f.Name, err)
	}
	from, ok := l.Seat(to.looks)
	if !ok {
		out.note("%s is left out: it has no opening, or its front, %v, is square to it", to.part, to.looks)
		return out, nil
	}
	out.Placed = true
	pose := from.Onto(to.on)
	out.reach(l.Mesh, pose, to.on)
	if lean > 0 {
		out.head(l, from, pose, lean)
	}
	skin, err := geom.Gathered(ctx, l.Mesh, fine)
	if err != nil {
		return out, err
	}
	out.Skin = geom.Mesh{Verts: make([]geom.Point, len(skin.Verts)), Tris: skin.Tris}
	for i, p := range skin.Verts {
		out.Skin.Verts[i] = pose.Apply(p.Vec()).Point()
	}
	return out, nil
}

func (l *laid) note(format string, args ...any) {
	l.Notes = append(l.Notes, fmt.Sprintf(format, args...))
}

// reach measures how far a part reaches in its place, and its tip.
func (l *laid) reach(m *geom.Mesh, pose geom.Pose, on limb.Seat) {
	box := geom.EmptyBox()
	far := -1.0
	for _, p := range m.Verts {
		q := pose.Apply(p.Vec())
		if d := q.Sub(on.At).Len2(); d > far {
			l.Tip, far = q, d
		}
		box = box.Include(q.Point().Vec())
	}
	l.Low, l.High = box.Min, box.Max
}

// head measures how the head leans in the kit.
func (l *laid) head(from *limb.Limb, on limb.Seat, pose geom.Pose, lean float64) {
	cutter, err := geom.NewCutter(from.Mesh, from.Edges)
	if err != nil {
		l.note("the head is not closed, its lean cannot be told: %v", err)
		return
	}
	up := lean * from.Tall(on)
	s, ok := limb.Level(cutter, on, up, from.Between(on, up, up))
	if !ok {
		l.note("no section of the head was found %.1f mm up: its lean cannot be told", up)
		return
	}
	l.Leans = true
	l.Front, l.Right = upright.Lean(pose.Rot.Apply(limb.Middle(s.Outline(), on.Up).Sub(on.At)))
}

func (k *kit) seatOf(name string) (seat, bool) {
	for _, s := range k.seats {
		if s.part == name {
			return s, true
		}
	}
	return seat{}, false
}

// join adds a part's skin to that of the whole, for the pictures.
func (k *kit) join(m *geom.Mesh) {
	base := int32(len(k.whole.Verts))
	k.whole.Verts = append(k.whole.Verts, m.Verts...)
	for _, t := range m.Tris {
		k.whole.Tris = append(k.whole.Tris, geom.Tri{t[0] + base, t[1] + base, t[2] + base})
	}
}

func (k *kit) row(part, what string, p geom.Vec) {
	fmt.Fprintf(&k.rows, "%s,%s,%.3f,%.3f,%.3f\n", part, what, p.X+0, p.Y+0, p.Z+0)
}

// upright is the kit's own frame.
var upright, _ = limb.NewSeat(geom.Vec{}, geom.Vec{Z: 1}, geom.Vec{Y: 1})

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
		size := k.box.Size()
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

// toward says an angle to the one side or the other.
func toward(angle float64, one, other string) string {
	if limb.Round(angle, 0.1) < 0 {
		angle, one = -angle, other
	}
	return fmt.Sprintf("%.1f degrees to its %s", math.Abs(angle), one)
}

// draw draws the kit from three sides.
func (k *kit) draw(ctx context.Context) error {
	if k.placed == 0 {
		return nil
	}
	says := "as tied to the body of the recipe; the body is not shown"
	if lean, ok := k.m["head.front"].(float64); ok && !math.IsNaN(lean) {
		says = fmt.Sprintf("the head leans %s and %s; the body is not shown", toward(lean, "front", "back"), toward(k.m["head.right"].(float64), "right", "left"))
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
