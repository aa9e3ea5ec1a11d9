package factorysheet

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"errors"
	"hash/crc32"
	"html"
	"image"
	"image/jpeg"
	"io"
	"math"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/internal/steptest"
	"layette/steps/specimen"
)

// surface is a master's file: binary STL, as the step shrinkage writes it.
func surface(t testing.TB, part string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WriteSTL(&b, m, part); err != nil {
		t.Fatal(err)
	}
	f := steptest.File("master.stl", b.Bytes(), "mm")
	f.Part, f.Stage = part, "shrinkage"
	return f
}

// masters are parts of the invented kit.
func masters(t testing.TB, triangles int, parts ...string) []step.File {
	t.Helper()
	kit, err := specimen.NewKit(specimen.Options{Plain: true})
	if err != nil {
		t.Fatal(err)
	}
	var files []step.File
	for _, name := range parts {
		p, err := kit.Part(name)
		if err != nil {
			t.Fatal(err)
		}
		m, err := p.Mesh(t.Context(), specimen.Sampling{Triangles: triangles})
		if err != nil {
			t.Fatal(err)
		}
		files = append(files, surface(t, name, m))
	}
	return files
}

func account(t testing.TB, a step.Account) step.File {
	t.Helper()
	text, err := json.Marshal(a)
	if err != nil {
		t.Fatal(err)
	}
	return steptest.File("account.json", text, "")
}

func accounts(t testing.TB) []step.File {
	return []step.File{
		account(t, step.Account{Stage: "gaps", Step: "gaps", Part: "left-arm", State: "done",
			Gates: []step.AccountGate{{Name: "no-webs", Rule: "air.least >= tolerances.gap", Verdict: "holds back", Saw: []string{"air.least = 0.800 mm", "tolerances.gap = 1.2 mm"},
				Concession: &step.AccountWord{Name: "Ida Thistle", Role: "release-authority", Time: "2026-03-04T10:05:00Z", Note: "the factory has cast 0.8 mm before", Record: "0a1b2c3d"}}},
			Words: []step.AccountWord{{Name: "Ada Wren", Role: "sculptor", Time: "2026-03-04T10:00:00Z", Verdict: "approve", Meaning: "I looked at every spot and judged it mouldable", Record: "1122aabb"}}}),
		account(t, step.Account{Stage: "shrinkage", Step: "shrinkage", Part: "head", State: "done",
			Measures: []step.AccountMeasure{{Name: "scale.x", Text: "1.062482"}, {Name: "scale.y", Text: "1.062482"}, {Name: "scale.z", Text: "1.062482"}, {Name: "loss.total", Text: "5.8808 %"}},
			Gates:    []step.AccountGate{{Name: "usual", Rule: "loss.links >= tolerances.total-least and loss.links <= tolerances.total-most", Verdict: "passes", Saw: []string{"loss.links = 5.88 %"}}}}),
	}
}

func values() step.Values {
	share := []step.ValueType{step.Share, step.Share, step.Share}
	return step.Values{"title": "Ottilie", "studio": "Wren & Thistle (invented)", "contact": "Ida Thistle", "material": "soft vinyl, by your certificate", "wall": 2.5,
		"age-grade": "collectors, 14 years and over", "notes": []string{"Hands and feet fill solid; please say so if your process cannot."},
		"shrinkage": step.Table{Names: []string{"wax", "mould", "season"}, Kinds: share, Values: []any{0.02, 0.02, 0.02}}}
}

// TestDeepened: a sheet of deepened masters says so, and by how much.
func TestDeepened(t *testing.T) {
	in := little(t)
	before := string(steptest.Run(t, Kind{}, steptest.Given{Values: values(), Inputs: in}).Files["sheet/factory-sheet.html"])
	in["accounts"] = append(in["accounts"], account(t, step.Account{Stage: "deepen", Step: "deepen", Part: "head", State: "done",
		Measures: []step.AccountMeasure{{Name: "moved.in", Text: "0.312 mm"}, {Name: "moved.out", Text: "0.087 mm"}, {Name: "detail", Text: "0.407 mm"}}}))
	after := string(steptest.Run(t, Kind{}, steptest.Given{Values: values(), Inputs: in}).Files["sheet/factory-sheet.html"])
	for _, want := range []string{"Do not sharpen them again", "0.312 mm", "0.407 mm"} {
		if strings.Contains(before, want) || !strings.Contains(after, want) {
			t.Errorf("%q is to stand in the sheet of deepened masters and in no other", want)
		}
	}
}

