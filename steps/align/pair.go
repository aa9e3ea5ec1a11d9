package align

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"errors"
	"math"
	"slices"
	"sync"

	"layette/steps/internal/geom"
)

// idea is one way in which two scans might lie together: the first in the
// second's frame, with what speaks for it. All fields have a fixed size, so
// that it can be kept as bytes.
type idea struct {
	Pose    geom.Pose
	Votes   int32
	On      int32   // thinned points that lie on the other scan, of those tried
	Over    int32   // that lie over it
	Overlap float64 // share of the smaller scan
	Agree   float64 // share of the overlap that lies on the other scan
	Clash   float64 // share that hangs in front of what the other's scanner saw
	Sigma   float64 // mm, spread of the distances
	RMS     float64 // mm, of those on it
	Firm    float64 // how well shape fixes the pose
}

// guess is a pose under which places that look alike come to lie together.
// All fields have a fixed size, as those of an idea.
type guess struct {
	Pose  geom.Pose
	Votes int32
}

// pair is what is known of two scans, a < b in the session's order.
type pair struct {
	a, b    int
	guesses []guess // the one with most votes first
	ideas   []idea  // the best first, no two alike
}

const (
	closely   = 30 // other scans with which each is compared closely
	tried     = 12 // candidates looked at
	followed  = 5  // brought nearer
	ideasKept = 3
	fewVotes  = 5
)

// limit is how far apart two scans' thinned points may be where the scans lie
// on each other: what their noise leaves after thinning, and what thinning
// itself does on curved skin.
func limit(a, b *scan) float64 {
	n := math.Sqrt(float64(a.view.Noise*a.view.Noise) + float64(b.view.Noise*b.view.Noise))
	return float64(0.05*a.view.Spacing) + float64(2.5*n)
}

// pairUp looks at every two scans quickly, and closely at those that look most
// alike: of two hundred scans of a limb, most pairs show different skin.
func (s *session) pairUp(ctx context.Context) ([]pair, error) {
	var pairs []pair
	for b := range s.scans {
		for a := range b {
			if s.scans[a].why == "" && s.scans[b].why == "" {
				pairs = append(pairs, pair{a: a, b: b})
			}
		}
	}
	if err := s.shelves(ctx); err != nil {
		return nil, err
	}
	s.job.Progress.Start("look for the same places in every two scans", len(pairs))
	err := s.each(ctx, len(pairs), func(i int) error {
		defer s.job.Progress.Add(1)
		return s.guess(ctx, &pairs[i])
	})
	if err = errors.Join(err, s.putAway()); err != nil {
		return nil, err
	}
	near := s.likeliest(pairs)
	s.job.Progress.Start("compare scans two by two", len(near))
	err = s.each(ctx, len(near), func(i int) error {
		defer s.job.Progress.Add(1)
		return s.compare(ctx, near[i])
	})
	return pairs, errors.Join(err, s.putAway())
}

// likeliest returns the pairs worth a close look: for each scan those with the
// most votes, and all that the casting is in.
func (s *session) likeliest(pairs []pair) []*pair {
	of := make([][]*pair, len(s.scans))
	for k := range pairs {
		p := &pairs[k]
		of[p.a], of[p.b] = append(of[p.a], p), append(of[p.b], p)
	}
	wanted := map[*pair]bool{}
	for i, list := range of {
		slices.SortStableFunc(list, func(x, y *pair) int { return cmp.Compare(y.votes(), x.votes()) })
		most := closely
		if s.scans[i].fixed {
			most = len(list)
		}
		for _, p := range list[:min(len(list), most)] {
			wanted[p] = true
		}
	}
	var near []*pair
	for k := range pairs {
		if p := &pairs[k]; wanted[p] && len(p.guesses) > 0 {
			near = append(near, p)
		}
	}
	return near
}

func (p *pair) votes() int32 {
	if len(p.guesses) == 0 {
		return 0
	}
	return p.guesses[0].Votes
}

// each calls f for 0..n-1 from the job's workers and returns the first error
// by number.
func (s *session) each(ctx context.Context, n int, f func(i int) error) error {
	errs := make([]error, n)
	next := make(chan int)
	var wg sync.WaitGroup
	for range max(1, s.job.Workers) {
		wg.Go(func() {
			for i := range next {
				errs[i] = f(i)
			}
		})
	}
	for i := 0; i < n && ctx.Err() == nil; i++ {
		next <- i
	}
	close(next)
	wg.Wait()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	for _, err := range errs {
		if err != nil {
			return err
		}
	}
	return nil
}

// guess finds the guesses of a pair, or takes what was kept of it.
func (s *session) guess(ctx context.Context, p *pair) error {
	key := s.rowOf("guess", p)
	if data, ok := s.found(key, p); ok && decode(data, &p.guesses) {
		return nil
	}
	a, b := s.scans[p.a], s.scans[p.b]
	for _, c := range geom.Candidates(a.view.Cloud, b.view.Cloud, a.features, b.features, tried) {
		if c.Votes >= fewVotes {
			p.guesses = append(p.guesses, guess{c.Pose, int32(c.Votes)})
		}
	}
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	s.shelve(key, p, encode(p.guesses))
	return nil
}

