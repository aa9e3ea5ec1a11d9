package align

import (
	"os"
	"strconv"
	"testing"

	"layette/steps/specimen"
)

// specimenShots takes a session round an invented part.
func specimenShots(t testing.TB, part string) []shot {
	t.Helper()
	k, err := specimen.NewKit(specimen.Options{})
	if err != nil {
		t.Fatal(err)
	}
	p, err := k.Part(part)
	if err != nil {
		t.Fatal(err)
	}
	n, _ := strconv.Atoi(os.Getenv("SHOTS"))
	if n == 0 {
		n = 20
	}
	overlap, _ := strconv.ParseFloat(os.Getenv("OVERLAP"), 64)
	seed, _ := strconv.ParseUint(os.Getenv("SEED"), 10, 64)
	k2, _ := specimen.NewKit(specimen.Options{Curl: [5]float64{1: 20}})
	later, err := k2.Part(part)
	if err != nil {
		t.Fatal(err)
	}
	s := specimen.Session{Scanner: specimen.Scanner{Noise: 0.1}, Shots: n, Overlap: overlap, Bad: 0.1, Twice: true, Seed: seed}
	if os.Getenv("MOVED") != "" {
		s.Later = later
	}
	var shots []shot
	err = s.Run(t.Context(), p, func(c specimen.Scan) error {
		shots = append(shots, shot{name: c.Name, mesh: c.Mesh, pose: c.Pose, good: c.Fault == "" || c.Fault == specimen.Duplicate, why: c.Fault})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return shots
}
