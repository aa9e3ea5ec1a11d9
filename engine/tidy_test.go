package engine

import (
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"layette/engine/trail"
)

// TestTidyKeepsWhatIsNeeded: what the plan uses, what came before it, and what
// anybody ever signed for stays; the rest goes, and comes back by running.
func TestTidyKeepsWhatIsNeeded(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, nil)
	_, anna := f.house()
	texts := []string{"one", "number two", "number three here", "number four is long", "number five is longer still", "the last one"}
	for i, text := range texts {
		f.write("s.txt", text)
		f.run(b, RunOptions{})
		if i == 0 {
			f.say(b, anna, Node{Stage: "a"}, trail.Approve, "I looked")
		}
	}
	f.age(t)
	m := f.open(b)
	dry, err := m.Tidy(t.Context(), true)
	if err != nil || len(dry.Files) == 0 {
		t.Fatalf("%+v, %v", dry, err)
	}
	done, err := m.Tidy(t.Context(), false)
	if err != nil || done.Bytes != dry.Bytes {
		t.Fatalf("%+v, %v", done, err)
	}
	m.Close()
	b.ran()
	for i, text := range texts {
		f.write("s.txt", text)
		board := f.run(b, RunOptions{})
		switch ran := len(board.ranNames()); {
		case i >= len(texts)-remembered && ran != 0:
			t.Errorf("%q was needed and is gone", text)
		case i > 0 && i < len(texts)-remembered && ran == 0:
			t.Errorf("%q was needed by nothing and is still there", text)
		}
		if i < len(texts)-remembered { // put the last ones first again
			for _, later := range texts[len(texts)-remembered:] {
				f.write("s.txt", later)
				f.run(b, RunOptions{})
			}
		}
	}
	f.write("s.txt", "one")
	f.run(b, RunOptions{})
	signed := f.look(b).mustFind(t, "a").Files[0].SHA256
	if _, err := os.Stat(filepath.Join(f.dir, ".layette/objects", signed[:2], signed)); err != nil {
		t.Errorf("what was signed for is gone: %v", err)
	}
	trash, _ := filepath.Glob(filepath.Join(f.dir, ".layette/trash/*/objects/*/"+signed))
	if len(trash) != 0 {
		t.Error("what was signed for was moved to the trash")
	}
}

// age makes everything in the store two days old.
func (f *folder) age(t *testing.T) {
	old := time.Now().Add(-48 * time.Hour)
	for _, glob := range []string{".layette/objects/*/*", ".layette/traces/*/*"} {
		files, _ := filepath.Glob(filepath.Join(f.dir, glob))
		for _, at := range files {
			if err := os.Chtimes(at, old, old); err != nil {
				t.Fatal(err)
			}
		}
	}
}

// TestKeptForReuse: what a step keeps is there for its next run, for no other
// version of it, and not when everything is run afresh.
func TestKeptForReuse(t *testing.T) {
	var found []bool
	b := special("odd", keeper(&found), nil)
	f := newFolder(t, single, map[string]string{"s.txt": "one"})
	f.run(b, RunOptions{})
	f.write("s.txt", "two")
	f.run(b, RunOptions{})
	f.run(b, RunOptions{Afresh: true})
	if want := []bool{false, true, false}; len(found) != 3 || found[0] != want[0] || found[1] != want[1] || found[2] != want[2] {
		t.Errorf("found %v, want %v", found, want)
	}
}

// TestWatch: an edit makes it run again, without a word.
func TestWatch(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	m := f.open(b)
	ctx, cancel := contextWithTimeout(t, 20*time.Second)
	defer cancel()
	runs := 0
	m.Watch(ctx, RunOptions{}, nil, func(board *Board, err error) {
		if err != nil {
			t.Error(err)
		}
		switch runs++; runs {
		case 1:
			f.write("s.txt", "two")
		case 2:
			if board.Ran != 2 {
				t.Errorf("%d ran", board.Ran)
			}
			f.recipe("[stages")
			cancel()
		}
	})
	if runs != 2 {
		t.Errorf("%d runs, want 2", runs)
	}
}

// TestAttend: an edit, another program's run and a broken recipe are told of,
// and nothing is run for it.
func TestAttend(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	m := f.open(b)
	ctx, cancel := contextWithTimeout(t, 20*time.Second)
	defer cancel()
	var told []string
	m.Attend(ctx, func(board *Board, err error) {
		if err != nil {
			told = append(told, "problem")
			cancel()
			return
		}
		state := string(board.mustFind(t, "a").State)
		if board.Ran > 0 {
			t.Error("it ran something")
		}
		if len(told) > 0 && told[len(told)-1] == state {
			return // a look in between
		}
		switch told = append(told, state); len(told) {
		case 1:
			f.run(b, RunOptions{})
		case 2:
			f.write("s.txt", "two")
		case 3:
			f.recipe("[stages")
		}
	})
	if got := strings.Join(told, " "); got != "due done due problem" {
		t.Errorf("told %q", got)
	}
}
