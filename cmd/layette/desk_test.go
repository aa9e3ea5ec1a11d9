package main

import (
	"bufio"
	"bytes"
	"context"
	"encoding/json"
	"fmt"
	"io"
	"math"
	"net/http"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
	"time"

	"layette/engine/desk"
	"layette/engine/trail"
)

// deskRecipe looks at two parts; the arm has a hole too many.
const deskRecipe = `format = 1
title = "Wren & Thistle, for the desk"
[parts.head]
[parts.arm]
[roles.sculptor]
doc = "cleans and rebuilds"
[roles.reviewer]
doc = "looks again"
[stages.whole]
step = "soundness"
each = "part"
surface = { file = "sculpt/{part}.stl", units = "mm" }
[stages.whole.gates.holes]
rule = "loops <= 2"
why = "more than two holes, for the test's sake"
concede = "reviewer"
[stages.whole.sign]
role = "reviewer"
meaning = "I looked at every hole and judged it right"
questions = ["Is every hole meant?", "Is the skin whole elsewhere?"]
`

// holed is a ball of 40 mm with the given number of holes in it, as STL text.
func holed(name string, holes int) string {
	const across = 24
	at := func(i, j int) [3]float64 {
		u, v := 2*math.Pi*float64(i%across)/across, math.Pi*float64(j)/across
		return [3]float64{20 * math.Sin(v) * math.Cos(u), 20 * math.Sin(v) * math.Sin(u), 20 * math.Cos(v)}
	}
	var b strings.Builder
	fmt.Fprintf(&b, "solid %s\n", name)
	facet := func(p ...[3]float64) {
		b.WriteString("facet normal 0 0 0\nouter loop\n")
		for _, q := range p {
			fmt.Fprintf(&b, "vertex %.6f %.6f %.6f\n", q[0], q[1], q[2])
		}
		b.WriteString("endloop\nendfacet\n")
	}
	for j := range across {
		for i := range across {
			if j == across/2 && i%4 == 0 && i/4 < holes {
				continue
			}
			if j > 0 {
				facet(at(i, j), at(i, j+1), at(i+1, j))
			}
			if j < across-1 {
				facet(at(i+1, j), at(i, j+1), at(i+1, j+1))
			}
		}
	}
	b.WriteString("endsolid\n")
	return b.String()
}

// A served desk is one that a test talks to as the page does.
type served struct {
	*workroom
	url, token string
	end        func() error
}

// newServed has a model with two balls, people with keys, Carla's with a
// passphrase, and a desk before it.
func newServed(t *testing.T) *served {
	t.Helper()
	s := &served{workroom: newWorkroom(t)}
	s.write("recipes/head.toml", deskRecipe)
	s.write("sculpt/head.stl", holed("head", 2))
	s.write("sculpt/arm.stl", holed("arm", 3))
	s.opened()
	if _, err := trail.MakeKey(s.key("carla"), "carla", []byte("a long walk")); err != nil {
		t.Fatal(err)
	}
	s.run(exitDone, "people", "add", "carla", "--printed", "Carla Søby", "--role", "reviewer", "--key", s.key("carla")+".pub", "--as", s.key("wren"), "--yes")
	a := newApp(nil, io.Discard, io.Discard)
	a.dir, a.env = s.dir, func(name string) string { return s.env[name] }
	l, err := desk.Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	d := desk.New(a.deskOptions(s.dir, s.key("carla")))
	s.url, s.token, _ = strings.Cut(d.Address(l), "/#")
	ctx, cancel := context.WithCancel(t.Context())
	ended := make(chan error, 1)
	go func() { ended <- d.Serve(ctx, l) }()
	s.end = func() error { cancel(); return <-ended }
	t.Cleanup(cancel)
	s.until("the first look", func() bool { return s.state("whole/head") != "" })
	return s
}

// ask sends what the page sends and returns the answer; body nil asks by GET.
func (s *served) ask(path string, body any) (code int, said map[string]any) {
	s.t.Helper()
	r, _ := http.NewRequestWithContext(s.t.Context(), http.MethodGet, s.url+path, nil)
	if body != nil {
		text, _ := json.Marshal(body)
		r, _ = http.NewRequestWithContext(s.t.Context(), http.MethodPost, s.url+path, bytes.NewReader(text))
		r.Header.Set("Origin", s.url)
		r.Header.Set("Content-Type", "application/json")
	}
	r.Header.Set("Authorization", "Bearer "+s.token)
	w, err := http.DefaultClient.Do(r)
	if err != nil {
		s.t.Fatal(err)
	}
	defer w.Body.Close()
	json.NewDecoder(w.Body).Decode(&said)
	return w.StatusCode, said
}

