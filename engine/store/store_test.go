package store

import (
	"bytes"
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

func open(t testing.TB) (*Store, *os.Root, string) {
	t.Helper()
	dir := t.TempDir()
	root, err := os.OpenRoot(dir)
	if err != nil {
		t.Fatal(err)
	}
	s, err := Open(root, nil)
	if err != nil {
		t.Fatal(err)
	}
	t.Cleanup(func() { s.Close(); root.Close() })
	return s, root, dir
}

func keep(t testing.TB, s *Store, text string) *Draft {
	t.Helper()
	d, err := s.Draft()
	if err != nil {
		t.Fatal(err)
	}
	io.WriteString(d, text)
	if err := errors.Join(d.Close(), s.Keep(d)); err != nil {
		t.Fatal(err)
	}
	d.Drop()
	return d
}

func TestObjects(t *testing.T) {
	s, _, dir := open(t)
	d := keep(t, s, "abc")
	// SHA-256 of "abc": FIPS 180-4, the example for SHA-256 (from memory; any sha256sum gives it).
	const want = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
	if d.SHA256() != want || d.Size() != 3 {
		t.Errorf("%s, %d bytes", d.SHA256(), d.Size())
	}
	data, err := os.ReadFile(filepath.Join(dir, ".layette/objects/ba", want))
	if err != nil || string(data) != "abc" {
		t.Errorf("%q, %v", data, err)
	}
	if left, _ := os.ReadDir(filepath.Join(dir, s.own)); len(left) != 0 {
		t.Errorf("left behind: %v", left)
	}
}

func TestCopyIsNoLink(t *testing.T) {
	s, _, dir := open(t)
	d := keep(t, s, strings.Repeat("abc", 1<<20))
	if _, err := s.Lay(ObjectName(d.SHA256()), "out/head/gaps/map.ply"); err != nil {
		t.Fatal(err)
	}
	at := filepath.Join(dir, "out/head/gaps/map.ply")
	info, err := os.Stat(at)
	if err != nil || info.Mode().Perm() != 0o444 || info.Size() != d.Size() {
		t.Fatalf("%v, %v", info, err)
	}
	os.Chmod(at, 0o666)
	os.WriteFile(at, []byte("edited"), 0o666)
	if data, _ := os.ReadFile(filepath.Join(dir, ObjectName(d.SHA256()))); len(data) != 3<<20 {
		t.Error("an edit of the copy reached the object")
	}
}

func TestTraceIsWrittenOnce(t *testing.T) {
	s, _, dir := open(t)
	tr := &Trace{Fingerprint: example().Text(), Failure: "no room"}
	key := KeyOf(tr.Fingerprint)
	if _, err := s.Trace(key); !errors.Is(err, ErrNoTrace) {
		t.Errorf("err = %v", err)
	}
	put := func(failure, name string) {
		t.Helper()
		if err := s.PutTrace(&Trace{Fingerprint: tr.Fingerprint, Failure: failure, Outputs: []Made{{Name: name}}}); err != nil {
			t.Fatal(err)
		}
	}
	want := func(failure, name string) {
		t.Helper()
		got, err := s.Trace(key)
		if err != nil || got.Failure != failure || got.Outputs[0].Name != name {
			t.Errorf("%+v, %v; want %q %q", got, err, failure, name)
		}
	}
	put("no room", "a")
	want("no room", "a")
	put("", "first")
	want("", "first")
	put("", "second")
	want("", "first")
	put("no room", "c")
	want("", "first")
	os.Chmod(filepath.Join(dir, spread("traces", key, ".json")), 0o666)
	os.WriteFile(filepath.Join(dir, spread("traces", key, ".json")), []byte("{"), 0o666)
	want("no room", "c") // what is damaged is as good as not there
	put("", "third")
	want("", "third")
}

func TestKept(t *testing.T) {
	s, _, dir := open(t)
	if _, ok := s.Left("a"); ok {
		t.Error("something was left by nobody")
	}
	if err := s.Leave("a", []byte("data")); err != nil {
		t.Fatal(err)
	}
	l, ok := s.Left("a")
	if !ok {
		t.Fatal("nothing was left")
	}
	data, err := io.ReadAll(l)
	l.Close()
	if err != nil || string(data) != "data" {
		t.Errorf("%q, %v", data, err)
	}
	at := filepath.Join(dir, spread("kept", KeyOf("a"), ""))
	whole, _ := os.ReadFile(at)
	for cut := range whole {
		os.WriteFile(at, whole[:cut], 0o666)
		if _, ok := s.Left("a"); ok && cut < len(whole) {
			t.Fatalf("cut at %d bytes it is believed", cut)
		}
	}
}

func TestLaterFormatIsRefused(t *testing.T) {
	_, root, _ := open(t)
	root.WriteFile(".layette/format", []byte("2\n"), 0o666)
	if _, err := Open(root, nil); err == nil || !strings.Contains(err.Error(), "later layette") {
		t.Errorf("err = %v", err)
	}
}

// TestStampsFileCutAnywhere: what can be read of it is believed, the rest is
// taken again, and nothing panics.
func TestStampsFileCutAnywhere(t *testing.T) {
	s, root, _ := open(t)
	c := NewStamps(s, nil)
	p := Place{Root: root}
	for _, name := range []string{"a.txt", "b \"quoted\"\n.txt"} {
		root.WriteFile(name, []byte("text"), 0o666)
		old := time.Now().Add(-time.Hour)
		root.Chtimes(name, old, old)
		if _, err := c.Sum(t.Context(), p, name, nil); err != nil {
			t.Fatal(err)
		}
	}
	file := filepath.Join(t.TempDir(), "deep", "stamps.txt")
	if err := c.Save(file); err != nil {
		t.Fatal(err)
	}
	whole, _ := os.ReadFile(file)
	for cut := 0; cut <= len(whole); cut++ {
		os.WriteFile(file, whole[:cut], 0o666)
		again := NewStamps(s, nil)
		if err := again.Load(file); err != nil {
			t.Fatal(err)
		}
		for name, k := range again.known {
			if k.sum != c.known[name].sum {
				t.Fatalf("cut at %d: %q has digest %q", cut, name, k.sum)
			}
		}
		if cut == len(whole) && len(again.known) != 2 {
			t.Errorf("%d known of the whole file", len(again.known))
		}
	}
}

func TestDigestHearsCancel(t *testing.T) {
	s, root, _ := open(t)
	root.WriteFile("a", bytes.Repeat([]byte("x"), 5<<20), 0o666)
	ctx, cancel := context.WithCancel(t.Context())
	var heard int64
	_, err := NewStamps(s, nil).Read(ctx, Place{Root: root}, "a", func(n int64) { heard += n; cancel() })
	if !errors.Is(err, context.Canceled) || heard != 1<<20 {
		t.Errorf("%v after %d bytes", err, heard)
	}
}

func TestLoose(t *testing.T) {
	s, _, dir := open(t)
	a, b := keep(t, s, "a"), keep(t, s, "b")
	for _, d := range []*Draft{a, b} {
		old := time.Now().Add(-48 * time.Hour)
		os.Chtimes(filepath.Join(dir, ObjectName(d.SHA256())), old, old)
	}
	keep(t, s, "young")
	loose, err := s.Loose(func(name string) bool { return name == a.SHA256() }, time.Now().Add(-24*time.Hour))
	if err != nil || len(loose) != 1 || loose[0].Name != ObjectName(b.SHA256()) {
		t.Fatalf("%v, %v", loose, err)
	}
	if err := s.Discard(loose[0], "2026-01-01"); err != nil {
		t.Fatal(err)
	}
	if err := s.EmptyTrash(time.Date(2025, 1, 1, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, ".layette/trash/2026-01-01")); err != nil {
		t.Error("the trash was emptied early")
	}
	if err := s.EmptyTrash(time.Date(2026, 2, 1, 0, 0, 0, 0, time.UTC)); err != nil {
		t.Fatal(err)
	}
	if _, err := os.Stat(filepath.Join(dir, ".layette/trash/2026-01-01")); !errors.Is(err, os.ErrNotExist) {
		t.Error("the trash was not emptied")
	}
}

// BenchmarkDigest reads a file of a scan's size (100,000 points, 5 MB).
func BenchmarkDigest(b *testing.B) {
	s, root, _ := open(b)
	const size = 5 << 20
	root.WriteFile("a", make([]byte, size), 0o666)
	c := NewStamps(s, nil)
	b.SetBytes(size)
	for b.Loop() {
		if _, err := c.Read(b.Context(), Place{Root: root}, "a", nil); err != nil {
			b.Fatal(err)
		}
	}
}
