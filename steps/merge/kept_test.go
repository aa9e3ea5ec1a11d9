package merge

import (
	"bytes"
	"fmt"
	"io"
	"maps"
	"slices"
	"sync"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
)

// store is what a step leaves from run to run.
type store struct {
	lock  sync.Mutex
	kept  map[string][]byte
	fresh int // how much was left anew
}

func (s *store) run(t testing.TB, in map[string][]step.File, voxel float64) []byte {
	t.Helper()
	var out bytes.Buffer
	s.fresh = 0
	job := &step.Job{
		Inputs: in, Values: steptest.Values(t, Kind{}.Handbook(), step.Values{"voxel": voxel}), Workers: 2, Progress: step.NoProgress,
		Create: func(string, string) (io.WriteCloser, error) { return file{&out}, nil },
		Prior: func(key string) (step.Reader, bool) {
			s.lock.Lock()
			defer s.lock.Unlock()
			data, ok := s.kept[key]
			return reader{bytes.NewReader(data)}, ok
		},
		Keep: func(key string, data []byte) error {
			s.lock.Lock()
			defer s.lock.Unlock()
			s.fresh++
			s.kept[key] = data
			return nil
		},
	}
	if _, err := (Kind{}).Run(t.Context(), job); err != nil {
		t.Fatal(err)
	}
	return out.Bytes()
}

type file struct{ io.Writer }

func (file) Close() error { return nil }

type reader struct{ *bytes.Reader }

func (reader) Close() error { return nil }

// TestKeptWork: whatever is changed in a session (a scan added, replaced,
// dropped, all of them moved a little, as happens when align settles them anew),
// the surface made with what earlier runs left is, byte for byte, the one made
// from nothing, and only scans that were never seen are looked at. Damage to
// what was left changes nothing either.
func TestKeptWork(t *testing.T) {
	whole := map[string][]step.File{}
	var table poses.Table
	for i, d := range dirs[:8] {
		m, pose := globe(20, 0.6+0.01*float64(i), d) // no two files are equal
		f := scanFile(t, fmt.Sprintf("%02d.ply", i), m)
		whole["scans"] = append(whole["scans"], f)
		table.Scans = append(table.Scans, poses.At(f, pose))
	}
	whole["poses"] = tableFile(t, table)
	s := &store{kept: map[string][]byte{}}
	s.run(t, whole, 1)
	if s.fresh != 8 {
		t.Errorf("%d scans looked at, want 8", s.fresh)
	}
	for _, tt := range []struct {
		name   string
		fresh  int
		change func(in map[string][]step.File, table *poses.Table)
	}{
		{"nothing", 0, func(map[string][]step.File, *poses.Table) {}},
		{"one dropped", 0, func(in map[string][]step.File, table *poses.Table) { in["scans"] = in["scans"][1:] }},
		{"one not placed", 0, func(in map[string][]step.File, table *poses.Table) { table.Scans[3].Placed = false }},
		{"one added", 1, func(in map[string][]step.File, table *poses.Table) {
			m, pose := globe(20, 0.7, dirs[9])
			f := scanFile(t, "added.ply", m)
			in["scans"] = append(in["scans"], f)
			table.Scans = append(table.Scans, poses.At(f, pose))
		}},
		{"one replaced", 1, func(in map[string][]step.File, table *poses.Table) {
			m, pose := globe(20, 0.55, dirs[4])
			in["scans"][4] = scanFile(t, "04.ply", m)
			table.Scans[4] = poses.At(in["scans"][4], pose)
		}},
		{"one moved", 0, func(in map[string][]step.File, table *poses.Table) {
			pose := table.Scans[2].Pose()
			pose.Move.Z += 0.3
			table.Scans[2] = poses.At(in["scans"][2], pose)
		}},
		{"all moved a little", 0, func(in map[string][]step.File, table *poses.Table) {
			for i, p := range table.Scans {
				by := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 1e-4 * float64(i)}), Move: geom.Vec{Y: 0.01 * float64(i%3)}}
				table.Scans[i] = poses.At(in["scans"][i], p.Pose().Then(by))
			}
		}},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := maps.Clone(whole)
			in["scans"] = slices.Clone(whole["scans"])
			table, err := poses.Open(&step.Job{Inputs: in}, "poses")
			if err != nil {
				t.Fatal(err)
			}
			tt.change(in, &table)
			in["poses"] = tableFile(t, table)
			got := s.run(t, in, 1)
			if s.fresh != tt.fresh {
				t.Errorf("%d scans looked at, want %d", s.fresh, tt.fresh)
			}
			if clean := (&store{kept: map[string][]byte{}}); !bytes.Equal(got, clean.run(t, in, 1)) {
				t.Error("other bytes than from nothing")
			}
		})
	}
	want := s.run(t, whole, 1)
	for key, data := range s.kept {
		s.kept[key] = data[:len(data)-1]
	}
	if got := s.run(t, whole, 1); !bytes.Equal(got, want) || s.fresh != 8 {
		t.Errorf("damaged leftovers: %d looked at, same bytes: %v", s.fresh, bytes.Equal(got, want))
	}
}

// BenchmarkAgain joins 200 scans of 100,000 points at 0.4 mm with what an earlier
// run left: what one changed scan costs, since all are joined again.
func BenchmarkAgain(b *testing.B) {
	in, points := many(b, 200)
	s := &store{kept: map[string][]byte{}}
	s.run(b, in, 0.4)
	for b.Loop() {
		s.run(b, in, 0.4)
	}
	b.ReportMetric(float64(points)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
}

// FuzzDecode: whatever was kept, no panic; and what is read reads again the same.
func FuzzDecode(f *testing.F) {
	v := &view{spacing: 1}
	v.picture, v.patches = newPicture(geom.Vec{}, []patch{{at: geom.Point{0, 0, 100}, up: geom.Point{0, 0, -1}}, {at: geom.Point{1, 0, 100}, up: geom.Point{0, 0, -1}}}, 1.5)
	f.Add(v.encode())
	f.Add([]byte{})
	f.Fuzz(func(t *testing.T, data []byte) {
		v, err := decode(data)
		if err != nil {
			return
		}
		if again, err := decode(v.encode()); err != nil || !slices.Equal(again.patches, v.patches) {
			t.Errorf("read again: %v", err)
		}
	})
}
