package sheet

import (
	"fmt"
	"math"
	"net/url"
	"os"
	"path/filepath"
	"regexp"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/input"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/chromedp"

	"layette/engine/browsertest"
)

// openSheet opens a sheet in a browser of that size.
func openSheet(t *testing.T, text string, width, height int64, first ...chromedp.Action[chromedp.Void]) *browsertest.Page {
	t.Helper()
	file := filepath.Join(t.TempDir(), "sheet.html")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	r := browsertest.Open(t, width, height, func(address string) bool { return strings.HasSuffix(address, "/sheet.html") })
	r.Do(first...)
	r.Do(chromedp.Navigate((&url.URL{Scheme: "file", Path: file}).String()))
	return r
}

// In a real browser, at the desk: the sheet opens without complaint and asks
// for nothing; spots fly; lengths on the skin measure true; notes are pinned;
// the keyboard reaches everything.
func TestSheetAtTheDesk(t *testing.T) {
	r := openSheet(t, written(t, sample()), 1280, 900,
		browsertest.Still())
	r.Act(`document.querySelector("[data-solid]").scrollIntoView()`)
	r.Await("the 3D view", `document.querySelectorAll("[data-solid] canvas").length === 1`)
	r.Await("a drawn part", drawn)

	t.Run("a spot flies to the middle", func(t *testing.T) {
		r.Act(`document.querySelector('[data-spot="3"] button').click()`)
		r.Await("spot 3 told", `document.querySelector(".told").textContent.startsWith("Spot 3: hole 3.10 mm²")`)
		off := browsertest.Ask[float64](r, `(() => { const c = document.querySelector("canvas").getBoundingClientRect(), p = document.querySelector(".pin.now").getBoundingClientRect();
			return Math.hypot(p.x + p.width / 2 - c.x - c.width / 2, p.y + p.height / 2 - c.y - c.height / 2); })()`)
		if off > 3 {
			t.Errorf("the spot stands %.1f pixels from the middle", off)
		}
		r.Await("spot 1 pale behind the part", `[...document.querySelectorAll(".pin")].filter(p => p.textContent === "1").every(p => p.style.display === "none" || p.classList.contains("hidden"))`)
	})
	t.Run("a measured length is true", func(t *testing.T) {
		r.Act(`press("whole part"); press("front"); press("true scale"); press("measure")`)
		// 20 mm to either side of the ball's middle, at 96 pixels an inch
		px := 20 / 25.4 * 96
		r.Act(browsertest.Touch("canvas", -px))
		r.Act(browsertest.Touch("canvas", px))
		told := browsertest.Ask[string](r, `document.querySelector(".told").textContent`)
		var mm float64
		if _, err := fmt.Sscanf(told, "Straight across: %f mm", &mm); err != nil || !(math.Abs(mm-40) <= 0.3) {
			t.Errorf("told %q, want 40 mm", told)
		}
	})
	t.Run("a note is pinned and sent", func(t *testing.T) {
		r.Act(`window.sent = null; addEventListener("layette-note", e => { window.sent = e.detail; });
			press("pin a note"); ` + browsertest.Touch("canvas", 0) + `;
			$(".told input").value = "soften this"; $(".told form").requestSubmit()`)
		at := browsertest.Ask[[]float64](r, `window.sent && window.sent.text === "soften this" ? window.sent.at : []`)
		// the front of the ball, at (100, 40, 0)
		if len(at) != 3 || !(math.Abs(at[0]-100) <= 0.5) || !(math.Abs(at[1]-40) <= 0.5) || !(math.Abs(at[2]) <= 0.5) {
			t.Errorf("pinned at %v", at)
		}
	})
	t.Run("cut, values, light and keys", func(t *testing.T) {
		before := browsertest.Ask[string](r, `document.querySelector("canvas").toDataURL()`)
		for _, act := range []string{
			`s = document.querySelectorAll(".tools select")[1]; s.value = "x"; s.onchange()`,
			`s = document.querySelectorAll(".tools select")[0]; s.value = ""; s.onchange()`,
			`s = document.querySelectorAll(".tools input")[1]; s.value = 1; s.oninput()`,
			`document.querySelector("canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowLeft"}))`,
			`document.querySelector("canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "+"}))`,
		} {
			r.Act("let s; " + act)
			time.Sleep(100 * time.Millisecond)
			after := browsertest.Ask[string](r, `document.querySelector("canvas").toDataURL()`)
			if after == before {
				t.Errorf("nothing changed after %s", act)
			}
			before = after
		}
	})
	t.Run("everything has a name and is reached", func(t *testing.T) {
		for _, s := range append(r.Nameless(), r.Faint()...) {
			t.Error(s)
		}
		for _, s := range browsertest.Ask[[]string](r, `(() => { let last = 0, bad = []; for (const h of document.querySelectorAll("h1, h2, h3, h4")) { const l = +h.tagName[1]; if (l > last + 2) bad.push(h.textContent); last = l; } return bad; })()`) {
			t.Errorf("heading out of order: %s", s)
		}
	})
	// on paper everything is unfolded, and the 3D view leaves its place to the pictures
	t.Run("paper", func(t *testing.T) {
		pdf, err := chromedp.Run(r.Ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
		if err != nil {
			t.Fatal(err)
		}
		if n := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1)); n < 3 || n > 30 {
			t.Errorf("%d pages", n)
		}
		r.Do(browsertest.Call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}))
		r.Act(`dispatchEvent(new Event("beforeprint"))`)
		if n := browsertest.Ask[int](r, `[...document.querySelectorAll("details")].filter(d => !d.open).length`); n > 0 {
			t.Errorf("%d parts of the page stay folded on paper", n)
		}
		if shown := browsertest.Ask[bool](r, `getComputedStyle(document.querySelector("[data-solid]")).display !== "none"`); shown {
			t.Error("the 3D view takes up paper")
		}
	})
	r.Complaints()
}

