package geom

import (
	"cmp"
	"math"
	setbits "math/bits"
	"slices"
)

// Candidate is a pose that might bring one scan onto another.
type Candidate struct {
	Pose
	Votes int // matches that agree, no two of them from one place
}

// match says that a place of one scan looks like one of another.
type match struct {
	a, b  int32 // points of the clouds
	apart float32
}

const (
	matchesKept = 500 // the most alike
	bestOf      = 3   // matches kept for each place
	seeds       = 60  // groups grown
)

// Candidates returns up to most poses of a in b's frame in which places that
// look alike come to lie on each other, the one with most votes first. Matches
// are taken both ways; two matches agree if their places lie equally far apart
// and their normals stand alike to each other, mirror images excluded; groups
// in which all agree are grown from those that agree with most others. After M.
// Leordeanu and M. Hebert, "A spectral technique for correspondence problems
// using pairwise constraints", ICCV 2005, with greedy cliques in place of
// eigenvectors (from memory). It uses no chance.
//
// Cost: about 15 ms for two scans of 500 places.
func Candidates(a, b *Cloud, fa, fb *Features, most int) []Candidate {
	mid := a.Middle()
	ms := matches(fa, fb)
	g := agreement(a, b, ms)
	var found []Candidate
	used := make([]bool, len(ms))
	for _, s := range g.leaders() {
		if used[s] {
			continue
		}
		c, ok := g.grow(s, a, b, ms, used)
		if ok && !slices.ContainsFunc(found, func(d Candidate) bool { return Alike(c.Pose, d.Pose, mid, a.Spacing) }) {
			found = append(found, c)
		}
	}
	slices.SortStableFunc(found, func(x, y Candidate) int { return cmp.Compare(y.Votes, x.Votes) })
	return found[:min(most, len(found))]
}

// matches returns the most alike places of two scans.
func matches(fa, fb *Features) []match {
	na, nb := len(fa.At), len(fb.At)
	bestA, bestB := make([][bestOf]match, na), make([][bestOf]match, nb)
	none := match{-1, -1, math.MaxFloat32}
	for i := range bestA {
		bestA[i] = [bestOf]match{none, none, none}
	}
	for j := range bestB {
		bestB[j] = [bestOf]match{none, none, none}
	}
	for i := range fa.Row {
		for j := range fb.Row {
			limit := max(bestA[i][bestOf-1].apart, bestB[j][bestOf-1].apart)
			d := apart2(&fa.Row[i], &fb.Row[j], limit)
			if d < limit {
				m := match{int32(i), int32(j), d}
				enterMatch(&bestA[i], m)
				enterMatch(&bestB[j], m)
			}
		}
	}
	var all []match
	for _, list := range [][][bestOf]match{bestA, bestB} {
		for _, best := range list {
			for _, m := range best {
				if m.a >= 0 {
					all = append(all, m)
				}
			}
		}
	}
	slices.SortFunc(all, func(x, y match) int {
		return cmp.Or(cmp.Compare(x.apart, y.apart), cmp.Compare(x.a, y.a), cmp.Compare(x.b, y.b))
	})
	all = slices.Compact(all)
	all = all[:min(len(all), matchesKept)]
	for k, m := range all {
		all[k].a, all[k].b = fa.At[m.a], fb.At[m.b]
	}
	return all
}

func enterMatch(best *[bestOf]match, m match) {
	if m.apart >= best[bestOf-1].apart {
		return
	}
	k := bestOf - 1
	for ; k > 0 && m.apart < best[k-1].apart; k-- {
		best[k] = best[k-1]
	}
	best[k] = m
}

// graph tells which matches agree with which, as rows of bits.
type graph struct {
	n, words int
	rows     []uint64
	degree   []int
}

func (g *graph) row(i int) []uint64 { return g.rows[i*g.words : (i+1)*g.words] }
func (g *graph) set(i, j int)       { g.rows[i*g.words+j/64] |= 1 << (j % 64) }

// oriented is a place with its normal, both scans.
type oriented struct{ pa, na, pb, nb Vec }

func agreement(a, b *Cloud, ms []match) *graph {
	g := &graph{n: len(ms), words: (len(ms) + 63) / 64, degree: make([]int, len(ms))}
	g.rows = make([]uint64, g.n*g.words)
	at := make([]oriented, len(ms))
	for i, m := range ms {
		at[i] = oriented{a.Points[m.a].Vec(), a.Normals[m.a].Vec(), b.Points[m.b].Vec(), b.Normals[m.b].Vec()}
	}
	for i := range at {
		for j := i + 1; j < len(at); j++ {
			if at[i].agrees(&at[j], a.Spacing) {
				g.set(i, j)
				g.set(j, i)
				g.degree[i]++
				g.degree[j]++
			}
		}
	}
	return g
}

