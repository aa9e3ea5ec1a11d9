package engine

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"maps"
	"math/rand/v2"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"syscall"
	"testing"
	"time"

	"layette/engine/step"
)

// long is a recipe of many stages in two chains with a check each.
func long() string {
	var r strings.Builder
	for c := range 2 {
		from := fmt.Sprintf(`{ file = "s%d.txt", units = "mm" }`, c)
		for i := range 15 {
			fmt.Fprintf(&r, "[stages.n%d-%d]\nstep = \"large\"\nin = %s\n", c, i, from)
			from = fmt.Sprintf(`{ from = "n%d-%d" }`, c, i)
		}
	}
	return r.String()
}

// longBench has a step that writes a file large enough to be torn.
func longBench() *bench {
	return special("large", func(_ context.Context, job *step.Job) (*step.Outcome, error) {
		given, err := read(job)
		if err != nil {
			return nil, err
		}
		sum := sha256.Sum256([]byte(given))
		return &step.Outcome{}, put(job, "out", "out.txt", strings.Repeat(hex.EncodeToString(sum[:]), 3000))
	}, nil)
}

// TestRunInAnotherProcess is no test of its own: TestKilled and
// TestTwoProcesses start this program again to run a model.
func TestRunInAnotherProcess(t *testing.T) {
	dir := os.Getenv("LAYETTE_TEST_RUN")
	if dir == "" {
		t.Skip("started by other tests only")
	}
	f := &folder{t: t, dir: dir, opts: Options{Settle: -1, Memory: filepath.Join(dir, "memory")}}
	f.run(longBench(), RunOptions{})
}

func inAnotherProcess(t *testing.T, dir string) *exec.Cmd {
	cmd := exec.Command(os.Args[0], "-test.run=^TestRunInAnotherProcess$")
	cmd.Env = append(os.Environ(), "LAYETTE_TEST_RUN="+dir)
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	return cmd
}

// TestKilled: SIGKILL at any moment leaves a right store, and the next run goes
// on from there to what a clean run gives.
func TestKilled(t *testing.T) {
	if testing.Short() {
		t.Skip("takes seconds")
	}
	f := newFolder(t, long(), map[string]string{"s0.txt": "0", "s1.txt": "1"})
	random := rand.New(rand.NewPCG(1, 2))
	killed := 0
	for round := range 20 {
		f.write("s0.txt", fmt.Sprint("round ", round))
		f.write("s1.txt", fmt.Sprint("round ", round))
		cmd := inAnotherProcess(t, f.dir)
		time.Sleep(time.Duration(15+random.IntN(60)) * time.Millisecond)
		cmd.Process.Signal(syscall.SIGKILL)
		if err := cmd.Wait(); err != nil {
			killed++
		}
		sound(t, f)
	}
	if killed < 5 {
		t.Errorf("only %d of 20 runs were killed in time", killed)
	}
	likeClean(t, f)
}

// TestTwoProcesses: two programs that run one model at once do each other no harm.
func TestTwoProcesses(t *testing.T) {
	f := newFolder(t, long(), map[string]string{"s0.txt": "0", "s1.txt": "1"})
	for round := range 3 {
		f.write("s0.txt", fmt.Sprint("round ", round))
		one, two := inAnotherProcess(t, f.dir), inAnotherProcess(t, f.dir)
		if err := errors.Join(one.Wait(), two.Wait()); err != nil {
			t.Fatal(err)
		}
		sound(t, f)
	}
	b := longBench()
	if f.run(b, RunOptions{}); b.ran() != 0 {
		t.Error("something was left to run")
	}
	likeClean(t, f)
}

// sound checks that every object is what its name says and every trace whole.
func sound(t *testing.T, f *folder) {
	t.Helper()
	objects, _ := filepath.Glob(filepath.Join(f.dir, ".layette/objects/*/*"))
	for _, at := range objects {
		data, err := os.ReadFile(at)
		sum := sha256.Sum256(data)
		if err != nil || hex.EncodeToString(sum[:]) != filepath.Base(at) {
			t.Fatalf("object %s is torn (%v)", at, err)
		}
	}
	m := f.open(longBench())
	defer m.Close()
	traces, _ := filepath.Glob(filepath.Join(f.dir, ".layette/traces/*/*.json"))
	for _, at := range traces {
		if _, err := m.store.Trace(strings.TrimSuffix(filepath.Base(at), ".json")); err != nil {
			t.Fatalf("trace %s: %v", at, err)
		}
	}
}

func likeClean(t *testing.T, f *folder) {
	t.Helper()
	got := f.run(longBench(), RunOptions{})
	clean := newFolder(t, long(), nil)
	for _, name := range []string{"s0.txt", "s1.txt"} {
		data, _ := os.ReadFile(filepath.Join(f.dir, name))
		clean.write(name, string(data))
	}
	want := clean.run(longBench(), RunOptions{})
	if !maps.Equal(digests(got), digests(want)) {
		t.Errorf("%v\nwant\n%v", digests(got), digests(want))
	}
}

func digests(b *Board) map[string]string {
	all := map[string]string{}
	for _, st := range b.Stages {
		all[st.Node.String()] = string(st.State)
		for _, f := range st.Files {
			all[st.Node.String()+" "+f.Name] = f.SHA256
		}
	}
	return all
}

// TestDiskFull: whatever write, forcing to disk or renaming fails, the run says
// so, the store stays right, and with room again the next run does the rest.
func TestDiskFull(t *testing.T) {
	full := errors.New("no space left on device")
	for n := 1; ; n += 3 {
		f := newFolder(t, chain, map[string]string{"s.txt": "one"})
		left := n
		f.opts.Fault = func(string, string) error {
			if left--; left == 0 {
				return full
			}
			return nil
		}
		m, err := Open(t.Context(), f.dir, newBench(nil).kinds, f.opts)
		if err == nil {
			var board *Board
			board, err = m.Run(t.Context(), RunOptions{Workers: 1}, nil)
			if err == nil && left <= 0 && board.Count()[Failed] == 0 {
				t.Fatalf("fault %d was not told: %v", n, says2(board))
			}
			m.Close()
		}
		f.opts.Fault = nil
		if board := f.run(newBench(nil), RunOptions{}); board.Count()[Done] != 3 {
			t.Fatalf("after fault %d: %v", n, says2(board))
		}
		if left > 0 {
			return // the run needed fewer changes than n
		}
	}
}
