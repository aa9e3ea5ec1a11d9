package trail

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
)

// memory is what this workstation remembers of a trail: every record it ever
// accepted, byte for byte, and which trail lay at which place. Cutting the
// newest records off a trail leaves no trace in the trail itself; only
// somebody who has seen them can tell.
//
//	PRIVATE/OPENING-ID.txt     the records, as in the trail
//	PRIVATE/places/HASH.txt    two lines: opening ID, the trail's path
type memory struct {
	dir    string
	place  string // file that names the opening record for the trail's path
	opened ID     // zero if nothing lay at this path before
	groups []*group
	good   known
}

// DefaultPrivate returns the usual folder for Options.Private: "trails" in the
// person's own folder for program state ($XDG_STATE_HOME/layette or
// ~/.local/state/layette; on macOS and Windows in the configuration folder).
func DefaultPrivate() (string, error) {
	if dir := os.Getenv("XDG_STATE_HOME"); dir != "" {
		return filepath.Join(dir, "layette", "trails"), nil
	}
	if runtime.GOOS == "windows" || runtime.GOOS == "darwin" {
		dir, err := os.UserConfigDir()
		return filepath.Join(dir, "layette", "trails"), err
	}
	home, err := os.UserHomeDir()
	return filepath.Join(home, ".local", "state", "layette", "trails"), err
}

// recall reads what is remembered of the trail at path: by its place, or, for
// a model's folder that was moved here, by its opening record.
func recall(path string, data []byte, groups []*group, o Options) (*memory, error) {
	m := &memory{dir: o.Private, good: known{}}
	if o.Private == "" {
		return m, nil
	}
	m.place = placeFile(o.Private, path)
	text, err := os.ReadFile(m.place)
	if err != nil && !errors.Is(err, os.ErrNotExist) {
		return nil, err
	}
	candidates := openings(groups)
	if id, err := parseID(strings.SplitN(string(text), "\n", 2)[0]); err == nil {
		m.opened, candidates = id, []ID{id}
	}
	for _, id := range candidates {
		copied, err := readFile(m.copyFile(id))
		if err != nil {
			return nil, fmt.Errorf("this workstation's memory of the trail: %w", err)
		}
		if m.groups = groups; !bytes.Equal(copied, data) {
			m.groups, _ = split(copied)
		}
		if len(copied) > 0 {
			break
		}
	}
	if !o.Afresh {
		for _, g := range m.groups {
			m.good[g.sum()] = true
		}
	}
	return m, nil
}

func placeFile(private, path string) string {
	sum := sha256.Sum256([]byte(path))
	return filepath.Join(private, "places", hex.EncodeToString(sum[:16])+".txt")
}

func (m *memory) copyFile(opened ID) string {
	return filepath.Join(m.dir, opened.String()+".txt")
}

// openings returns the ids of what look like opening records.
func openings(groups []*group) (ids []ID) {
	for _, g := range groups {
		if bytes.HasPrefix(g.lines, []byte(g.tag+" record v1 open\n")) && len(ids) < 10 {
			ids = append(ids, g.id)
		}
	}
	return ids
}

// compare tells what this workstation has seen and the file no longer holds.
func (t *Trail) compare(m *memory) {
	if m.opened != (ID{}) && (t.opening == nil || t.opening.ID != m.opened) {
		t.problem(true, "replaced", "this is not the trail that this workstation knows at this place (opening record %s): put that back, or forget it on purpose", m.opened.Short())
	}
	for _, g := range m.groups {
		if _, ok := t.at[g.id]; ok {
			continue
		}
		if r, err := g.record(nil); err == nil {
			t.lost = append(t.lost, r)
		}
	}
	if n := len(t.lost); n > 0 {
		last := t.lost[n-1]
		t.problem(true, "cut", "%s that this workstation has seen, the newest being %s by %s at %s, no longer in the file: heal the trail to put back",
			howMany(n), last.title(), last.ByPrinted, last.Time.Format("2006-01-02 15:04"))
	}
}

func howMany(n int) string {
	if n == 1 {
		return "1 record"
	}
	return fmt.Sprintf("%d records", n)
}

// title says in a few words what a record is.
func (r *Record) title() string {
	switch r.Kind {
	case Signoff:
		return fmt.Sprintf("%q on %s", r.Verdict, r.Stage)
	case Concession:
		return "a concession on " + r.Stage
	case Person:
		return "the enrolment of " + r.Printed
	case Retire:
		return "the retirement of " + r.Printed
	case Seal:
		return "a seal"
	}
	return "the opening"
}

// remember adds the trail's sound records to what this workstation remembers.
// Nothing is ever taken out.
func (t *Trail) remember(m *memory) error {
	if m.dir == "" || t.opening == nil || m.opened != (ID{}) && m.opened != t.opening.ID {
		return nil
	}
	have := make(map[ID]bool, len(m.groups))
	for _, g := range m.groups {
		have[g.id] = true
	}
	fresh := slices.DeleteFunc(slices.Clone(t.list), func(r *Record) bool { return r.foreign || have[r.ID] })
	if len(fresh) > 0 {
		if err := replace(m.copyFile(t.opening.ID), m.with(fresh), 0o600); err != nil {
			return err
		}
	}
	if m.opened == t.opening.ID {
		return nil
	}
	return replace(m.place, []byte(t.opening.ID.String()+"\n"+t.path+"\n"), 0o600)
}

// with returns what is remembered, and more behind it.
func (m *memory) with(fresh []*Record) []byte {
	var b bytes.Buffer
	for _, g := range m.groups {
		b.Write(g.lines)
		b.Write(g.sig)
	}
	for _, r := range fresh {
		b.Write(r.lines)
		b.Write(r.sig)
	}
	return b.Bytes()
}

// Lost returns the records that this workstation remembers and the file no
// longer holds.
func (t *Trail) Lost() []Record {
	list := make([]Record, len(t.lost))
	for i, r := range t.lost {
		list[i] = *r
	}
	return list
}

// Forget makes this workstation forget which trail lay at path, so that a
// model begun afresh in the same place may open another.
func Forget(private, path string) error {
	path, err := filepath.Abs(path)
	if err != nil || private == "" {
		return err
	}
	if err := os.Remove(placeFile(private, path)); !errors.Is(err, os.ErrNotExist) {
		return err
	}
	return nil
}
