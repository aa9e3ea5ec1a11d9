package steps_test

import (
	"bytes"
	"io"
	"os"
	"strconv"
	"strings"
	"syscall"
	"testing"
	"time"

	"layette/engine/step"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// BenchmarkMould runs each of the five steps, and all of them one after the
// other, on a hand of two million triangles, reading and writing and all. Its
// s/op of "all" is to be under 25 on two cores and GB under 3; CPU-s is what
// counts on a machine that does other things too.
func BenchmarkMould(b *testing.B) {
	m := steptest.Mesh(b, specimen.Options{}, "left-hand", 2_000_000)
	var ply bytes.Buffer
	if err := meshio.WritePLY(&ply, m); err != nil {
		b.Fatal(err)
	}
	million := float64(len(m.Tris)) / 1e6
	m = nil
	hand := map[string][]step.File{"surface": {steptest.File("hand.ply", ply.Bytes(), "mm")}}
	run := func(b *testing.B, kind step.Kind, values step.Values) {
		job := &step.Job{
			Inputs: hand, Values: steptest.Values(b, kind.Handbook(), values), Workers: 2, Progress: step.NoProgress,
			Create: func(string, string) (io.WriteCloser, error) { return nowhere{}, nil },
		}
		if _, err := kind.Run(b.Context(), job); err != nil {
			b.Fatal(err)
		}
	}
	measured := func(b *testing.B, do func()) {
		os.WriteFile("/proc/self/clear_refs", []byte("5"), 0) // peak memory from here on, where the system can
		began := processor(b)
		for b.Loop() {
			do()
		}
		n := float64(b.N)
		b.ReportMetric((processor(b)-began).Seconds()/n, "CPU-s")
		b.ReportMetric(million*n/b.Elapsed().Seconds(), "Mtri/s")
		b.ReportMetric(peak(), "GB")
	}
	for _, s := range five {
		b.Run(s.name, func(b *testing.B) { measured(b, func() { run(b, s.kind, s.values) }) })
	}
	b.Run("all", func(b *testing.B) {
		measured(b, func() {
			for _, s := range five {
				run(b, s.kind, s.values)
			}
		})
	})
}

// processor returns the time that the process has taken of all processors.
func processor(b *testing.B) time.Duration {
	var u syscall.Rusage
	if err := syscall.Getrusage(syscall.RUSAGE_SELF, &u); err != nil {
		b.Fatal(err)
	}
	return time.Duration(u.Utime.Nano() + u.Stime.Nano())
}

// peak returns the most memory that the process has had, GB; 0 where the system
// does not tell.
func peak() float64 {
	status, _ := os.ReadFile("/proc/self/status")
	for line := range strings.Lines(string(status)) {
		if kb, ok := strings.CutPrefix(line, "VmHWM:"); ok {
			n, _ := strconv.ParseFloat(strings.Fields(kb)[0], 64)
			return n / 1e6
		}
	}
	return 0
}

type nowhere struct{}

func (nowhere) Write(p []byte) (int, error) { return len(p), nil }
func (nowhere) Close() error                { return nil }