// TestLook leaves the sheet of a whole kit to be looked at, if asked to.
func TestLook(t *testing.T) {
	dir := os.Getenv("LAYETTE_LOOK")
	if dir == "" {
		t.Skip("SKIPPED: set LAYETTE_LOOK to a folder to get the sheet of a whole kit")
	}
	r := steptest.Run(t, Kind{}, steptest.Given{Values: values(), Inputs: map[string][]step.File{"masters": masters(t, 120_000, specimen.Parts...), "accounts": accounts(t)}})
	for _, name := range r.Order {
		if err := os.WriteFile(filepath.Join(dir, filepath.Base(name)), r.Files[name], 0o666); err != nil {
			t.Fatal(err)
		}
	}
	t.Log(r.Measures, r.Notes)
}

// solid is the flat-ended half of a ball, or what a test needs instead.
func solid(t testing.TB, b specimen.Body, triangles int) *geom.Mesh {
	t.Helper()
	m, err := specimen.Surface(t.Context(), b.Field, b.Cut, specimen.Sampling{Triangles: triangles})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

func job(t testing.TB, in map[string][]step.File) *step.Job {
	return &step.Job{Inputs: in, Values: steptest.Values(t, Kind{}.Handbook(), values()), Workers: 2, Progress: step.NoProgress,
		Create: func(string, string) (io.WriteCloser, error) { return nopCloser{io.Discard}, nil }}
}

type nopCloser struct{ io.Writer }

func (nopCloser) Close() error { return nil }

// TestMeasures: a half ball of radius 30 on its flat face, turned and moved
// about, is 60 broad, 60 deep and 30 high, its opening 60 across and 2 pi r
// round, its volume 2/3 pi r³, and its section at a tenth of the height has
// the radius sqrt(r² - 3²) (school geometry). The surface is made of chords,
// so what is measured is a little less.
func TestMeasures(t *testing.T) {
	const r = 30.0
	still := solid(t, specimen.Dome(r), 12_000)
	for _, turn := range []geom.Quaternion{{W: 1}, {W: 0.9, X: 0.3, Y: -0.2, Z: 0.1}, {X: 1}} {
		rot := turn.Rot()
		m := &geom.Mesh{Tris: still.Tris}
		for _, v := range still.Verts {
			m.Verts = append(m.Verts, rot.Apply(v.Vec()).Add(geom.Vec{X: 12, Y: -7, Z: 100}).Point())
		}
		got, err := look(t.Context(), job(t, nil), surface(t, "dome", m), widths{})
		if err != nil || got.Opening == nil || got.Widest == nil {
			t.Fatalf("%v, %+v", err, got)
		}
		low := math.Sqrt(r*r - 9)
		for _, c := range []struct {
			what          string
			is, want, off float64
		}{
			{"broad", got.Across.size(), 2 * r, 0.02}, {"deep", got.Deep.size(), 2 * r, 0.02}, {"high", got.High.size(), r, 0.01},
			{"opening", got.Opening.Across.size(), 2 * r, 0.02}, {"girth", got.Opening.Girth, 2 * math.Pi * r, 0.1},
			{"volume", got.Volume, 2 * math.Pi * r * r * r / 3, 60}, {"level", got.Widest.Level - got.Opening.Level, 3, 0.01},
			{"section", got.Widest.Across.size(), 2 * low, 0.02}, {"area", got.Widest.Area, math.Pi * low * low, 3},
		} {
			if !(math.Abs(c.is-c.want) <= c.off) {
				t.Errorf("turned by %v: %s %.3f, want %.3f within %g", turn, c.what, c.is, c.want, c.off)
			}
		}
		if got.scale != 0.5 && got.scale != 1 {
			t.Errorf("scale %g", got.scale)
		}
	}
}

// room is the box of a word on the plate, as the PDF's letters take it.
func room(w lettering) (x0, y0, x1, y1 float64) {
	long, high := textWidth(w.text, w.size), w.size*0.75
	back := long / 2
	if w.start {
		back = 0
	}
	if w.upward {
		return w.at.x - high, w.at.y + back - long, w.at.x, w.at.y + back
	}
	return w.at.x - back, w.at.y - high, w.at.x - back + long, w.at.y
}

// TestWordsApart: on every plate, of parts of any shape, no number lies on
// another or off the paper.
func TestWordsApart(t *testing.T) {
	var list []*master
	for _, size := range []geom.Vec{{X: 120, Y: 130, Z: 130}, {X: 60, Y: 100, Z: 180}, {X: 3, Y: 3, Z: 3}, {X: 2, Y: 60, Z: 2}, {X: 60, Y: 2, Z: 200}, {X: 900, Y: 900, Z: 900}, {X: 300, Y: 20, Z: 20}, {X: 1, Y: 1, Z: 400}} {
		m := &master{name: "a part with a rather long name", form: form{Across: span{0, size.X}, Deep: span{0, size.Y}, High: span{0, size.Z}}, file: step.File{Name: strings.Repeat("a-long-name-", 12)}}
		m.Opening = &opening{Rim: []at{{0, 0}, {size.X, 0}, {size.X, size.Y}, {0, size.Y}}, Across: m.Across, Deep: m.Deep}
		m.Widest = &section{Level: size.Z / 10, Rings: [][]at{m.Opening.Rim}, Across: m.Across, Deep: m.Deep}
		m.scale = m.fit()
		list = append(list, m)
	}
	s := &sheet{values: values(), title: strings.Repeat("Ottilie ", 20), masters: list}
	plates := s.openingPlates(1, 9)
	for _, m := range list {
		plates = append(plates, s.plate(m, 1, 9))
	}
	for _, d := range plates {
		for i, a := range d.words {
			ax0, ay0, ax1, ay1 := room(a)
			if ax0 < -1 || ay0 < -1 || ax1 > plateWidth+1 || ay1 > plateHeight+1 {
				t.Errorf("%s: %q lies off the paper: %.1f %.1f %.1f %.1f", d.title, a.text, ax0, ay0, ax1, ay1)
			}
			for _, b := range d.words[:i] {
				bx0, by0, bx1, by1 := room(b)
				if ax0 < bx1 && bx0 < ax1 && ay0 < by1 && by0 < ay1 {
					t.Errorf("%s: %q lies on %q", d.title, a.text, b.text)
				}
			}
		}
	}
}

// little is a kit of two small masters with everything a sheet can hold.
func little(t testing.TB) map[string][]step.File {
	once.Do(func() {
		domeAndBall = []*geom.Mesh{solid(t, specimen.Dome(20), 3000), solid(t, specimen.Sphere(12), 2000)}
	})
	return map[string][]step.File{"masters": {surface(t, "dome", domeAndBall[0]), surface(t, "ball", domeAndBall[1])},
		"accounts": accounts(t), "photos": {steptest.File("room.jpg", snapshot(t), "")}}
}

var (
	once        sync.Once
	domeAndBall []*geom.Mesh
)

// snapshot is a JPEG with a note of its place in it, as cameras write.
func snapshot(t testing.TB) []byte {
	var b bytes.Buffer
	if err := jpeg.Encode(&b, image.NewRGBA(image.Rect(0, 0, 40, 30)), nil); err != nil {
		t.Fatal(err)
	}
	note := []byte("Exif\x00\x00 at home, 52.1 N 4.3 E")
	segment := append([]byte{0xff, 0xe1, 0, byte(len(note) + 2)}, note...)
	return append(append(append([]byte{}, b.Bytes()[:2]...), segment...), b.Bytes()[2:]...)
}

// TestSame: page and paper say the same, whatever the number of workers, and
// what they say is pinned. If the digests change though Version has not, what
// factories were sent changes behind their back: raise Version, then write the
// new digests here. (A new compress/flate may change the PDF's alone.)
func TestSame(t *testing.T) {
	one := steptest.Run(t, Kind{}, steptest.Given{Values: values(), Inputs: little(t), Workers: 1})
	two := steptest.Run(t, Kind{}, steptest.Given{Values: values(), Inputs: little(t), Workers: 3})
	for name, want := range map[string]string{
		"sheet/factory-sheet.html": "95de5309e85ea9ed",
		"print/factory-sheet.pdf":  "f972541e15567b26",
	} {
		if !bytes.Equal(one.Files[name], two.Files[name]) {
			t.Errorf("%s depends on the number of workers", name)
		}
		sum := sha256.Sum256(one.Files[name])
		if got := hex.EncodeToString(sum[:8]); got != want {
			t.Errorf("%s: digest %s, want %s", name, got, want)
		}
	}
	page := string(one.Files["sheet/factory-sheet.html"])
	text := plainText(page)
	for _, want := range []string{"at 20 degrees C (ISO 1)", "5.8808 %", "1.062482", "2.50 mm", "collectors, 14 years and over", "Ida Thistle, release-authority", "2026-03-04 10:05 UTC",
		"the factory has cast 0.8 mm before", "accredited laboratory", "Ada Wren", "ball: no opening was found", little(t)["masters"][0].SHA256, "40.0 × 40.0 × 20.0"} {
		if !strings.Contains(text, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if bad := regexp.MustCompile(`(?i)(src|href|url\()[="(]+(?:[^d"]|d[^a])|<script|compliant|\bsafe\b`).FindString(page); bad != "" {
		t.Errorf("the page has %q", bad)
	}
	for _, f := range one.Files {
		if bytes.Contains(f, []byte("at home")) {
			t.Error("the photograph's place went along")
		}
	}
	if m := one.Measures; m["masters"] != int64(2) || m["plates"] != int64(3) || m["openings"] != int64(1) || m["concessions"] != int64(1) || m["unstated.count"] != int64(0) {
		t.Errorf("measures %v", m)
	}
	samePaper(t, text, one.Files["print/factory-sheet.pdf"])
}

var tags = regexp.MustCompile(`(?s)<(style|title).*?</(style|title)>|<[^>]*>`)

func plainText(page string) string {
	return html.UnescapeString(strings.Join(strings.Fields(tags.ReplaceAllString(page, " ")), " "))
}

// samePaper compares the words of the PDF, as poppler reads them, with those
// of the page.
func samePaper(t *testing.T, page string, paper []byte) {
	tool, err := exec.LookPath("pdftotext")
	if err != nil {
		t.Skip("SKIPPED: there is no pdftotext (poppler) on this machine; the PDF's words are not compared with the page's")
	}
	name := filepath.Join(t.TempDir(), "sheet.pdf")
	if err := os.WriteFile(name, paper, 0o666); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command(tool, "-raw", name, "-").Output()
	if err != nil {
		t.Fatal(err)
	}
	squeeze := func(s string) string {
		return strings.NewReplacer(" ", "", "\n", "", "\f", "", "\u00a0", "").Replace(s)
	}
	written := squeeze(string(out))
	missing := 0
	for _, word := range strings.Fields(page) {
		if !strings.Contains(written, word) && len(word) < 20 { // longer ones are broken over lines
			t.Errorf("the PDF does not say %q", word)
			if missing++; missing > 8 {
				return
			}
		}
	}
}

// TestHostileWords: what people write is shown and never obeyed.
func TestHostileWords(t *testing.T) {
	v := values()
	v["title"], v["material"] = `<script>alert("x")</script>`, "软乙烯 "+strings.Repeat("long", 500)
	r := steptest.Run(t, Kind{}, steptest.Given{Values: v, Inputs: little(t)})
	page := string(r.Files["sheet/factory-sheet.html"])
	if strings.Contains(page, "<script") || !strings.Contains(page, "软乙烯") {
		t.Error("the page obeys its title, or lost its letters")
	}
	if n := strings.Join(r.Notes, " "); !strings.Contains(n, "question mark") {
		t.Errorf("nobody is told of lost letters: %s", n)
	}
}

func TestUnstated(t *testing.T) {
	in := little(t)
	delete(in, "accounts")
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in})
	page := plainText(string(r.Files["sheet/factory-sheet.html"]))
	for _, want := range []string{"No shrinkage is stated: ask before you cut a mould", "Nothing is known of gates", "Material not stated: ask"} {
		if !strings.Contains(page, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if r.Measures["unstated.count"] != int64(6) {
		t.Errorf("unstated: %v", r.Measures["unstated"])
	}
}

func TestRefusals(t *testing.T) {
	good := little(t)
	stl := func(data []byte) []step.File { return []step.File{steptest.File("a.stl", data, "mm")} }
	whole, err := good["masters"][0].Open()
	if err != nil {
		t.Fatal(err)
	}
	data, _ := io.ReadAll(whole)
	for _, tt := range []struct {
		name, input string
		files       []step.File
		want        string
	}{
		{"no masters", "masters", nil, "no masters"},
		{"nothing", "masters", stl(nil), "a.stl"},
		{"cut short", "masters", stl(data[:len(data)-70]), "a.stl"},
		{"a huge count", "masters", stl(append(bytes.Repeat([]byte{0xff}, 84), data[84:200]...)), "a.stl"},
		{"no unit", "masters", []step.File{steptest.File("a.stl", data, "")}, "unit"},
		{"a damaged account", "accounts", []step.File{steptest.File("account.json", []byte("{"), "")}, "account account.json"},
		{"no picture", "photos", []step.File{steptest.File("a.jpg", []byte("hello"), "")}, "a.jpg: it is no PNG or JPEG"},
		{"half a picture", "photos", []step.File{steptest.File("a.jpg", snapshot(t)[:300], "")}, "a.jpg: "},
		{"a bomb", "photos", []step.File{steptest.File("a.png", bomb(), "")}, "pixels are not between"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			in := map[string][]step.File{"masters": good["masters"]}
			in[tt.input] = tt.files
			if _, err := steptest.Try(t, Kind{}, steptest.Given{Inputs: in}); err == nil || !strings.Contains(err.Error(), tt.want) {
				t.Errorf("error %v, want %q", err, tt.want)
			}
		})
	}
}

// bomb is the head of a PNG of 60,000 by 60,000 pixels.
func bomb() []byte {
	head := []byte("IHDR\x00\x00\xea\x60\x00\x00\xea\x60\x08\x02\x00\x00\x00")
	out := append([]byte("\x89PNG\r\n\x1a\n\x00\x00\x00\r"), head...)
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(head))
}

// stopper cancels when the first master is drawn.
type stopper struct {
	step.Progress
	stop func()
}

func (s stopper) Add(int) { s.stop() }

func TestCancel(t *testing.T) {
	cause := errors.New("enough")
	ctx, cancel := context.WithCancelCause(t.Context())
	j := job(t, little(t))
	j.Progress = stopper{step.NoProgress, func() { cancel(cause) }}
	if _, err := (Kind{}).Run(ctx, j); !errors.Is(err, cause) {
		t.Errorf("error %v, want the cause", err)
	}
}

// BenchmarkMaster draws a master of two million Triangles: a head as it goes
// to the factory.
func BenchmarkMaster(b *testing.B) {
	files := masters(b, 2_000_000, "head")
	j := job(b, map[string][]step.File{"masters": files})
	for b.Loop() {
		if _, err := (Kind{}).Run(b.Context(), j); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(2*float64(b.N)/b.Elapsed().Seconds(), "Mtri/s")
}

// TestLink: links as plain shares, as tables with a detail, growing, by volume
// (7.28 % of the volume is 2.488 % of the length) and by axis.
func TestLink(t *testing.T) {
	table := func(pairs ...any) step.Table {
		var t step.Table
		for i := 0; i < len(pairs); i += 2 {
			t.Names, t.Values = append(t.Names, pairs[i].(string)), append(t.Values, pairs[i+1])
		}
		return t
	}
	for _, tt := range []struct {
		link   any
		share  string
		factor float64
	}{
		{0.02, "2 %", 1.020408},
		{table("shrinks", 0.02, "detail", 0.4), "2 %", 1.020408},
		{table("detail", 0.4), "0 %", 1},
		{table("grows", 0.003), "grows by 0.3 % of what it was made from", 0.997009},
		{table("volume", 0.0728), "7.28 % of the volume", 1.025515},
		{table("x", 0.01, "y", 0.02, "z", 0.03, "frame", "mould"), "x 1 %, y 2 %, z 3 %", 0},
		{"much", "cannot be read: ask", 0},
	} {
		if share, factor := link("wax", tt.link); share != tt.share || !(math.Abs(factor-tt.factor) <= 1e-6) {
			t.Errorf("%v: %q %.6f, want %q %.6f", tt.link, share, factor, tt.share, tt.factor)
		}
	}
}