// drawn is true once the first view shows more than its ground.
var drawn = browsertest.Drawn("canvas")

// On a phone nothing hangs over the edge, and fingers can press what is there.
func TestSheetOnAPhone(t *testing.T) {
	r := openSheet(t, written(t, sample()), 390, 844)
	r.Await("the page", `document.readyState === "complete"`)
	for _, s := range r.Wide(390) {
		t.Error(s)
	}
	r.Act(`document.querySelector("[data-solid]").scrollIntoView()`)
	r.Await("a drawn part", drawn)
	t.Run("fingers turn and zoom", func(t *testing.T) {
		r.Act(`$("canvas").scrollIntoView({block: "center"})`)
		ruler := `document.querySelector(".ruler").style.width + document.querySelector(".ruler").textContent`
		before, seen := browsertest.Ask[string](r, ruler), browsertest.Ask[string](r, `document.querySelector("canvas").toDataURL()`)
		fingers(r, [][]float64{{-30, 30}, {-50, 50}, {-80, 80}, {-120, 120}})
		r.Await("a larger part", fmt.Sprintf("%s !== %q", ruler, before))
		zoomed := browsertest.Ask[string](r, `document.querySelector("canvas").toDataURL()`)
		fingers(r, [][]float64{{-60}, {-20}, {20}, {60}})
		r.Await("a turned part", fmt.Sprintf(`![%q, %q].includes(document.querySelector("canvas").toDataURL())`, seen, zoomed))
	})
	if low := browsertest.Ask[float64](r, `Math.min(...[...document.querySelectorAll(".tools button")].map(b => b.getBoundingClientRect().height))`); low < 30 {
		t.Errorf("a button is %.0f pixels high", low)
	}
	r.Complaints()
}

