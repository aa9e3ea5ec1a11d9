package deepen

import (
	"bytes"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/draw"
	"layette/steps/internal/form"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/process"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// bowl is a bent piece of skin of side mm, triangles of edge h, raised by
// height.
func bowl(side, h float64, height func(x, y float64) float64) *geom.Mesh {
	n := int(side / h)
	m := &geom.Mesh{}
	for i := range n + 1 {
		for j := range n + 1 {
			x, y := float64(i)*side/float64(n), float64(j)*side/float64(n)
			a, r := (x-side/2)/40, 40+height(x, y)
			m.Verts = append(m.Verts, geom.Vec{X: r * math.Sin(a), Y: y, Z: r * math.Cos(a)}.Point())
			if p := int32(i*(n+1) + j); i < n && j < n {
				m.Tris = append(m.Tris, geom.Tri{p, p + int32(n) + 1, p + int32(n) + 2}, geom.Tri{p, p + int32(n) + 2, p + 1})
			}
		}
	}
	return m
}

func file(t testing.TB, m *geom.Mesh) map[string][]step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	return map[string][]step.File{"surface": {steptest.File("hand.ply", b.Bytes(), "mm")}}
}

func links(detail float64) step.Table {
	link := step.Table{Names: []string{"shrinks", "detail"}, Kinds: []step.ValueType{step.Share, step.Length}, Values: []any{0.0, detail}}
	return step.Table{Names: []string{"vinyl"}, Kinds: []step.ValueType{step.Tree}, Values: []any{link}}
}

func waves(depth, wave float64) func(x, y float64) float64 {
	return func(x, _ float64) float64 { return depth * math.Cos(2*math.Pi*x/wave) }
}

func run(t *testing.T, m *geom.Mesh, values step.Values) *steptest.Result {
	t.Helper()
	if !values.Has("links") {
		values["links"] = links(1)
	}
	return steptest.Run(t, Kind{}, steptest.Given{Inputs: file(t, m), Values: values})
}

func read(t *testing.T, r *steptest.Result, name string, columns ...string) (*geom.Mesh, meshio.Info) {
	t.Helper()
	b := r.Files[name]
	m, info, err := meshio.Read(t.Context(), bytes.NewReader(b), int64(len(b)), meshio.Options{Columns: columns})
	if err != nil {
		t.Fatal(err)
	}
	return m, info
}

// TestRoundTrip: what is deepened and then moulded is what was wanted, within
// 0.02 mm, for waves of 0.5 to 8 mm; and a tenth of what it would be.
func TestRoundTrip(t *testing.T) {
	for _, tt := range []struct{ wave, depth, detail float64 }{
		{0.5, 0.03, 0.5}, {1, 0.08, 1}, {2.5, 0.2, 1.2}, {8, 0.4, 2},
	} {
		h := min(tt.wave/8, 0.25)
		r := run(t, bowl(max(6*tt.detail, 2*tt.wave, 40*h), h, waves(tt.depth, tt.wave)), step.Values{"links": links(tt.detail)})
		m := r.Measures
		before, after, free := m["error.before"].(float64), m["error.after"].(float64), m["error.free"].(float64)
		if !(after < 0.02 && free < 0.02 && after < 0.1*before) {
			t.Errorf("%+v: missed by %.4f mm before, %.4f after, %.4f where free", tt, before, after, free)
		}
		if drift := m["moved.mean"].(float64); !(math.Abs(drift) <= 0.002) {
			t.Errorf("%+v: the size changed by %v mm", tt, drift)
		}
	}
}

