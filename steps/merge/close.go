package merge

import (
	"cmp"
	"context"
	"math"
	"slices"

	"layette/steps/internal/geom"
)

// forget takes out of the field what is not about the given skin, so that what
// was cut off does not come back.
func (f *field) forget(ctx context.Context, m *geom.Mesh) error {
	near := make([][geom.BlockSamples / 64]uint64, len(f.At))
	for v, p := range m.Verts {
		if v%4096 == 0 && ctx.Err() != nil {
			return context.Cause(ctx)
		}
		var lo [3]int32
		for d := range 3 {
			lo[d] = int32(math.Floor(float64(p[d])/f.Cell)) - 1
		}
		for k := lo[2]; k < lo[2]+4; k++ {
			for j := lo[1]; j < lo[1]+4; j++ {
				for i := lo[0]; i < lo[0]+4; i++ {
					if b, ok := f.Block([3]int32{i >> 3, j >> 3, k >> 3}); ok {
						s := geom.InBlock(i, j, k)
						near[b][s>>6] |= 1 << (s & 63)
					}
				}
			}
		}
	}
	for b := range near {
		for s := range f.Values[b] {
			if near[b][s>>6]>>(s&63)&1 == 0 {
				f.Values[b][s] = float32(math.NaN())
			}
		}
	}
	return nil
}

// closing carries the field on where no scan says anything, along the smooth
// skin on which the open surface's winding number is one half, until the
// surface has no rim. It starts at cells that the known surface cuts and that
// are not known whole, and goes on to those that the skin so found cuts.
type closing struct {
	f       *field
	winding *geom.Winding
	next    [][3]int32 // samples to be found
	asked   map[[3]int32]bool
}

// mostFilled bounds how many samples are invented: at 0.4 mm some 4 dm² of skin.
const mostFilled = 2_000_000

// close fills the field; false if the skin does not close within mostFilled,
// as when far less than half of a part was seen.
func (f *field) close(ctx context.Context, open *geom.Mesh) (bool, error) {
	winding, err := geom.NewWinding(ctx, open, f.workers)
	if err != nil {
		return false, err
	}
	c := &closing{f: f, winding: winding, asked: map[[3]int32]bool{}}
	for b := range len(f.At) {
		at := f.At[b]
		for s := range int32(geom.BlockSamples) {
			if v := f.Values[b][s]; v == v {
				c.around([3]int32{at[0]*8 + s&7, at[1]*8 + s>>3&7, at[2]*8 + s>>6}, true)
			}
		}
		if ctx.Err() != nil {
			return false, context.Cause(ctx)
		}
	}
	for len(c.next) > 0 {
		if len(c.asked) > mostFilled {
			return false, nil
		}
		if err := c.round(ctx); err != nil {
			return false, err
		}
	}
	return true, nil
}

// round finds all samples asked for, and asks for those of the cells that they cut.
func (c *closing) round(ctx context.Context) error {
	now := c.next
	c.next = nil
	slices.SortFunc(now, func(a, b [3]int32) int {
		return cmp.Or(cmp.Compare(a[2], b[2]), cmp.Compare(a[1], b[1]), cmp.Compare(a[0], b[0]))
	})
	values := make([]float32, len(now))
	err := geom.Each(ctx, len(now), c.f.workers, func(i int) {
		w := c.winding.At(c.f.Place(now[i][0], now[i][1], now[i][2]))
		values[i] = float32((0.5 - w) * 4 * c.f.Cell)
	})
	if err != nil {
		return err
	}
	for i, at := range now {
		c.f.Set(at[0], at[1], at[2], values[i])
	}
	for _, at := range now {
		c.around(at, false)
	}
	return nil
}

// around asks for what is not known of the cells about a sample that are cut.
func (c *closing) around(at [3]int32, first bool) {
	for d := range int32(8) {
		cell := [3]int32{at[0] - d&1, at[1] - d>>1&1, at[2] - d>>2&1}
		if first && d != 0 {
			// Each cell is looked at from its own first known corner only.
			if v := c.f.Value(cell[0], cell[1], cell[2]); v == v {
				continue
			}
		}
		c.look(cell)
	}
}

func (c *closing) look(cell [3]int32) {
	var unknown [8][3]int32
	n, below, above := 0, false, false
	for d := range int32(8) {
		at := [3]int32{cell[0] + d&1, cell[1] + d>>1&1, cell[2] + d>>2&1}
		switch v := c.f.Value(at[0], at[1], at[2]); {
		case v != v:
			unknown[n] = at
			n++
		case v < 0:
			below = true
		default:
			above = true
		}
	}
	if !below || !above {
		return
	}
	for _, at := range unknown[:n] {
		if !c.asked[at] {
			c.asked[at] = true
			c.next = append(c.next, at)
		}
	}
}

// unmark takes away the marks of closed skin that is not on what was seen: where
// it turns away at a rim it still lies near the points there.
func (m *merger) unmark(ctx context.Context, s, open *skin) error {
	tree, err := geom.NewTree(ctx, open.Mesh, m.job.Workers)
	if err != nil {
		return err
	}
	verts := make([]geom.Vec, len(s.Verts))
	for v, p := range s.Verts {
		verts[v] = p.Vec()
	}
	hits, err := tree.ClosestAll(ctx, verts, m.voxel/8, m.job.Workers)
	for v, h := range hits {
		if h.Tri < 0 {
			s.Seen[v] = 0
		}
	}
	return err
}

// soften smooths invented skin, so that it leaves the seen skin without a
// ridge. What was seen does not move.
func soften(ctx context.Context, m *geom.Mesh, rounds int) error {
	for range rounds {
		if ctx.Err() != nil {
			return context.Cause(ctx)
		}
		sum, n := neighbours(m)
		verts := slices.Clone(m.Verts)
		for v := range verts {
			if m.Seen[v] == 0 && n[v] > 0 {
				verts[v] = sum[v].Mul(1 / float64(n[v])).Add(m.Verts[v].Vec()).Mul(0.5).Point()
			}
		}
		m.Verts = verts
	}
	return nil
}

// opened takes out the patches of invented skin that are larger than a disc wide mm
// across, as over a neck; none if wide is 0.
func opened(s *skin, wide float64) *skin {
	if wide == 0 {
		return s
	}
	sets := geom.NewSets(len(s.Verts))
	for _, t := range s.Tris {
		for k := range 3 {
			if a, b := t[k], t[(k+1)%3]; s.Seen[a] == 0 && s.Seen[b] == 0 {
				sets.Join(a, b)
			}
		}
	}
	of, n := sets.Number()
	area, patch := make([]float64, n), make([]int32, len(s.Tris)) // of each triangle, its patch; -1 if it was seen
	for t, tri := range s.Tris {
		patch[t] = -1
		for _, v := range tri {
			if s.Seen[v] == 0 {
				patch[t] = of[v]
			}
		}
		if patch[t] >= 0 {
			a, b, c := s.Corners(t)
			area[patch[t]] += b.Sub(a).Cross(c.Sub(a)).Len() / 2
		}
	}
	return s.from(kept(s.Mesh, func(t int) bool {
		return patch[t] < 0 || 4*area[patch[t]] <= math.Pi*wide*wide
	}))
}
