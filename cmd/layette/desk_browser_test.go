package main

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"github.com/chromedp/chromedp"

	"layette/engine/browsertest"
)

// A sitter is a real browser with the desk open.
type sitter struct {
	*served
	*browsertest.Page
}

// sit opens a desk in a browser of that size.
func sit(t *testing.T, width, height int64) *sitter {
	t.Helper()
	s := &sitter{served: newServed(t)}
	s.Page = browsertest.Open(t, width, height, func(address string) bool {
		return strings.HasPrefix(address, s.url+"/") && !strings.Contains(address, s.token)
	})
	s.Do(browsertest.Still(), chromedp.Navigate(s.url+"/#"+s.token))
	s.Await("the board", `document.querySelectorAll("#board button").length === 2`)
	return s
}

var (
	deskDrawn = browsertest.Drawn("#view canvas")
	touch     = browsertest.Touch("#view canvas", 0)
)

// TestDeskInABrowser sits at the desk as a person does: runs, walks through
// the spots, pins a note, holds, takes it back by approving, and every
// signature is checked with ssh-keygen. The page complains of nothing and asks
// nobody but the desk.
func TestDeskInABrowser(t *testing.T) {
	s := sit(t, 1280, 900)
	if hash := browsertest.Ask[string](s.Page, "location.hash"); strings.Contains(hash, s.token) {
		t.Error("the token stays in the address")
	}
	s.Act(`press("run what is due")`)
	s.Await("the end of the run", `document.querySelector("#told").textContent === "2 stages ran" && document.querySelector("#board button.held") && document.querySelector("#board button.unsigned")`)

	s.Act(`press("○whole")`)
	s.Await("a drawn part", deskDrawn)
	s.Act(`press("next spot")`)
	s.Await("the first spot", `document.querySelector("#spot").textContent.startsWith("Spot 1 (1 of 2)") && document.querySelector(".told").textContent.startsWith("Spot 1")`)
	s.Act(`$("#sight").dispatchEvent(new KeyboardEvent("keydown", {key: "n", bubbles: true}))`)
	s.Await("the second spot by key", `document.querySelector("#spot").textContent.startsWith("Spot 2 (2 of 2)") && document.querySelector('.spots li[aria-current=true] .n').textContent === "2"`)
	s.Shoot("stage")

	s.Act(`$("[data-fold=measures]").open = true; $("[data-fold=measures] summary").focus()`)

	// A hold with a note on the skin and one at the spot.
	s.Act(`press("note here"); press("pin a note"); ` + touch + `; $(".told input").value = "soften this edge"; $(".told form").requestSubmit()`)
	s.Act(`press("hold …")`)
	s.Await("what is bound", `document.querySelectorAll(".word .digest").length >= 2 && document.querySelectorAll("#pins li").length === 2`)
	if shown := browsertest.Ask[string](s.Page, `document.querySelector(".word").textContent`); !strings.Contains(shown, "soften this edge") || !strings.Contains(shown, "sculpt/head.stl") || !strings.Contains(shown, "loops = 2") || !strings.Contains(shown, "Carla Søby") {
		t.Errorf("not all is shown: %s", shown)
	}
	if n := s.records("signoff"); n != 0 {
		t.Errorf("%d words before anybody agreed", n)
	}
	s.Act(`$("[name=passphrase]").value = "a short walk"; $("#sure").click()`)
	s.Await("the refusal", `document.querySelector("#refused").textContent.includes("the passphrase is not right")`)
	s.Shoot("hold")
	s.Act(`$("[name=passphrase]").value = "a long walk"; $("#sure").click()`)
	s.Await("the signature", `document.querySelector(".word .name") && document.querySelector(".word .name").textContent === "Carla Søby"`)
	s.Await("the board", `document.querySelectorAll("#board button.held").length === 2`)
	s.Await("the pinned notes among the spots, for whoever comes next", `document.querySelectorAll(".spots li").length === 4 && [...document.querySelectorAll("#view .pin")].some(p => p.getAttribute("aria-label") .startsWith("spot 4, note"))`)

	if !browsertest.Ask[bool](s.Page, `document.querySelector("[data-fold=measures]").open`) {
		t.Error("what she unfolded was folded when the stage changed")
	}
	s.Act(`$("#album").open = true`)
	s.Await("the pictures", `document.querySelectorAll("#pictures img").length > 0 && [...document.querySelectorAll("#pictures img")].every(i => i.naturalWidth > 100)`)
	s.Act(`$("#album").open = false`)

	// The approval: nothing goes before every question is answered.
	s.Act(`press("sign …")`)
	s.Await("the questions", `document.querySelectorAll("[name=tick]").length === 2`)
	s.Act(`$("[name=tick]").click(); $("[name=passphrase]").value = "a long walk"; $("#sure").click()`)
	if browsertest.Ask[bool](s.Page, `document.querySelector(".word form, form.word").checkValidity()`) {
		t.Error("a question is open and the form would go")
	}
	s.Act(`document.querySelectorAll("[name=tick]")[1].click(); $("[name=answer]").click(); $("[name=note]").value = "it is meant so"`)
	s.Shoot("sign")
	s.Act(`$("#sure").click()`)
	s.Await("the signature", `document.querySelector(".word .name") && document.querySelector(".word").textContent.includes("whole/head is done")`)
	s.Shoot("signed")
	if h, a := s.records("hold"), s.records("approve"); h != 1 || a != 1 {
		t.Errorf("%d holds and %d approvals in the trail", h, a)
	}

	// The arm, conceded with a key of another file.
	s.Act(`press("■whole")`)
	s.Await("the arm", `document.querySelector("#stage-name").textContent === "whole/arm"`)
	s.Act(`press("concede holes …")`)
	s.Await("the concession", `document.querySelector("[name=reason]")`)
	s.Act(`$("#key").value = "file"; $("#key").onchange(); $("[name=file]").value = "` + s.key("ben") + `"; press("look whose")`)
	s.Await("whose it is", `document.querySelector("#sure").textContent === "sign as Ben Okafor"`)
	s.Act(`$("[name=reason]").value = "the third is where the joint sits"`)
	s.Shoot("concede")
	s.Act(`$("#sure").click()`)
	s.Await("the concession", `document.querySelector(".word").textContent.includes("whole/arm is unsigned")`)
	s.checked(3)

	for _, lack := range append(s.Nameless(), s.Faint()...) {
		t.Error(lack)
	}
	s.Complaints()
}

