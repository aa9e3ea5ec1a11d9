package soundness

import (
	"cmp"
	"context"
	"fmt"
	"slices"
	"sync"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// look is what is found on a surface.
type look struct {
	mesh     *geom.Mesh
	workers  int
	progress step.Progress
	lost     int // triangles the reader left out

	edges     *geom.Edges
	of        []int32 // the shell of each triangle
	shells    []shell
	over      []bool // triangles turned over
	overCount int
	twisted   int
	turned    int // edges
	openEdges int
	loops     []hole
	crowded   []int32 // vertices
	copies    []int32 // triangles
	flat      []int32 // triangles without area
	slivers   int
	pairs     []geom.Pair
	allPairs  bool
	siftedOut int     // copies and flat triangles not tried for crossings
	crossing  []int32 // triangles
	spikes    []spike
	area      float64
	volume    float64
}

// pairsMost bounds the memory for crossings: 32 MB.
const pairsMost = 1 << 22

// sliverHeight is the height in mm below which a triangle is a sliver: a
// thousandth of what a scanner or a printer resolves. Common practice, no source.
const sliverHeight = 1e-4

// all looks at everything.
func (l *look) all(ctx context.Context) (err error) {
	m := l.mesh
	l.progress.Start("matching edges", 0)
	if l.edges, err = m.Edges(ctx, l.workers); err != nil {
		return err
	}
	var n int
	var spikesErr error
	l.sideBySide(ctx,
		[]func(){
			func() { l.of, n = m.Shells(l.edges) },
			func() { l.over, l.twisted = m.Sides(l.edges) },
			l.countEdges,
			func() { l.loops = holes(m, m.Rims(l.edges)) },
			l.faces,
		}, []func(){
			func() { l.spikes, spikesErr = findSpikes(ctx, m, l.edges) },
			func() { l.area = m.Area() },
			func() { l.volume = m.Volume() },
			func() { l.copies = m.Copies(l.edges) },
			func() { l.crowded = m.Crowded(l.edges, 1) },
		})
	if err := cmp.Or(spikesErr, context.Cause(ctx)); err != nil {
		return err
	}
	return l.withTree(ctx, n)
}

// sideBySide runs two lists of work, at the same time if two workers are
// allowed, and stops between pieces when ctx is done.
func (l *look) sideBySide(ctx context.Context, one, two []func()) {
	run := func(list []func()) {
		for _, f := range list {
			if ctx.Err() != nil {
				return
			}
			f()
		}
	}
	if l.workers < 2 {
		run(one)
		run(two)
		return
	}
	var wg sync.WaitGroup
	wg.Go(func() { run(one) })
	run(two)
	wg.Wait()
}

// withTree looks for what needs a tree: crossings, and shells in shells.
func (l *look) withTree(ctx context.Context, shells int) error {
	l.progress.Start("looking for triangles that cross", 0)
	mesh, kept := l.sifted()
	tree, err := geom.NewTree(ctx, mesh, l.workers)
	if err != nil {
		return err
	}
	if l.pairs, l.allPairs, err = tree.Crossings(ctx, pairsMost, l.workers); err != nil {
		return err
	}
	if kept != nil {
		for i, p := range l.pairs {
			l.pairs[i] = geom.Pair{kept[p[0]], kept[p[1]]}
		}
	}
	for _, p := range l.pairs {
		l.crossing = append(l.crossing, p[0], p[1])
	}
	slices.Sort(l.crossing)
	l.crossing = slices.Compact(l.crossing)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	l.shells = sizeShells(l, shells)
	of := l.of
	if kept != nil {
		of = make([]int32, len(kept))
		for i, t := range kept {
			of[i] = l.of[t]
		}
	}
	return nest(ctx, l, tree, of)
}

// heapMost is how many copies and triangles without area are put into the
// tree: thousands of them at one place would be tried each against each.
const heapMost = 1000

// sifted returns the surface for the tree, and if that is not the whole of it,
// which triangles it holds.
func (l *look) sifted() (m *geom.Mesh, kept []int32) {
	if len(l.copies)+len(l.flat) <= heapMost {
		return l.mesh, nil
	}
	l.siftedOut = len(l.copies) + len(l.flat)
	out := make([]bool, len(l.mesh.Tris))
	for _, list := range [2][]int32{l.copies, l.flat} {
		for _, t := range list {
			out[t] = true
		}
	}
	m = &geom.Mesh{Verts: l.mesh.Verts, Origin: l.mesh.Origin}
	for t, tri := range l.mesh.Tris {
		if !out[t] {
			m.Tris, kept = append(m.Tris, tri), append(kept, int32(t))
		}
	}
	return m, kept
}

func (l *look) countEdges() {
	for c, mate := range l.edges.Across {
		switch {
		case mate == geom.Rim:
			l.openEdges++
		case mate > int32(c) && l.mesh.Turned(l.edges, int32(c)):
			l.turned++
		}
	}
}

// faces counts triangles that are turned, without area, or all but.
func (l *look) faces() {
	for t := range l.mesh.Tris {
		if l.over[t] {
			l.overCount++
		}
		a, b, c := l.mesh.Corners(t)
		ab, bc, ca := b.Sub(a), c.Sub(b), a.Sub(c)
		long := max(ab.Len2(), bc.Len2(), ca.Len2())
		twice := ab.Cross(bc).Len2()
		if twice > float64(sliverHeight*sliverHeight)*long {
			continue
		}
		l.slivers++
		if l.mesh.Flat(t) {
			l.flat = append(l.flat, int32(t))
		}
	}
}

func (l *look) measures() map[string]any {
	longest, largest := 0.0, 0.0
	for _, h := range l.loops {
		longest, largest = max(longest, h.length), max(largest, h.area)
	}
	inner, insideOut := 0, false
	for _, s := range l.shells {
		if s.inside >= 0 {
			inner++
		}
		insideOut = insideOut || s.insideOut
	}
	return map[string]any{
		"watertight":       l.mesh.Closed(l.edges),
		"inside-out":       insideOut,
		"triangles":        int64(len(l.mesh.Tris)),
		"shells":           int64(len(l.shells)),
		"shells.inner":     int64(inner),
		"edges.open":       int64(l.openEdges),
		"loops":            int64(len(l.loops)),
		"loops.longest":    longest,
		"loops.largest":    largest,
		"edges.crowded":    int64(len(l.edges.Fans)),
		"edges.turned":     int64(l.turned),
		"faces.turned":     int64(l.overCount),
		"vertices.crowded": int64(len(l.crowded)),
		"faces.degenerate": int64(len(l.flat)),
		"faces.slivers":    int64(l.slivers),
		"faces.duplicate":  int64(len(l.copies)),
		"faces.lost":       int64(l.lost),
		"crossing.pairs":   int64(len(l.pairs)),
		"crossing.faces":   int64(len(l.crossing)),
		"spikes":           int64(len(l.spikes)),
		"volume":           l.volume,
		"area":             l.area,
	}
}

func (l *look) notes() []string {
	var notes []string
	if !l.allPairs {
		notes = append(notes, fmt.Sprintf("more than %d pairs of triangles cross; counting stopped there", pairsMost))
	}
	if l.siftedOut > 0 {
		notes = append(notes, fmt.Sprintf("crossings were counted without the %d triangles that are copies or have no area", l.siftedOut))
	}
	if l.twisted > 0 {
		notes = append(notes, fmt.Sprintf("%d edges cannot be put right by turning triangles: the skin has a half twist there and no inside", l.twisted))
	}
	return notes
}

// hole is a closed way along open edges.
type hole struct {
	geom.Loop
	length, area float64 // mm, mm²
	at           geom.Vec
	radius       float64
}

// holes measures loops: length, and the area of the flat shadow that is largest.
func holes(m *geom.Mesh, loops []geom.Loop) []hole {
	out := make([]hole, len(loops))
	for i, loop := range loops {
		h := hole{Loop: loop}
		for _, v := range loop.Verts {
			h.at = h.at.Add(m.Verts[v].Vec())
		}
		h.at = h.at.Mul(1 / float64(len(loop.Verts)))
		var twice geom.Vec
		for k, v := range loop.Verts {
			a, b := m.Verts[v].Vec().Sub(h.at), m.Verts[loop.Verts[(k+1)%len(loop.Verts)]].Vec().Sub(h.at)
			h.length += b.Sub(a).Len()
			twice = twice.Add(a.Cross(b))
			h.radius = max(h.radius, a.Len())
		}
		h.area = twice.Len() / 2
		out[i] = h
	}
	return out
}
