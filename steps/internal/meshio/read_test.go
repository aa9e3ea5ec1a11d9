package meshio

import (
	"bytes"
	"context"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
	"reflect"
	"runtime"
	"slices"
	"strings"
	"testing"

	stl "github.com/hschendel/stl"

	"layette/steps/internal/geom"
)

// TestEveryDialectGivesTheSameBox: eight vertices, twelve triangles, volume
// 24,000 mm³, whatever the format.
func TestEveryDialectGivesTheSameBox(t *testing.T) {
	for name, b := range boxes(t) {
		t.Run(name, func(t *testing.T) {
			m, info, err := readBytes(t, b)
			if err != nil {
				t.Fatal(err)
			}
			if len(m.Verts) != 8 || len(m.Tris) != 12 || m.Volume() != 24000 || m.Area() != 5200 || len(info.Notes) != 0 {
				t.Errorf("%d vertices, %d triangles, volume %v, area %v, notes %v", len(m.Verts), len(m.Tris), m.Volume(), m.Area(), info.Notes)
			}
		})
	}
}

// TestCutAnywhereIsNeverSilentlySmaller cuts every box at every byte. What
// remains is refused, or is the whole box, or the reader says what is odd.
// OBJ has no count and no end: a file cut between lines is a smaller file, and
// nothing in it can tell.
func TestCutAnywhereIsNeverSilentlySmaller(t *testing.T) {
	for name, whole := range boxes(t) {
		if strings.HasPrefix(name, "OBJ") {
			continue
		}
		for n := range whole {
			m, info, err := readBytes(t, whole[:n])
			if err == nil && len(info.Notes) == 0 && m.Volume() != 24000 {
				t.Fatalf("%s cut at byte %d of %d: volume %v and not a word", name, n, len(whole), m.Volume())
			}
			if err != nil && strings.Contains(err.Error(), "\n") {
				t.Errorf("%s cut at byte %d: %v", name, n, err)
			}
		}
	}
}

