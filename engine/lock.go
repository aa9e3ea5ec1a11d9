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

// stale is when a lock without its run is no longer believed. Runs of days are
// common; a courtesy need not outlive one night.
const stale = 12 * time.Hour

// lock tells of another run of the model, if there seems to be one, and leaves
// a note of this one.
func (m *Model) lock() []string {
	me := holder{Process: os.Getpid(), Since: m.opts.Now().UTC()}
	me.Machine, _ = os.Hostname()
	if u, err := user.Current(); err == nil {
		me.Who = u.Username
	}
	if data, err := m.root.ReadFile(lockFile); err == nil {
		var h holder
		if json.Unmarshal(data, &h) == nil && me.Since.Sub(h.Since) < stale && !(h.Machine == me.Machine && !alive(h.Process)) {
			return []string{fmt.Sprintf("%s runs this model on %s too, since %s; that does no harm", h.Who, h.Machine, h.Since.Local().Format("15:04"))}
		}
	}
	if data, err := json.Marshal(me); err == nil {
		m.root.WriteFile(lockFile, data, 0o666)
	}
	return nil
}

// unlock removes the note if it is this run's.
func (m *Model) unlock() {
	var h holder
	if data, err := m.root.ReadFile(lockFile); err == nil && json.Unmarshal(data, &h) == nil && h.Process == os.Getpid() {
		m.root.Remove(lockFile)
	}
}