func (s *served) state(id string) string {
	_, said := s.ask("/stage?id="+id, nil)
	state, _ := said["State"].(string)
	return state
}

func (s *served) until(what string, is func() bool) {
	s.t.Helper()
	for range 200 {
		if is() {
			return
		}
		time.Sleep(50 * time.Millisecond)
	}
	s.t.Fatalf("%s: not within ten seconds", what)
}

// looked looks at a stage and returns the beginnings of a signature by a key.
func (s *served) looked(id string, how map[string]any, person string) map[string]any {
	s.t.Helper()
	asks := map[string]any{"id": id, "verdict": "", "gate": ""}
	for k, v := range how {
		asks[k] = v
	}
	code, v := s.ask("/look", asks)
	if code != 200 {
		s.t.Fatalf("look at %s: %d %v", id, code, v)
	}
	asks["seen"], asks["key"], asks["person"] = v["seen"], s.key(person), person
	if asks["verdict"] == "" && asks["gate"] == "" {
		asks["verdict"] = v["verdict"]
	}
	return asks
}

// records counts the records of a verdict or kind in the trail.
func (s *served) records(what string) (n int) {
	s.t.Helper()
	t, err := trail.Open(filepath.Join(s.dir, trail.FileName), trail.Options{})
	if err != nil || t.Err() != nil {
		s.t.Fatal(err, t.Err())
	}
	for _, r := range t.Records() {
		if string(r.Verdict) == what || string(r.Kind) == what {
			n++
		}
	}
	return n
}

