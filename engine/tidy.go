package engine

import (
	"context"
	"time"

	"layette/engine/store"
)

// What tidy leaves alone, and for how long the trash is kept.
const (
	tidyYoung = 24 * time.Hour
	trashDays = 7 * 24 * time.Hour
)

// Tidying is what tidy would take away, or took.
type Tidying struct {
	Files []store.Loose `json:"files"`
	Bytes int64         `json:"bytes"`
}

// Tidy moves what nothing needs to the trash, and empties the trash of what
// lies there for a week. It keeps what the present plan uses, the two results
// of each stage before that, whatever the trail ever named, and all that is
// younger than a day. With dry it only says what it would do.
func (m *Model) Tidy(ctx context.Context, dry bool) (*Tidying, error) {
	w, nodes, err := m.lookWalk(ctx, nil)
	if err != nil {
		return nil, err
	}
	keep := w.needed(nodes)
	now := m.opts.Now()
	loose, err := m.store.Loose(func(name string) bool { return keep[name] }, now.Add(-tidyYoung))
	if err != nil {
		return nil, err
	}
	t := &Tidying{Files: loose}
	for _, l := range loose {
		t.Bytes += l.Size
	}
	if dry {
		return t, nil
	}
	for _, l := range loose {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		if err := m.store.Discard(l, now.UTC().Format(time.DateOnly)); err != nil {
			return nil, err
		}
	}
	return t, m.store.EmptyTrash(now.Add(-trashDays))
}

// needed names the keys and digests that must stay.
func (w *walk) needed(nodes []*node) map[string]bool {
	keep := map[string]bool{}
	for _, digest := range w.trail.Digests() {
		keep[digest] = true
	}
	for _, n := range nodes {
		w.keepTrace(keep, w.of(n).Key)
	}
	for _, p := range w.history.Nodes { // also of stages that the recipe has no more: it may come back
		for _, key := range p.Keys {
			w.keepTrace(keep, key)
		}
	}
	return keep
}

func (w *walk) keepTrace(keep map[string]bool, key string) {
	if key == "" || keep[key] {
		return
	}
	keep[key] = true
	t, err := w.m.store.Trace(key)
	if err != nil {
		return
	}
	for _, made := range t.Outputs {
		keep[made.SHA256] = true
	}
}
