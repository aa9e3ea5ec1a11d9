// Package browsertest opens a page of ours in a real browser, for tests: in
// headless Chromium, without a graphics card. It notes whatever the browser
// complains of, and every request that is not the page's own.
package browsertest

import (
	"context"
	"fmt"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"sync"
	"testing"
	"time"

	"github.com/chromedp/cdproto/cdp"
	"github.com/chromedp/cdproto/emulation"
	"github.com/chromedp/cdproto/log"
	"github.com/chromedp/cdproto/network"
	"github.com/chromedp/cdproto/runtime"
	"github.com/chromedp/chromedp"
)

// A Page is a page in a browser.
type Page struct {
	Ctx context.Context

	t   testing.TB
	own func(address string) bool
	mu  sync.Mutex
	bad []string
}

// chromium returns the browser's path, or skips loudly.
func chromium(t testing.TB) string {
	t.Helper()
	for _, name := range []string{os.Getenv("LAYETTE_CHROMIUM"), "chromium", "chromium-browser", "google-chrome", "chrome"} {
		if path, err := exec.LookPath(name); name != "" && err == nil {
			return path
		}
	}
	t.Skip("NOT TESTED: no Chromium here (set LAYETTE_CHROMIUM to its path); no page was opened in a browser")
	return ""
}

// Open starts a browser with a window of width by height pixels. own tells
// which addresses the page may ask for.
func Open(t testing.TB, width, height int64, own func(address string) bool) *Page {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	p := &Page{t: t, own: own}
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(cancel)
	p.Ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Listen(p.Ctx, p.hear); err != nil {
		t.Fatal(err)
	}
	p.Do(Call(network.Enable, network.EnableParams{}), Call(log.Enable, cdp.Empty{}), chromedp.EmulateViewport(width, height))
	return p
}

// Still asks the page for reduced motion.
func Still() chromedp.Action[chromedp.Void] {
	return Call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}})
}

// Call is a command to the browser as an action.
func Call[P, R any](c cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, params)
		return err
	})
}

// answers are what the browser notes although nothing is wrong: drawing without
// a graphics card and reading it back is slow, and a refusal is an answer.
var answers = []string{"GPU stall", "software WebGL", "409 (Conflict)"}

func (p *Page) hear(ev any) {
	p.mu.Lock()
	defer p.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		p.bad = append(p.bad, fmt.Sprintf("thrown: %+v", e.ExceptionDetails))
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			p.bad = append(p.bad, fmt.Sprintf("console %s: %s", e.Type, e.Args[0].Value))
		}
	case *log.EventEntryAdded:
		for _, a := range answers {
			if strings.Contains(e.Entry.Text, a) {
				return
			}
		}
		p.bad = append(p.bad, "log: "+e.Entry.Text)
	case *network.EventRequestWillBeSent:
		if u := e.Request.URL; !strings.HasPrefix(u, "data:") && !p.own(u) {
			p.bad = append(p.bad, "asked for "+u)
		}
	}
}

// Complaints fails the test with all that was noted.
func (p *Page) Complaints() {
	p.t.Helper()
	p.mu.Lock()
	defer p.mu.Unlock()
	for _, b := range p.bad {
		p.t.Error(b)
	}
}

// Do does actions in the page.
func (p *Page) Do(actions ...chromedp.Action[chromedp.Void]) {
	p.t.Helper()
	if err := chromedp.Do(p.Ctx, actions...); err != nil {
		p.t.Fatal(err)
	}
}

// Ask evaluates a script in the page. It is asked from outside, for our pages
// run no script made from text.
func Ask[T any](p *Page, script string) T {
	p.t.Helper()
	out, err := chromedp.Run(p.Ctx, chromedp.Evaluate[T](script))
	if err != nil {
		p.t.Fatalf("%v in %s", err, script)
	}
	return out
}

// Act evaluates a script for what it does: $ finds an element, and press
// presses the button whose words begin so.
func (p *Page) Act(script string) {
	p.t.Helper()
	Ask[bool](p, `(() => { const $ = q => document.querySelector(q), press = words => { const b = [...document.querySelectorAll("button")].find(b => b.textContent.startsWith(words) && b.offsetParent); if (!b) throw new Error("no button " + words); b.click(); }; `+script+`; return true; })()`)
}

