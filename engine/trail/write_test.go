package trail

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"
)

// TestMain lets the test binary be a writer that is killed (TestKill).
func TestMain(m *testing.M) {
	if path := os.Getenv("TRAIL_TEST_WRITER"); path != "" {
		writeForEver(path)
	}
	os.Exit(m.Run())
}

func writeForEver(path string) {
	t := &testing.T{}
	for i := 0; ; i++ {
		tr, err := Open(path, Options{Private: os.Getenv("TRAIL_TEST_PRIVATE")})
		if err == nil {
			_, err = tr.Append(context.Background(), word(Approve, subject(fmt.Sprint(i))), key(t, "anna"))
		}
		if err != nil {
			fmt.Fprintln(os.Stderr, err)
			os.Exit(1)
		}
		fmt.Println("written")
	}
}

// TestKill kills a writer at random moments: the trail is never torn and never
// shorter, and the lock that is left behind stops nobody.
func TestKill(t *testing.T) {
	h := newHouse(t, "anna")
	had := 2
	rng := rand.New(rand.NewPCG(1, 2))
	for range 12 {
		cmd := exec.Command(os.Args[0])
		cmd.Env = append(os.Environ(), "TRAIL_TEST_WRITER="+h.path, "TRAIL_TEST_PRIVATE="+h.o.Private)
		var out, errs bytes.Buffer
		cmd.Stdout, cmd.Stderr = &out, &errs
		if err := cmd.Start(); err != nil {
			t.Fatal(err)
		}
		time.Sleep(20*time.Millisecond + time.Duration(rng.IntN(60_000))*time.Microsecond)
		cmd.Process.Kill()
		cmd.Wait()
		h.now = time.Now()
		tr := h.open()
		said := strings.Count(out.String(), "written\n")
		if tr.damaged || len(tr.list) < had+said || errs.Len() > 0 {
			t.Fatalf("after a kill: %d records, had %d and %d were written; %v; %s", len(tr.list), had, said, tr.Err(), errs.String())
		}
		had = len(tr.list)
	}
	if had == 2 {
		t.Fatal("no writer came so far as to write: the test proves nothing")
	}
	h.must("anna", word(Approve, subject("last")))
	t.Logf("%d records written by 12 writers that were killed", had-2)
}

// TestWriters: four people at four workstations write into one file.
func TestWriters(t *testing.T) {
	h := newHouse(t, "anna", "ben", "carla", "dov")
	var wg sync.WaitGroup
	for _, name := range []string{"anna", "ben", "carla", "dov"} {
		o := h.o
		o.Private = filepath.Join(h.dir, "private-"+name)
		k := h.key(name)
		wg.Go(func() {
			for i := range 25 {
				tr, err := Open(h.path, o)
				if err == nil {
					_, err = tr.Append(t.Context(), word(Approve, subject(fmt.Sprint(name, i))), k)
				}
				if err != nil {
					t.Error(err)
					return
				}
			}
		})
	}
	wg.Wait()
	tr := h.open()
	if len(tr.list) != 5+100 || len(tr.Problems()) != 0 {
		t.Errorf("%d records, want 105; %v", len(tr.list), tr.Err())
	}
	if left, _ := os.ReadDir(filepath.Dir(h.path)); len(left) != 1 {
		t.Errorf("beside the trail lie %v", left)
	}
}

// TestLostUpdate: a record that two writers' race lost from the file comes
// back, byte for byte, from the memory of the workstation that signed it.
func TestLostUpdate(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	before := h.bytes()
	f := h.fork("bens")
	mine := h.must("anna", word(Approve, subject("a")))
	f.must("ben", word(Reject, subject("a"), "no"))
	h.write(f.bytes()) // Ben's writer came later and had not seen Anna's record
	tr := h.open()
	if lost := tr.Lost(); len(lost) != 1 || lost[0].ID != mine.ID || !tr.damaged {
		t.Fatalf("lost %v, %v", lost, tr.Err())
	}
	if n, err := tr.Heal(t.Context()); n != 1 || err != nil {
		t.Fatalf("healed %d, %v", n, err)
	}
	tr = h.open()
	if tr.damaged || len(tr.list) != 5 || !bytes.HasPrefix(tr.data, before) {
		t.Errorf("%d records, %v", len(tr.list), tr.Err())
	}
}

