package hollow

import (
	"bytes"
	"io"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// BenchmarkHollow casts a head of two million triangles, reading and all.
func BenchmarkHollow(b *testing.B) {
	m := steptest.Mesh(b, specimen.Options{}, "head", 2_000_000)
	var ply bytes.Buffer
	if err := meshio.WritePLY(&ply, m); err != nil {
		b.Fatal(err)
	}
	job := &step.Job{
		Inputs: map[string][]step.File{"surface": {steptest.File("head.ply", ply.Bytes(), "mm")}},
		Values: steptest.Values(b, Kind{}.Handbook(), nil), Workers: 2, Progress: step.NoProgress,
		Create: func(string, string) (io.WriteCloser, error) { return nowhere{}, nil },
	}
	b.ReportAllocs()
	for b.Loop() {
		out, err := Kind{}.Run(b.Context(), job)
		if err != nil {
			b.Fatal(err)
		}
		b.Log(out.Measures)
		for _, s := range out.Spots[:min(len(out.Spots), 12)] {
			b.Log(s.What, s.Fault, s.Value, s.Says)
		}
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

type nowhere struct{}

func (nowhere) Write(p []byte) (int, error) { return len(p), nil }
func (nowhere) Close() error                { return nil }