// Await waits until a script gives true.
func (p *Page) Await(what, script string) {
	p.t.Helper()
	for range 400 {
		if Ask[bool](p, "!!("+script+")") {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	p.Complaints()
	p.Shoot("stuck")
	p.t.Fatalf("%s: not within 20 seconds", what)
}

// Shoot keeps a picture of the page, to be looked at, in the folder LAYETTE_SHOOT.
func (p *Page) Shoot(name string) {
	p.t.Helper()
	dir := os.Getenv("LAYETTE_SHOOT")
	if dir == "" {
		return
	}
	png, err := chromedp.Run(p.Ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(filepath.Join(dir, name+".png"), png, 0o644)
	}
	if err != nil {
		p.t.Error(err)
	}
}

// Touch is a script that touches the canvas that a selector finds, dx pixels
// beside its middle.
func Touch(selector string, dx float64) string {
	return fmt.Sprintf(`(() => { const c = document.querySelector(%q); c.scrollIntoView({block: "center"}); const b = c.getBoundingClientRect();
		for (const type of ["pointerdown", "pointerup"]) c.dispatchEvent(new PointerEvent(type, {pointerId: 1, clientX: b.x + b.width / 2 + %g, clientY: b.y + b.height / 2, bubbles: true})); })()`, selector, dx)
}

// Drawn is a script that is true once the canvas that a selector finds shows
// more than its ground.
func Drawn(selector string) string {
	return fmt.Sprintf(`(() => { const c = document.querySelector(%q), d = document.createElement("canvas"); if (!c || !c.width) return false; d.width = c.width; d.height = c.height;
		const x = d.getContext("2d", {willReadFrequently: true}); x.drawImage(c, 0, 0); const p = x.getImageData(c.width >> 1, c.height >> 1, 1, 1).data, q = x.getImageData(2, 2, 1, 1).data;
		return Math.abs(p[0] - q[0]) + Math.abs(p[1] - q[1]) + Math.abs(p[2] - q[2]) > 30; })()`, selector)
}

// Wide lists what hangs over the right edge of the page, but for what scrolls
// by itself.
func (p *Page) Wide(width int) []string {
	p.t.Helper()
	return Ask[[]string](p, fmt.Sprintf(`document.documentElement.scrollWidth <= %d ? [] : ["the page is " + document.documentElement.scrollWidth + " pixels wide",
		...[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > %d + 1 && !e.closest(".wide, .stage")).map(e => e.outerHTML.slice(0, 120)).slice(0, 5)]`, width, width))
}

// Nameless lists what can be acted on and has no name for those who do not see
// it, and what stands outside the order of the page.
func (p *Page) Nameless() []string {
	p.t.Helper()
	return Ask[[]string](p, `[...document.querySelectorAll("button, select, input, textarea, a, canvas, img, [role=region]")]
		.filter(e => !(e.textContent.trim() || e.getAttribute("aria-label") || e.alt || e.closest("label"))).map(e => "no name: " + e.outerHTML.slice(0, 200))
		.concat([...document.querySelectorAll("[tabindex]:not([tabindex='0']):not([tabindex='-1'])")].map(e => "outside the order of the page: " + e.outerHTML.slice(0, 200)))`)
}

// Faint lists texts whose contrast with what lies behind is below 4.5 to 1
// (WCAG 2.2, 1.4.3, by the formula for relative luminance given there; from
// memory). Views in three dimensions are left out.
func (p *Page) Faint() []string {
	p.t.Helper()
	return Ask[[]string](p, `(() => {
	const parse = c => { const m = c.match(/[\d.]+/g).map(Number); return m.length < 4 ? [...m, 1] : m; };
	const light = c => { const f = x => { x /= 255; return x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4; }; return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]); };
	const ground = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c[3] > 0.99) return c; } return [255, 255, 255]; };
	const bad = [];
	for (const e of document.querySelectorAll("body *")) {
		if (!e.offsetParent || e.closest(".stage, svg, :disabled") || ![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
		const a = light(parse(getComputedStyle(e).color)), b = light(ground(e)), r = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (r < 4.5) bad.push(r.toFixed(2) + " " + e.textContent.slice(0, 60));
	}
	return bad.slice(0, 8);
})()`)
}
