package merge

import (
	"math"
	"os"
	"slices"
	"strconv"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/intake"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// TestSessions takes whole sessions with everything wrong with them through
// intake and joins what is left by true poses: one shot in ten bad, one filed
// twice, one finger that moved, wet lips, 0.05 to 0.15 mm of noise. Half of the
// skin lies within half the noise of the part as it was before or after the
// move. LAYETTE_SEEDS says how many seeds; without it one small session is run.
func TestSessions(t *testing.T) {
	seeds, _ := strconv.Atoi(os.Getenv("LAYETTE_SEEDS"))
	for _, c := range []struct {
		part  string
		shots int
		noise float64
		pitch float64
	}{{"right-hand", 40, 0.15, 0.4}, {"right-arm", 40, 0.05, 0.5}, {"head", 60, 0.1, 0.5}} {
		if seeds == 0 {
			if c.part != "right-hand" {
				continue
			}
			c.shots, c.pitch = 24, 0.6
		}
		for seed := range max(seeds, 1) {
			t.Run(c.part+"/"+strconv.Itoa(seed+1), func(t *testing.T) {
				in, part, later := faulty(t, c.part, c.shots, uint64(seed+1), specimen.Scanner{Pitch: c.pitch, Noise: c.noise})
				r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": max(0.4, 1.25*c.pitch)}})
				m, _ := surfaceOf(t, r)
				var off []float64
				for _, p := range m.Verts {
					a, _ := part.Field.At(p.Vec())
					b, _ := later.Field.At(p.Vec())
					off = append(off, min(math.Abs(a), math.Abs(b)))
				}
				slices.Sort(off)
				half := off[len(off)/2]
				t.Logf("noise %.2f (found %.3f) half within %.4f, 95 %% within %.3f, worst %.2f; joined %v, carved %v of %d", c.noise, r.Measures["noise"],
					half, off[len(off)*95/100], off[len(off)-1], r.Measures["scans.joined"], r.Measures["carved"], len(off))
				if half > c.noise/2 {
					t.Errorf("half of the skin lies within %.4f mm, want %.4f", half, c.noise/2)
				}
				if far := off[len(off)*99/100]; far > 1 {
					t.Errorf("one in a hundred vertices lies more than %.2f mm off", far)
				}
			})
		}
	}
}

// faulty is a session after intake with true poses; shots of something else
// than the part, which nothing can place, are left out.
func faulty(t testing.TB, name string, shots int, seed uint64, scanner specimen.Scanner) (map[string][]step.File, *specimen.Part, *specimen.Part) {
	part := partOf(t, name, 0)
	later := partOf(t, name, 12)
	in := map[string][]step.File{}
	var table poses.Table
	s := specimen.Session{Scanner: scanner, Shots: shots, Overlap: 0.45, Bad: 0.1, Twice: true, Seed: seed}
	if strings.Contains(name, "hand") {
		s.Later = later
	}
	err := s.Run(t.Context(), part, func(c specimen.Scan) error {
		if c.Fault == specimen.Elsewhere || c.Fault == specimen.Duplicate {
			return nil
		}
		r := steptest.Run(t, intake.Kind{}, steptest.Given{Inputs: map[string][]step.File{"scan": {scanFile(t, c.Name+".ply", c.Mesh)}}})
		for _, key := range r.Order {
			if strings.HasPrefix(key, "scan/") {
				f := steptest.File(c.Name+".ply", r.Files[key], "mm")
				in["scans"] = append(in["scans"], f)
				table.Scans = append(table.Scans, poses.At(f, c.Pose))
			}
		}
		return nil
	})
	if err != nil {
		t.Fatal(err)
	}
	in["poses"] = tableFile(t, table)
	return in, part, later
}

func partOf(t testing.TB, name string, curl float64) *specimen.Part {
	t.Helper()
	part := steptest.Part(t, specimen.Options{Plain: true, Curl: [5]float64{1: curl}}, name)
	return part
}