// TestLocks: who holds the lock, who may take it over, and what happens to a
// writer whose lock was taken.
func TestLocks(t *testing.T) {
	h := newHouse(t, "anna")
	lockFile := h.path + ".lock"
	machine, _ := os.Hostname()
	dead := exec.Command(os.Args[0], "-test.run=^$")
	if err := dead.Run(); err != nil {
		t.Fatal(err)
	}
	put := func(machine string, pid int, age time.Duration) {
		t.Helper()
		os.WriteFile(lockFile, fmt.Appendf(nil, "machine %q pid %d since 2026-03-02T09:00:00Z nonce X\n", machine, pid), 0o644)
		old := time.Now().Add(-age)
		os.Chtimes(lockFile, old, old)
	}
	try := func() error {
		ctx, cancel := context.WithTimeout(t.Context(), 100*time.Millisecond)
		defer cancel()
		h.now = h.now.Add(time.Minute)
		_, err := h.open().Append(ctx, word(Approve, subject("a")), h.key("anna"))
		return err
	}
	put(machine, dead.Process.Pid, 0)
	if err := try(); err != nil {
		t.Errorf("a dead writer's lock: %v", err)
	}
	put(machine, os.Getpid(), time.Hour)
	if err := try(); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("an old lock of a writer that lives is taken over by a person only: %v", err)
	}
	asked := ""
	h.o.Ask = func(holder string) bool { asked = holder; return true }
	put("elsewhere", 1, time.Minute)
	if err := try(); !errors.Is(err, context.DeadlineExceeded) || asked != "" {
		t.Errorf("a young lock from elsewhere: %v, asked %q", err, asked)
	}
	put("elsewhere", 1, time.Hour)
	if err := try(); err != nil || !strings.Contains(asked, "elsewhere") {
		t.Errorf("an old lock and a person who agrees: %v, asked %q", err, asked)
	}
	os.WriteFile(lockFile, nil, 0o644)
	if err := try(); !errors.Is(err, context.DeadlineExceeded) {
		t.Errorf("a lock just made: %v", err)
	}
	old := time.Now().Add(-time.Minute)
	os.Chtimes(lockFile, old, old)
	if err := try(); err != nil {
		t.Errorf("a lock that its writer never filled: %v", err)
	}

	// Stolen while we write.
	was := h.bytes()
	err := h.open().rewrite(t.Context(), func(now *Trail) ([]byte, error) {
		put("thief", 1, 0)
		return append(now.data, "more\n"...), nil
	})
	if err == nil || !strings.Contains(err.Error(), "took the lock over") || !bytes.Equal(h.bytes(), was) {
		t.Errorf("written under a stolen lock: %v", err)
	}
	if held, _ := os.ReadFile(lockFile); !bytes.Contains(held, []byte("thief")) {
		t.Error("the thief's lock was removed by the one it was stolen from")
	}
	// Two judge the same lock as dead; the second must not remove the first's new one.
	l := &lock{path: lockFile}
	l.takeOver([]byte("what the second saw"))
	if held, _ := os.ReadFile(lockFile); !bytes.Contains(held, []byte("thief")) {
		t.Error("a lock was taken over that nobody judged")
	}
}

// TestPlaces: what is not a trail is refused or told, within bounds.
func TestPlaces(t *testing.T) {
	dir := t.TempDir()
	if tr, err := Open(filepath.Join(dir, "none", FileName), Options{}); err != nil || !tr.Empty() || tr.Name() != "" || len(tr.People()) != 0 {
		t.Errorf("a trail that is not there: %v", err)
	}
	os.Mkdir(filepath.Join(dir, FileName), 0o755)
	if _, err := Open(filepath.Join(dir, FileName), Options{}); err == nil {
		t.Error("a folder was read as a trail")
	}
	os.WriteFile(filepath.Join(dir, "true"), nil, 0o644)
	os.Symlink("true", filepath.Join(dir, "link"))
	if _, err := Open(filepath.Join(dir, "link"), Options{}); err == nil {
		t.Error("a link was read as a trail: it would be replaced when written")
	}
	big := filepath.Join(dir, "big")
	os.WriteFile(big, bytes.Repeat([]byte("aaaaaaaa record v1 open\n"), 10<<20/24), 0o644)
	tr, err := Open(big, Options{})
	if err != nil || !tr.damaged || len(tr.Problems()) > mostProblems+1 {
		t.Errorf("10 MB of beginnings: %v, %d problems", err, len(tr.Problems()))
	}
	os.WriteFile(big, bytes.Repeat([]byte("x\n"), 5<<20), 0o644)
	if tr, err := Open(big, Options{}); err != nil || !tr.damaged || len(tr.Problems()) > mostProblems+1 {
		t.Errorf("10 MB of lines that are nothing: %v", err)
	}
	os.WriteFile(big, make([]byte, longestTrail+1), 0o644)
	if _, err := Open(big, Options{}); err == nil || !strings.Contains(err.Error(), "larger than 16 MB") {
		t.Errorf("a trail of more than 16 MB: %v", err)
	}
	h := newHouse(t, "anna")
	h.o.Private = big // not a folder
	h.must("anna", word(Approve, subject("a")))
	h.wantCodes(h.open(), "memory") // told, and no damage
}