// TestRefused: what is wrong, where, and nothing else.
func TestRefused(t *testing.T) {
	head := func(s string) string { return "ply\nformat ascii 1.0\n" + s }
	tests := []struct{ name, file, want string }{
		{"nothing", "", "the file is empty"},
		{"a letter", "hello there", `byte 0: the file begins "hello there"`},
		{"a picture", "\x89PNG\r\n\x1a\n\x00\x00", "a PNG picture"},
		{"an archive", "PK\x03\x04\x00\x00", "a ZIP archive"},
		{"packed", "\x1f\x8b\x08\x00", "unpack it first"},
		{"UTF-16", "\xff\xfes\x00o\x00", "save it as UTF-8"},
		{"short STL", strings.Repeat("\x00", 83), "byte 83: the file ends inside the head of a binary STL"},
		{"decimal comma", "solid a\nfacet normal 0,0 0,0 1,0\n", `line 2: "0,0" has a decimal comma`},
		{"not a number", "solid a\nfacet normal 0 0 x\n", `line 2: "x" is not a number, in triangle 1`},
		{"two corners", "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 0 0 1\nendloop\n", `line 6: "endloop" where "vertex" should stand, in triangle 1`},
		{"four corners", "solid a\nfacet normal 0 0 1\nouter loop\nvertex 0 0 0\nvertex 0 0 1\nvertex 0 1 0\nvertex 0 1 1\n", `line 7: "vertex" where "endloop" should stand`},
		{"nested solid", "solid a\nsolid b\n", "line 2: a solid begins inside a solid"},
		{"endless PLY head", head("comment x\n"), "line 4: the head of the PLY file does not end"},
		{"PLY format", "ply\nformat binary_middle_endian 1.0\nend_header\n", "line 2: unknown format"},
		{"no PLY format", "ply\nend_header\n", "line 2: the head of the PLY file has no format line"},
		{"PLY word", head("elephant vertex 3\n"), `line 3: "elephant" is not a word of a PLY head`},
		{"PLY type", head("element vertex 3\nproperty quad x\n"), "line 4: unknown number type"},
		{"PLY list count", head("element face 3\nproperty list float int vertex_indices\n"), "line 4: a list cannot be counted"},
		{"PLY without z", head("element vertex 0\nproperty float x\nproperty float y\nend_header\n"), "lacks one of the properties x, y and z"},
		{"PLY promises too much", head("element vertex 4000000000\nproperty float x\nproperty float y\nproperty float z\nend_header\n0 0 0\n"), "the head promises 4000000000 vertex elements"},
		{"PLY below zero", head("element vertex -1\nend_header\n"), "line 3: -1 vertex elements cannot be"},
		{"PLY short line", head("element vertex 1\nproperty float x\nproperty float y\nproperty float z\nend_header\n0 0      \n"), "line 8: the line has too few numbers, in vertex 1 of 1"},
		{"PLY long list", head("element vertex 1\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n200 0 0 0\n"), "line 11: a list of 200 numbers, but 3 follow"},
		{"PLY faces first", head("element face 1\nproperty list uchar int vertex_indices\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\nend_header\n3 0 0 7\n0 0 0\n"), "names vertex 7, but there are 1"},
		{"PLY half index", head("element vertex 1\nproperty float x\nproperty float y\nproperty float z\nelement face 1\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n3 0 0 0.5\n"), "line 11: face 1 of 1 names vertex 0.5"},
		{"OBJ index too high", "v 0 0 0\nv 1 0 0\nf 1 2 3\n", "line 3: a face names vertex 3, but there are 2 so far"},
		{"OBJ index too far back", "v 0 0 0\nv 1 0 0\nf -1 -2 -3\n", "line 3: a face names vertex -3"},
		{"OBJ index zero", "v 0 0 0\nf 0 0 0\n", "line 2: a face names vertex 0"},
		{"OBJ comma", "v 0,5 0,5 0,5\n", `line 1: "0,5" has a decimal comma`},
		{"OBJ word", "v 0 0 0\nwibble 3\n", `line 2: "wibble" is not a word`},
		{"OFF index", "OFF\n1 1 0\n0 0 0\n3 0 0 7\n", "line 4: a face names vertex 7, but there are 1"},
		{"OFF cut", "OFF\n3 1 0\n0 0 0\n", "line 3: the file ends too early"},
		{"OFF binary", "OFF BINARY\n", "binary OFF is not read"},
		{"OFF count", "OFF\n-1 1 0\n", "line 2: a count below zero"},
		{"grid", head("obj_info num_cols 3\nobj_info num_rows 3\nelement vertex 1\nproperty float x\nproperty float y\nproperty float z\nelement range_grid 2\nproperty list uchar int vertex_indices\nend_header\n0 0 0\n0\n0\n"), "the range grid has 2 cells"},
		{"all NaN", "v nan nan nan\n", "every one is NaN or infinite"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			m, _, err := readBytes(t, []byte(tt.file))
			if err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("%v, %v; want %q", m, err, tt.want)
			}
		})
	}
}

// TestCountsCostNoMemory: a head that claims four billion facets, or vertices,
// is refused for next to nothing.
func TestCountsCostNoMemory(t *testing.T) {
	huge := stlOf(t, box())
	binary.LittleEndian.PutUint32(huge[80:], math.MaxUint32)
	files := [][]byte{
		huge,
		[]byte("ply\nformat binary_little_endian 1.0\nelement vertex 4294967295\nproperty float x\nproperty float y\nproperty float z\nend_header\nxxxx"),
		[]byte("ply\nformat binary_little_endian 1.0\nelement vertex 1\nproperty list uint char x\nend_header\n\xff\xff\xff\xff"),
		[]byte("ply\nformat ascii 1.0\nelement nothing 9000000000000000000\nelement vertex 9\nproperty float x\nend_header\n"),
		[]byte("OFF\n4294967295 4294967295 0\n0 0 0\n"),
	}
	for i, f := range files {
		var before, after runtime.MemStats
		runtime.ReadMemStats(&before)
		_, _, err := readBytes(t, f)
		runtime.ReadMemStats(&after)
		if got := after.TotalAlloc - before.TotalAlloc; err == nil || got > 1<<20 {
			t.Errorf("file %d: %d bytes allocated, error %v", i, got, err)
		}
	}
}