// TestDeskWords: words given at the desk, and every way in which one is not taken.
func TestDeskWords(t *testing.T) {
	s := newServed(t)
	if code, said := s.ask("/look", map[string]any{"id": "whole/head"}); code == 200 {
		t.Errorf("shown for signing before it ran: %v", said)
	}
	if code, _ := s.ask("/run", map[string]any{}); code != 200 {
		t.Fatalf("run: %d", code)
	}
	s.until("the run", func() bool { return s.state("whole/head") == "unsigned" && s.state("whole/arm") == "held" })

	yes := []string{"Is every hole meant?", "Is the skin whole elsewhere?"}
	approve := func(change map[string]any) (int, map[string]any) {
		w := s.looked("whole/head", nil, "ben")
		w["ticks"] = yes
		for k, v := range change {
			w[k] = v
		}
		return s.ask("/sign", w)
	}
	refused := []struct {
		name   string
		change map[string]any
		says   string
	}{
		{"what was shown is not what is signed", map[string]any{"seen": strings.Repeat("0", 64)}, "changed since it was looked at"},
		{"nothing was shown", map[string]any{"seen": ""}, "changed since it was looked at"},
		{"another verdict than shown", map[string]any{"verdict": "withdraw"}, "changed since it was looked at"},
		{"a question is open", map[string]any{"ticks": yes[:1]}, "not answered yes: Is the skin whole elsewhere?"},
		{"another's name beside the button", map[string]any{"person": "anna"}, "that key is Ben Okafor's"},
		{"no key", map[string]any{"key": ""}, "choose the key"},
		{"a key that is not there", map[string]any{"key": "/no/such/key"}, "no such file"},
		{"a file that is no key", map[string]any{"key": filepath.Join(s.dir, "model.toml")}, "cannot be used as a private key"},
		{"a folder for a key", map[string]any{"key": s.dir}, "is not a key file"},
		{"a device for a key", map[string]any{"key": "/dev/zero"}, "is not a key file"},
		{"no passphrase", map[string]any{"key": s.key("carla"), "person": "carla"}, "the passphrase is not right"},
		{"a wrong passphrase", map[string]any{"key": s.key("carla"), "person": "carla", "passphrase": []byte("a short walk")}, "the passphrase is not right"},
		{"a note on another file", map[string]any{"pins": []any{map[string]any{"file": strings.Repeat("a", 64), "at": []float64{1, 2, 3}, "radius": 1, "words": "here"}}}, "pin it again"},
		{"an answer to nothing", map[string]any{"answers": []string{"ffffffff"}}, "does not stand against this"},
		{"a note with a line break in it", map[string]any{"notes": []string{"one\ntwo"}}, ""},
	}
	for _, tt := range refused {
		code, said := approve(tt.change)
		if text := fmt.Sprint(said["says"]); code < 400 || !strings.Contains(text, tt.says) {
			t.Errorf("%s: %d %v", tt.name, code, said)
		}
		if strings.Contains(fmt.Sprint(said), "format = 1") {
			t.Errorf("%s: it tells what a file holds: %v", tt.name, said)
		}
	}
	if n := s.records("signoff"); n != 0 {
		t.Fatalf("%d words are in the trail", n)
	}

	// A file that changes between looking and signing, size and time kept.
	w := s.looked("whole/head", nil, "ben")
	w["ticks"] = yes
	s.write("sculpt/head.stl", strings.Replace(holed("head", 2), "solid head", "solid HEAD", 1))
	if code, said := s.ask("/sign", w); code < 400 || s.records("signoff") != 0 {
		t.Errorf("signed what was not looked at: %d %v", code, said)
	}
	s.write("sculpt/head.stl", holed("head", 2))
	s.until("the old file", func() bool { return s.state("whole/head") == "unsigned" })

	// A hold with a note pinned to the skin, answered by an approval.
	_, stage := s.ask("/stage?id=whole/head", nil)
	surface := stage["solids"].([]any)[0].(map[string]any)
	_, solid := s.ask(fmt.Sprintf("/solid?id=whole/head&key=%s", surface["key"]), nil)
	hold := s.looked("whole/head", map[string]any{"verdict": "hold"}, "ben")
	if code, said := s.ask("/sign", hold); code != 400 {
		t.Errorf("a hold without a reason: %d %v", code, said)
	}
	hold["pins"] = []any{map[string]any{"file": solid["file"], "at": []float64{20, 0, 0}, "radius": 1.5, "words": "this hole is too wide"}}
	if code, said := s.ask("/sign", hold); code != 200 || said["name"] != "Ben Okafor" || said["state"] != "held" {
		t.Fatalf("hold: %d %v", code, said)
	}
	_, v := s.ask("/look", map[string]any{"id": "whole/head"})
	open, _ := json.Marshal(v["open"])
	if !strings.Contains(string(open), "this hole is too wide") {
		t.Fatalf("what stands against it is not shown: %s", open)
	}
	code, said := approve(map[string]any{"answers": []any{v["open"].([]any)[0].(map[string]any)["record"]}, "notes": []string{"it is meant so"}})
	if code != 200 || said["state"] != "done" || said["meaning"] != "I looked at every hole and judged it right" {
		t.Fatalf("approve: %d %v", code, said)
	}

	// The arm: not to be approved, conceded by who may.
	if code, said := s.ask("/look", map[string]any{"id": "whole/arm"}); code != 409 || !strings.Contains(fmt.Sprint(said), "holes does not hold") {
		t.Errorf("approval of what is held: %d %v", code, said)
	}
	leave := s.looked("whole/arm", map[string]any{"gate": "holes"}, "anna")
	if code, said := s.ask("/sign", leave); code != 400 || !strings.Contains(fmt.Sprint(said), "must say why") {
		t.Errorf("a concession without a reason: %d %v", code, said)
	}
	leave["reason"] = "the third is where the joint sits"
	if code, said := s.ask("/sign", leave); code != 409 || !strings.Contains(fmt.Sprint(said), "has not the authority") {
		t.Errorf("a concession by a sculptor: %d %v", code, said)
	}
	leave["key"], leave["person"], leave["passphrase"] = s.key("carla"), "carla", []byte("a long walk")
	if code, said := s.ask("/sign", leave); code != 200 || said["name"] != "Carla Søby" || said["state"] != "unsigned" {
		t.Fatalf("concede: %d %v", code, said)
	}
	if h, a, c := s.records("hold"), s.records("approve"), s.records("concession"); h != 1 || a != 1 || c != 1 {
		t.Errorf("%d holds, %d approvals, %d concessions in the trail", h, a, c)
	}
	s.checked(3)
}

