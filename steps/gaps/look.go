package gaps

import (
	"context"
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// limits are the values of a stage, in mm, and cosines of angles.
type limits struct {
	least, widest  float64 // air between skins: asked for, looked for
	touch          float64 // nearer than this is touching
	wall           float64
	digit          float64 // solid slimmer than this is a finger or toe
	apart          float64 // skin this far apart along the skin is two limbs
	corner         float64 // inside radius
	crevice        float64 // degrees
	warn, fail     float64 // depth of a slot over its width
	spacing, rough float64
	solidFault     bool
}

func limitsOf(v step.Values) limits {
	l := limits{
		least: v.Float("least"), touch: v.Float("touch"), wall: v.Float("wall"),
		digit: v.Float("digit"), apart: v.Float("apart"), corner: v.Float("corner"),
		crevice: v.Float("crevice"), warn: v.Float("slot-warn"), fail: v.Float("slot-fail"),
		spacing: v.Float("spacing"), rough: v.Float("rough"), solidFault: !v.Flag("fills-solid"),
	}
	l.widest = max(v.Float("widest"), 1.5*l.least)
	return l
}

// thickest is the solid thickness up to which walls are looked at: a little
// over the five walls that a cavity should be wide, so that five can be told
// from more.
func (l limits) thickest() float64 { return max(5.2*l.wall, 1.1*l.digit) }

// class says what a place's ball of air is between.
type class uint8

const (
	free    class = iota
	gap           // skins of two limbs face one another
	slot          // the two walls of a fold, joined at its bottom
	crevice       // two walls that meet in an edge
	corner        // an inside corner too open to be a crevice
	oblique       // far skin, not facing: its nearest place is judged elsewhere
)

// look is all that is known of a surface before spots are made of it.
type look struct {
	limits
	skin     *geom.Skin
	tree     *geom.PointTree
	patches  *geom.Patches
	air      []geom.Ball
	solid    []geom.Ball
	along    []float32 // distance along the skin between a place and where its ball of air touches
	class    []class
	first    []int32  // first place of each vertex, -1: none
	inner    []class  // the same for the solid: gap is a wall, corner an outside corner
	thinnest float64  // least thickness of the solid, mm
	inward   float64  // -1 if the surface is inside out
	open     float64  // length of its rims, mm
	twisted  int      // edges whose triangles face against one another, or are too many
	odd      []string // what is to be said of openings and shells
	edge     float64  // of the surface's triangles as they came, mm: what its corners can show
	own      int32    // vertices that came with it
	untold   int      // corners that its triangles are too large to tell
}

func (l *look) at(i int32) geom.Vec { return l.skin.At[i].Vec() }

// out returns the direction into the air at a place.
func (l *look) out(i int32) geom.Vec { return l.skin.Out[i].Vec().Mul(l.inward) }

// cell is the size of the patches that tell distance along the skin.
func (l *look) cell() float64 { return max(0.6, 2*l.skin.Edge) }

func inspect(ctx context.Context, job *step.Job, m *geom.Mesh, lim limits) (*look, error) {
	l := &look{limits: lim, inward: 1, edge: usualEdge(m), own: int32(len(m.Verts))}
	job.Progress.Start("touching balls", 5)
	steps := []func() error{
		func() (err error) {
			l.skin, err = geom.NewSkin(ctx, m, max(lim.spacing, 1e-3), mostPlaces, job.Workers)
			return err
		},
		func() (err error) {
			if err := l.ends(ctx, m, job.Workers); err != nil {
				return err
			}
			if l.open == 0 && l.twisted == 0 && m.Volume() < 0 {
				l.inward = -1
			}
			l.tree, err = geom.NewPointTree(ctx, l.skin.At, job.Workers)
			return err
		},
		func() (err error) {
			l.air, err = l.skin.Balls(ctx, l.tree, geom.Side(l.inward)*geom.Air, lim.widest, lim.rough, job.Workers)
			return err
		},
		func() (err error) {
			l.solid, err = l.skin.Balls(ctx, l.tree, geom.Side(l.inward)*geom.Solid, lim.thickest(), lim.rough, job.Workers)
			return err
		},
		func() (err error) {
			l.patches, err = geom.NewPatches(ctx, l.skin.Mesh, l.cell())
			return err
		},
	}
	for _, f := range steps {
		if err := f(); err != nil {
			return nil, err
		}
		job.Progress.Add(1)
	}
	if err := l.walk(ctx, job.Workers); err != nil {
		return nil, err
	}
	l.first = l.firsts()
	l.sort(job.Workers)
	return l, l.splay(ctx)
}

// usualEdge returns the edge of an even triangle of a surface's mean area, mm.
func usualEdge(m *geom.Mesh) float64 {
	return math.Sqrt(m.Area() / float64(max(1, len(m.Tris))) * 4 / math.Sqrt(3))
}

// mostPlaces bounds the memory of a surface with few, large triangles: about
// 150 bytes a place.
const mostPlaces = 6_000_000

// walk measures the distance along the skin for every ball of air that touches
// twice.
func (l *look) walk(ctx context.Context, workers int) error {
	l.along = make([]float32, len(l.air))
	first, list := l.byPatch()
	const piece = 256
	n := (len(first) - 1 + piece - 1) / piece
	return each(ctx, n, workers, func() func(k int) {
		walk := l.patches.NewWalk()
		return func(k int) {
			for p := k * piece; p < min((k+1)*piece, len(first)-1); p++ {
				l.walkFrom(walk, int32(p), list[first[p]:first[p+1]])
			}
		}
	})
}

// byPatch lists, patch by patch, the places whose ball of air touches twice.
func (l *look) byPatch() (first, list []int32) {
	first = make([]int32, l.patches.Len()+1)
	for i, b := range l.air {
		if !b.Free() {
			first[l.patch(int32(i))+1]++
		}
	}
	for p := range l.patches.Len() {
		first[p+1] += first[p]
	}
	list = make([]int32, first[len(first)-1])
	next := append([]int32(nil), first...)
	for i, b := range l.air {
		if !b.Free() {
			p := l.patch(int32(i))
			list[next[p]] = int32(i)
			next[p]++
		}
	}
	return first, list
}

func (l *look) patch(place int32) int32 { return l.patches.Of[l.skin.Vert[place]] }

func (l *look) walkFrom(walk *geom.Walk, from int32, places []int32) {
	if len(places) == 0 {
		return
	}
	var to []int32
	for _, i := range places {
		to = append(to, l.patch(l.air[i].Touch))
	}
	long := make([]float64, len(to))
	piece := l.patches.Piece
	near := false
	for _, t := range to {
		near = near || piece[t] == piece[from]
	}
	if near {
		walk.To(from, to, l.farthest(), long)
	}
	for k, i := range places {
		straight := l.at(i).Sub(l.at(l.air[i].Touch)).Len()
		if piece[to[k]] != piece[from] {
			long[k] = math.Inf(1)
		}
		l.along[i] = float32(max(long[k], straight))
	}
}

// farthest is how far along the skin is looked: beyond it, skin is another limb
// however wide the gap.
func (l *look) farthest() float64 { return max(1.1*l.apart, 4.2*l.widest) }
