package engine

import (
	"context"
	"maps"
	"path/filepath"
	"slices"
	"time"

	"github.com/fsnotify/fsnotify"

	"layette/engine/store"
	"layette/engine/trail"
)

// pollEvery is how often the model's files are looked at for changes. Asking
// the system to tell of them is only a hint: shares tell of nothing.
const pollEvery = 2 * time.Second

// Watch runs the model, and again whenever a file, the recipe or the trail
// changes, until ctx ends. each hears of every run; its error is the recipe's
// or the run's, which does not end the watch. What failed is not tried again
// until something it depends on changes.
func (m *Model) Watch(ctx context.Context, o RunOptions, watch Watcher, each func(*Board, error)) error {
	return m.whenever(ctx, m.seen, func() {
		b, err := m.Run(ctx, o, watch)
		if ctx.Err() == nil {
			each(b, err)
		}
		o.LeaveFailed = true
	})
}

// Attend looks at the model, and again whenever a file, the recipe, the trail
// or what a run left changes, until ctx ends. It runs nothing. each hears of
// every look; its error is the recipe's and does not end it.
func (m *Model) Attend(ctx context.Context, each func(*Board, error)) error {
	return m.whenever(ctx, m.seenAndRun, func() {
		b, err := m.Look(ctx)
		if ctx.Err() == nil {
			each(b, err)
		}
	})
}

// whenever does something, and again whenever what seen tells is not what it
// was before.
func (m *Model) whenever(ctx context.Context, seen func() map[string]store.Stamp, do func()) error {
	hint, stop := m.hints(seen)
	defer stop()
	for {
		before := seen()
		do()
		if err := awaitChange(ctx, before, seen, hint); err != nil {
			return err
		}
	}
}

// awaitChange returns when the files are not what they were.
func awaitChange(ctx context.Context, before map[string]store.Stamp, seen func() map[string]store.Stamp, hint <-chan struct{}) error {
	tick := time.NewTicker(pollEvery)
	defer tick.Stop()
	for {
		select {
		case <-ctx.Done():
			return context.Cause(ctx)
		case <-tick.C:
		case <-hint:
		}
		if !maps.Equal(seen(), before) {
			return nil
		}
	}
}

// seen takes the stamps of all that a run reads.
func (m *Model) seen() map[string]store.Stamp {
	stamps := map[string]store.Stamp{}
	note := func(p store.Place, name string) {
		if s, err := store.Stat(p, name); err == nil {
			stamps[shown(p, name)] = s
		}
	}
	note(m.here(), SheetName)
	note(m.here(), trail.FileName)
	if r, err := m.Recipe(); err == nil {
		m.noteRecipe(stamps)
		if p, err := m.plan(r); err == nil {
			for _, src := range sourcesOf(p.nodes) {
				note(src.place, src.name)
			}
		}
	}
	return stamps
}

// seenAndRun takes the stamps of all that a run reads, and of what the last run
// of any program left.
func (m *Model) seenAndRun() map[string]store.Stamp {
	stamps := m.seen()
	if s, err := store.Stat(m.here(), historyFile); err == nil {
		stamps[historyFile] = s
	}
	return stamps
}

// noteRecipe adds what the recipe was read from, by content: a recipe that is
// wrong now is another one too.
func (m *Model) noteRecipe(stamps map[string]store.Stamp) {
	m.mu.Lock()
	defer m.mu.Unlock()
	for name, data := range m.shelf.read {
		stamps["recipe "+name+" "+store.KeyOf(string(data))] = store.Stamp{}
	}
}

// hints asks the system to tell of changes in the folders that hold files now.
func (m *Model) hints(seen func() map[string]store.Stamp) (<-chan struct{}, func()) {
	w, err := fsnotify.NewWatcher()
	if err != nil {
		return nil, func() {} // polling sees what there is to see
	}
	folders := map[string]bool{m.Dir: true}
	for name := range seen() {
		if !filepath.IsAbs(name) {
			folders[filepath.Join(m.Dir, filepath.Dir(filepath.FromSlash(name)))] = true
		}
	}
	for _, f := range slices.Sorted(maps.Keys(folders)) {
		w.Add(f) // a folder that cannot be watched is polled
	}
	hint := make(chan struct{}, 1)
	go func() {
		for told := true; told; {
			select {
			case _, told = <-w.Events:
			case _, told = <-w.Errors: // such as too many at once: look then
			}
			select {
			case hint <- struct{}{}:
			default: // one is waiting already
			}
		}
	}()
	return hint, func() { w.Close() }
}