// compare finds the ideas of a pair, or takes what was kept of it.
func (s *session) compare(ctx context.Context, p *pair) error {
	key := s.rowOf("pair", p)
	if data, ok := s.found(key, p); ok && decode(data, &p.ideas) {
		return nil
	}
	p.ideas = think(ctx, s.scans[p.a], s.scans[p.b], p.guesses)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	s.shelve(key, p, encode(p.ideas))
	return nil
}

// encode writes a short list of items of fixed size, decode reads it; false if
// it is damaged.
func encode[T any](list []T) []byte {
	data, _ := binary.Append([]byte{byte(len(list))}, binary.LittleEndian, list)
	return data
}

func decode[T any](data []byte, into *[]T) bool {
	var one T
	if len(data) == 0 || len(data) != 1+int(data[0])*binary.Size(one) {
		return false
	}
	*into = make([]T, data[0])
	return binary.Read(bytes.NewReader(data[1:]), binary.LittleEndian, *into) == nil
}

// think returns the best few ways in which a may lie on b.
func think(ctx context.Context, a, b *scan, guesses []guess) []idea {
	lim, step := limit(a, b), a.view.Spacing
	type rough struct {
		guess
		score int
	}
	var rs []rough
	for _, c := range guesses {
		m := geom.Meet(a.view, b.view, c.Pose, 1.5*step, 150)
		if m.Clashing() < 0.25 {
			rs = append(rs, rough{c, m.On - 2*m.Clash})
		}
	}
	slices.SortStableFunc(rs, func(x, y rough) int { return cmp.Compare(y.score, x.score) })
	var ideas []idea
	for _, r := range rs[:min(len(rs), followed)] {
		if 3*r.score < rs[0].score || r.score < 15 || ctx.Err() != nil {
			break
		}
		pose, ok := nearer(ctx, a, b, r.Pose)
		if !ok || slices.ContainsFunc(ideas, func(i idea) bool { return geom.Alike(pose, i.Pose, a.middle, a.view.Spacing) }) {
			continue
		}
		if i := assess(a, b, pose, lim, int(r.Votes)); i.Clash < 0.15 && i.Agree > 0.3 && i.On >= 20 {
			ideas = append(ideas, i)
		}
	}
	slices.SortStableFunc(ideas, func(x, y idea) int { return cmp.Compare(y.worth(), x.worth()) })
	ideas = ideas[:min(len(ideas), ideasKept)]
	return refine(ctx, a, b, ideas, lim)
}

// nearer brings a onto b: with few points at first, and with many if what the
// few say is not hopeless.
func nearer(ctx context.Context, a, b *scan, pose geom.Pose) (geom.Pose, bool) {
	step := a.view.Spacing
	pose, ok := geom.Register(ctx, a.view.Cloud, b.view.Cloud, pose, 4*step, 2*step, 6, 100)
	if !ok {
		return pose, false
	}
	if m := geom.Meet(a.view, b.view, pose, 2*limit(a, b), 120); m.On < 12 || m.Agree() < 0.3 || m.Clashing() > 0.2 {
		return pose, false
	}
	return geom.Register(ctx, a.view.Cloud, b.view.Cloud, pose, 2.5*step, 1.5*step, 6, 300)
}

// worth puts ideas in order: how much lies on the other scan, and how well.
func (i *idea) worth() float64 { return float64(i.On) * i.Agree * (1 - float64(3*i.Clash)) }

// assess judges a pose.
func assess(a, b *scan, pose geom.Pose, lim float64, votes int) idea {
	m := geom.Meet(a.view, b.view, pose, lim, 600)
	return idea{
		Pose: pose, Votes: int32(votes), On: int32(m.On), Over: int32(m.OverA + m.OverB), Overlap: m.Overlap(),
		Agree: m.Agree(), Clash: m.Clashing(), Sigma: m.Sigma(), RMS: m.RMS(),
	}
}

// refine brings the best idea as near as the finely thinned scans allow.
func refine(ctx context.Context, a, b *scan, ideas []idea, lim float64) []idea {
	step := a.view.Spacing
	for k := range ideas {
		if k > 0 || ideas[k].Agree < 0.6 || ideas[k].Overlap < 0.1 {
			continue // it will hardly be believed
		}
		pose, ok := geom.Register(ctx, a.fine, b.fine, ideas[k].Pose, 1.5*step, step, 8, 800)
		if ok {
			ideas[k] = assess(a, b, pose, lim, int(ideas[k].Votes))
		}
		ideas[k].Firm = geom.Firmness(a.view.Cloud, b.view.Cloud, ideas[k].Pose, 400)
	}
	return ideas
}
