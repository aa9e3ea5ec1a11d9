package engine

import (
	"context"
	"errors"
	"fmt"
	"io/fs"
	"runtime"
	"sync"
	"time"

	"layette/engine/store"
)

// sums holds the digests of a plan's source files, or why one has none.
type sums struct {
	byName map[string]store.Sum
	faults map[string]error
}

// saveEvery is how often what was hashed is written down, so that an
// interrupted first run over 30 GB need not begin again.
const saveEvery = 5 * time.Second

// sumAll takes the digest of every source file once: what is remembered first,
// then the rest in parallel, telling w of the bytes. Files too young to be
// surely whole are looked at again after a while if wait is set.
func (m *Model) sumAll(ctx context.Context, nodes []*node, wait bool, w Watcher) (*sums, error) {
	s := &sums{byName: map[string]store.Sum{}, faults: map[string]error{}}
	unread, total := m.known(sourcesOf(nodes), s)
	if len(unread) == 0 {
		return s, nil
	}
	if wait {
		if err := m.settle(ctx, unread, s); err != nil {
			return nil, err
		}
	}
	w.Reading(0, total)
	return s, m.readAll(ctx, unread, total, s, w)
}

// askers is how many files are asked about at once: on a share each answer
// takes a round trip, however fast the machine.
const askers = 16

// known fills in what is remembered and returns what must be read, and how
// many bytes that is.
func (m *Model) known(sources []source, s *sums) (unread []source, total int64) {
	type answer struct {
		sum store.Sum
		ok  bool
		err error
	}
	answers := make([]answer, len(sources))
	var wg sync.WaitGroup
	for a := range min(askers, len(sources)) {
		wg.Go(func() {
			for i := a; i < len(sources); i += askers {
				sum, ok, err := m.stamps.Known(sources[i].place, sources[i].name)
				answers[i] = answer{sum, ok, err}
			}
		})
	}
	wg.Wait()
	for i, src := range sources {
		switch a := answers[i]; {
		case a.err != nil:
			s.faults[src.shown] = a.err
		case a.ok:
			s.byName[src.shown] = a.sum
		default:
			unread = append(unread, src)
			total += a.sum.Size
		}
	}
	return unread, total
}

// sourcesOf lists the source files of the nodes, each once, in order.
func sourcesOf(nodes []*node) []source {
	seen := map[string]bool{}
	var list []source
	for _, n := range nodes {
		for _, f := range n.feeds {
			for _, src := range f.files {
				if !seen[src.shown] {
					seen[src.shown] = true
					list = append(list, src)
				}
			}
		}
	}
	return list
}

// settle waits until files that are new since the last run have stayed as they
// are for a while; what does not is "still being written".
func (m *Model) settle(ctx context.Context, unread []source, s *sums) error {
	if m.opts.Settle < 0 {
		return nil
	}
	before := map[string]store.Stamp{}
	for _, src := range unread {
		sum, _, err := m.stamps.Known(src.place, src.name)
		if err == nil && !m.stamps.Seen(src.place, src.name, sum.Stamp) && m.young(sum.Stamp) {
			before[src.shown] = sum.Stamp
		}
	}
	if len(before) == 0 {
		return nil
	}
	select {
	case <-ctx.Done():
		return context.Cause(ctx)
	case <-time.After(m.opts.Settle):
	}
	for _, src := range unread {
		stamp, young := before[src.shown]
		if !young {
			continue
		}
		if now, _, err := m.stamps.Known(src.place, src.name); err != nil || now.Stamp != stamp {
			s.faults[src.shown] = store.ErrChanging
		}
	}
	return nil
}

// young reports whether a file was written so lately that it may still grow. A
// clock that is wrong makes for a wait too many or too few, no worse: what
// changes while it is read, or while a stage runs, is noticed anyway.
func (m *Model) young(s store.Stamp) bool {
	return m.opts.Now().UnixNano()-s.MTime < int64(m.opts.Settle)
}

func (m *Model) readAll(ctx context.Context, unread []source, total int64, s *sums, w Watcher) error {
	var mu sync.Mutex
	var done int64
	saved := time.Now()
	heard := func(n int64) {
		mu.Lock()
		defer mu.Unlock()
		done += n
		w.Reading(done, total)
	}
	jobs := make(chan source)
	var wg sync.WaitGroup
	for range min(runtime.GOMAXPROCS(0), len(unread)) {
		wg.Go(func() {
			for src := range jobs {
				sum, err := m.stamps.Read(ctx, src.place, src.name, heard)
				mu.Lock()
				if err != nil {
					s.faults[src.shown] = err
				} else {
					s.byName[src.shown] = sum
				}
				mu.Unlock()
			}
		})
	}
	for _, src := range unread {
		if s.faults[src.shown] != nil {
			continue
		}
		jobs <- src
		if m.memory != "" && time.Since(saved) > saveEvery {
			saved = time.Now()
			m.stamps.Save(m.memory) // a loss costs time only
		}
	}
	close(jobs)
	wg.Wait()
	if ctx.Err() != nil {
		return context.Cause(ctx)
	}
	return nil
}

// fault says in words why a source file has no digest.
func (s *sums) fault(shown string) error {
	err := s.faults[shown]
	switch {
	case errors.Is(err, store.ErrChanging):
		return fmt.Errorf("%s is still being written: run again when it is finished", shown)
	case errors.Is(err, fs.ErrPermission):
		return fmt.Errorf("%s may not be read by you", shown)
	}
	return err
}
