package engine

import (
	"encoding/json"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// TestLockTells: a run that goes on elsewhere is told of and left alone; one
// that ended without a word is told of once, and its note goes.
func TestLockTells(t *testing.T) {
	machine, _ := os.Hostname()
	since := time.Now().Add(-time.Hour)
	for _, tt := range []struct {
		name   string
		h      holder
		beaten time.Duration // ago
		says   string
		stays  bool
	}{
		{"goes on elsewhere", holder{Who: "ben", Machine: "elsewhere", Process: 1, Since: since}, time.Minute, "ben runs this model on elsewhere too", true},
		{"goes on here", holder{Who: "ben", Machine: machine, Process: os.Getpid(), Since: since}, time.Minute, "runs this model on " + machine, true},
		{"silent elsewhere", holder{Who: "ben", Machine: "elsewhere", Process: 1, Since: since}, 10 * time.Minute, "did not come to its end", false},
		{"number taken by another program", holder{Who: "ben", Machine: machine, Process: os.Getpid(), Since: since}, 10 * time.Minute, "did not come to its end", false},
		{"killed here", holder{Who: "ben", Machine: machine, Process: 1 << 30, Since: since}, time.Minute, "what it had finished is kept", false},
	} {
		t.Run(tt.name, func(t *testing.T) {
			b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
			data, err := json.Marshal(tt.h)
			if err != nil {
				t.Fatal(err)
			}
			f.write(lockFile, string(data))
			at, then := filepath.Join(f.dir, lockFile), time.Now().Add(-tt.beaten)
			if err := os.Chtimes(at, then, then); err != nil {
				t.Fatal(err)
			}
			if notes := strings.Join(f.run(b, RunOptions{}).Notes, "\n"); !strings.Contains(notes, tt.says) {
				t.Errorf("it says %q, want %q", notes, tt.says)
			}
			if _, err := os.Stat(at); (err == nil) != tt.stays {
				t.Errorf("afterwards: %v", err)
			}
			if notes := f.run(b, RunOptions{}).Notes; tt.stays == (len(notes) == 0) {
				t.Errorf("the second time: %q", notes)
			}
		})
	}
}

// TestLockBeats: while a run goes on its note is touched.
func TestLockBeats(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	m := f.open(b)
	_, unlock := m.lock()
	at, old := filepath.Join(f.dir, lockFile), time.Now().Add(-time.Hour)
	if err := os.Chtimes(at, old, old); err != nil {
		t.Fatal(err)
	}
	m.touch()
	if info, err := os.Stat(at); err != nil || time.Since(info.ModTime()) > time.Minute {
		t.Errorf("%v, %v", info.ModTime(), err)
	}
	unlock()
	if _, err := os.Stat(at); !os.IsNotExist(err) {
		t.Errorf("the note stays: %v", err)
	}
}
