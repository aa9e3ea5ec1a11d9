package soundness

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// shell is a piece that hangs together.
type shell struct {
	first     int32 // its first triangle
	faces     int
	area      float64 // mm²
	volume    float64 // mm³, turned triangles put right and holes closed by fans
	open      bool
	crosses   bool // another shell
	box       geom.Box
	inside    int // the smallest shell it lies in, -1 if none
	insideOut bool
}

// sizeShells measures the shells.
func sizeShells(l *look, n int) []shell {
	shells := make([]shell, n)
	for i := range shells {
		shells[i] = shell{first: -1, inside: -1, box: geom.EmptyBox()}
	}
	o := l.mesh.Bounds().Centre()
	for t, i := range l.of {
		s := &shells[i]
		if s.first < 0 {
			s.first = int32(t)
		}
		s.faces++
		a, b, c := l.mesh.Corners(t)
		s.box = s.box.Include(a).Include(b).Include(c)
		if l.over[t] {
			b, c = c, b
		}
		s.area += b.Sub(a).Cross(c.Sub(a)).Len() / 2
		s.volume += a.Sub(o).Dot(b.Sub(o).Cross(c.Sub(o))) / 6
	}
	for _, h := range l.loops {
		closeFan(l, h, o, shells)
	}
	for c, mate := range l.edges.Across {
		if mate == geom.Rim {
			shells[l.of[c/3]].open = true
		}
	}
	for _, p := range l.pairs {
		if a, b := l.of[p[0]], l.of[p[1]]; a != b {
			shells[a].crosses, shells[b].crosses = true, true
		}
	}
	return shells
}

// closeFan adds the volume of a fan over a hole, seen from outside.
func closeFan(l *look, h hole, o geom.Vec, shells []shell) {
	for _, c := range h.Edges {
		from, to := l.mesh.Ends(c)
		if l.over[c/3] {
			from, to = to, from
		}
		a, b := l.mesh.Verts[to].Vec(), l.mesh.Verts[from].Vec()
		shells[l.of[c/3]].volume += a.Sub(o).Dot(b.Sub(o).Cross(h.at.Sub(o))) / 6
	}
}

// outerMost bounds the shells that others are looked for in: those of the
// largest boxes.
const outerMost = 200

// nest finds which shells lie in which, and which of those that lie in none
// are inside out. of names the shell of each triangle in the tree.
func nest(ctx context.Context, l *look, tree *geom.Tree, of []int32) error {
	outer := outers(l.shells)
	for i := range l.shells {
		s := &l.shells[i]
		if !s.crosses {
			l.findOuter(tree, of, outer, i)
		}
		s.insideOut = s.inside < 0 && facesIn(s)
		if i&255 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
	}
	return nil
}

// outers lists closed shells with the largest boxes, at most outerMost.
func outers(shells []shell) []int {
	var closed []int
	for i := range shells {
		if !shells[i].open {
			closed = append(closed, i)
		}
	}
	if len(closed) <= outerMost {
		return closed
	}
	slices.SortStableFunc(closed, func(a, b int) int {
		return cmp.Compare(shells[b].box.Size().Len2(), shells[a].box.Size().Len2())
	})
	return closed[:outerMost]
}

// findOuter finds the smallest shell that shell i lies in.
func (l *look) findOuter(tree *geom.Tree, of []int32, outer []int, i int) {
	s := &l.shells[i]
	may := false
	for _, k := range outer {
		may = may || k != i && holds(l.shells[k].box, s.box)
	}
	if !may {
		return
	}
	a, _, _ := l.mesh.Corners(int(s.first))
	turns := tree.TurnsBy(a, of)
	least := math.Inf(1)
	for _, k := range outer {
		if k == i || turns[int32(k)] == 0 || !holds(l.shells[k].box, s.box) {
			continue
		}
		if size := l.shells[k].box.Size().Len2(); size < least {
			s.inside, least = k, size
		}
	}
}

func holds(b, in geom.Box) bool {
	return b.Min.X < in.Min.X && b.Min.Y < in.Min.Y && b.Min.Z < in.Min.Z &&
		b.Max.X > in.Max.X && b.Max.Y > in.Max.Y && b.Max.Z > in.Max.Z
}

// facesIn reports whether a shell's inside faces out. Of an open one that can
// be told only if it encloses something: here a hundredth of what a ball of its
// area would, in the sense of 36 π V² / A³.
func facesIn(s *shell) bool {
	if s.volume >= 0 {
		return false
	}
	full := 36 * math.Pi * s.volume * s.volume / (s.area * s.area * s.area)
	return full > 0.01 || !s.open && full > 1e-9
}
