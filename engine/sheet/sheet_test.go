package sheet

import (
	"bytes"
	"crypto/sha256"
	"encoding/base64"
	"encoding/csv"
	"encoding/json"
	"fmt"
	"image"
	"image/color"
	"image/png"
	"math"
	"math/rand/v2"
	"regexp"
	"strings"
	"testing"

	"layette/engine/step"
)

// globe returns a ball of 8n² triangles as a solid with values and spots.
func globe(n int) Solid {
	s := Solid{Name: "ball", Strays: 0.05, Full: 2_000_000}
	at := map[[3]int]int32{}
	vert := func(x, y, z int) int32 {
		k := [3]int{x, y, z}
		if i, ok := at[k]; ok {
			return i
		}
		l := math.Sqrt(float64(x*x + y*y + z*z))
		at[k] = int32(len(s.Verts))
		s.Verts = append(s.Verts, [3]float32{float32(float64(x)/l*40) + 100, float32(float64(y) / l * 40), float32(float64(z) / l * 40)})
		return at[k]
	}
	for _, sx := range []int{1, -1} {
		for _, sy := range []int{1, -1} {
			for _, sz := range []int{1, -1} {
				add := func(a, b, c [3]int) {
					p, q, r := vert(sx*a[0], sy*a[1], sz*a[2]), vert(sx*b[0], sy*b[1], sz*b[2]), vert(sx*c[0], sy*c[1], sz*c[2])
					if sx*sy*sz < 0 {
						q, r = r, q
					}
					s.Tris = append(s.Tris, [3]int32{p, q, r})
				}
				for i := range n {
					for j := range n - i {
						k := n - i - j
						add([3]int{i, j, k}, [3]int{i + 1, j, k - 1}, [3]int{i, j + 1, k - 1})
						if k > 1 {
							add([3]int{i + 1, j, k - 1}, [3]int{i + 1, j + 1, k - 2}, [3]int{i, j + 1, k - 1})
						}
					}
				}
			}
		}
	}
	l := Layer{Name: "wall", Unit: "mm", Low: 0.5, High: 3.5, Limits: []float64{1.2}, Colours: [][3]uint8{{21, 40, 95}, {122, 137, 136}, {252, 238, 186}}}
	for i, v := range s.Verts {
		x := float32(2 + 1.5*math.Sin(float64(v[2])/9))
		if i%50 == 0 {
			x = float32(math.NaN())
		}
		l.At = append(l.At, x)
	}
	s.Layers = []Layer{l}
	s.Spots = []Spot{
		{Number: 1, What: "thin wall", Value: "0.62 mm", Says: "too thin", Fault: true, At: [3]float64{100, -40, 0}, Radius: 1.5},
		{Number: 2, What: "thin wall", Value: "0.91 mm", Says: "nearly too thin", At: [3]float64{140, 0, 0}, Radius: 1},
		{Number: 3, What: "hole", Value: "3.10 mm²", Says: "at the back", Fault: true, At: [3]float64{100, 40, 0}, Radius: 2},
	}
	return s
}

// picture returns a PNG of a given size; noise makes it hard to press.
func picture(w, h int, noise bool) []byte {
	im := image.NewRGBA(image.Rect(0, 0, w, h))
	rnd := rand.New(rand.NewPCG(1, 2))
	for y := range h {
		for x := range w {
			c := color.RGBA{uint8(x * 255 / w), uint8(y * 255 / h), 128, 255}
			if noise {
				v := rnd.Uint32()
				c = color.RGBA{uint8(v), uint8(v >> 8), uint8(v >> 16), 255}
			}
			im.SetRGBA(x, y, c)
		}
	}
	var b bytes.Buffer
	if err := png.Encode(&b, im); err != nil {
		panic(err)
	}
	return b.Bytes()
}

const histogram = `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 100 50" role="img" aria-label="walls"><rect x="1" y="1" width="9" height="40" fill="#43748e"/><text x="5" y="48">0.5</text></svg>`

