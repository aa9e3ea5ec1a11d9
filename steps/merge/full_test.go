package merge

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"io"
	"math"
	"os"
	"path/filepath"
	"runtime/debug"
	"slices"
	"strconv"
	"sync"
	"syscall"
	"testing"
	"time"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestFullSize joins 200 shots of 100,000 points and more round a head by their
// true poses at 0.4 mm, then again with one shot replaced and all others moved
// by some hundredths of a millimetre, as align moves them. LAYETTE_FULL names a
// folder for the shots, which take a gigabyte and some minutes to make; they
// stay there for the next time. LAYETTE_FEW joins fewer of them. It reports
// processor time beside time, for a machine that does other work too.
func TestFullSize(t *testing.T) {
	dir := os.Getenv("LAYETTE_FULL")
	if dir == "" {
		t.Skip("LAYETTE_FULL is not set: two hundred shots at full size are left out")
	}
	n := 200
	if few, err := strconv.Atoi(os.Getenv("LAYETTE_FEW")); err == nil {
		n = few
	}
	shots, part := onDisk(t, dir, 201)
	shots = append(shots[:n:n], shots[200])
	debug.SetMemoryLimit(6 << 30)
	kept := t.TempDir()
	fullRun(t, "all anew", kept, shots[:n], part, 0)
	fullRun(t, "one shot replaced, all moved", kept, append(shots[1:n:n], shots[n]), part, 0.03)
}

// onDisk makes the session's shots in dir or finds them there, with their places.
func onDisk(t *testing.T, dir string, n int) ([]poses.Place, *specimen.Part) {
	t.Helper()
	part := steptest.Part(t, specimen.Options{}, "head")
	s := specimen.Session{Shots: n, Shared: 0.3, Bad: 0.05, Seed: 1, Scanner: specimen.Scanner{Pitch: 0.16}}
	have, _ := filepath.Glob(filepath.Join(dir, "*.ply"))
	if len(have) >= n { // the poses are wanted alone: hardly a ray
		s.Scanner.Pitch = 8
	}
	var list []poses.Place
	err := s.Run(t.Context(), part, func(c specimen.Scan) error {
		path := filepath.Join(dir, c.Name+".ply")
		if len(have) < n {
			var b bytes.Buffer
			if err := meshio.WritePLY(&b, c.Mesh); err != nil {
				return err
			}
			if err := os.WriteFile(path, b.Bytes(), 0o600); err != nil {
				return err
			}
		}
		f := step.File{Name: path}
		if c.Fault != "" { // as intake and align would say
			list = append(list, poses.Nowhere(f, c.Fault))
			return nil
		}
		list = append(list, poses.At(f, c.Pose))
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return list, part
}

// fromDisk is a file of a session as the engine would give it.
func fromDisk(t *testing.T, path string) step.File {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	sum := sha256.Sum256(data)
	return step.File{
		Name: filepath.Base(path), Units: "mm", Size: int64(len(data)), SHA256: hex.EncodeToString(sum[:]),
		Open: func() (step.Reader, error) { return os.Open(path) },
	}
}

// fullRun joins the shots, each moved by up to so many mm, over kept leftovers,
// and says what it took and how far off the head the surface lies.
func fullRun(t *testing.T, what, kept string, shots []poses.Place, part *specimen.Part, moved float64) {
	in := map[string][]step.File{}
	var table poses.Table
	for i, s := range shots {
		f := fromDisk(t, s.File)
		in["scans"] = append(in["scans"], f)
		place := poses.Nowhere(f, s.Why)
		if s.Placed {
			by := geom.Vec{X: math.Sin(float64(7 * i)), Y: math.Sin(float64(11 * i)), Z: math.Sin(float64(13 * i))}
			pose := s.Pose()
			pose.Move = pose.Move.Add(by.Mul(moved))
			place = poses.At(f, pose)
		}
		table.Scans = append(table.Scans, place)
	}
	in["poses"] = tableFile(t, table)
	var lock sync.Mutex
	var out bytes.Buffer
	at := func(key string) string {
		sum := sha256.Sum256([]byte(key))
		return filepath.Join(kept, hex.EncodeToString(sum[:]))
	}
	clock, fresh := &stages{t: t}, 0
	job := &step.Job{
		Inputs: in, Values: steptest.Values(t, Kind{}.Handbook(), nil), Workers: 2, Progress: clock,
		Create: func(string, string) (io.WriteCloser, error) { return file{&out}, nil },
		Prior:  func(key string) (step.Reader, bool) { f, err := os.Open(at(key)); return f, err == nil },
		Keep: func(key string, data []byte) error {
			lock.Lock()
			fresh++
			lock.Unlock()
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
	m, _, err := meshio.Read(t.Context(), bytes.NewReader(out.Bytes()), int64(out.Len()), meshio.Options{})
	if err != nil {
		t.Fatal(err)
	}
	var off []float64
	for _, p := range m.Verts {
		d, _ := part.Field.At(p.Vec())
		off = append(off, math.Abs(d))
	}
	slices.Sort(off)
	sum := sha256.Sum256(out.Bytes())
	t.Logf("%s: %.1f s, %.1f s of processors, %.2f GB at most; %d scans looked at; half within %.4f mm, 95 %% within %.4f, worst %.2f; %x; %v %v",
		what, wall, used, float64(use.Maxrss)/1e6, fresh, off[len(off)/2], off[len(off)*95/100], off[len(off)-1], sum[:4], res.Measures, len(res.Notes))
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