// TestUnicodeNames: a file's name in another Unicode form on disk is found.
func TestUnicodeNames(t *testing.T) {
	root := t.TempDir()
	os.MkdirAll(filepath.Join(root, "scans Zoe\u0308"), 0o755)
	os.WriteFile(filepath.Join(root, "scans Zoe\u0308", "arm-e\u0301.stl"), []byte("abc"), 0o644)
	dir, err := os.OpenRoot(root)
	if err != nil {
		t.Fatal(err)
	}
	defer dir.Close()
	f, err := Look(dir, "scans Zo\u00eb/arm-\u00e9.stl")
	// SHA-256("abc"): FIPS 180-4, example (from memory; recomputed).
	if err != nil || f.SHA256 != "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad" || f.Size != 3 || f.Label != "scans Zo\u00eb/arm-\u00e9.stl" {
		t.Errorf("%+v, %v", f, err)
	}
	if _, err := Look(dir, "../etc/passwd"); err == nil {
		t.Error("looked outside the model's folder")
	}
	h := newHouse(t, "anna")
	h.must("anna", word(Approve, Subject{Stage: "gaps/a", Files: []File{f}}))
	if list, err := h.open().Changed(root); err != nil || len(list) != 0 {
		t.Errorf("changed %q, %v", list, err)
	}
}

// TestUnionMerge: two clones add records, git merges them by lines with
// merge=union, under core.autocrlf=true.
func TestUnionMerge(t *testing.T) {
	if _, err := exec.LookPath("git"); err != nil {
		t.Skip("NOT CHECKED with git: it is not installed here")
	}
	h := newHouse(t, "anna", "ben")
	model := filepath.Dir(h.path)
	git := func(dir string, args ...string) {
		t.Helper()
		cmd := exec.Command("git", append([]string{"-c", "core.autocrlf=true", "-c", "user.name=w", "-c", "user.email=w@wren.example", "-c", "init.defaultBranch=main", "-c", "protocol.file.allow=always"}, args...)...)
		cmd.Dir = dir
		cmd.Env = append(os.Environ(), "GIT_CONFIG_GLOBAL="+os.DevNull, "GIT_CONFIG_SYSTEM="+os.DevNull)
		if out, err := cmd.CombinedOutput(); err != nil {
			t.Fatalf("git %v: %v\n%s", args, err, out)
		}
	}
	os.WriteFile(filepath.Join(model, ".gitattributes"), []byte(GitAttributes), 0o644)
	git(model, "init", "-q")
	git(model, "add", ".")
	git(model, "commit", "-qm", "begin")
	clone := filepath.Join(h.dir, "clone")
	git(h.dir, "clone", "-q", "-c", "core.autocrlf=true", model, clone)
	f := h.fork("elsewhere")
	f.path = filepath.Join(clone, FileName)
	if bytes.Contains(f.bytes(), []byte("\r")) {
		t.Error("the clone changed line ends in spite of .gitattributes")
	}
	arm := subject("a") // both approve the same content: the case in which plain blocks are destroyed
	for range 3 {
		h.must("anna", word(Approve, arm))
		f.must("ben", word(Approve, arm))
	}
	git(model, "commit", "-qam", "anna")
	git(clone, "commit", "-qam", "ben")
	git(clone, "pull", "-q", "--no-rebase", "--no-edit")
	tr := f.open()
	if len(tr.list) != 3+6 {
		t.Errorf("%d records after the merge, want 9", len(tr.list))
	}
	f.wantCodes(tr, "")
	f.now = h.now
	f.must("ben", word(Approve, arm))
	f.wantState(f.open(), arm, Policy{People: 2}, Approved)
}