// sample is a model with a part in every state.
func sample() Page {
	s := globe(12)
	stage := func(part, name, state string) Stage {
		return Stage{ID: name + "/" + part, Name: name, Step: name, State: state, Says: "as " + state + " as it can be"}
	}
	gaps := stage("head", "gaps", "held")
	gaps.For = "what webs in the mould is found before the mould is made"
	gaps.Spots, gaps.Solids = s.Spots, []Solid{s}
	gaps.Gates = []Gate{{Name: "no-webs", Why: "skin closer than this webs together", Rule: "air.least >= tolerances.gap", Numbers: "air.least = 0.81 mm, tolerances.gap = 1.2 mm", Margin: "0.39 mm short", State: "holds", Picture: &Picture{Title: "where", Data: picture(300, 200, false)}}}
	gaps.Measures = []Measure{{"air.least", "0.81 mm", "least air gap between facing skins"}}
	gaps.Pictures = []Picture{{Title: "gaps, front", Data: picture(640, 480, false)}, {Title: "beside the child", Data: picture(320, 240, false), Photo: picture(320, 240, false)}, {Title: "walls", Data: []byte(histogram)}}
	gaps.Asked = "Awaits a sculptor's word: I looked at every spot"
	gaps.Notes = []string{"sampled every 0.4 mm"}
	sound := stage("head", "soundness", "done")
	sound.Signed = []Signature{{Name: "Una Wren", Time: "2026-03-02 10:11:12 UTC", Meaning: "I looked at the whole surface", Verdict: "approved", Record: "3f9a2c11"},
		{Name: "Ivo Thistle", Time: "2026-03-01 08:00:00 UTC", Meaning: "sound", Verdict: "approved", Lapsed: "for content that has changed since"}}
	sound.Files = []File{{"surface", "head.ply", "18.2 MB", strings.Repeat("9f86d081", 8)}}
	return Page{
		Model: "Sleeping Wren", Title: "Sleeping newborn, vinyl head and full limbs", Made: "2026-03-03 09:00 UTC", By: "layette",
		Next:     []string{"head: gaps holds; look at spots 1 to 3"},
		Changed:  []Change{{"gaps/head", "the sculpted head changed after it was signed", "2026-03-02"}},
		Given:    []Given{{"tolerances.gap", "1.0 mm", "1.2 mm", "factory trial of February"}},
		Cautions: []string{"Never wake or move a newborn for a scan."},
		Parts: []Part{
			{Name: "head", Stages: []Stage{sound, gaps, stage("head", "shrinkage", "waiting")}},
			{Name: "left-arm", Stages: []Stage{stage("left-arm", "gaps", "unsigned"), stage("left-arm", "handwork", "handwork"), stage("left-arm", "cut", "failed")}},
			{Stages: []Stage{stage("", "bag", "due")}},
		},
		Trail: Trail{Name: "sleeping-wren", Limits: "that somebody looked", Checks: []Check{{"every signature", true, "12 of 12"}, {"sealed", false, "not yet by Ivo Thistle"}},
			People:  []Person{{"Una Wren", "sculptor, owner", "SHA256:abc"}},
			Records: []Record{{ID: "3f9a2c11", What: "approve", Stage: "soundness/head", Name: "Una Wren", Time: "2026-03-02 10:11", Meaning: "I looked"}, {ID: "77aa0012", What: "approve", Name: "Nobody", Void: "the key was not enrolled"}}},
	}
}

func written(t *testing.T, p Page) string {
	t.Helper()
	var b bytes.Buffer
	n, err := Write(&b, p)
	if err != nil || n != b.Len() {
		t.Fatalf("wrote %d of %d bytes: %v", n, b.Len(), err)
	}
	return b.String()
}

func TestPageSaysItAll(t *testing.T) {
	got := written(t, sample())
	for _, want := range []string{
		"Sleeping Wren", "Of 7 stages: 1 held, 1 failed, 1 unsigned, 1 handwork, 1 due, 1 waiting, 1 done.",
		"air.least &gt;= tolerances.gap", "0.39 mm short", "Una Wren", "2026-03-02 10:11:12 UTC", "I looked at the whole surface",
		"for content that has changed since", "factory trial of February", "Never wake or move", "does not", "Does not count: the key was not enrolled",
		"strays from the full surface by at most 0.050 mm", "from 2000000 triangles", `<rect x="1"`, "the kit as a whole",
	} {
		if !strings.Contains(got, want) {
			t.Errorf("the page does not say %q", want)
		}
	}
	if again := written(t, sample()); again != got {
		t.Error("the same page gives other bytes")
	}
}

