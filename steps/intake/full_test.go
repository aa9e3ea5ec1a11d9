package intake

import (
	"io"
	"os"
	"path/filepath"
	"sync"
	"sync/atomic"
	"syscall"
	"testing"
	"time"

	"layette/engine/step"
	"layette/steps/internal/steptest"
)

// TestFullSize looks at every scan of a folder, two at once as the engine would
// on two cores, and says what it took: LAYETTE_FULL names the folder, for which
// the test of that name of the step merge makes 201 shots of 100,000 points and more.
func TestFullSize(t *testing.T) {
	dir := os.Getenv("LAYETTE_FULL")
	if dir == "" {
		t.Skip("LAYETTE_FULL is not set: two hundred shots at full size are left out")
	}
	paths, err := filepath.Glob(filepath.Join(dir, "*.ply"))
	if err != nil || len(paths) == 0 {
		t.Fatalf("no scans in %s: run the test of that name of the step merge first", dir)
	}
	began, cpu := time.Now(), processor()
	var points, next atomic.Int64
	var lock sync.Mutex
	verdicts := map[string]int{}
	var wg sync.WaitGroup
	for range 2 {
		wg.Go(func() {
			for {
				i := int(next.Add(1)) - 1
				if i >= len(paths) {
					return
				}
				out, err := one(t, paths[i])
				if err != nil {
					t.Error(err)
					return
				}
				points.Add(out.Measures["points"].(int64))
				lock.Lock()
				verdicts[out.Measures["verdict"].(string)]++
				lock.Unlock()
			}
		})
	}
	wg.Wait()
	wall := time.Since(began).Seconds()
	var use syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &use)
	t.Logf("%d scans, %d points: %.1f s, %.1f s of processors, %.2f GB at most, %.2f million points/s; %v",
		len(paths), points.Load(), wall, processor()-cpu, float64(use.Maxrss)/1e6, float64(points.Load())/wall/1e6, verdicts)
}

// one looks at one scan.
func one(t *testing.T, path string) (*step.Outcome, error) {
	info, err := os.Stat(path)
	if err != nil {
		return nil, err
	}
	f := step.File{Name: filepath.Base(path), Units: "mm", Size: info.Size(), Open: func() (step.Reader, error) { return os.Open(path) }}
	job := &step.Job{
		Inputs: map[string][]step.File{"scan": {f}}, Values: steptest.Values(t, Kind{}.Handbook(), nil), Workers: 1, Progress: step.NoProgress,
		Create: func(string, string) (io.WriteCloser, error) { return nowhere{io.Discard}, nil },
		Pass:   func(string, step.File) error { return nil },
	}
	return Kind{}.Run(t.Context(), job)
}

type nowhere struct{ io.Writer }

func (nowhere) Close() error { return nil }

// processor returns the processor time used so far, s.
func processor() float64 {
	var use syscall.Rusage
	syscall.Getrusage(syscall.RUSAGE_SELF, &use)
	return float64(use.Utime.Sec+use.Stime.Sec) + 1e-6*float64(use.Utime.Usec+use.Stime.Usec)
}