// checked has the trail's signatures checked by ssh-keygen, beside the people's
// five records so many words.
func (s *served) checked(words int) {
	s.t.Helper()
	if _, err := exec.LookPath("ssh-keygen"); err != nil {
		s.t.Log("NOT CHECKED against ssh-keygen: it is not installed here")
		return
	}
	to := filepath.Join(filepath.Dir(s.dir), "audit")
	s.run(exitDone, "trail", "--export", to)
	out, err := exec.Command("sh", filepath.Join(to, "check.sh")).CombinedOutput()
	if want := fmt.Sprintf("%d signatures hold, 0 do not", 4+words); err != nil || !strings.Contains(string(out), want) {
		s.t.Errorf("check.sh: %v, want %q\n%s", err, want, out)
	}
}

// TestDeskLive: what changes is told, and Ctrl-C ends it.
func TestDeskLive(t *testing.T) {
	s := newServed(t)
	r, _ := http.NewRequestWithContext(t.Context(), http.MethodGet, s.url+"/events", nil)
	r.Header.Set("Authorization", "Bearer "+s.token)
	w, err := http.DefaultClient.Do(r)
	if err != nil {
		t.Fatal(err)
	}
	defer w.Body.Close()
	lines := bufio.NewScanner(w.Body)
	type moment struct {
		Board   int
		Problem string
		Run     struct {
			Going bool
			Says  string
		}
	}
	next := func(what string, is func(m moment) bool) (m moment) {
		t.Helper()
		stuck := time.AfterFunc(10*time.Second, func() { w.Body.Close() })
		defer stuck.Stop()
		for lines.Scan() {
			if text, ok := strings.CutPrefix(lines.Text(), "data: "); ok && json.Unmarshal([]byte(text), &m) == nil && is(m) {
				return m
			}
			m = moment{}
		}
		t.Fatalf("%s: not told", what)
		return m
	}
	first := next("the first board", func(m moment) bool { return m.Board > 0 })
	s.ask("/run", map[string]any{})
	next("its end", func(m moment) bool { return m.Run.Says == "2 stages ran" })
	second := next("the board after it", func(m moment) bool { return m.Board > first.Board })
	s.write("sculpt/head.stl", holed("head", 1))
	next("a changed file", func(m moment) bool { return m.Board > second.Board })
	s.until("due again", func() bool { return s.state("whole/head") == "due" })
	s.write("recipes/head.toml", "format = 1\n[stages.x]\nstep = \"nothing\"\n")
	if m := next("a broken recipe", func(m moment) bool { return m.Problem != "" }); !strings.Contains(m.Problem, "nothing") {
		t.Errorf("problem: %s", m.Problem)
	}
	s.write("recipes/head.toml", deskRecipe)
	next("the mended recipe", func(m moment) bool { return m.Problem == "" })
	began := time.Now()
	if err := s.end(); err != context.Canceled || time.Since(began) > 3*time.Second {
		t.Errorf("ended after %v with %v", time.Since(began), err)
	}
	if _, err := http.Get(s.url); err == nil {
		t.Error("it answers after its end")
	}
}

// TestDeskCommand: other machines cannot be served; Ctrl-C ends it.
func TestDeskCommand(t *testing.T) {
	d := newWorkroom(t)
	for _, at := range []string{"0.0.0.0", "192.168.0.2", "example.com", "::"} {
		d.says(d.run(exitUsage, "desk", "--at", at), "for the person at this machine")
	}
	ctx, cancel := context.WithCancel(t.Context())
	var errs bytes.Buffer
	a := newApp(nil, writes(func(text []byte) {
		if bytes.Contains(text, []byte("http://127.0.0.1:")) {
			cancel() // Ctrl-C as soon as the address is there
		}
	}), &errs)
	a.dir, a.env = d.dir, func(name string) string { return d.env[name] }
	root := newRootCmd(a)
	root.SetArgs([]string{"desk"})
	if code := a.exitCode(ctx, root.ExecuteContext(ctx)); code != exitInterrupted {
		t.Errorf("ended with %d: %s", code, errs.String())
	}
	if err := os.Remove(filepath.Join(d.dir, "model.toml")); err != nil {
		t.Fatal(err)
	}
	d.says(d.run(exitUsage, "desk"), "model.toml")
}

// writes hears what is written.
type writes func([]byte)

func (w writes) Write(p []byte) (int, error) { w(p); return len(p), nil }