// The page asks for nothing from outside, and its policy forbids it: only its
// own script may run.
func TestPageLoadsNothing(t *testing.T) {
	got := written(t, sample())
	if m := regexp.MustCompile(`(?i)(src|href|action|data|poster|srcset)\s*=\s*["']?\s*(https?:|//|file:)[^"' >]*`).FindString(got); m != "" {
		t.Errorf("it refers to %s", m)
	}
	for _, bad := range []string{"@import", "url(", "fetch(", "XMLHttpRequest", "WebSocket", "sendBeacon", "eval("} {
		if strings.Contains(got, bad) {
			t.Errorf("it holds %q", bad)
		}
	}
	script := regexp.MustCompile(`(?s)<script>(.*?)</script>`).FindAllStringSubmatch(got, -1)
	if len(script) != 1 {
		t.Fatalf("%d scripts, want 1", len(script))
	}
	sum := sha256.Sum256([]byte(script[0][1]))
	policy := strings.ReplaceAll(got, "&#43;", "+")
	if want := "script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]); !strings.Contains(strings.ReplaceAll(policy, "&#39;", "'"), want) {
		t.Error("the policy does not name the digest of the script that stands there")
	}
	if !strings.Contains(strings.ReplaceAll(got, "&#39;", "'"), "default-src 'none'") {
		t.Error("the policy does not forbid all else")
	}
}

// Words from recipes, people and file names stay words.
func TestNothingBreaksOut(t *testing.T) {
	const evil = `</script><script>alert(1)</script><img src=x onerror=alert(1)>" onclick="x`
	p := sample()
	p.Model, p.Title, p.Headline = evil, evil, evil
	p.Parts[0].Name = evil
	st := &p.Parts[0].Stages[1]
	st.ID, st.Name, st.State, st.Says, st.Notes = evil, evil, evil, evil, []string{evil}
	st.Spots[0].Says, st.Spots[0].What = evil, evil
	st.Gates[0].Rule = evil
	st.Pictures[0].Title = evil
	p.Parts[0].Stages[1].Solids[0].Name = evil
	p.Trail.Records[0].Meaning = evil
	got := written(t, p)
	if strings.Contains(got, "<script>alert") || strings.Contains(got, "<img src=x") || regexp.MustCompile(`<[^<>"]*("[^"]*"[^<>"]*)* onclick=`).MatchString(got) {
		t.Error("words became markup")
	}
	if n := strings.Count(got, "</script>"); n != 2 {
		t.Errorf("%d scripts end, want 2", n)
	}
}

func TestPlainSVG(t *testing.T) {
	tests := []struct{ in, wantErr string }{
		{histogram, ""},
		{`<?xml version="1.0"?>` + histogram, ""},
		{`<svg><script>alert(1)</script></svg>`, "<script>"},
		{`<svg onload="alert(1)"></svg>`, "onload"},
		{`<svg><image href="http://x/"/></svg>`, "<image>"},
		{`<svg><a href="javascript:x"><text>x</text></a></svg>`, "<a>"},
		{`<svg><foreignObject/></svg>`, "<foreignObject>"},
		{`<svg><rect style="background:url(x)"/></svg>`, "style"},
		{`<svg><rect fill="URL(http://x)"/></svg>`, "fill"},
		{`<svg><style>x</style></svg>`, "<style>"},
		{`<html></html>`, "<html>"},
		{`<svg><svg></svg></svg>`, "<svg>"},
		{`<svg><rect></svg>`, "not a whole"},
		{`<svg>`, "not a whole"},
		{``, "not a whole"},
	}
	for _, tt := range tests {
		out, err := plainSVG([]byte(tt.in))
		if (err == nil) != (tt.wantErr == "") || err != nil && !strings.Contains(err.Error(), tt.wantErr) {
			t.Errorf("%s: %v, want %q", tt.in, err, tt.wantErr)
		}
		if err == nil && !strings.Contains(string(out), "<rect") {
			t.Errorf("%s became %s", tt.in, out)
		}
	}
}

