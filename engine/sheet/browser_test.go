package sheet

import (
	"context"
	"fmt"
	"math"
	"net/url"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/page"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// A reader is a real browser with the sample sheet open, and what it
// complained of and asked for.
type reader struct {
	ctx context.Context
	mu  sync.Mutex
	bad []string
}

// chromium returns the browser's path, or skips loudly.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{os.Getenv("LAYETTE_CHROMIUM"), "chromium", "chromium-browser", "google-chrome", "chrome"} {
		if name == "" {
			continue
		}
		if path, err := exec.LookPath(name); err == nil {
			return path
		}
	}
	t.Skip("NOT TESTED: no Chromium here (set LAYETTE_CHROMIUM to its path); the sheet was not opened in a browser")
	return ""
}

func openSheet(t *testing.T, text string, width, height int64, first ...chromedp.Action[chromedp.Void]) *reader {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.Flag("disable-quic", true),
		chromedp.Flag("disable-component-update", true))
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(cancel)
	ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	file := filepath.Join(t.TempDir(), "sheet.html")
	if err := os.WriteFile(file, []byte(text), 0o644); err != nil {
		t.Fatal(err)
	}
	r := &reader{ctx: ctx}
	if err := chromedp.Listen(ctx, r.hear); err != nil {
		t.Fatal(err)
	}
	r.do(t, call(network.Enable, network.EnableParams{}), call(log.Enable, cdp.Empty{}), chromedp.EmulateViewport(width, height))
	r.do(t, first...)
	r.do(t, chromedp.Navigate((&url.URL{Scheme: "file", Path: file}).String()))
	return r
}

// call is a command to the browser as an action.
func call[P, R any](c cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, params)
		return err
	})
}

// hear notes complaints, and requests for anything but the page and what it
// carries.
func (r *reader) hear(ev any) {
	r.mu.Lock()
	defer r.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		r.bad = append(r.bad, fmt.Sprintf("thrown: %+v", e.ExceptionDetails))
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			r.bad = append(r.bad, fmt.Sprintf("console %s: %s", e.Type, e.Args[0].Value))
		}
	case *log.EventEntryAdded:
		// drawing without a graphics card, and reading it back, is slow: the browser says so
		if !strings.Contains(e.Entry.Text, "GPU stall") && !strings.Contains(e.Entry.Text, "software WebGL") {
			r.bad = append(r.bad, "log: "+e.Entry.Text)
		}
	case *network.EventRequestWillBeSent:
		if u := e.Request.URL; !strings.HasPrefix(u, "data:") && !strings.HasSuffix(u, "/sheet.html") {
			r.bad = append(r.bad, "asked for "+u)
		}
	}
}

func (r *reader) do(t *testing.T, actions ...chromedp.Action[chromedp.Void]) {
	t.Helper()
	if err := chromedp.Do(r.ctx, actions...); err != nil {
		t.Fatal(err)
	}
}

// ask evaluates a script and returns what it gives.
func ask[T any](t *testing.T, r *reader, script string) T {
	t.Helper()
	out, err := chromedp.Run(r.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		t.Fatalf("%v in %s", err, script)
	}
	return out
}

// run evaluates a script for what it does.
func (r *reader) run(t *testing.T, script string) {
	t.Helper()
	ask[bool](t, r, "(() => {"+script+"; return true; })()")
}

