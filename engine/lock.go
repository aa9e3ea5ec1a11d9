package engine

import (
	"encoding/json"
	"fmt"
	"os"
	"os/user"
	"path"
	"time"

	"layette/engine/store"
)

var lockFile = path.Join(store.Folder, "run.lock")

// holder is who runs a model. The lock is a courtesy: nothing depends on it,
// and two runs at once write the same bytes under the same names.
type holder struct {
	Who     string    `json:"who"`
	Machine string    `json:"machine"`
	Process int       `json:"process"`
	Since   time.Time `json:"since"`
}

// beat is how often a run says that it goes on, by the time of its note. When
// that is stale, or its process is gone, the note is no longer believed: five
// minutes leave room for clocks that differ.
const (
	beat  = time.Minute
	stale = 5 * time.Minute
)

// lock tells of another run of the model, if there seems to be one, or of one
// that ended without a word, and leaves a note of this one, with a beat, until
// the answered function is called.
func (m *Model) lock() (others []string, unlock func()) {
	me := holder{Process: os.Getpid(), Since: m.opts.Now().UTC()}
	me.Machine, _ = os.Hostname()
	if u, err := user.Current(); err == nil {
		me.Who = u.Username
	}
	if h, beaten, ok := m.holder(); ok {
		if (h.Machine != me.Machine || alive(h.Process)) && m.opts.Now().Sub(beaten) < stale {
			return []string{fmt.Sprintf("%s runs this model on %s too, since %s; that does no harm", h.Who, h.Machine, h.Since.Local().Format("15:04"))}, func() {}
		}
		others = append(others, fmt.Sprintf("the run that %s began on %s at %s did not come to its end; what it had finished is kept, the rest runs again", h.Who, h.Machine, h.Since.Local().Format("2 Jan 15:04")))
	}
	data, err := json.Marshal(me)
	if err != nil || m.root.WriteFile(lockFile, data, 0o666) != nil {
		return others, func() {}
	}
	stop := make(chan struct{})
	go m.keepBeating(stop)
	return others, func() { close(stop); m.unlock(me) }
}

// holder returns who left a note, and when that was last touched by the clock of
// its file system.
func (m *Model) holder() (h holder, beaten time.Time, ok bool) {
	data, err := m.root.ReadFile(lockFile)
	if err != nil || json.Unmarshal(data, &h) != nil {
		return h, beaten, false
	}
	info, err := m.root.Stat(lockFile)
	if err != nil {
		return h, beaten, false
	}
	return h, info.ModTime(), true
}

func (m *Model) keepBeating(stop <-chan struct{}) {
	t := time.NewTicker(beat)
	defer t.Stop()
	for {
		select {
		case <-stop:
			return
		case <-t.C:
			m.touch()
		}
	}
}

func (m *Model) touch() {
	now := time.Now()
	m.root.Chtimes(lockFile, now, now)
}

// unlock removes the note if it is this run's.
func (m *Model) unlock(me holder) {
	if h, _, ok := m.holder(); ok && h.Process == me.Process && h.Machine == me.Machine {
		m.root.Remove(lockFile)
	}
}
