package engine

import (
	"io/fs"
	"os"
	"path/filepath"
	"testing"
	"time"

	"layette/engine/store"
)

// coarse is a file system whose clock steps by 2 s and which keeps no change
// times and no inodes: FAT, or a poor share. skew puts its clock off ours.
func coarse(skew time.Duration) store.Stater {
	const tick = int64(2 * time.Second)
	return func(p store.Place, name string) (store.Stamp, error) {
		s, err := store.Stat(p, name)
		t := s.MTime + int64(skew)
		return store.Stamp{Size: s.Size, MTime: t - t%tick}, err
	}
}

// TestSameTick: an edit that keeps the size, within the same tick of a coarse
// clock, is seen, be the share's clock right, slow or fast.
func TestSameTick(t *testing.T) {
	for _, skew := range []time.Duration{0, -time.Minute, time.Minute} {
		t.Run(skew.String(), func(t *testing.T) {
			b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
			f.opts.Stat = coarse(skew)
			f.run(b, RunOptions{})
			for _, text := range []string{"two", "six", "ten", "one"} {
				f.write("s.txt", text)
				st := f.run(b, RunOptions{}).mustFind(t, "a")
				if st.Inputs[0].SHA256 != store.KeyOf(text) {
					t.Fatalf("the edit to %q was not seen", text)
				}
			}
		})
	}
}

// TestTimePutBack: a copying tool that keeps size and time deceives nobody on
// a file system with change times.
func TestTimePutBack(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	at := filepath.Join(f.dir, "s.txt")
	old := time.Now().Add(-time.Hour)
	if err := os.Chtimes(at, old, old); err != nil {
		t.Fatal(err)
	}
	f.run(b, RunOptions{})
	f.run(b, RunOptions{})
	f.write("s.txt", "two")
	if err := os.Chtimes(at, old, old); err != nil {
		t.Fatal(err)
	}
	if info, err := os.Stat(at); err != nil || info.Size() != 3 || !info.ModTime().Equal(old) {
		t.Fatal("the test does not do what it says")
	}
	wantRan(t, f.run(b, RunOptions{}), "a", "b")
}

// TestRehash: where even change times are missing, --rehash sees it.
func TestRehash(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	f.opts.Stat = coarse(0)
	at, old := filepath.Join(f.dir, "s.txt"), time.Now().Add(-time.Hour)
	back := func() {
		if err := os.Chtimes(at, old, old); err != nil {
			t.Fatal(err)
		}
	}
	back()
	f.run(b, RunOptions{})
	f.write("s.txt", "two")
	back()
	wantRan(t, f.run(b, RunOptions{})) // the known limit: nothing shows
	f.opts.Rehash = 1
	wantRan(t, f.run(b, RunOptions{}), "a", "b")
}

// TestRehashComesRound: a fifth at a time, what nothing else shows is found
// before the sixth run.
func TestRehashComesRound(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	f.opts.Stat = coarse(0)
	at, old := filepath.Join(f.dir, "s.txt"), time.Now().Add(-time.Hour)
	os.Chtimes(at, old, old)
	f.run(b, RunOptions{})
	f.write("s.txt", "two")
	os.Chtimes(at, old, old)
	f.opts.Rehash = 0.2
	for range 6 {
		if f.run(b, RunOptions{}).Ran == 2 {
			return
		}
	}
	t.Error("the edit was not found in six runs")
}

// TestDigestsAreRemembered: what is known is not read again; own results are
// trusted at once.
func TestDigestsAreRemembered(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	old := time.Now().Add(-time.Hour)
	os.Chtimes(filepath.Join(f.dir, "s.txt"), old, old)
	f.run(b, RunOptions{})
	m := f.open(b)
	for _, glob := range []string{"s.txt", "out/*/*/*", ".layette/objects/*/*"} {
		names, err := fs.Glob(os.DirFS(f.dir), glob)
		if err != nil || len(names) == 0 {
			t.Fatalf("%s: %v, %v", glob, names, err)
		}
		for _, name := range names {
			if _, ok, err := m.stamps.Known(m.here(), name); !ok || err != nil {
				t.Errorf("%s is not known without reading (%v)", name, err)
			}
		}
	}
}