// TestNotFinite: triangles with a corner that is NaN or infinite are left out
// and named, in every format.
func TestNotFinite(t *testing.T) {
	broken := box()
	broken.Verts[7][1] = float32(math.NaN())
	obj := strings.Replace(objText, "v 20 30 40", "v inf 30 40", 1)
	for name, b := range map[string][]byte{"PLY": plyOf(t, broken), "STL": stlOf(t, broken), "STL text": textSTLOf(broken), "OBJ": []byte(obj)} {
		m, info, err := readBytes(t, b)
		if err != nil {
			t.Fatalf("%s: %v", name, err)
		}
		bad := 0
		for _, tri := range box().Tris {
			if tri[0] == 7 || tri[1] == 7 || tri[2] == 7 {
				bad++
			}
		}
		if name == "OBJ" {
			bad = info.NotFinite // its quads are cut another way
		}
		if info.NotFinite != bad || len(info.Where) != bad || len(m.Tris) != 12-bad || len(m.Verts) != 7 || info.Triangles != 12 || bad < 3 {
			t.Errorf("%s: %d left out (%v), %d triangles and %d vertices stay", name, info.NotFinite, info.Where, len(m.Tris), len(m.Verts))
		}
		for _, v := range m.Verts {
			if !v.Vec().Finite() {
				t.Errorf("%s: a vertex at %v", name, v)
			}
		}
	}
}

// TestFarFromZero: a box 100 m away keeps its size, its place and its exact
// coordinates, from floats and from doubles with more digits.
func TestFarFromZero(t *testing.T) {
	far := box()
	far.Origin = geom.Vec{X: 100000, Y: -250000.125, Z: 3}
	for i := range far.Verts {
		far.Verts[i][0] += 0.015625 // beyond what float32 can say at 100 m, within what double can
	}
	m, _, err := readBytes(t, plyOf(t, far))
	if err != nil {
		t.Fatal(err)
	}
	if m.Volume() != 24000 || m.Origin.X == 0 || m.Origin.Z != 0 {
		t.Errorf("volume %v, origin %v", m.Volume(), m.Origin)
	}
	for i, v := range m.Verts {
		if got, want := v.Vec().Add(m.Origin), far.Verts[i].Vec().Add(far.Origin); got != want {
			t.Fatalf("vertex %d at %v, want %v", i, got, want)
		}
	}
	moved := box().Moved(geom.Vec{X: 100000, Y: 200000})
	m, _, err = readBytes(t, stlOf(t, moved))
	if err != nil || m.Volume() != 24000 || m.Origin == (geom.Vec{}) {
		t.Errorf("STL: volume %v, origin %v, %v", m.Volume(), m.Origin, err)
	}
}

// TestUnits: an inch is 25.4 mm exactly (ISO 80000-3 by way of the 1959
// international yard and pound agreement; from memory).
func TestUnits(t *testing.T) {
	b := stlOf(t, box())
	m, _, err := Read(t.Context(), bytes.NewReader(b), int64(len(b)), Options{Scale: 25.4})
	if err != nil {
		t.Fatal(err)
	}
	if got := m.Bounds().Size(); !(math.Abs(got.Z-1016) <= 1e-4) {
		t.Errorf("40 in are %v mm, want 1016", got.Z)
	}
}

