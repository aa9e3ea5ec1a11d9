package align

import (
	"strings"
	"testing"

	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// sitting takes a session round an invented part.
func sitting(t testing.TB, name string, o specimen.Options, s specimen.Session) []shot {
	t.Helper()
	return sittingOf(t, steptest.Part(t, o, name), s)
}

func sittingOf(t testing.TB, p *specimen.Part, s specimen.Session) []shot {
	t.Helper()
	var shots []shot
	err := s.Run(t.Context(), p, func(c specimen.Scan) error {
		good := c.Fault == ""
		shots = append(shots, shot{name: c.Name, mesh: c.Mesh, pose: c.Pose, good: good, why: c.Fault})
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	return shots
}

// TestHand: of a session round an invented hand, with noise, bad shots and a
// copy, nothing is placed wrongly and most of it is placed.
func TestHand(t *testing.T) {
	shots := sitting(t, "right-hand", specimen.Options{}, specimen.Session{
		Scanner: specimen.Scanner{Pitch: 0.5, Noise: 0.1}, Shots: 14, Bad: 0.2, Twice: true, Seed: 1,
	})
	res, truth := tossed(t, shots, 1)
	deg, mm, placed := farthest(t, posesOf(t, res), truth, shots)
	t.Logf("%d placed, worst %.3f deg %.3f mm, %v", len(placed), deg, mm, res.Measures)
	if deg > 0.5 || mm > 0.2 {
		t.Errorf("worst %.3f degrees and %.3f mm", deg, mm)
	}
	nothingMoved(t, 1, res)
	good := 0
	for _, s := range shots {
		if s.good {
			good++
		}
		if placed[s.name] && !s.good && s.why != specimen.Duplicate {
			t.Errorf("%s is %s and was placed", s.name, s.why)
		}
	}
	if len(placed) < good*3/4 {
		t.Errorf("%d of %d good shots placed\n%s", len(placed), good, strings.Join(res.Notes, "\n"))
	}
}
