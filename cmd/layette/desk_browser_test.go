package main

import (
	"context"
	"fmt"
	"os"
	"os/exec"
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

// A sitter is a real browser with the desk open, and what it complained of and
// asked for.
type sitter struct {
	*served
	ctx context.Context
	mu  sync.Mutex
	bad []string
}

// chromium returns the browser's path, or skips loudly.
func chromium(t *testing.T) string {
	t.Helper()
	for _, name := range []string{os.Getenv("LAYETTE_CHROMIUM"), "chromium", "chromium-browser", "google-chrome", "chrome"} {
		if path, err := exec.LookPath(name); name != "" && err == nil {
			return path
		}
	}
	t.Skip("NOT TESTED: no Chromium here (set LAYETTE_CHROMIUM to its path); the desk was not opened in a browser")
	return ""
}

// sit opens a desk in a browser of that size.
func sit(t *testing.T, width, height int64) *sitter {
	t.Helper()
	opts := append(chromedp.DefaultExecAllocatorOptions[:], chromedp.ExecPath(chromium(t)), chromedp.NoSandbox, chromedp.UserDataDir(t.TempDir()),
		chromedp.Flag("use-angle", "swiftshader"), chromedp.Flag("enable-unsafe-swiftshader", true), chromedp.Flag("disable-quic", true), chromedp.Flag("disable-component-update", true))
	s := &sitter{served: newServed(t)}
	ctx, cancel := chromedp.NewExecAllocator(t.Context(), opts...)
	t.Cleanup(cancel)
	s.ctx, cancel = chromedp.NewContext(ctx)
	t.Cleanup(cancel)
	if err := chromedp.Listen(s.ctx, s.hear); err != nil {
		t.Fatal(err)
	}
	s.do(call(network.Enable, network.EnableParams{}), call(log.Enable, cdp.Empty{}), chromedp.EmulateViewport(width, height),
		call(emulation.SetEmulatedMedia, emulation.SetEmulatedMediaParams{Features: []*emulation.MediaFeature{{Name: "prefers-reduced-motion", Value: "reduce"}}}),
		chromedp.Navigate(s.url+"/#"+s.token))
	s.await("the board", `document.querySelectorAll("#board button").length === 2`)
	return s
}

// call is a command to the browser as an action.
func call[P, R any](c cdp.Command[P, R], params P) chromedp.Action[chromedp.Void] {
	return chromedp.Func(func(ctx context.Context, t *chromedp.Target) error {
		_, err := cdp.Call(ctx, t, c, params)
		return err
	})
}

// hear notes complaints, and requests for anything but the desk's own.
func (s *sitter) hear(ev any) {
	s.mu.Lock()
	defer s.mu.Unlock()
	switch e := ev.(type) {
	case *runtime.EventExceptionThrown:
		s.bad = append(s.bad, fmt.Sprintf("thrown: %+v", e.ExceptionDetails))
	case *runtime.EventConsoleAPICalled:
		if e.Type == runtime.ConsoleAPICalledTypeError || e.Type == runtime.ConsoleAPICalledTypeWarning {
			s.bad = append(s.bad, fmt.Sprintf("console %s: %s", e.Type, e.Args[0].Value))
		}
	case *log.EventEntryAdded:
		// drawing without a graphics card, and reading it back, is slow: the browser says so
		// and it notes every refusal (409), which is an answer like any other
		if !strings.Contains(e.Entry.Text, "GPU stall") && !strings.Contains(e.Entry.Text, "software WebGL") && !strings.Contains(e.Entry.Text, "409 (Conflict)") {
			s.bad = append(s.bad, "log: "+e.Entry.Text)
		}
	case *network.EventRequestWillBeSent:
		if u := e.Request.URL; !strings.HasPrefix(u, "data:") && !strings.HasPrefix(u, s.url+"/") {
			s.bad = append(s.bad, "asked for "+u)
		} else if strings.Contains(u, s.token) {
			s.bad = append(s.bad, "the token stands in the address "+u)
		}
	}
}

func (s *sitter) do(actions ...chromedp.Action[chromedp.Void]) {
	s.t.Helper()
	if err := chromedp.Do(s.ctx, actions...); err != nil {
		s.t.Fatal(err)
	}
}

// page evaluates a script in the page.
func page[T any](s *sitter, script string) T {
	s.t.Helper()
	out, err := chromedp.Run(s.ctx, chromedp.Evaluate[T](script))
	if err != nil {
		s.t.Fatalf("%v in %s", err, script)
	}
	return out
}

// act evaluates a script for what it does; $ finds an element, press a button
// by the words on it.
func (s *sitter) act(script string) {
	s.t.Helper()
	page[bool](s, `(() => { const $ = q => document.querySelector(q), press = words => { const b = [...document.querySelectorAll("button")].find(b => b.textContent.startsWith(words) && b.offsetParent); if (!b) throw new Error("no button " + words); b.click(); }; `+script+`; return true; })()`)
}

func (s *sitter) await(what, script string) {
	s.t.Helper()
	for range 300 {
		if page[bool](s, "!!("+script+")") {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	s.quiet()
	s.shoot("stuck")
	s.t.Fatalf("%s: not within 15 seconds; problem %q", what, page[string](s, `document.querySelector("#problem").textContent + (document.querySelector("#refused") || {}).textContent`))
}

func (s *sitter) quiet() {
	s.t.Helper()
	s.mu.Lock()
	defer s.mu.Unlock()
	for _, b := range s.bad {
		s.t.Error(b)
	}
}

// shoot keeps a picture of the page, to be looked at, in the folder LAYETTE_SHOOT.
func (s *sitter) shoot(name string) {
	s.t.Helper()
	if os.Getenv("LAYETTE_SHOOT") == "" {
		return
	}
	png, err := chromedp.Run(s.ctx, chromedp.FullScreenshot(100))
	if err == nil {
		err = os.WriteFile(os.Getenv("LAYETTE_SHOOT")+"/"+name+".png", png, 0o644)
	}
	if err != nil {
		s.t.Error(err)
	}
}

// deskDrawn is true once the canvas shows more than its ground.
const deskDrawn = `(() => { const c = document.querySelector("#view canvas"), d = document.createElement("canvas"); if (!c || !c.width) return false; d.width = c.width; d.height = c.height;
	const x = d.getContext("2d", {willReadFrequently: true}); x.drawImage(c, 0, 0); const p = x.getImageData(c.width >> 1, c.height >> 1, 1, 1).data, q = x.getImageData(2, 2, 1, 1).data;
	return Math.abs(p[0] - q[0]) + Math.abs(p[1] - q[1]) + Math.abs(p[2] - q[2]) > 30; })()`

// touch touches the skin in the middle of the 3D view.
const touch = `const c = $("#view canvas"); c.scrollIntoView({block: "center"}); const b = c.getBoundingClientRect();
	for (const type of ["pointerdown", "pointerup"]) c.dispatchEvent(new PointerEvent(type, {pointerId: 1, clientX: b.x + b.width / 2, clientY: b.y + b.height / 2, bubbles: true}))`

// TestDeskInABrowser sits at the desk as a person does: runs, walks through
// the spots, pins a note, holds, takes it back by approving, and every
// signature is checked with ssh-keygen. The page complains of nothing and asks
// nobody but the desk.
func TestDeskInABrowser(t *testing.T) {
	s := sit(t, 1280, 900)
	if hash := page[string](s, "location.hash"); strings.Contains(hash, s.token) {
		t.Error("the token stays in the address")
	}
	s.act(`press("run what is due")`)
	s.await("the end of the run", `document.querySelector("#told").textContent === "2 stages ran" && document.querySelector("#board button.held") && document.querySelector("#board button.unsigned")`)

	s.act(`press("○whole")`)
	s.await("a drawn part", deskDrawn)
	s.act(`press("next spot")`)
	s.await("the first spot", `document.querySelector("#spot").textContent.startsWith("Spot 1 (1 of 2)") && document.querySelector(".told").textContent.startsWith("Spot 1")`)
	s.act(`$("#sight").dispatchEvent(new KeyboardEvent("keydown", {key: "n", bubbles: true}))`)
	s.await("the second spot by key", `document.querySelector("#spot").textContent.startsWith("Spot 2 (2 of 2)") && document.querySelector('.spots li[aria-current=true] .n').textContent === "2"`)
	s.shoot("stage")

	// A hold with a note on the skin and one at the spot.
	s.act(`press("note here"); press("pin a note"); ` + touch + `; $(".told input").value = "soften this edge"; $(".told form").requestSubmit()`)
	s.act(`press("hold …")`)
	s.await("what is bound", `document.querySelectorAll(".word .digest").length >= 2 && document.querySelectorAll("#pins li").length === 2`)
	if shown := page[string](s, `document.querySelector(".word").textContent`); !strings.Contains(shown, "soften this edge") || !strings.Contains(shown, "sculpt/head.stl") || !strings.Contains(shown, "loops = 2") || !strings.Contains(shown, "Carla Søby") {
		t.Errorf("not all is shown: %s", shown)
	}
	if n := s.records("signoff"); n != 0 {
		t.Errorf("%d words before anybody agreed", n)
	}
	s.act(`$("[name=passphrase]").value = "a short walk"; $("#sure").click()`)
	s.await("the refusal", `document.querySelector("#refused").textContent.includes("the passphrase is not right")`)
	s.shoot("hold")
	s.act(`$("[name=passphrase]").value = "a long walk"; $("#sure").click()`)
	s.await("the signature", `document.querySelector(".word .name") && document.querySelector(".word .name").textContent === "Carla Søby"`)
	s.await("the board", `document.querySelectorAll("#board button.held").length === 2`)
	s.await("the pinned notes among the spots, for whoever comes next", `document.querySelectorAll(".spots li").length === 4 && [...document.querySelectorAll("#view .pin")].some(p => p.getAttribute("aria-label") .startsWith("spot 4, note"))`)

	// The approval: nothing goes before every question is answered.
	s.act(`press("sign …")`)
	s.await("the questions", `document.querySelectorAll("[name=tick]").length === 2`)
	s.act(`$("[name=tick]").click(); $("[name=passphrase]").value = "a long walk"; $("#sure").click()`)
	if page[bool](s, `document.querySelector(".word form, form.word").checkValidity()`) {
		t.Error("a question is open and the form would go")
	}
	s.act(`document.querySelectorAll("[name=tick]")[1].click(); $("[name=answer]").click(); $("[name=note]").value = "it is meant so"`)
	s.shoot("sign")
	s.act(`$("#sure").click()`)
	s.await("the signature", `document.querySelector(".word .name") && document.querySelector(".word").textContent.includes("whole/head is done")`)
	s.shoot("signed")
	if h, a := s.records("hold"), s.records("approve"); h != 1 || a != 1 {
		t.Errorf("%d holds and %d approvals in the trail", h, a)
	}

	// The arm, conceded with a key of another file.
	s.act(`press("■whole")`)
	s.await("the arm", `document.querySelector("#stage-name").textContent === "whole/arm"`)
	s.act(`press("concede holes …")`)
	s.await("the concession", `document.querySelector("[name=reason]")`)
	s.act(`$("#key").value = "file"; $("#key").onchange(); $("[name=file]").value = "` + s.key("ben") + `"; press("look whose")`)
	s.await("whose it is", `document.querySelector("#sure").textContent === "sign as Ben Okafor"`)
	s.act(`$("[name=reason]").value = "the third is where the joint sits"`)
	s.shoot("concede")
	s.act(`$("#sure").click()`)
	s.await("the concession", `document.querySelector(".word").textContent.includes("whole/arm is unsigned")`)
	s.checked(3)

	t.Run("everything has a name and is reached", func(t *testing.T) {
		for _, h := range page[[]string](s, `[...document.querySelectorAll("button, select, input, textarea, a, canvas, [role=region]")]
			.filter(e => !(e.textContent.trim() || e.getAttribute("aria-label") || e.closest("label"))).map(e => e.outerHTML.slice(0, 200))`) {
			t.Errorf("no name: %s", h)
		}
		if n := page[int](s, `document.querySelectorAll("[tabindex]:not([tabindex='0']):not([tabindex='-1'])").length`); n > 0 {
			t.Errorf("%d things stand outside the order of the page", n)
		}
	})
	t.Run("all words can be read", func(t *testing.T) {
		for _, low := range page[[]string](s, faint) {
			t.Errorf("too faint: %s", low)
		}
	})
	s.quiet()
}

// faint lists texts whose contrast with what lies behind is below 4.5 to 1
// (WCAG 2.2, 1.4.3, by the formula for relative luminance given there; from memory).
const faint = `(() => {
	const parse = c => { const m = c.match(/[\d.]+/g).map(Number); return m.length < 4 ? [...m, 1] : m; };
	const light = c => { const f = x => { x /= 255; return x <= 0.04045 ? x / 12.92 : ((x + 0.055) / 1.055) ** 2.4; }; return 0.2126 * f(c[0]) + 0.7152 * f(c[1]) + 0.0722 * f(c[2]); };
	const ground = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor); if (c[3] > 0.99) return c; } return [255, 255, 255]; };
	const bad = [];
	for (const e of document.querySelectorAll("body *")) {
		if (!e.offsetParent || e.closest("#view, :disabled") || ![...e.childNodes].some(n => n.nodeType === 3 && n.textContent.trim())) continue;
		const a = light(parse(getComputedStyle(e).color)), b = light(ground(e)), r = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
		if (r < 4.5) bad.push(r.toFixed(2) + " " + e.textContent.slice(0, 60));
	}
	return bad.slice(0, 8);
})()`

// TestDeskOnAPhone: nothing hangs over the edge and fingers can press what is
// there. (A desk is for the machine it runs on, but windows are narrow too, and
// so are pages zoomed in.)
func TestDeskOnAPhone(t *testing.T) {
	s := sit(t, 390, 844)
	s.act(`press("run what is due")`)
	s.await("the end of the run", `document.querySelector("#board button.unsigned")`)
	s.act(`press("○whole")`)
	s.await("a drawn part", deskDrawn)
	s.act(`press("next spot"); press("sign …")`)
	s.await("the form", `document.querySelectorAll("[name=tick]").length === 2`)
	if w := page[int](s, `document.documentElement.scrollWidth`); w > 390 {
		t.Errorf("the page is %d pixels wide: %q", w, page[[]string](s, `[...document.querySelectorAll("body *")].filter(e => e.getBoundingClientRect().right > 391 && !e.closest(".wide, #view")).map(e => e.outerHTML.slice(0, 120)).slice(0, 5)`))
	}
	if low := page[[]string](s, `[...document.querySelectorAll("button, select, input, textarea")].filter(b => b.offsetParent && !b.closest("#view") && b.getBoundingClientRect().height < 24 && b.type !== "checkbox").map(b => b.outerHTML.slice(0, 100))`); len(low) > 0 {
		t.Errorf("too small for a finger: %q", low)
	}
	s.shoot("phone")
	s.quiet()
	t.Run("another tab", s.hostileTab)
}

// hostileTab opens another page in the same browser and has it try all it
// can: it neither learns nor does anything.
func (s *sitter) hostileTab(t *testing.T) {
	s.write("sculpt/head.stl", holed("head", 1)) // so that something is due
	s.do(chromedp.Navigate("data:text/html,<title>another page</title>"))
	for _, try := range []string{
		`fetch(U + "/board").then(r => r.text())`,
		`fetch(U + "/board", {headers: {Authorization: "Bearer " + T}}).then(r => r.text())`,
		`fetch(U + "/run", {method: "POST", body: "{}", headers: {Authorization: "Bearer " + T, "Content-Type": "application/json"}}).then(r => r.text())`,
		`fetch(U + "/", {mode: "no-cors"}).then(r => r.text()).then(t => t || Promise.reject("nothing to read"))`,
		`new Promise((yes, no) => { const s = document.createElement("script"); s.src = U + "/desk.js"; s.onload = () => yes("loaded"); s.onerror = no; document.head.append(s); })`,
		`new Promise((yes, no) => { const f = document.createElement("iframe"); f.src = U + "/"; f.onload = () => { let d = null; try { d = f.contentDocument; } catch {} (f.contentWindow.length > 0 || d && d.title) ? yes("framed") : no("empty"); }; document.documentElement.append(f); })`,
		`new Promise((yes, no) => { const f = document.createElement("form"); f.action = U + "/run"; f.method = "post"; f.target = "x"; document.documentElement.append(f); f.submit(); setTimeout(() => no("sent blind"), 300); })`,
	} {
		script := fmt.Sprintf(`(() => { const U = %q, T = %q; return Promise.resolve(%s).then(t => "GOT " + t, () => "nothing"); })()`, s.url, s.token, try)
		got, err := chromedp.Run(s.ctx, chromedp.Evaluate[string](script, chromedp.EvalAwaitPromise))
		if err != nil {
			t.Fatalf("%v in %s", err, try)
		}
		if got != "nothing" {
			t.Errorf("%s: %s", try, got)
		}
	}
	s.until("the change", func() bool { return s.state("whole/head") == "due" })
	time.Sleep(300 * time.Millisecond) // a run would take less
	if state := s.state("whole/head"); state != "due" {
		t.Errorf("something ran: whole/head is %s", state)
	}
}

// TestDeskFolds: of hundreds of scans the board shows those that ask for
// somebody, and folds the others away. (The board is one made up in the page.)
func TestDeskFolds(t *testing.T) {
	s := sit(t, 1000, 800)
	s.act(`const was = window.fetch; window.fetch = async (p, h) => { const r = await was(p, h); if (p !== "/board") return r; const b = await r.json();
		b.Parts[0].Stages = [...Array(10)].map((_, i) => ({ID: "intake/arm/" + i, Name: "intake " + i + ".ply", State: i ? "done" : "held", Says: ""})); b.Next = [...Array(11)].map((_, i) => "x/" + i + ": held");
		return new Response(JSON.stringify(b)); }`)
	s.write("sculpt/head.stl", holed("head", 1)) // so that the board is asked for again
	s.await("the folded board", `document.querySelector("#board details summary") && document.querySelector("#board details summary").textContent === "intake: 9 done" && document.querySelectorAll("#next details li").length === 3 && document.querySelector("#board button.held")`)
	s.quiet()
}