// TestPLYKeepsWhatAVertexHas writes and reads normals, colours, counts and
// columns.
func TestPLYKeepsWhatAVertexHas(t *testing.T) {
	m := bumpy(6)
	col := Column{Name: "gap"}
	for i := range m.Verts {
		m.Normals = append(m.Normals, geom.Point{0, 0, float32(i)})
		m.Colours = append(m.Colours, [4]uint8{uint8(i), 2, 3, 4})
		m.Seen = append(m.Seen, uint16(i*3))
		col.Values = append(col.Values, float32(i)/7)
	}
	b := plyOf(t, m, col)
	got, info, err := Read(t.Context(), bytes.NewReader(b), int64(len(b)), Options{Columns: []string{"gap", "none"}, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	if !reflect.DeepEqual(got, m) || !reflect.DeepEqual(info.Columns, []Column{col}) {
		t.Errorf("%+v with %+v", got, info.Columns)
	}
	if err := WritePLY(&bytes.Buffer{}, m, Column{Name: "two words", Values: col.Values}); err == nil {
		t.Error("a column of two words was written")
	}
}

// TestLibraryReadsAsWeDo compares with github.com/hschendel/stl, both ways: it
// reads what we write, and we read what it writes, binary and text.
func TestLibraryReadsAsWeDo(t *testing.T) {
	ours := stlOf(t, bumpy(20))
	solid, err := stl.ReadAll(bytes.NewReader(ours))
	if err != nil {
		t.Fatal(err)
	}
	sameFacets(t, ours, solid)
	for _, text := range []bool{false, true} {
		solid.SetASCII(text)
		var theirs bytes.Buffer
		if err := solid.WriteAll(&theirs); err != nil {
			t.Fatal(err)
		}
		sameFacets(t, theirs.Bytes(), solid)
		if !text && !bytes.Equal(theirs.Bytes()[stlHead:], ours[stlHead:]) {
			t.Error("the library writes other facets than we do")
		}
	}
}

// sameFacets reads b and compares corner by corner with solid.
func sameFacets(t *testing.T, b []byte, solid *stl.Solid) {
	t.Helper()
	m, _, err := readBytes(t, b)
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Tris) != len(solid.Triangles) {
		t.Fatalf("%d triangles, the library has %d", len(m.Tris), len(solid.Triangles))
	}
	for i, tri := range m.Tris {
		for k, v := range tri {
			if got, want := m.Verts[v], geom.Point(solid.Triangles[i].Vertices[k]); got != want {
				t.Fatalf("triangle %d corner %d at %v, the library has it at %v", i, k, got, want)
			}
		}
	}
}

// TestLibraryReadsTheCases compares with the library over the open files that
// both accept.
func TestLibraryReadsTheCases(t *testing.T) {
	compared := 0
	for _, f := range []string{
		"stl-reader-cases/hschendel-stl/complex_bin.stl", "stl-reader-cases/hschendel-stl/confusingheader_bin.stl",
		"stl-reader-cases/hschendel-stl/simple_ascii.stl", "stl-reader-cases/hschendel-stl/simple_bin.stl",
		"stl-reader-cases/numpy-stl/stl_binary/Moon.stl", "stl-reader-cases/numpy-stl/stl_binary/rear_case.stl",
		"own-format-cases-a/01_ascii_plain.stl", "own-format-cases-a/20_binary_plain.stl", "own-format-cases-a/27_binary_colour_attribute.stl",
		"trimesh-cases/torus.STL", "trimesh-cases/unit_sphere.STL", "trimesh-cases/20mm-xyz-cube.stl",
	} {
		b := data(t, f)
		solid, err := stl.ReadAll(bytes.NewReader(b))
		if err != nil {
			t.Logf("%s: the library says %v", f, err)
			continue
		}
		sameFacets(t, b, solid)
		compared++
	}
	if compared < 10 {
		t.Errorf("only %d files compared", compared)
	}
}

// gridOf is a range grid of cols x rows with a hole and a step in depth.
func gridOf(cols, rows int, sign float64) []byte {
	var verts, cells strings.Builder
	n := 0
	for j := range rows {
		for i := range cols {
			if i == 3 && j == 3 {
				cells.WriteString("0\n")
				continue
			}
			z := 0.0
			if i >= 6 {
				z = 50
			}
			fmt.Fprintf(&verts, "%v %v %v\n", float64(i)*sign, j, z)
			fmt.Fprintf(&cells, "1 %d\n", n)
			n++
		}
	}
	return fmt.Appendf(nil, "ply\nformat ascii 1.0\nobj_info num_cols %d\nobj_info num_rows %d\nelement vertex %d\nproperty float x\nproperty float y\nproperty float z\nelement range_grid %d\nproperty list uchar int vertex_indices\nend_header\n%s%s", cols, rows, n, cols*rows, verts.String(), cells.String())
}

// TestRangeGrid: a grid of 10 x 8 cells has 63 squares; seven span the step,
// and of the four about the missing cell each keeps one triangle. It faces +z
// whichever way the columns run.
func TestRangeGrid(t *testing.T) {
	for _, sign := range []float64{1, -1} {
		m, info, err := readBytes(t, gridOf(10, 8, sign))
		if err != nil {
			t.Fatal(err)
		}
		want := 2*(63-7-4) + 4
		if len(m.Tris) != want || len(info.Notes) != 1 || !strings.Contains(info.Notes[0], "14 triangles of the range grid") {
			t.Errorf("%d triangles, want %d; %v", len(m.Tris), want, info.Notes)
		}
		for i := range m.Tris {
			if a, b, c := m.Corners(i); b.Sub(a).Cross(c.Sub(a)).Z <= 0 {
				t.Fatalf("triangle %d faces away", i)
			}
		}
	}
}

// TestBunnyScan reads a real range scan: as many points as its head says, and
// nearly two triangles for each.
func TestBunnyScan(t *testing.T) {
	b := data(t, "stanford-bunny-scans/bun000.ply.gz")
	m, info, err := Read(t.Context(), bytes.NewReader(b), int64(len(b)), Options{Scale: 1000, Workers: 2})
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Verts) != 40256 || len(m.Tris) < 75000 || len(m.Tris) > 80512 {
		t.Errorf("%d points, %d triangles, %v", len(m.Verts), len(m.Tris), info.Notes)
	}
	if s := m.Bounds().Size(); !(math.Abs(s.X-155.75) <= 0.01) || !(math.Abs(s.Y-152.2) <= 0.1) {
		t.Errorf("size %v, want 155.75 x 152.2 mm", s)
	}
}