// TestWholeChain sends a deepened and enlarged surface through three copies one
// after the other, each of which shrinks and softens, and compares what comes
// out with what was wanted.
func TestWholeChain(t *testing.T) {
	link := func(share, detail float64) step.Table {
		return step.Table{Names: []string{"shrinks", "detail"}, Kinds: []step.ValueType{step.Share, step.Length}, Values: []any{share, detail}}
	}
	chain := step.Table{Names: []string{"wax", "mould", "vinyl"}, Kinds: []step.ValueType{step.Tree, step.Tree, step.Tree}, Values: []any{link(0.02, 0.5), link(0.02, 0.3), link(0.04, 1.0)}}
	wanted := bowl(20, 0.2, func(x, y float64) float64 {
		return -0.4*math.Exp(-math.Pow((x-7)/0.9, 2)) - 0.25*math.Exp(-math.Pow((y-11)/0.6, 2)) + 0.2*math.Sin(x/1.1)*math.Cos(y/1.3)
	})
	r := run(t, wanted, step.Values{"links": chain})
	copied, _ := read(t, r, "master/hand-deepened.ply")
	chained, wrong := process.Read(chain, nil)
	if wrong != nil {
		t.Fatal(wrong)
	}
	copied = copied.Scaled(process.Scale(chained)[0][0])
	for _, l := range chained {
		copied = copied.Scaled(l.Factor[0])
		s, err := form.NewSkin(t.Context(), copied, 2)
		if err != nil {
			t.Fatal(err)
		}
		p, err := s.SplitAt(t.Context(), s.Places(), l.Detail)
		if err != nil {
			t.Fatal(err)
		}
		copied = s.CarryMesh(copied, p.Form(s.Places()))
	}
	sum, n := 0.0, 0
	for i, v := range wanted.Verts {
		if p := v.Vec(); math.Abs(p.X) < 8 && math.Abs(p.Y-10) < 8 {
			sum += copied.Verts[i].Vec().Sub(p).Len2()
			n++
		}
	}
	before := r.Measures["error.before"].(float64)
	if rms := math.Sqrt(sum / float64(n)); rms > 0.02 || rms > before/3 {
		t.Errorf("the finished part misses the wanted by %.4f mm RMS; undeepened it would by %.4f", rms, before)
	}
}

// TestFormSizeAndOpening: a dome with lines keeps its opening to the bit, and
// its form and size.
func TestFormSizeAndOpening(t *testing.T) {
	m, err := specimen.Dome(10).Mesh(t.Context(), specimen.Sampling{Edge: 0.3})
	if err != nil {
		t.Fatal(err)
	}
	for i, v := range m.Verts {
		p := v.Vec()
		m.Verts[i] = p.Mul(1 - 0.02*math.Exp(-math.Pow((p.Z-6)/0.5, 2))).Point()
	}
	r := run(t, m, step.Values{})
	got, _ := read(t, r, "master/hand-deepened.ply")
	for i, v := range m.Verts {
		if v[2] == 0 && got.Verts[i] != v {
			t.Fatalf("the opening moved from %v to %v", v, got.Verts[i])
		}
		if d := got.Verts[i].Vec().Sub(v.Vec()).Len(); !(math.Abs(float64(v[2])-6) <= 3) && v[2] > 1.5 && d > 0.002 {
			t.Fatalf("smooth skin at %v moved by %v", v, d)
		}
	}
	if change := got.Volume()/m.Volume() - 1; !(math.Abs(change) <= 2e-4) {
		t.Errorf("the volume changed by %v", change)
	}
}

// TestGainIsBound: however fine the wave, its depth grows by no more than the
// gain; it grows less the longer the wave, and as much as it loses where that is
// well below the gain; and hardly at all far below the detail.
func TestGainIsBound(t *testing.T) {
	last := 3.01
	for _, wave := range []float64{0.3, 0.8, 1.2, 2.4} {
		m := bowl(max(8, 3*wave), min(wave/6, 0.2), waves(0.01*wave, wave))
		r := run(t, m, step.Values{"noise": 0.0})
		got, _ := read(t, r, "master/hand-deepened.ply")
		_, info := read(t, r, "map/hand-deepening.ply", "moved")
		num, den := 0.0, 0.0
		for i, v := range got.Verts {
			if p := m.Verts[i].Vec(); math.Abs(p.X) < 2 && math.Abs(p.Y-max(8, 3*wave)/2) < 2 && v != (geom.Point{}) {
				x := 40 * math.Atan2(p.X, p.Z)
				c := math.Cos(2 * math.Pi * (x + max(8, 3*wave)/2) / wave)
				num += float64(info.Columns[0].Values[i]) * c
				den += 0.01 * wave * c * c
			}
		}
		gain, passed := 1+num/den, form.Passed(1, wave)
		if wave == 0.3 {
			if gain > 1.1 {
				t.Errorf("a wave far too fine is deepened %.3f times", gain)
			}
			continue
		}
		if want := form.Gain(3)(passed); gain > last+0.01 || !(math.Abs(gain-want) <= 0.03*want) {
			t.Errorf("a wave of %v mm is deepened %.3f times, want %.3f and no more than %.3f", wave, gain, want, last)
		}
		if out := gain * passed; passed > 0.5 && !(math.Abs(out-1) <= 0.03) {
			t.Errorf("a wave of %v mm comes out %.3f times as deep", wave, out)
		}
		last = gain
	}
}