// agrees reports whether two matches could hold under one motion.
func (m *oriented) agrees(o *oriented, spacing float64) bool {
	da, db := o.pa.Sub(m.pa), o.pb.Sub(m.pb)
	la, lb := da.Len(), db.Len()
	least := 5 * spacing // nearer ones say little about the turn
	if la < least || lb < least || math.Abs(la-lb) > float64(1.5*spacing)+float64(0.03*la) {
		return false
	}
	if math.Abs(m.na.Dot(o.na)-m.nb.Dot(o.nb)) > 0.2 {
		return false
	}
	ia, ib := 1/la, 1/lb
	if math.Abs(float64(m.na.Dot(da)*ia)-float64(m.nb.Dot(db)*ib)) > 0.25 || math.Abs(float64(o.na.Dot(da)*ia)-float64(o.nb.Dot(db)*ib)) > 0.25 {
		return false
	}
	ta, tb := float64(m.na.Cross(o.na).Dot(da)*ia), float64(m.nb.Cross(o.nb).Dot(db)*ib)
	return math.Abs(ta-tb) < 0.3 // a mirror image turns the sign
}

// leaders returns the matches that agree with most others.
func (g *graph) leaders() []int {
	order := make([]int, g.n)
	for i := range order {
		order[i] = i
	}
	slices.SortStableFunc(order, func(x, y int) int { return cmp.Compare(g.degree[y], g.degree[x]) })
	return order[:min(seeds, g.n)]
}

// grow gathers a group round match s in which all agree, and fits a pose to it.
func (g *graph) grow(s int, a, b *Cloud, ms []match, used []bool) (Candidate, bool) {
	open := slices.Clone(g.row(s))
	group := []int{s}
	for len(group) < 40 {
		best, most := -1, -1
		for i := range g.n {
			if open[i/64]>>(i%64)&1 == 0 {
				continue
			}
			if k := shared(open, g.row(i)); k > most {
				best, most = i, k
			}
		}
		if best < 0 {
			break
		}
		group = append(group, best)
		for w, bits := range g.row(best) {
			open[w] &= bits
		}
	}
	if len(group) < 3 {
		return Candidate{}, false
	}
	for _, k := range group {
		used[k] = true
	}
	pose, ok := fitGroup(group, a, b, ms)
	if !ok {
		return Candidate{}, false
	}
	return settle(pose, a, b, ms)
}

func shared(x, y []uint64) int {
	n := 0
	for k := range x {
		n += setbits.OnesCount64(x[k] & y[k])
	}
	return n
}

// fitGroup fits a pose to matched places and to the tips of their normals,
// which fix the turn even where the places lie on a line.
func fitGroup(group []int, a, b *Cloud, ms []match) (Pose, bool) {
	arm := 5 * a.Spacing
	var from, to []Vec
	for _, k := range group {
		pa, pb := a.Points[ms[k].a].Vec(), b.Points[ms[k].b].Vec()
		from = append(from, pa, pa.Add(a.Normals[ms[k].a].Vec().Mul(arm)))
		to = append(to, pb, pb.Add(b.Normals[ms[k].b].Vec().Mul(arm)))
	}
	f, err := FitRigid(from, to, nil)
	return f.Pose, err == nil
}

// settle fits the pose again to all matches that it brings together.
func settle(pose Pose, a, b *Cloud, ms []match) (Candidate, bool) {
	var group []int
	for range 2 {
		group = group[:0]
		for k, m := range ms {
			off := pose.Apply(a.Points[m.a].Vec()).Sub(b.Points[m.b].Vec()).Len2()
			if off < float64(9*a.Spacing)*a.Spacing && pose.Rot.Apply(a.Normals[m.a].Vec()).Dot(b.Normals[m.b].Vec()) > 0.8 {
				group = append(group, k)
			}
		}
		var ok bool
		if pose, ok = fitGroup(group, a, b, ms); !ok {
			return Candidate{}, false
		}
	}
	seen := map[int32]bool{}
	for _, k := range group {
		seen[ms[k].a] = true
	}
	return Candidate{pose, len(seen)}, true
}

// Alike reports whether two poses put a scan in nearly the same place: within
// ten degrees, and five spacings at its middle.
func Alike(p, q Pose, middle Vec, spacing float64) bool {
	if p.Apply(middle).Sub(q.Apply(middle)).Len() > 5*spacing {
		return false
	}
	r := p.Rot.Transposed().Mul(q.Rot)
	return r[0][0]+r[1][1]+r[2][2] > 1+2*0.985 // under ten degrees
}

// Middle returns the mean of the points.
func (c *Cloud) Middle() Vec {
	var s Vec
	for _, p := range c.Points {
		s = s.Add(p.Vec())
	}
	return s.Mul(1 / float64(max(1, len(c.Points))))
}
