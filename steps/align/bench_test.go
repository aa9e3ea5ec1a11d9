package align

import (
	"testing"

	"layette/engine/step"
	"layette/steps/specimen"
)

// prepared is a session of shots of about 100,000 points, looked at.
func prepared(b *testing.B, n int) *session {
	b.Helper()
	shots := sitting(b, "right-arm", specimen.Options{}, specimen.Session{
		Scanner: specimen.Scanner{Pitch: 0.15, Wide: 70, High: 56}, Shots: n, Seed: 1,
	})
	job := &step.Job{Inputs: map[string][]step.File{}, Values: step.Values{}, Workers: 2, Progress: step.NoProgress}
	for _, s := range shots {
		job.Inputs["scans"] = append(job.Inputs["scans"], plyOf(b, s.name, s.mesh))
	}
	s := newSession(job)
	if err := s.look(b.Context()); err != nil {
		b.Fatal(err)
	}
	s.choose()
	return s
}

// BenchmarkReady thins and describes shots of about 100,000 points.
func BenchmarkReady(b *testing.B) {
	s := prepared(b, 8)
	points := 0.0
	for b.Loop() {
		if err := s.ready(b.Context()); err != nil {
			b.Fatal(err)
		}
		for _, c := range s.scans {
			points += c.points
		}
	}
	b.ReportMetric(points/b.Elapsed().Seconds()/1e6, "Mpoints/s")
}

// BenchmarkPairs compares twenty shots of an arm two by two.
func BenchmarkPairs(b *testing.B) {
	s := prepared(b, 20)
	if err := s.ready(b.Context()); err != nil {
		b.Fatal(err)
	}
	n := 0
	for b.Loop() {
		pairs, err := s.pairUp(b.Context())
		if err != nil {
			b.Fatal(err)
		}
		n += len(pairs)
	}
	b.ReportMetric(float64(n)/b.Elapsed().Minutes(), "pairs/min")
}