// TestLimits: each limit holds, says so, and is kept.
func TestLimits(t *testing.T) {
	deep := func(x, _ float64) float64 { return -0.5 * math.Exp(-math.Pow((x-5)/0.4, 2)) }
	free := run(t, bowl(10, 0.16, deep), step.Values{"most": 5.0, "steepest": 50.0})
	if n := free.Measures["limited.most"].(float64) + free.Measures["limited.steep"].(float64); n != 0 {
		t.Errorf("nothing was to hold, yet %v", free.Measures)
	}
	most := run(t, bowl(10, 0.16, deep), step.Values{"most": 0.03})
	if in := most.Measures["moved.in"].(float64); !(math.Abs(in-0.03) <= 1e-6) || most.Measures["limited.most"].(float64) == 0 {
		t.Errorf("no farther than 0.03 mm, yet %v", in)
	}
	if s := most.Spots[0]; !s.Fault || !strings.Contains(s.Says, "Held back by the greatest depth") || !strings.Contains(s.Says, "wanted 0.") {
		t.Errorf("%+v", s)
	}
	steep := run(t, bowl(10, 0.16, deep), step.Values{"steepest": 1.5, "most": 5.0})
	if steep.Measures["limited.steep"].(float64) == 0 || steep.Measures["moved.rms"].(float64) >= free.Measures["moved.rms"].(float64) {
		t.Errorf("walls were to hold: %v", steep.Measures)
	}
	if was, is, let := wall(bowl(10, 0.16, deep)), wall(master(t, steep)), wall(master(t, free)); was > 1.5 || is > 1.5+0.05 || let < is+0.15 {
		t.Errorf("the steepest wall was %.2f and is %.2f; %.2f without the limit", was, is, let)
	}
	quiet := run(t, bowl(10, 0.16, deep), step.Values{"noise": 2.0})
	if quiet.Measures["moved.in"].(float64) != 0 || quiet.Measures["quiet.share"].(float64) < 0.99 {
		t.Errorf("all is noise: %v", quiet.Measures)
	}
	place := step.Table{Names: []string{"at", "radius", "strength"}, Kinds: []step.ValueType{step.Point, step.Length, step.Share}, Values: []any{[]float64{0, 6, 40}, 300.0, 0.0}}
	none := run(t, bowl(10, 0.16, deep), step.Values{"regions": step.Table{Names: []string{"chin"}, Kinds: []step.ValueType{step.Tree}, Values: []any{place}}})
	// The note's error is that of the whole bowl, for the ball holds all of it.
	if note := strings.Join(none.Notes, "\n"); !strings.Contains(note, fmt.Sprintf("chin: the forecast differs from what is wanted by %.3f mm", none.Measures["error.after"])) {
		t.Errorf("of the chin: %q, want %v", note, none.Measures["error.after"])
	}
	if !bytes.HasPrefix(none.Files["pictures/hand-forecast-1.png"], []byte("\x89PNG")) {
		t.Error("no picture of the chin")
	}
	if m := none.Measures; m["lines.asked"] == int64(0) || m["lines.short"] != int64(0) || none.Spots[0].Fault {
		t.Errorf("what was asked for is no fault: %v %+v", m, none.Spots[0])
	}
	if none.Measures["moved.in"].(float64) != 0 || !strings.HasPrefix(none.Spots[0].Says, "chin line: wanted") || !strings.Contains(none.Spots[0].Says, "strength") {
		t.Errorf("the chin was to stay: %v %+v", none.Measures, none.Spots[0])
	}
}

func master(t *testing.T, r *steptest.Result) *geom.Mesh {
	m, _ := read(t, r, "master/hand-deepened.ply")
	return m
}

// wall returns how steep the steepest triangle of a bowl stands, rise over run.
func wall(m *geom.Mesh) float64 {
	most := 0.0
	for t := range m.Tris {
		a, b, c := m.Corners(t)
		if a.Y < 1 || a.Y > 9 {
			continue // beside a rim the filter does not tell where the skin would be
		}
		n, up := b.Sub(a).Cross(c.Sub(a)).Unit(), a.Add(b).Add(c)
		up.Y = 0
		cos := n.Dot(up.Unit())
		most = max(most, math.Sqrt(max(0, 1-cos*cos))/max(cos, 1e-3))
	}
	return most
}

