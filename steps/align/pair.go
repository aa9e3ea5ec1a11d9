package align

import (
	"bytes"
	"cmp"
	"context"
	"encoding/binary"
	"fmt"
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

// pair is what is known of two scans, a < b in the session's order.
type pair struct {
	a, b  int
	ideas []idea // the best first, no two alike
}

const (
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

// pairUp looks for ideas for every two scans.
func (s *session) pairUp(ctx context.Context) ([]pair, error) {
	var pairs []pair
	for b := range s.scans {
		for a := range b {
			if s.scans[a].why == "" && s.scans[b].why == "" {
				pairs = append(pairs, pair{a: a, b: b})
			}
		}
	}
	s.job.Progress.Start("compare scans two by two", len(pairs))
	err := s.each(ctx, len(pairs), func(i int) error {
		defer s.job.Progress.Add(1)
		return s.compare(ctx, &pairs[i])
	})
	return pairs, err
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

// compare finds the ideas of a pair, or takes what was kept of it.
func (s *session) compare(ctx context.Context, p *pair) error {
	a, b := s.scans[p.a], s.scans[p.b]
	key := fmt.Sprintf("pair %d %s %s %v %s %s %v %x", Kind{}.Handbook().Version, a.file.SHA256, a.file.Units, a.fixed, b.file.SHA256, b.file.Units, b.fixed, s.spacing)
	if data, ok := s.prior(key); ok && p.decode(data) {
		return nil
	}
	p.ideas = think(ctx, a, b)
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	data, _ := binary.Append([]byte{byte(len(p.ideas))}, binary.LittleEndian, p.ideas)
	return s.keep(key, data)
}

// decode reads what compare kept; false if it is damaged.
func (p *pair) decode(data []byte) bool {
	if len(data) == 0 || len(data) != 1+int(data[0])*binary.Size(idea{}) {
		return false
	}
	p.ideas = make([]idea, data[0])
	return binary.Read(bytes.NewReader(data[1:]), binary.LittleEndian, p.ideas) == nil
}

// think returns the best few ways in which a may lie on b.
func think(ctx context.Context, a, b *scan) []idea {
	cs := geom.Candidates(a.view.Cloud, b.view.Cloud, a.features, b.features, tried)
	lim, step := limit(a, b), a.view.Spacing
	type rough struct {
		geom.Candidate
		score int
	}
	var rs []rough
	for _, c := range cs {
		if c.Votes < fewVotes || ctx.Err() != nil {
			continue
		}
		m := geom.Meet(a.view, b.view, c.Pose, 1.5*step, 150)
		if m.Clashing() < 0.25 {
			rs = append(rs, rough{c, m.On - 2*m.Clash})
		}
	}
	slices.SortStableFunc(rs, func(x, y rough) int { return cmp.Compare(y.score, x.score) })
	var ideas []idea
	for _, r := range rs[:min(len(rs), followed)] {
		if 3*r.score < rs[0].score || r.score < 15 {
			break
		}
		pose, ok := geom.Register(ctx, a.view.Cloud, b.view.Cloud, r.Pose, 4*step, 1.5*step, 10, 300)
		if !ok || slices.ContainsFunc(ideas, func(i idea) bool { return geom.Alike(pose, i.Pose, a.view.Cloud) }) {
			continue
		}
		if i := assess(a, b, pose, lim, r.Votes); i.Clash < 0.15 && i.Agree > 0.3 && i.On >= 20 {
			ideas = append(ideas, i)
		}
	}
	slices.SortStableFunc(ideas, func(x, y idea) int { return cmp.Compare(y.worth(), x.worth()) })
	ideas = ideas[:min(len(ideas), ideasKept)]
	return refine(ctx, a, b, ideas, lim)
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