func FuzzPlainSVG(f *testing.F) {
	f.Add(histogram)
	f.Add(`<svg><text>&lt;script&gt;</text></svg>`)
	bad := regexp.MustCompile(`(?i)<(script|image|a|foreignobject|style|iframe|use|animate|set)[\s>/]|<[^>]*\s(on\w+|href|style)=`)
	f.Fuzz(func(t *testing.T, s string) {
		out, err := plainSVG([]byte(s))
		if err != nil {
			return
		}
		if m := bad.FindString(string(out)); m != "" {
			t.Fatalf("%q let %q through", s, m)
		}
		if _, err := plainSVG([]byte(out)); err != nil {
			t.Fatalf("%q became %q, which is refused: %v", s, out, err)
		}
	})
}

// Bad pictures say why instead of breaking the page.
func TestBadPictures(t *testing.T) {
	huge := picture(2, 2, false)
	copy(huge[16:], []byte{0x7f, 0xff, 0xff, 0xff, 0x7f, 0xff, 0xff, 0xff}) // IHDR's sides
	cut := picture(64, 64, true)
	for _, data := range [][]byte{[]byte("nonsense"), huge, cut[:len(cut)/2], []byte("<svg onload=x>")} {
		a := album{width: 100}
		if out := a.show(data, "x"); !strings.Contains(string(out), "cannot be shown") {
			t.Errorf("%.20q: %.80s", data, out)
		}
	}
}

// However much it is given, the page stays light enough.
func TestPageWeight(t *testing.T) {
	p := sample()
	noisy := picture(800, 600, true)
	for i := range 20 {
		p.Parts[0].Stages[1].Pictures = append(p.Parts[0].Stages[1].Pictures, Picture{Title: fmt.Sprint("noise ", i), Data: noisy})
	}
	if n := len(written(t, p)); n >= Most {
		t.Errorf("%d bytes, want below %d", n, Most)
	}
}

// unpack reads what pack writes, as the page's script does.
func unpack(t *testing.T, data []byte) (Solid, packed) {
	t.Helper()
	var p packed
	if err := json.Unmarshal(data, &p); err != nil {
		t.Fatal(err)
	}
	next := func(text string) func() int {
		b, err := base64.StdEncoding.DecodeString(text)
		if err != nil {
			t.Fatal(err)
		}
		return func() int {
			u, shift := uint32(0), 0
			for {
				c := b[0]
				b = b[1:]
				u |= uint32(c&127) << shift
				if shift += 7; c < 128 {
					return int(u>>1) ^ -int(u&1)
				}
			}
		}
	}
	var s Solid
	read, last := next(p.Places), [3]int{}
	for range p.Verts {
		var v [3]float32
		for k := range v {
			last[k] += read()
			v[k] = float32(p.Low[k] + p.Size[k]*float64(last[k])/65535)
		}
		s.Verts = append(s.Verts, v)
	}
	read = next(p.Index)
	fresh := 0
	for range p.Tris {
		var tri [3]int32
		for k := range tri {
			i := fresh - read()
			tri[k], fresh = int32(i), max(fresh, i+1)
		}
		s.Tris = append(s.Tris, tri)
	}
	return s, p
}

