package align

import (
	"slices"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// readied returns a session of shots made ready, in which nothing is compared
// yet, and the number of each shot in it.
func readied(t *testing.T, shots []shot) (*session, []int) {
	t.Helper()
	job := &step.Job{Inputs: map[string][]step.File{"scans": filesOf(t, shots)}, Values: steptest.Values(t, Kind{}.Handbook(), nil), Workers: 2, Progress: step.NoProgress}
	s := newSession(job)
	if err := s.look(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.choose()
	if err := s.ready(t.Context()); err != nil {
		t.Fatal(err)
	}
	s.ratio, s.hints = 1, make([][]hint, len(s.scans))
	number := make([]int, len(shots))
	for k, c := range shots {
		number[k] = s.named(c.name)
	}
	return s, number
}

// TestJoin: two groups that share shots join where most of those lie alike, and
// what is wrong in one of them makes no shot lie falsely: a shot in a wrong place
// is let go, and so is what hangs on it; groups that only a wrong shot joins stay
// apart. Groups that share none join where their skins hold each other.
func TestJoin(t *testing.T) {
	shots := sitting(t, "right-hand", specimen.Options{}, specimen.Session{Scanner: specimen.Scanner{Pitch: 0.6, Noise: 0.08}, Shots: 14, Shared: 0.6, Seed: 2})
	s, number := readied(t, shots)
	away := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 1, Y: -2, Z: 0.5}), Move: geom.Vec{X: 300, Y: 40}}
	nearby := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 0.2, Y: 0.3}), Move: geom.Vec{X: 9, Z: -6}}
	frame := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 0.3, Z: 2}), Move: geom.Vec{Y: 77}}
	made := func(in, off []int, wrong, frame geom.Pose) *group {
		g := s.newGroup()
		for _, k := range in {
			at := shots[k].pose
			if slices.Contains(off, k) {
				at = at.Then(wrong)
			}
			g.put(number[k], at.Then(frame))
		}
		return g
	}
	half, rest := []int{0, 1, 2, 3, 4, 5, 6, 7}, []int{4, 5, 6, 7, 8, 9, 10, 11}
	tests := []struct {
		name       string
		one, other []int
		off        []int // in the other
		by         geom.Pose
		idea       *geom.Pose // how far beside the truth a pair of them is thought to lie
		joined     int        // how many shots the two then hold together, 0 if they stay apart
	}{
		{"nothing wrong", half, rest, nil, geom.NoMove, nil, 12},
		{"one shot wrong", half, rest, []int{6}, nearby, nil, 12},
		{"only the wrong one in both", half[:6], rest[1:6], []int{5}, nearby, nil, 0},
		{"others hang on the wrong one", []int{0, 1, 2, 3, 4, 5, 6, 7, 8}, []int{0, 1, 2, 3, 4, 8, 9, 10, 11}, []int{8, 9, 10, 11}, away, nil, 8},
		{"two that agree on a wrong place", []int{0, 1, 2, 3, 4, 5, 6, 7, 8}, []int{0, 1, 2, 3, 4, 5, 7, 8, 9, 10}, []int{7, 8, 9, 10}, away, nil, 0},
		{"none shared, a true idea", []int{0, 2, 4, 6, 8, 10}, []int{1, 3, 5, 7, 9, 11}, nil, geom.NoMove, &geom.NoMove, 12},
		{"none shared, a false idea", []int{0, 2, 4, 6, 8, 10}, []int{1, 3, 5, 7, 9, 11}, nil, geom.NoMove, &nearby, 0},
	}
	think := func(a, b int, wrong geom.Pose) {
		s.hints[number[a]] = []hint{{other: number[b], pose: shots[a].pose.Then(wrong).Then(shots[b].pose.Inverse()), worth: 100}}
	}
	for _, tt := range tests {
		if tt.idea != nil {
			think(6, 7, *tt.idea)
			think(7, 6, tt.idea.Inverse())
		}
		for _, turned := range []bool{false, true} {
			g, o := made(tt.one, nil, geom.NoMove, geom.NoMove), made(tt.other, tt.off, tt.by, frame)
			if turned {
				g, o = o, g
			}
			ok, err := g.absorb(t.Context(), o)
			if err != nil {
				t.Fatal(err)
			}
			if ok != (tt.joined > 0) || ok && len(g.order) != tt.joined {
				t.Errorf("%s, turned %v: joined %v, %d placed; want %d", tt.name, turned, ok, len(g.order), tt.joined)
			}
			for k, i := range number {
				at, want := g.at[i].Then(g.at[number[2]].Inverse()), shots[k].pose.Then(shots[2].pose.Inverse())
				if deg, mm := apartPose(at, want, s.scans[i].middle); ok && g.in[i] && !(deg < falseDeg && mm < falseMM) {
					t.Errorf("%s, turned %v: shot %d lies %.1f degrees and %.1f mm falsely", tt.name, turned, k, deg, mm)
				}
			}
		}
	}
}
