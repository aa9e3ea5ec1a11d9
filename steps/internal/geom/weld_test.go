package geom

import (
	"context"
	"errors"
	"math"
	"reflect"
	"testing"
)

// oldWeld welds with a map, as plainly as can be.
func oldWeld(corners []Point) *Mesh {
	m := &Mesh{Tris: make([]Tri, len(corners)/3)}
	index := map[Point]int32{} // as Go compares floats, -0 equals 0
	for i, p := range corners {
		if _, ok := index[p]; !ok {
			index[p] = int32(len(m.Verts))
			m.Verts = append(m.Verts, p)
		}
		m.Tris[i/3][i%3] = index[p]
	}
	return m
}

// TestWeldIsTheSameForAnyWorkers compares with the plain weld, over surfaces
// in order, in disorder, and with no corner in common.
func TestWeldIsTheSameForAnyWorkers(t *testing.T) {
	soup := make([]Point, 3000)
	for i := range soup {
		soup[i] = Point{float32(i), float32(i % 7), -float32(i)}
	}
	for name, corners := range map[string][]Point{
		"ball": loose(ball(Vec{}, 10, 4)), "doughnut": loose(shuffled(doughnut(5, 2, 40, 20), 1)), "soup": soup, "none": nil,
		"all one point": make([]Point, 300),
	} {
		want := oldWeld(corners)
		for _, workers := range []int{0, 1, 2, 3, 8, 100} {
			got, err := Weld(t.Context(), corners, workers)
			if err != nil {
				t.Fatal(err)
			}
			if len(got.Verts) != len(want.Verts) || len(corners) > 0 && !reflect.DeepEqual(got, want) {
				t.Errorf("%s with %d workers: %d vertices, want %d in the plain order", name, workers, len(got.Verts), len(want.Verts))
			}
		}
	}
}

func TestWeldTakesMinusZeroForZero(t *testing.T) {
	minus := float32(math.Copysign(0, -1))
	m, err := Weld(t.Context(), []Point{{0, 1, 2}, {3, 4, 5}, {6, 7, 8}, {minus, 1, 2}, {3, 4, 5}, {6, 7, minus}}, 2)
	if err != nil {
		t.Fatal(err)
	}
	if want := []Tri{{0, 1, 2}, {0, 1, 3}}; !reflect.DeepEqual(m.Tris, want) {
		t.Errorf("%v, want %v", m.Tris, want)
	}
}

func TestWeldedKeepsWhatTheFirstVertexHad(t *testing.T) {
	m := &Mesh{
		Verts:   []Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {1, 0, 0}, {9, 9, 9}},
		Tris:    []Tri{{0, 1, 2}, {0, 3, 2}},
		Seen:    []uint16{1, 2, 3, 4, 5},
		Colours: [][4]uint8{{1}, {2}, {3}, {4}, {5}},
		Normals: []Point{{1}, {2}, {3}, {4}, {5}},
	}
	got, from, err := m.Welded(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	want := &Mesh{
		Verts:   []Point{{0, 0, 0}, {1, 0, 0}, {0, 1, 0}, {9, 9, 9}},
		Tris:    []Tri{{0, 1, 2}, {0, 1, 2}},
		Seen:    []uint16{1, 2, 3, 5},
		Colours: [][4]uint8{{1}, {2}, {3}, {5}},
		Normals: []Point{{1}, {2}, {3}, {5}},
	}
	if !reflect.DeepEqual(got, want) || !reflect.DeepEqual(from, []int32{0, 1, 2, 4}) {
		t.Errorf("%+v from %v, want %+v", got, from, want)
	}
}

func TestWeldStops(t *testing.T) {
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, err := Weld(ctx, loose(ball(Vec{}, 1, 3)), 2); !errors.Is(err, stop) {
		t.Errorf("%v, want %v", err, stop)
	}
}

func BenchmarkWeld(b *testing.B) {
	corners := loose(bigHand(b))
	b.ReportAllocs()
	for b.Loop() {
		if _, err := Weld(b.Context(), corners, 2); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(len(corners)/3)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}