// TestDeskOnAPhone: nothing hangs over the edge and fingers can press what is
// there. (A desk is for the machine it runs on, but windows are narrow too, and
// so are pages zoomed in.)
func TestDeskOnAPhone(t *testing.T) {
	s := sit(t, 390, 844)
	s.Act(`press("run what is due")`)
	s.Await("the end of the run", `document.querySelector("#board button.unsigned")`)
	s.Act(`press("○whole")`)
	s.Await("a drawn part", deskDrawn)
	s.Act(`press("next spot"); press("sign …")`)
	s.Await("the form", `document.querySelectorAll("[name=tick]").length === 2`)
	for _, wide := range s.Wide(390) {
		t.Error(wide)
	}
	if low := browsertest.Ask[[]string](s.Page, `[...document.querySelectorAll("button, select, input, textarea")].filter(b => b.offsetParent && !b.closest("#view") && b.getBoundingClientRect().height < 24 && b.type !== "checkbox").map(b => b.outerHTML.slice(0, 100))`); len(low) > 0 {
		t.Errorf("too small for a finger: %q", low)
	}
	s.Shoot("phone")
	s.Complaints()
	t.Run("another tab", s.hostileTab)
}

// hostileTab opens another page in the same browser and has it try all it
// can: it neither learns nor does anything.
func (s *sitter) hostileTab(t *testing.T) {
	s.write("sculpt/head.stl", holed("head", 1)) // so that something is due
	s.Do(chromedp.Navigate("data:text/html,<title>another page</title>"))
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
		got, err := chromedp.Run(s.Ctx, chromedp.Evaluate[string](script, chromedp.EvalAwaitPromise))
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
	s.Act(`const was = window.fetch; window.fetch = async (p, h) => { const r = await was(p, h); if (p !== "/board") return r; const b = await r.json();
		b.Parts[0].Stages = [...Array(10)].map((_, i) => ({ID: "intake/arm/" + i, Name: "intake " + i + ".ply", State: i ? "done" : "held", Says: ""})); b.Next = [...Array(11)].map((_, i) => "x/" + i + ": held");
		return new Response(JSON.stringify(b)); }`)
	s.write("sculpt/head.stl", holed("head", 1)) // so that the board is asked for again
	s.Await("the folded board", `document.querySelector("#board details summary") && document.querySelector("#board details summary").textContent === "intake: 9 done" && document.querySelectorAll("#next details li").length === 3 && document.querySelector("#board button.held")`)
	s.Act(`$("#board details").open = true; $("#next details").open = true; $("#board details summary").focus(); document.activeElement.dataset.was = "here"`)
	s.write("sculpt/head.stl", holed("head", 3))
	s.Await("the board anew", `!document.querySelector("[data-was]")`)
	if !browsertest.Ask[bool](s.Page, `document.querySelector("#board details").open && document.querySelector("#next details").open && document.activeElement === document.querySelector("#board details summary")`) {
		t.Errorf("what she unfolded was folded, or the focus lost: it is on %s", browsertest.Ask[string](s.Page, `document.activeElement.outerHTML.slice(0, 100)`))
	}
	s.Complaints()
}

// TestDeskWithoutWebGL: where no 3D view is possible the desk says so and shows
// its pictures.
func TestDeskWithoutWebGL(t *testing.T) {
	s := sit(t, 1000, 800)
	s.Act(`HTMLCanvasElement.prototype.getContext = () => null; press("run what is due")`)
	s.Await("the end of the run", `document.querySelector("#board button.unsigned")`)
	s.Act(`press("○whole")`)
	s.Await("the sentence", `document.querySelector("#view").textContent.includes("The pictures show the same")`)
	s.Await("the pictures", `document.querySelectorAll("#pictures img").length > 0 && document.querySelector("#pictures img").naturalWidth > 100`)
	s.Complaints()
}
