package align

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math/rand/v2"
	"os"
	"path/filepath"
	"runtime/debug"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestFullSize measures the step at its real size: 200 shots of about 100,000
// points round a head, then the same with one shot replaced. LAYETTE_FULL names
// a folder for the shots, which take a gigabyte and some minutes to make; they
// stay there for the next time, and are made alone if LAYETTE_SHOTS is set. It
// reports processor time beside time, for a machine that does other work too.
// LAYETTE_FEW makes the session smaller, and LAYETTE_KEPT names a folder for what
// the step keeps all anew, so that a later test measures the replaced shot alone,
// as often as it likes: what that adds is not kept.
func TestFullSize(t *testing.T) {
	dir := os.Getenv("LAYETTE_FULL")
	if dir == "" {
		t.Skip("LAYETTE_FULL is not set: two hundred shots at full size are left out")
	}
	n := 200
	if few, err := strconv.Atoi(os.Getenv("LAYETTE_FEW")); err == nil { // a smaller session of the same shots
		n = few
	}
	shots := onDisk(t, dir, 201)
	shots = append(shots[:n:n], shots[200])
	if os.Getenv("LAYETTE_SHOTS") != "" {
		return
	}
	debug.SetMemoryLimit(6 << 30)
	var files []step.File
	truth := map[string]geom.Pose{}
	points := 0
	for _, s := range shots {
		truth[s.name] = s.pose
		data, err := os.ReadFile(filepath.Join(dir, s.name+".ply"))
		if err != nil {
			t.Fatal(err)
		}
		sum := sha256.Sum256(data)
		f := steptest.File(s.name, nil, "mm")
		f.Size, f.SHA256 = int64(len(data)), hex.EncodeToString(sum[:])
		f.Open = func() (step.Reader, error) { return os.Open(filepath.Join(dir, s.name+".ply")) }
		files = append(files, f)
		points += len(s.mesh.Verts)
	}
	kept, again := os.Getenv("LAYETTE_KEPT"), false
	if kept == "" {
		kept = t.TempDir()
	} else {
		things, _ := os.ReadDir(kept)
		again = len(things) > 0
	}
	t.Logf("%d points in %d shots", points, len(shots))
	if !again {
		fullRun(t, "all anew", kept, true, files[:n], shots, truth)
	}
	fullRun(t, "one shot replaced", kept, false, append(files[1:n:n], files[n]), shots, truth)
}

// fullRun runs the step over kept leftovers, adds to them if it should, and says
// what it took.
func fullRun(t *testing.T, what, kept string, add bool, files []step.File, shots []shot, truth map[string]geom.Pose) {
	var lock sync.Mutex
	out := map[string]*bytes.Buffer{}
	at := func(key string) string {
		sum := sha256.Sum256([]byte(key))
		return filepath.Join(kept, hex.EncodeToString(sum[:]))
	}
	fresh := 0
	clock := &stages{t: t}
	job := &step.Job{
		Inputs: map[string][]step.File{"scans": files}, Values: steptest.Values(t, Kind{}.Handbook(), nil), Workers: 2, Progress: clock,
		Create: func(output, name string) (io.WriteCloser, error) {
			lock.Lock()
			defer lock.Unlock()
			out[output] = &bytes.Buffer{}
			return nopCloser{out[output]}, nil
		},
		Prior: func(key string) (step.Reader, bool) { f, err := os.Open(at(key)); return f, err == nil },
		Keep: func(key string, data []byte) error {
			lock.Lock()
			fresh++
			lock.Unlock()
			if !add {
				return nil
			}
			return os.WriteFile(at(key), data, 0o600)
		},
	}
	began, cpu := time.Now(), processor()
	res, err := Kind{}.Run(t.Context(), job)
	if err != nil {
		t.Fatal(err)
	}
	clock.Start("", 0)
	wall, used := time.Since(began).Seconds(), processor()-cpu
	var use syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &use)
	f := posesOf(t, &steptest.Result{Outcome: res, Files: map[string][]byte{"poses/poses.json": out["poses"].Bytes()}})
	_, wrong, deg, mm := judged(t, f, truth, shots)
	good, placed := 0, 0
	for _, s := range shots {
		if row := rowOf(f, s.name); s.good && row.Name != "" {
			good++
			if row.Placed {
				placed++
			} else {
				t.Logf("    %s: %s", s.name, row.Why)
			}
		}
	}
	t.Logf("%s: %.1f s, %.1f s of processors, %.2f GB at most; %d things kept anew; %d of %d good placed, %d falsely, worst %.3f deg %.3f mm; groups %v",
		what, wall, used, float64(use.Maxrss)/1e6, fresh, placed, good, len(wrong), deg, mm, res.Measures["groups"])
	if len(wrong) > 0 {
		t.Errorf("%s: placed falsely: %v", what, wrong)
	}
}

// processor returns the processor time used so far, s.
func processor() float64 {
	var use syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &use)
	return float64(use.Utime.Sec+use.Stime.Sec) + 1e-6*float64(use.Utime.Usec+use.Stime.Usec)
}

// stages is a progress that tells what each stage of the step took.
type stages struct {
	t     *testing.T
	what  string
	began time.Time
	cpu   float64
}

func (s *stages) Start(what string, total int) {
	if s.what != "" {
		s.t.Logf("  %-50s %6.1f s, %6.1f s of processors", s.what, time.Since(s.began).Seconds(), processor()-s.cpu)
	}
	s.what, s.began, s.cpu = fmt.Sprintf("%s (%d)", what, total), time.Now(), processor()
}

func (s *stages) Add(int) {}

// onDisk makes the session's shots in dir, tossed, or finds them there. Meshes
// hold points alone when they are read back.
func onDisk(t *testing.T, dir string, n int) []shot {
	t.Helper()
	p := steptest.Part(t, specimen.Options{}, "head")
	s := specimen.Session{Shots: n, Shared: 0.3, Bad: 0.05, Seed: 1, Scanner: specimen.Scanner{Pitch: 0.16}}
	have, _ := filepath.Glob(filepath.Join(dir, "*.ply"))
	whole := s
	if len(have) >= n { // the poses are wanted alone: hardly a ray
		s.Scanner.Pitch = 8
	}
	r := rand.New(rand.NewPCG(1, 1))
	var shots []shot
	err := s.Run(t.Context(), p, func(c specimen.Scan) error {
		m, toss := thrown(c.Mesh, r)
		name := c.Name
		if s.Scanner.Pitch == whole.Scanner.Pitch {
			var b bytes.Buffer
			if err := meshio.WritePLY(&b, m); err != nil {
				return err
			}
			if err := os.WriteFile(filepath.Join(dir, name+".ply"), b.Bytes(), 0o600); err != nil {
				return err
			}
		}
		shots = append(shots, shot{name: name, mesh: &geom.Mesh{Verts: m.Verts}, pose: toss.Inverse().Then(c.Pose), good: c.Fault == "", why: c.Fault})
		return context.Cause(t.Context())
	})
	if err != nil {
		t.Fatal(err)
	}
	return shots
}