// TestPainted: black skin stays, white skin is deepened.
func TestPainted(t *testing.T) {
	m := bowl(12, 0.15, func(x, y float64) float64 { return -0.2 * math.Exp(-math.Pow((y-6)/0.5, 2)) })
	m.Colours = make([][4]uint8, len(m.Verts))
	for i, v := range m.Verts {
		if m.Colours[i] = [4]uint8{255, 255, 255, 255}; v[0] < 0 {
			m.Colours[i] = [4]uint8{0, 0, 0, 255}
		}
	}
	r := run(t, m, step.Values{"painted": true})
	got, _ := read(t, r, "master/hand-deepened.ply")
	white := 0.0
	for i, v := range m.Verts {
		d := got.Verts[i].Vec().Sub(v.Vec()).Len()
		if v[0] < 0 && d != 0 {
			t.Fatalf("black skin at %v moved by %v", v, d)
		}
		white = max(white, d)
	}
	if white < 0.01 {
		t.Errorf("white skin moved by %v at most", white)
	}
	m.Colours = nil
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: file(t, m), Values: step.Values{"links": links(1), "painted": true}}); err == nil || !strings.Contains(err.Error(), "has no colours") {
		t.Errorf("%v", err)
	}
}

// TestGapIsKept: two sheets face each other; ridges on one of them do not grow
// into the air between.
func TestGapIsKept(t *testing.T) {
	m := bowl(12, 0.15, waves(0.1, 1.5))
	over := len(m.Verts)
	lid := bowl(12, 0.3, func(_, _ float64) float64 { return 1.3 })
	m.Verts = append(m.Verts, lid.Verts...)
	for _, tri := range lid.Tris { // turned over: it faces the first
		m.Tris = append(m.Tris, geom.Tri{tri[0] + int32(over), tri[2] + int32(over), tri[1] + int32(over)})
	}
	r := run(t, m, step.Values{"gap": 1.2})
	got, _ := read(t, r, "master/hand-deepened.ply")
	for i, v := range m.Verts[:over] {
		was, is := 41.3-math.Hypot(float64(v[0]), float64(v[2])), 41.3-math.Hypot(float64(got.Verts[i][0]), float64(got.Verts[i][2]))
		if is < min(was, 1.2)-0.003 {
			t.Fatalf("at %v the gap went from %.3f to %.3f", v, was, is)
		}
	}
	if r.Measures["limited.gap"].(float64) == 0 {
		t.Error("the gap held nothing back")
	}
}

func TestCheckSaysWhatIsWrong(t *testing.T) {
	bad := step.Table{Names: []string{"nose"}, Kinds: []step.ValueType{step.Length}, Values: []any{3.0}}
	got := Kind{}.Check(step.Values{"regions": bad, "links": bad})
	if len(got) != 2 || got[0].Value != "links" || !strings.Contains(got[1].Says, "a region is") {
		t.Errorf("%+v", got)
	}
	flat := step.Table{Names: []string{"wax"}, Kinds: []step.ValueType{step.Share}, Values: []any{0.02}}
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: file(t, bowl(4, 1, waves(0, 1))), Values: step.Values{"links": flat}}); err == nil || !strings.Contains(err.Error(), "nothing to make good") {
		t.Errorf("%v", err)
	}
	cut := steptest.File("hand.stl", []byte("solid x\nfacet normal 0,0 0 1\n"), "mm")
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: map[string][]step.File{"surface": {cut}}, Values: step.Values{"links": links(1)}}); err == nil || !strings.Contains(err.Error(), "decimal comma") {
		t.Errorf("%v", err)
	}
}

// TestTeethDoNotGrow: teeth of one triangle each, as a crease has that was cut
// into triangles, are not made longer, though the line that they run along is
// made deeper.
func TestTeethDoNotGrow(t *testing.T) {
	const side, h, tooth = 12.0, 0.3, 0.03
	teeth := func(x, y float64) float64 {
		return tooth * (1 - 2*float64((int(math.Round(x/h))+int(math.Round(y/h)))%2))
	}
	m := bowl(side, h, func(x, y float64) float64 { return -0.3*math.Exp(-math.Pow((y-6)/0.8, 2)) + teeth(x, y) })
	r := run(t, m, step.Values{"links": links(1.5)})
	_, info := read(t, r, "map/hand-deepening.ply", "moved")
	grown, cut, n := 0.0, 0.0, 0.0
	for i, moved := range info.Columns[0].Values {
		row, column := i/41, i%41
		if row > 8 && row < 32 && column > 15 && column < 25 {
			grown += float64(moved) / teeth(float64(row)*h, float64(column)*h)
			n++
		}
		cut = min(cut, float64(moved))
	}
	if grown /= n; !(math.Abs(grown) <= 0.05) || cut > -0.02 {
		t.Errorf("teeth grow by %.3f of their length; the line is cut %.3f mm deeper", grown, -cut)
	}
}