// fingers moves so many fingers over the middle of the first view, each from
// place to place beside it.
func fingers(r *browsertest.Page, places [][]float64) {
	middle := browsertest.Ask[[]float64](r, `(() => { const b = document.querySelector("canvas").getBoundingClientRect(); return [b.x + b.width / 2, b.y + b.height / 2]; })()`)
	send := func(kind input.DispatchTouchEventType, dx []float64) {
		p := input.DispatchTouchEventParams{Type: kind, TouchPoints: []*input.TouchPoint{}}
		for i, x := range dx {
			id := float64(i)
			p.TouchPoints = append(p.TouchPoints, &input.TouchPoint{X: middle[0] + x, Y: middle[1], ID: &id})
		}
		r.Do(browsertest.Call(input.DispatchTouchEvent, p))
	}
	for i, dx := range places {
		if i == 0 {
			send(input.DispatchTouchEventTypeTouchStart, dx)
		} else {
			send(input.DispatchTouchEventTypeTouchMove, dx)
		}
	}
	send(input.DispatchTouchEventTypeTouchEnd, nil)
}

// Without WebGL the page says so and shows its pictures.
func TestSheetWithoutWebGL(t *testing.T) {
	r := openSheet(t, written(t, sample()), 1280, 900, browsertest.Call(page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: `HTMLCanvasElement.prototype.getContext = () => null;`}))
	r.Act(`document.querySelector("[data-solid]").scrollIntoView()`)
	r.Await("the sentence", `document.querySelector(".stage").textContent.includes("The pictures below show the same")`)
	if n := browsertest.Ask[int](r, `document.images.length`); n < 3 {
		t.Errorf("%d pictures", n)
	}
	r.Complaints()
}

// heavy is a sheet as heavy as they come: five parts with a 3D view and six
// pictures each; or the file that LAYETTE_SHEET names.
func heavy(t testing.TB) string {
	t.Helper()
	if name := os.Getenv("LAYETTE_SHEET"); name != "" {
		data, err := os.ReadFile(name)
		if err != nil {
			t.Fatal(err)
		}
		return string(data)
	}
	p := sample()
	held := p.Parts[0].Stages[1]
	held.Solids = []Solid{globe(78)} // about 50,000 triangles
	for i := range 6 {
		held.Pictures = append(held.Pictures, Picture{Title: fmt.Sprint("view ", i), Data: picture(1200, 900, false)})
	}
	for i := range 5 {
		held.ID = fmt.Sprint("gaps/", i)
		p.Parts = append(p.Parts, Part{Name: fmt.Sprint("part ", i), Stages: []Stage{held}})
	}
	var b strings.Builder
	if _, err := Write(&b, p); err != nil {
		t.Fatal(err)
	}
	return b.String()
}

// BenchmarkFirstView is how long a reader waits, from asking for the page: for
// the first words, and for the first part drawn in three dimensions when she
// goes there. With LAYETTE_SHOOT it keeps pictures of the page, wide and narrow.
func BenchmarkFirstView(b *testing.B) {
	text := heavy(b)
	file := filepath.Join(b.TempDir(), "sheet.html")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		b.Fatal(err)
	}
	r := browsertest.Open(b, 1280, 900, func(string) bool { return true })
	var words, view float64
	for b.Loop() {
		r.Do(chromedp.Navigate((&url.URL{Scheme: "file", Path: file}).String()))
		r.Await("the first words", `performance.getEntriesByName("first-contentful-paint").length > 0`)
		words = browsertest.Ask[float64](r, `performance.getEntriesByName("first-contentful-paint")[0].startTime`)
		began := time.Now()
		r.Act(`$("[data-solid]").closest("details").open = true; $("[data-solid]").scrollIntoView()`)
		r.Await("a drawn part", browsertest.Drawn("[data-solid] canvas"))
		view = float64(time.Since(began).Milliseconds())
	}
	b.ReportMetric(words, "ms/words")
	b.ReportMetric(view, "ms/view")
	b.ReportMetric(float64(len(text))/1e6, "MB/page")
	r.Shoot("wide")
	r.Do(chromedp.EmulateViewport(390, 844))
	r.Shoot("narrow")
}