// TestDefectFiles reads every derived defect file with the counts of its INFO.
func TestDefectFiles(t *testing.T) {
	for _, c := range []fileCase{
		{file: "00_clean.ply", verts: 8838, tris: 17672, area: 210839, volume: 4.50887e6},
		{file: "03_inside_out.stl", verts: 8838, tris: 17672, volume: -4.50887e6},
		{file: "13_far_from_origin.stl", verts: 8838, tris: 17672},
	} {
		c.run(t, "derived-defects-a")
	}
	m, _, err := readBytes(t, data(t, "derived-defects-a/13_far_from_origin.stl"))
	if err != nil || m.Origin == (geom.Vec{}) {
		t.Errorf("13: origin %v, %v", m.Origin, err)
	}
	_, info, err := readBytes(t, data(t, "derived-defects-a/15_nan.stl"))
	if err != nil || info.NotFinite != 3 {
		t.Errorf("15: %d triangles left out (%v), want the three made bad; %v", info.NotFinite, info.Where, err)
	} else if w := info.Where; !slices.Equal(w, []int{11, 500, 1203}) && !slices.Equal(w, []int{12, 501, 1204}) {
		t.Errorf("15: triangles %v left out, want facets 11, 500 and 1203", w)
	}
}

func TestReadStops(t *testing.T) {
	stop := errors.New("stop")
	for name, b := range boxes(t) {
		ctx, cancel := context.WithCancelCause(t.Context())
		cancel(stop)
		if _, _, err := Read(ctx, bytes.NewReader(b), int64(len(b)), Options{}); !errors.Is(err, stop) {
			t.Errorf("%s: %v, want %v", name, err, stop)
		}
	}
}

