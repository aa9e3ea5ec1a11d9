package gallery

import (
	"bytes"
	"context"
	"errors"
	"image/png"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/meshio"
	"layette/steps/specimen"
)

// fingers returns two capsules 0.8 mm apart with a column of values and a
// spot between them and one on top.
func fingers(t *testing.T) Piece {
	t.Helper()
	m, err := specimen.Capsules(4, 20, 0.8).Mesh(t.Context(), specimen.Sampling{Triangles: 12000})
	if err != nil {
		t.Fatal(err)
	}
	air := make([]float32, len(m.Verts))
	for i, p := range m.Verts {
		air[i] = float32(math.Abs(float64(p[0]))) + 0.4
	}
	air[3] = float32(math.NaN())
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m, meshio.Column{Name: "air", Values: air}); err != nil {
		t.Fatal(err)
	}
	box := m.Bounds()
	return Piece{Title: "fingers", Data: bytes.NewReader(b.Bytes()), Size: int64(b.Len()), Limits: map[string][]float64{"air": {1.2}},
		Spots: []step.Spot{{Number: 1, What: "air gap", Value: 0.8, Unit: "mm", At: [3]float64{box.Max.X, 0, box.Centre().Z}, Radius: 1, Fault: true},
			{Number: 2, What: "top", At: [3]float64{box.Centre().X, box.Centre().Y, box.Centre().Z}, Radius: 0.2}}}
}

