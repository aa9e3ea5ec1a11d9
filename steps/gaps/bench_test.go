package gaps

import (
	"bytes"
	"io"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
)

// BenchmarkGaps runs the whole step, reading and writing and all, on a hand of
// two million triangles.
func BenchmarkGaps(b *testing.B) {
	h := newHand(4)
	m := grid(h.shape, h.lo, h.hi, 0.56)
	for len(m.Tris) < 1_000_000 {
		m = finer(m, h.shape)
	}
	var ply bytes.Buffer
	if err := meshio.WritePLY(&ply, m); err != nil {
		b.Fatal(err)
	}
	job := &step.Job{
		Inputs: map[string][]step.File{"surface": {steptest.File("hand.ply", ply.Bytes(), "mm")}},
		Values: steptest.Values(b, Kind{}.Handbook(), nil), Workers: 2, Progress: step.NoProgress,
		Create: create,
	}
	b.ReportAllocs()
	for b.Loop() {
		out, err := Kind{}.Run(b.Context(), job)
		if err != nil {
			b.Fatal(err)
		}
		b.Log(len(m.Tris), "triangles;", h.describe, out.Measures["air.least"], len(out.Spots))
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

func create(string, string) (io.WriteCloser, error) { return nowhere{}, nil }

type nowhere struct{}

func (nowhere) Write(p []byte) (int, error) { return len(p), nil }
func (nowhere) Close() error                { return nil }