// await waits until a script gives true. The page's own policy forbids scripts
// made from text, so it is asked from outside.
func (r *reader) await(t *testing.T, what, script string) {
	t.Helper()
	for range 400 {
		if ask[bool](t, r, "!!("+script+")") {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	t.Fatalf("%s: not within 20 seconds", what)
}

func (r *reader) complaints(t *testing.T) {
	t.Helper()
	r.mu.Lock()
	defer r.mu.Unlock()
	for _, s := range r.bad {
		t.Error(s)
	}
}

// In a real browser, at the desk: the sheet opens without complaint and asks
// for nothing; spots fly; lengths on the skin measure true; notes are pinned;
// the keyboard reaches everything.
func TestSheetAtTheDesk(t *testing.T) {
	r := openSheet(t, written(t, sample()), 1280, 900,
		call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}}))
	r.run(t, `document.querySelector("[data-solid]").scrollIntoView()`)
	r.await(t, "the 3D view", `document.querySelectorAll("[data-solid] canvas").length === 1`)
	r.await(t, "a drawn part", drawn)

	t.Run("a spot flies to the middle", func(t *testing.T) {
		r.run(t, `document.querySelector('[data-spot="3"] button').click()`)
		r.await(t, "spot 3 told", `document.querySelector(".told").textContent.startsWith("Spot 3: hole 3.10 mm²")`)
		off := ask[float64](t, r, `(() => { const c = document.querySelector("canvas").getBoundingClientRect(), p = document.querySelector(".pin.now").getBoundingClientRect();
			return Math.hypot(p.x + p.width / 2 - c.x - c.width / 2, p.y + p.height / 2 - c.y - c.height / 2); })()`)
		if off > 3 {
			t.Errorf("the spot stands %.1f pixels from the middle", off)
		}
		r.await(t, "spot 1 pale behind the part", `[...document.querySelectorAll(".pin")].filter(p => p.textContent === "1").every(p => p.style.display === "none" || p.classList.contains("hidden"))`)
	})
	t.Run("a measured length is true", func(t *testing.T) {
		r.run(t, `press("whole part"); press("front"); press("true scale"); press("measure");
			function press(name) { [...document.querySelectorAll(".tools button")].find(b => b.textContent === name).click(); }`)
		// 20 mm to either side of the ball's middle, at 96 pixels an inch
		px := 20 / 25.4 * 96
		r.run(t, fmt.Sprintf(`(() => { const c = document.querySelector("canvas"); c.scrollIntoView({block: "center"});
			for (const dx of [-%[1]g, %[1]g]) { const b = c.getBoundingClientRect();
			for (const type of ["pointerdown", "pointerup"]) c.dispatchEvent(new PointerEvent(type, {pointerId: 1, clientX: b.x + b.width / 2 + dx, clientY: b.y + b.height / 2, bubbles: true})); } })()`, px))
		told := ask[string](t, r, `document.querySelector(".told").textContent`)
		var mm float64
		if _, err := fmt.Sscanf(told, "Straight across: %f mm", &mm); err != nil || math.Abs(mm-40) > 0.3 {
			t.Errorf("told %q, want 40 mm", told)
		}
	})
	t.Run("a note is pinned and sent", func(t *testing.T) {
		r.run(t, `window.sent = null; addEventListener("layette-note", e => { window.sent = e.detail; });
			[...document.querySelectorAll(".tools button")].find(b => b.textContent === "pin a note").click();
			(() => { const c = document.querySelector("canvas"), b = c.getBoundingClientRect();
			for (const type of ["pointerdown", "pointerup"]) c.dispatchEvent(new PointerEvent(type, {pointerId: 1, clientX: b.x + b.width / 2, clientY: b.y + b.height / 2, bubbles: true})); })();
			document.querySelector(".told input").value = "soften this"; document.querySelector(".told form").requestSubmit();`)
		at := ask[[]float64](t, r, `window.sent && window.sent.text === "soften this" ? window.sent.at : []`)
		// the front of the ball, at (100, 40, 0)
		if len(at) != 3 || math.Abs(at[0]-100) > 0.5 || math.Abs(at[1]-40) > 0.5 || math.Abs(at[2]) > 0.5 {
			t.Errorf("pinned at %v", at)
		}
	})
	t.Run("cut, values, light and keys", func(t *testing.T) {
		before := ask[string](t, r, `document.querySelector("canvas").toDataURL()`)
		for _, act := range []string{
			`s = document.querySelectorAll(".tools select")[1]; s.value = "x"; s.onchange()`,
			`s = document.querySelectorAll(".tools select")[0]; s.value = ""; s.onchange()`,
			`s = document.querySelectorAll(".tools input")[1]; s.value = 1; s.oninput()`,
			`document.querySelector("canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "ArrowLeft"}))`,
			`document.querySelector("canvas").dispatchEvent(new KeyboardEvent("keydown", {key: "+"}))`,
		} {
			r.run(t, "let s; "+act)
			time.Sleep(100 * time.Millisecond)
			after := ask[string](t, r, `document.querySelector("canvas").toDataURL()`)
			if after == before {
				t.Errorf("nothing changed after %s", act)
			}
			before = after
		}
	})
	t.Run("everything has a name and is reached", func(t *testing.T) {
		for _, s := range ask[[]string](t, r, `[...document.querySelectorAll("button, select, input, a, canvas, img, [role=region]")]
			.filter(e => !(e.textContent.trim() || e.getAttribute("aria-label") || e.alt || e.closest("label"))).map(e => e.outerHTML.slice(0, 200))`) {
			t.Errorf("no name: %s", s)
		}
		if n := ask[int](t, r, `document.querySelectorAll("[tabindex]:not([tabindex='0'])").length`); n > 0 {
			t.Errorf("%d things stand outside the order of the page", n)
		}
		for _, s := range ask[[]string](t, r, `(() => { let last = 0, bad = []; for (const h of document.querySelectorAll("h1, h2, h3, h4")) { const l = +h.tagName[1]; if (l > last + 2) bad.push(h.textContent); last = l; } return bad; })()`) {
			t.Errorf("heading out of order: %s", s)
		}
	})
	// on paper everything is unfolded, and the 3D view leaves its place to the pictures
	t.Run("paper", func(t *testing.T) {
		pdf, err := chromedp.Run(r.ctx, chromedp.PrintToPDF(chromedp.PDFPreferCSSPageSize()))
		if err != nil {
			t.Fatal(err)
		}
		if n := len(regexp.MustCompile(`/Type\s*/Page\b`).FindAll(pdf, -1)); n < 3 || n > 30 {
			t.Errorf("%d pages", n)
		}
		r.do(t, call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Media: "print"}))
		r.run(t, `dispatchEvent(new Event("beforeprint"))`)
		if n := ask[int](t, r, `[...document.querySelectorAll("details")].filter(d => !d.open).length`); n > 0 {
			t.Errorf("%d parts of the page stay folded on paper", n)
		}
		if shown := ask[bool](t, r, `getComputedStyle(document.querySelector("[data-solid]")).display !== "none"`); shown {
			t.Error("the 3D view takes up paper")
		}
	})
	r.complaints(t)
}