// TestUnfitSurfaces: what has no skin, or is inside out, is refused in words;
// smooth skin, a bead finer than the chain holds, several shells, a hair and a
// part in a wrong unit are let be, and it is said that there was nothing to do.
func TestUnfitSurfaces(t *testing.T) {
	ball := func(r, edge float64) *geom.Mesh {
		m, err := specimen.Sphere(r).Mesh(t.Context(), specimen.Sampling{Edge: edge})
		if err != nil {
			t.Fatal(err)
		}
		return m
	}
	line := &geom.Mesh{Verts: []geom.Point{{0, 0, 0}, {1, 0, 0}, {2, 0, 0}, {3, 0, 0}}, Tris: []geom.Tri{{0, 1, 2}, {1, 2, 3}, {2, 2, 3}}}
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: file(t, line), Values: step.Values{"links": links(1)}}); err == nil || !strings.Contains(err.Error(), "hand.ply: none of its triangles has any area") {
		t.Errorf("vanishing triangles: %v", err)
	}
	two, other := ball(4, 0.4), ball(3, 0.4).Moved(geom.Vec{X: 9})
	for _, tri := range other.Tris {
		n := int32(len(two.Verts))
		two.Tris = append(two.Tris, geom.Tri{tri[0] + n, tri[1] + n, tri[2] + n})
	}
	two.Verts = append(two.Verts, other.Verts...)
	hair := &geom.Mesh{Verts: []geom.Point{{0, 0, 0}, {1, 1e-18, 0}, {2, 0, 0}, {3, 0, 1e-17}}, Tris: []geom.Tri{{0, 1, 2}, {1, 2, 3}, {0, 2, 3}, {0, 3, 1}}}
	inside := ball(4, 0.5)
	for i, tri := range inside.Tris {
		inside.Tris[i] = geom.Tri{tri[0], tri[2], tri[1]}
	}
	if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: file(t, inside), Values: step.Values{"links": links(1)}}); err == nil || !strings.Contains(err.Error(), "hand.ply: the surface is inside out") {
		t.Errorf("inside out: %v", err)
	}
	for name, m := range map[string]*geom.Mesh{"a smooth ball": ball(5, 0.6), "a bead": ball(0.3, 0.06), "two shells": two, "a hair": hair, "metres": ball(0.008, 0.002)} {
		r := run(t, m, step.Values{})
		if out := r.Measures["moved.out"].(float64); out > 0.005 || !strings.Contains(strings.Join(r.Notes, "\n"), "there is next to nothing to deepen") {
			t.Errorf("%s moved by %v: %q", name, out, r.Notes)
		}
	}
}

// TestStops: cancelled anywhere, it ends there.
func TestStops(t *testing.T) {
	steptest.Stops(t, Kind{}, steptest.Given{Inputs: file(t, bowl(10, 0.4, waves(0.1, 3))), Values: step.Values{"links": links(1)}}, 400)
}

// TestPinned fails when the outcome changes: then raise the step's Version.
func TestPinned(t *testing.T) {
	r := run(t, bowl(12, 0.3, waves(0.1, 2)), step.Values{})
	h := sha256.New()
	for _, name := range r.Order {
		if strings.HasSuffix(name, ".ply") || strings.HasSuffix(name, ".csv") {
			h.Write(r.Files[name])
		}
	}
	if got, want := hex.EncodeToString(h.Sum(nil)[:8]), "2634b623128ea01d"; got != want {
		t.Errorf("outcome %s, pinned %s at version %d", got, want, Kind{}.Handbook().Version)
	}
}

// BenchmarkRun deepens a part of two million triangles, one of five, and a hand of
// two million, whose fingers lie near to one another.
func BenchmarkRun(b *testing.B) {
	sheet := func(side float64) func() *geom.Mesh {
		return func() *geom.Mesh {
			return bowl(side, 0.18, func(x, y float64) float64 {
				return -0.4*math.Exp(-math.Pow((x-50)/0.6, 2)) - 0.3*math.Exp(-math.Pow((y-90)/0.5, 2)) + 0.1*math.Sin(x)*math.Cos(y)
			})
		}
	}
	hand := func() *geom.Mesh {
		part := steptest.Part(b, specimen.Options{}, "left-hand")
		m, err := part.Mesh(b.Context(), specimen.Sampling{Triangles: 2_000_000})
		if err != nil {
			b.Fatal(err)
		}
		return m
	}
	for _, part := range []struct {
		name string
		mesh func() *geom.Mesh
	}{{"2M", sheet(180)}, {"5M", sheet(285)}, {"hand", hand}} {
		b.Run(part.name, func(b *testing.B) {
			m := part.mesh()
			in := file(b, m)
			for b.Loop() {
				steptest.Run(b, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"links": links(1)}})
			}
			b.ReportMetric(float64(len(m.Tris))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mtri/s")
		})
	}
}

func init() { size = draw.Size{Width: 240, Height: 180} }