// FuzzRead: whatever the bytes, no panic; and what reads well is written and
// reads again as the same surface.
func FuzzRead(f *testing.F) {
	for _, b := range boxes(f) {
		f.Add(b)
	}
	f.Add(gridOf(4, 4, 1))
	f.Fuzz(func(t *testing.T, b []byte) {
		m, _, err := readBytes(t, b)
		if err != nil {
			return
		}
		again, _, err := readBytes(t, plyOf(t, m))
		if err != nil {
			t.Fatalf("second reading: %v", err)
		}
		if !sameSurface(m, again) {
			t.Fatalf("second reading: %+v, want %+v", again, m)
		}
	})
}

// sameSurface compares bits, for normals may be anything.
func sameSurface(a, b *geom.Mesh) bool {
	return bytes.Equal(fmt.Appendf(nil, "%x %x %v %v %v %v", a.Verts, a.Normals, a.Tris, a.Colours, a.Seen, a.Origin),
		fmt.Appendf(nil, "%x %x %v %v %v %v", b.Verts, b.Normals, b.Tris, b.Colours, b.Seen, b.Origin))
}

func benchmarkRead(b *testing.B, file []byte) {
	b.SetBytes(int64(len(file)))
	b.ReportAllocs()
	tris := 0
	for b.Loop() {
		m, _, err := readBytes(b, file)
		if err != nil {
			b.Fatal(err)
		}
		tris = len(m.Tris)
	}
	b.ReportMetric(float64(tris)*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mfacets/s")
}

// The benchmarks read two million triangles, a part at full resolution.
func BenchmarkReadSTL(b *testing.B)     { benchmarkRead(b, stlOf(b, bumpy(1000))) }
func BenchmarkReadPLY(b *testing.B)     { benchmarkRead(b, plyOf(b, bumpy(1000))) }
func BenchmarkReadTextSTL(b *testing.B) { benchmarkRead(b, textSTLOf(bumpy(300))) }

func BenchmarkWritePLY(b *testing.B) {
	m := bumpy(1000)
	for b.Loop() {
		plyOf(b, m)
	}
	b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
}

// TestCountsOfBinarySTL: a count that does not agree with the file is refused,
// both ways; a tail too short for a facet is passed over and noted.
func TestCountsOfBinarySTL(t *testing.T) {
	for count, want := range map[uint32]string{
		20: "byte 684: the file ends too early: its head promises 20 facets, 12 are there whole",
		7:  "byte 80: the head promises 7 facets, but the file goes on and has room for 12",
		0:  "byte 80: the head promises 0 facets",
	} {
		b := stlOf(t, box())
		binary.LittleEndian.PutUint32(b[80:], count)
		if _, _, err := readBytes(t, b); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("count %d: %v, want %q", count, err, want)
		}
	}
	m, info, err := readBytes(t, append(stlOf(t, box()), make([]byte, 37)...))
	if err != nil || len(m.Tris) != 12 || len(info.Notes) != 1 || !strings.Contains(info.Notes[0], "the last 37 of the file's bytes") {
		t.Errorf("37 bytes more: %v, %v", info.Notes, err)
	}
}

// TestJitterIsWeldedWhenAsked: triangles that miss each other by rounding hold
// together again, and only when welding within a tolerance is chosen.
func TestJitterIsWeldedWhenAsked(t *testing.T) {
	m, _, err := readBytes(t, data(t, "derived-defects-a/10_unwelded_jitter.stl"))
	if err != nil {
		t.Fatal(err)
	}
	w, _, err := m.WeldedWithin(t.Context(), 0.001, 2)
	if err != nil {
		t.Fatal(err)
	}
	e, err := w.Edges(t.Context(), 2)
	if err != nil {
		t.Fatal(err)
	}
	if len(m.Verts) < 2*len(w.Verts) || len(w.Verts) != 8838 || !w.Closed(e) {
		t.Errorf("%d vertices apart, %d joined, want 8838 and closed", len(m.Verts), len(w.Verts))
	}
}
