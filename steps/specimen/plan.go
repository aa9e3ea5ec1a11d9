package specimen

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"layette/steps/internal/geom"
)

// plan spreads the shots evenly over the skin: each aims at the place farthest
// from all aimed at before, from a little off the skin's normal. With Shared,
// see walkRound.
func (s Session) plan(ctx context.Context, p *Part) ([]Shot, error) {
	size := p.Field.Bounds().Size().Len()
	m, err := Surface(ctx, p.Field, p.Cut, Sampling{Edge: size / 60, Open: true})
	if err != nil {
		return nil, err
	}
	r := rand.New(rand.NewPCG(s.Seed, 3))
	dist := make([]float64, len(m.Verts))
	for i := range dist {
		dist[i] = far
	}
	at := r.IntN(len(m.Verts))
	distance := s.Scanner.usual().Distance
	if s.Shared > 0 {
		if m, err = Surface(ctx, p.Field, p.Cut, Sampling{Edge: m.Bounds().Size().Len() / 40, Open: true}); err != nil {
			return nil, err
		}
		return s.walkRound(ctx, m, r)
	}
	var out []Shot
	for range s.Shots {
		place := m.Verts[at].Vec()
		_, g := p.Field.At(place)
		dir := g.Unit().Add(v(r.Float64()-0.5, r.Float64()-0.5, r.Float64()-0.5).Mul(0.5))
		out = append(out, Aim(place, dir, distance+float64(20*(r.Float64()-0.5)), 360*r.Float64(), r.Uint64()))
		best := -1.0
		for i, q := range m.Verts {
			dist[i] = min(dist[i], q.Vec().Sub(place).Len2())
			if dist[i] > best {
				best, at = dist[i], i
			}
		}
	}
	return out, nil
}

// window returns the scanner with its window set so that the stated share of
// it is seen by the nearest neighbour too.
func (s Session) window(shots []Shot) Scanner {
	sc := s.Scanner.usual()
	var sum float64
	for i, a := range shots {
		least := far
		for j, b := range shots {
			if i != j {
				x, y := a.From.World(v(0, 0, sc.Distance)), b.From.World(v(0, 0, sc.Distance))
				least = min(least, x.Sub(y).Len())
			}
		}
		sum += least
	}
	spacing := sum / float64(len(shots))
	sc.Wide = spacing / (1 - s.Overlap)
	sc.High = sc.Wide
	return sc
}

// looks is how many ways of standing are weighed before each shot.
const looks = 80

// walkRound plans shots of which each shares about s.Shared of its points with
// the one before. Of all the ways of standing that are weighed, those within a
// few points of that share count, and of them the one that sees most of what
// was seen least.
func (s Session) walkRound(ctx context.Context, skin *geom.Mesh, r *rand.Rand) ([]Shot, error) {
	w := watch{sc: s.Scanner.usual(), skin: skin, normals: skin.VertexNormals(), times: make([]int, len(skin.Verts))}
	var out []Shot
	var before []bool
	for len(out) < s.Shots {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		var best view
		for range looks {
			v := w.look(w.anyShot(r), before)
			v.worth = float64(v.fresh)
			if before != nil { // half as good for every four points off the share
				v.worth *= math.Exp2(-math.Abs(v.shared-s.Shared) / 0.04)
			}
			if v.sees != nil && (best.sees == nil || v.worth > best.worth) {
				best = v
			}
		}
		if best.sees == nil {
			return nil, fmt.Errorf("specimen: no place from where a scanner at %g mm sees this part", w.sc.Distance)
		}
		for i, seen := range best.sees {
			if seen {
				w.times[i]++
			}
		}
		out, before = append(out, best.shot), best.sees
	}
	return out, nil
}

// watch knows how often each point of a sampled skin was seen.
type watch struct {
	sc      Scanner
	skin    *geom.Mesh
	normals []geom.Point
	times   []int
}

// view is what one way of standing would see.
type view struct {
	shot   Shot
	sees   []bool // nil if hardly anything
	shared float64
	fresh  float64 // points seen, each over how often it was seen before
	worth  float64
}

// anyShot aims at some place of the skin from a little off its normal.
func (w *watch) anyShot(r *rand.Rand) Shot {
	at := r.IntN(len(w.skin.Verts))
	dir := w.normals[at].Vec().Add(v(r.Float64()-0.5, r.Float64()-0.5, r.Float64()-0.5).Mul(0.5))
	return Aim(w.skin.Verts[at].Vec(), dir, w.sc.Distance+float64(20*(r.Float64()-0.5)), 360*r.Float64(), r.Uint64())
}

// look finds what a shot sees: skin in the window that faces it.
func (w *watch) look(shot Shot, before []bool) view {
	out := view{shot: shot, sees: make([]bool, len(w.skin.Verts))}
	least, _ := cosSin(w.sc.Steepest - 4)
	n, shared := 0, 0
	for i, p := range w.skin.Verts {
		at := shot.From.Local(p.Vec())
		x, y := at.X*w.sc.Distance/at.Z, at.Y*w.sc.Distance/at.Z
		if math.Abs(at.Z-w.sc.Distance) > w.sc.Depth || math.Abs(x) > w.sc.Wide/2 || math.Abs(y) > w.sc.High/2 {
			continue
		}
		if -w.normals[i].Vec().Dot(p.Vec().Sub(shot.From.O).Unit()) < least {
			continue
		}
		out.sees[i] = true
		n++
		out.fresh += 1 / float64(1+w.times[i])
		if before != nil && before[i] {
			shared++
		}
	}
	if n < 20 {
		out.sees = nil
	}
	out.shared = float64(shared) / float64(max(1, n))
	return out
}