func TestShow(t *testing.T) {
	p := fingers(t)
	e, err := Show(t.Context(), p, Options{Triangles: 2000, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	seen := map[int]bool{}
	for _, pic := range e.Pictures {
		if _, err := png.Decode(bytes.NewReader(pic.Data)); err != nil {
			t.Errorf("%s: %v", pic.Title, err)
		}
		for _, n := range pic.Spots {
			seen[n] = true
		}
	}
	if !seen[1] || !seen[2] {
		t.Errorf("pictures show the spots %v", seen)
	}
	if len(e.Charts) != 1 || !bytes.HasPrefix(e.Charts[0].Data, []byte("<svg")) {
		t.Errorf("charts %+v", e.Charts)
	}
	s := e.Solid
	if n := len(s.Tris); n > 2000 || n < 1500 || s.Full < 10000 || !(s.Strays > 0 && s.Strays < 0.2) {
		t.Errorf("%d triangles of %d, strays by %g", n, s.Full, s.Strays)
	}
	if len(s.Layers) != 1 || s.Layers[0].Name != "air" || len(s.Layers[0].At) != len(s.Verts) || s.Layers[0].Low > 1.2 {
		t.Fatalf("layers %+v", s.Layers)
	}
	for i, v := range s.Verts {
		want := math.Abs(float64(v[0])) + 0.4
		if x := float64(s.Layers[0].At[i]); x == x && !(math.Abs(x-want) <= 1.2) {
			t.Fatalf("vertex %v carries %g, want about %g", v, x, want)
		}
	}
}

func TestForOtherPrograms(t *testing.T) {
	p := fingers(t)
	glb, err := GLB(t.Context(), p, "air", 2)
	if err != nil || !bytes.HasPrefix(glb, []byte("glTF")) {
		t.Fatalf("%.10q, %v", glb, err)
	}
	ply, err := PLY(t.Context(), p, "air", 2)
	if err != nil {
		t.Fatal(err)
	}
	m, _, err := meshio.Read(t.Context(), bytes.NewReader(ply), int64(len(ply)), meshio.Options{})
	if err != nil || len(m.Colours) != len(m.Verts) {
		t.Fatalf("%d colours for %d vertices, %v", len(m.Colours), len(m.Verts), err)
	}
	dark, pale := m.Colours[0], m.Colours[0]
	low, high := math.Inf(1), math.Inf(-1)
	for i, v := range m.Verts {
		if x := math.Abs(float64(v[0])); i != 3 && x < low {
			low, dark = x, m.Colours[i]
		} else if i != 3 && x > high {
			high, pale = x, m.Colours[i]
		}
	}
	if dark[0] >= pale[0] {
		t.Errorf("least air %v is no darker than most %v", dark, pale)
	}
	if _, err := PLY(t.Context(), p, "wall", 2); err == nil || !strings.Contains(err.Error(), "it has: air") {
		t.Errorf("unknown values: %v", err)
	}
}

func TestPoints(t *testing.T) {
	p := fingers(t)
	data, err := Points(p.Spots)
	if err != nil {
		t.Fatal(err)
	}
	m, info, err := meshio.Read(t.Context(), bytes.NewReader(data), int64(len(data)), meshio.Options{Columns: []string{"number", "value"}})
	if err != nil || len(m.Verts) != 2 || len(info.Columns) != 2 || info.Columns[0].Values[1] != 2 || info.Columns[1].Values[0] != 0.8 {
		t.Errorf("%d points, columns %+v, %v", len(m.Verts), info.Columns, err)
	}
}

func TestColumns(t *testing.T) {
	for in, want := range map[string]string{
		"ply\nelement vertex 3\nproperty float x\nproperty float air\nelement face 1\nproperty int flag\nend_header\n": "air",
		"ply\nelement vertex 3\nproperty float air\n":                                                                  "",
		"solid x\nproperty float air\nend_header\n":                                                                    "",
		"": "",
	} {
		if got := strings.Join(columns(strings.NewReader(in)), " "); got != want {
			t.Errorf("%q has %q, want %q", in, got, want)
		}
	}
}

// Where a step looked no farther, nothing is coloured; where values only
// happen to end, all are.
func TestScaledLeavesOutWhatWasNotFound(t *testing.T) {
	nan := 0
	for _, x := range scaled("air", []float32{0.5, 3, 3, 1, 3, 3, 2, 3}, nil).At {
		if x != x {
			nan++
		}
	}
	if nan != 5 {
		t.Errorf("%d of 8 left out, want the five at 3 mm", nan)
	}
	v := scaled("drift", []float32{-1, 0.5, 2, 1, -0.25}, []float64{2.5})
	if v.Low != -2.5 || v.High != 2.5 {
		t.Errorf("from %g to %g", v.Low, v.High)
	}
	for _, at := range [][]float32{{1, 1, 1}, {float32(math.NaN())}, nil} {
		if v := scaled("flat", at, nil); v.High > v.Low {
			t.Errorf("%v runs from %g to %g", at, v.Low, v.High)
		}
	}
}

func TestBadPiece(t *testing.T) {
	for _, data := range []string{"", "nonsense", "ply\nformat ascii 1.0\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\nend_header\n0 0 0\n"} {
		if _, err := Show(t.Context(), Piece{Data: strings.NewReader(data), Size: int64(len(data))}, Options{}); err == nil {
			t.Errorf("%q was shown", data)
		}
	}
	stop := errors.New("stop")
	ctx, cancel := context.WithCancelCause(t.Context())
	cancel(stop)
	if _, err := Show(ctx, fingers(t), Options{Triangles: 100}); !errors.Is(err, stop) {
		t.Errorf("stopped: %v", err)
	}
}

// From the sides that photographs were taken from the plain part is drawn, in
// the order that was asked for; a side that nobody knows is told.
func TestSides(t *testing.T) {
	e, err := Show(t.Context(), fingers(t), Options{Views: []string{"left", "front"}, Triangles: 500, Workers: 2})
	if err != nil || len(e.Pictures) != 2 || e.Solid != nil || len(e.Charts) > 0 {
		t.Fatalf("%+v, %v", e, err)
	}
	if e.Pictures[0].Title != "fingers, its left" || e.Pictures[1].Title != "fingers, front" || bytes.Equal(e.Pictures[0].Data, e.Pictures[1].Data) {
		t.Errorf("%s and %s", e.Pictures[0].Title, e.Pictures[1].Title)
	}
	if _, err := Show(t.Context(), fingers(t), Options{Views: []string{"inside"}, Workers: 2}); err == nil {
		t.Error("a view that there is not")
	}
}

// Of several columns each that a gate judges has a picture of the whole, each
// value its own unit, and where on the part one is comes last, without a
// histogram.
func TestJudgedColumns(t *testing.T) {
	m, err := specimen.Capsules(4, 20, 0.8).Mesh(t.Context(), specimen.Sampling{Triangles: 4000})
	if err != nil {
		t.Fatal(err)
	}
	at := func(k int) []float32 {
		out := make([]float32, len(m.Verts))
		for i, p := range m.Verts {
			out[i] = p[k]
		}
		return out
	}
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m, meshio.Column{Name: "distance", Values: at(2)}, meshio.Column{Name: "turn", Values: at(0)}, meshio.Column{Name: "loss", Values: at(1)}); err != nil {
		t.Fatal(err)
	}
	p := Piece{Title: "limb", Data: bytes.NewReader(b.Bytes()), Size: int64(b.Len())}
	e, err := Show(t.Context(), p, Options{Triangles: 1000, Columns: []string{"loss", "nothing of the kind"}, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	if len(e.Pictures) != 2 || e.Pictures[0].Column != "turn" || e.Pictures[1].Column != "loss" || len(e.Charts) != 2 {
		t.Errorf("%d pictures, %d charts", len(e.Pictures), len(e.Charts))
	}
	var got []string
	for _, l := range e.Solid.Layers {
		got = append(got, l.Name+" "+l.Unit)
	}
	if s := strings.Join(got, ", "); s != "turn deg per radius, loss mm, distance mm" {
		t.Errorf("values: %s", s)
	}
}