// drawn is true once the canvas shows more than its ground.
const drawn = `(() => { const c = document.querySelector("canvas"), d = document.createElement("canvas"); if (!c) return false; d.width = c.width; d.height = c.height;
	if (!c.width) return false; const x = d.getContext("2d", {willReadFrequently: true}); x.drawImage(c, 0, 0); const p = x.getImageData(c.width >> 1, c.height >> 1, 1, 1).data, q = x.getImageData(2, 2, 1, 1).data;
	return Math.abs(p[0] - q[0]) + Math.abs(p[1] - q[1]) + Math.abs(p[2] - q[2]) > 30; })()`

// On a phone nothing hangs over the edge, and fingers can press what is there.
func TestSheetOnAPhone(t *testing.T) {
	r := openSheet(t, written(t, sample()), 390, 844)
	r.await(t, "the page", `document.readyState === "complete"`)
	if w := ask[int](t, r, `document.documentElement.scrollWidth`); w > 390 {
		wide := ask[[]string](t, r, `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > 391 && !e.closest(".wide")).map(e => e.outerHTML.slice(0, 120)).slice(0, 5)`)
		t.Errorf("the page is %d pixels wide: %q", w, wide)
	}
	r.run(t, `document.querySelector("[data-solid]").scrollIntoView()`)
	r.await(t, "a drawn part", drawn)
	if low := ask[float64](t, r, `Math.min(...[...document.querySelectorAll(".tools button")].map(b => b.getBoundingClientRect().height))`); low < 30 {
		t.Errorf("a button is %.0f pixels high", low)
	}
	r.complaints(t)
}

// Without WebGL the page says so and shows its pictures.
func TestSheetWithoutWebGL(t *testing.T) {
	r := openSheet(t, written(t, sample()), 1280, 900, call(page.AddScriptToEvaluateOnNewDocument, page.AddScriptToEvaluateOnNewDocumentParams{
		Source: `HTMLCanvasElement.prototype.getContext = () => null;`}))
	r.run(t, `document.querySelector("[data-solid]").scrollIntoView()`)
	r.await(t, "the sentence", `document.querySelector(".stage").textContent.includes("The pictures below show the same")`)
	if n := ask[int](t, r, `document.images.length`); n < 3 {
		t.Errorf("%d pictures", n)
	}
	r.complaints(t)
}