// What is packed reads back as the same triangles, each corner within half a
// step of the box, in the same turn.
func TestPackReadsBack(t *testing.T) {
	s := globe(20)
	data, err := s.pack()
	if err != nil {
		t.Fatal(err)
	}
	got, p := unpack(t, data)
	if len(got.Tris) != len(s.Tris) || len(got.Verts) != len(s.Verts) {
		t.Fatalf("%d triangles and %d vertices, want %d and %d", len(got.Tris), len(got.Verts), len(s.Tris), len(s.Verts))
	}
	// each vertex stands for the one it lies nearest to
	stands := make([]int32, len(got.Verts))
	for i, v := range got.Verts {
		best := math.Inf(1)
		for j, w := range s.Verts {
			d := 0.0
			for k := range v {
				d = max(d, math.Abs(float64(v[k]-w[k])))
			}
			if d < best {
				best, stands[i] = d, int32(j)
			}
		}
		if best > 80.0/65535/2+1e-5 {
			t.Fatalf("a corner is %g mm off", best)
		}
	}
	want := map[[3]int32]bool{}
	for _, tri := range s.Tris {
		for r := range 3 {
			want[[3]int32{tri[r], tri[(r+1)%3], tri[(r+2)%3]}] = true
		}
	}
	for _, tri := range got.Tris {
		if k := [3]int32{stands[tri[0]], stands[tri[1]], stands[tri[2]]}; !want[k] {
			t.Fatalf("no such triangle: %v", k)
		}
	}
	if p.Strays != s.Strays || len(p.Spots) != 3 || len(p.Layers) != 1 {
		t.Errorf("packed %+v", p.Layers)
	}
	t.Logf("%.1f bytes a triangle with values", float64(len(data))/float64(len(s.Tris)))
}

func TestBadSolids(t *testing.T) {
	for name, spoil := range map[string]func(*Solid){
		"no triangles":  func(s *Solid) { s.Tris = nil },
		"names vertex":  func(s *Solid) { s.Tris[3][1] = 1 << 20 },
		"finite":        func(s *Solid) { s.Verts[0][1] = float32(math.Inf(1)) },
		"values \"wall": func(s *Solid) { s.Layers[0].At = s.Layers[0].At[1:] },
	} {
		s := globe(3)
		spoil(&s)
		if _, err := s.pack(); err == nil || !strings.Contains(err.Error(), name) {
			t.Errorf("%s: %v", name, err)
		}
	}
}

// Text on its ground has a contrast of at least 4.5 to 1 (WCAG 2.1, 1.4.3).
func TestContrast(t *testing.T) {
	light := func(hex string) float64 {
		var c [3]uint8
		fmt.Sscanf(hex, "#%02x%02x%02x", &c[0], &c[1], &c[2])
		y := 0.0
		for i, w := range []float64{0.2126, 0.7152, 0.0722} {
			x := float64(c[i]) / 255
			if x > 0.04045 {
				x = math.Pow((x+0.055)/1.055, 2.4)
			} else {
				x /= 12.92
			}
			y += w * x
		}
		return y
	}
	tone := map[string]string{}
	for _, m := range regexp.MustCompile(`--(\w+): (#\w{6})`).FindAllStringSubmatch(pageStyle, -1) {
		if _, ok := tone[m[1]]; !ok {
			tone[m[1]] = m[2]
		}
	}
	for _, ink := range []string{"ink", "pencil", "madder", "slate"} {
		for _, ground := range []string{"paper", "leaf", "wash", "blush"} {
			if r := (light(tone[ground]) + 0.05) / (light(tone[ink]) + 0.05); r < 4.5 {
				t.Errorf("%s on %s: %.2f", ink, ground, r)
			}
		}
	}
}

func TestSpotTables(t *testing.T) {
	spots := []step.Spot{{Number: 1, What: "air gap", At: [3]float64{1.5, -2, 0.25}, Value: 0.81, Unit: "mm", Says: "=HYPERLINK(\"x\")", Fault: true}}
	var b bytes.Buffer
	if err := SpotsCSV(&b, spots); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != 2 || rows[1][2] != "1.5" || rows[1][3] != "-2" || rows[1][14] != `'=HYPERLINK("x")` {
		t.Errorf("rows %q, %v", rows, err)
	}
	b.Reset()
	if err := SpotsJSON(&b, spots); err != nil {
		t.Fatal(err)
	}
	var back []step.Spot
	if err := json.Unmarshal(b.Bytes(), &back); err != nil || len(back) != 1 || back[0].At != spots[0].At || back[0].Says != spots[0].Says {
		t.Errorf("read back %+v, %v", back, err)
	}
}

func BenchmarkWrite(b *testing.B) {
	p := sample()
	p.Parts[0].Stages[1].Solids[0] = globe(87) // about 60,000 triangles
	for b.Loop() {
		var out bytes.Buffer
		n, err := Write(&out, p)
		if err != nil {
			b.Fatal(err)
		}
		b.ReportMetric(float64(n)/1e6, "MB/page")
	}
}
