package desk

import (
	"net"
	"net/http"
	"net/http/httptest"
	"strings"
	"testing"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/trail"
)

const (
	testHost  = "127.0.0.1:8020"
	testOwn   = "http://" + testHost
	testStage = "gaps/left-arm"
)

// guarded is a desk with one stage on its board, behind its guard.
func guarded(t *testing.T) (*Desk, http.Handler) {
	t.Helper()
	d := New(Options{Shown: func(*engine.Status, *trail.Trail) []Shown { return nil }})
	d.live.put(&engine.Board{Stages: []*engine.Status{{Node: engine.Node{Stage: "gaps", Part: "left-arm"}, State: engine.Done}}}, nil,
		sheet.Page{Model: "Ottilie", Parts: []sheet.Part{{Stages: []sheet.Stage{{ID: testStage, State: "done"}}}}}, nil)
	return d, d.handler(testHost)
}

// asked is a request as the desk's own page makes it, with what is to differ.
type asked struct {
	method, path, body string
	host               string
	without            []string          // headers left out
	with               map[string]string // headers set otherwise
	long               bool              // its length is not said beforehand
}

func (a asked) to(d *Desk, h http.Handler) *httptest.ResponseRecorder {
	r := httptest.NewRequest(a.method, "http://"+testHost+"/", strings.NewReader(a.body))
	r.URL.Path, r.URL.RawQuery, _ = strings.Cut(a.path, "?")
	r.Host = testHost
	if a.long {
		r.ContentLength = -1
	}
	if a.host != "" {
		r.Host = a.host
	}
	r.Header.Set("Authorization", "Bearer "+d.token)
	r.Header.Set("Sec-Fetch-Site", "same-origin")
	if a.method != http.MethodGet {
		r.Header.Set("Origin", testOwn)
		r.Header.Set("Content-Type", "application/json")
	}
	for _, name := range a.without {
		r.Header.Del(name)
	}
	for name, value := range a.with {
		r.Header.Set(name, value)
	}
	w := httptest.NewRecorder()
	h.ServeHTTP(w, r)
	return w
}

// TestHostilePages plays other pages in the same browser, other machines and
// names turned to this one. Each differs from the desk's own request by one
// thing, so that every single check is seen to hold.
func TestHostilePages(t *testing.T) {
	d, h := guarded(t)
	own := []asked{{method: "GET", path: "/board"}, {method: "GET", path: "/stage?id=" + testStage}, {method: "POST", path: "/stop", body: "{}"}}
	for _, a := range own {
		if w := a.to(d, h); w.Code != 200 {
			t.Fatalf("the desk's own page is refused %s %s: %d %s", a.method, a.path, w.Code, w.Body)
		}
	}
	other := map[string]string{"Origin": "http://evil.example"}
	tests := []struct {
		name string
		asked
		want int
	}{
		{"no token", asked{method: "GET", path: "/board", without: []string{"Authorization"}}, 401},
		{"a wrong token", asked{method: "GET", path: "/board", with: map[string]string{"Authorization": "Bearer " + strings.Repeat("A", 43)}}, 401},
		{"an empty token", asked{method: "GET", path: "/board", with: map[string]string{"Authorization": "Bearer "}}, 401},
		{"half a token", asked{method: "GET", path: "/board", with: map[string]string{"Authorization": "Bearer " + d.token[:20]}}, 401},
		{"the token in a cookie", asked{method: "GET", path: "/board", without: []string{"Authorization"}, with: map[string]string{"Cookie": "token=" + d.token}}, 401},
		{"the token in the address", asked{method: "GET", path: "/board?token=" + d.token, without: []string{"Authorization"}}, 401},
		{"the token as a password", asked{method: "GET", path: "/board", with: map[string]string{"Authorization": "Basic " + d.token}}, 401},
		{"no token for the events", asked{method: "GET", path: "/events", without: []string{"Authorization"}}, 401},
		{"no token for a surface", asked{method: "GET", path: "/solid?id=" + testStage, without: []string{"Authorization"}}, 401},
		{"no token for pictures of a child", asked{method: "GET", path: "/pictures?id=" + testStage, without: []string{"Authorization"}}, 401},
		{"another page takes pictures", asked{method: "GET", path: "/pictures?id=" + testStage, with: map[string]string{"Sec-Fetch-Site": "cross-site"}}, 403},
		{"no token for an act", asked{method: "POST", path: "/run", body: "{}", without: []string{"Authorization"}}, 401},

		{"a name turned to this machine", asked{method: "GET", path: "/board", host: "evil.example:8020"}, 421},
		{"a name for the empty page", asked{method: "GET", path: "/", host: "evil.example:8020"}, 421},
		{"the machine's name", asked{method: "GET", path: "/board", host: "localhost:8020"}, 421},
		{"another port", asked{method: "GET", path: "/board", host: "127.0.0.1:8021"}, 421},
		{"no port", asked{method: "GET", path: "/board", host: "127.0.0.1"}, 421},

		{"another page's act", asked{method: "POST", path: "/run", body: "{}", with: other}, 403},
		{"another page's look", asked{method: "GET", path: "/board", with: other}, 403},
		{"a page in a sandbox", asked{method: "POST", path: "/run", body: "{}", with: map[string]string{"Origin": "null"}}, 403},
		{"another port's page", asked{method: "POST", path: "/run", body: "{}", with: map[string]string{"Origin": "http://127.0.0.1:8021"}}, 403},
		{"the same number, encrypted", asked{method: "POST", path: "/run", body: "{}", with: map[string]string{"Origin": "https://" + testHost}}, 403},
		{"an act from nowhere", asked{method: "POST", path: "/run", body: "{}", without: []string{"Origin"}}, 403},
		{"cross-site by the browser's word", asked{method: "GET", path: "/board", with: map[string]string{"Sec-Fetch-Site": "cross-site"}}, 403},
		{"same-site is not same page", asked{method: "GET", path: "/board", with: map[string]string{"Sec-Fetch-Site": "same-site"}}, 403},
		{"an act typed into the address", asked{method: "POST", path: "/run", body: "{}", with: map[string]string{"Sec-Fetch-Site": "none"}}, 403},
		{"another page takes the script", asked{method: "GET", path: "/desk.js", with: map[string]string{"Sec-Fetch-Site": "cross-site"}}, 403},

		{"a form", asked{method: "POST", path: "/run", body: "only=x", with: map[string]string{"Content-Type": "application/x-www-form-urlencoded"}}, 415},
		{"a form with a file", asked{method: "POST", path: "/sign", body: "x", with: map[string]string{"Content-Type": "multipart/form-data; boundary=x"}}, 415},
		{"JSON that says it is text", asked{method: "POST", path: "/run", body: "{}", with: map[string]string{"Content-Type": "text/plain"}}, 415},
		{"no kind at all", asked{method: "POST", path: "/run", body: "{}", without: []string{"Content-Type"}}, 415},

		{"GET for an act", asked{method: "GET", path: "/run"}, 405},
		{"GET for a signature", asked{method: "GET", path: "/sign?id=" + testStage}, 405},
		{"asking leave for another page", asked{method: "OPTIONS", path: "/sign", with: other}, 403},
		{"PUT", asked{method: "PUT", path: "/board", body: "{}"}, 405},
		{"POST for a look", asked{method: "POST", path: "/board", body: "{}"}, 405},

		{"too much", asked{method: "POST", path: "/look", body: `{"id":"` + strings.Repeat("a", longestBody) + `"}`}, 413},
		{"too much, its length not said", asked{method: "POST", path: "/look", body: `{"id":"` + strings.Repeat("a", longestBody) + `"}`, long: true}, 413},
		{"not JSON", asked{method: "POST", path: "/look", body: "only=x"}, 400},
		{"two things", asked{method: "POST", path: "/run", body: "{}{}"}, 400},
		{"an unknown field", asked{method: "POST", path: "/look", body: `{"id":"x","path":"/etc/passwd"}`}, 400},

		{"a path upwards", asked{method: "GET", path: "/../model.toml"}, 307},
		{"a path upwards, in disguise", asked{method: "GET", path: "/%2e%2e/model.toml"}, 404},
		{"a file", asked{method: "GET", path: "/trail.txt"}, 404},
		{"a stage that is a path", asked{method: "GET", path: "/stage?id=../../../etc/passwd"}, 404},
		{"a stage that is an absolute path", asked{method: "GET", path: "/solid?id=/etc/passwd"}, 404},
		{"a stage upwards of itself", asked{method: "GET", path: "/stage?id=gaps/left-arm/../left-arm"}, 404},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			w := tt.to(d, h)
			if w.Code != tt.want {
				t.Errorf("answered %d, want %d: %s", w.Code, tt.want, w.Body)
			}
			if strings.Contains(w.Body.String(), "Ottilie") {
				t.Errorf("it tells of the model: %s", w.Body)
			}
			if w.Header().Get("Access-Control-Allow-Origin") != "" || w.Header().Get("Set-Cookie") != "" {
				t.Errorf("it lets others in: %v", w.Header())
			}
		})
	}
}

// TestNobodyElseFrames: every answer forbids to be framed, kept or guessed at,
// and the page may load nothing from elsewhere.
func TestNobodyElseFrames(t *testing.T) {
	d, h := guarded(t)
	for _, a := range []asked{{method: "GET", path: "/"}, {method: "GET", path: "/board"}, {method: "GET", path: "/desk.js"}, {method: "GET", path: "/board", host: "evil.example"}, {method: "POST", path: "/none", body: "{}"}} {
		head := a.to(d, h).Header()
		for name, want := range map[string]string{"X-Frame-Options": "DENY", "Cache-Control": "no-store", "Referrer-Policy": "no-referrer", "X-Content-Type-Options": "nosniff",
			"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin"} {
			if head.Get(name) != want {
				t.Errorf("%s: %s is %q, want %q", a.path, name, head.Get(name), want)
			}
		}
		says := head.Get("Content-Security-Policy")
		for _, want := range []string{"default-src 'none'", "frame-ancestors 'none'", "form-action 'none'", "base-uri 'none'"} {
			if !strings.Contains(says, want) {
				t.Errorf("%s: the policy lacks %s: %s", a.path, want, says)
			}
		}
		if strings.Contains(says, "unsafe") || strings.Contains(says, "*") {
			t.Errorf("%s: the policy is loose: %s", a.path, says)
		}
	}
}

// TestThePageTellsNothing: what is served without the token is the same for
// every model.
func TestThePageTellsNothing(t *testing.T) {
	d, h := guarded(t)
	for _, path := range []string{"/", "/desk.js", "/desk.css", "/sheet.css", "/viewer.js"} {
		w := asked{method: "GET", path: path, without: []string{"Authorization"}}.to(d, h)
		if text := w.Body.String(); w.Code != 200 || len(text) < 100 || strings.Contains(text, "Ottilie") || strings.Contains(text, d.token) {
			t.Errorf("%s: %d, %d bytes", path, w.Code, len(text))
		}
	}
	if w := (asked{method: "GET", path: "/", with: map[string]string{"Sec-Fetch-Site": "cross-site"}, without: []string{"Authorization"}}).to(d, h); w.Code != 200 {
		t.Errorf("the page cannot be gone to from a link: %d", w.Code)
	}
}

// TestListen: the desk takes numbers of this machine alone.
func TestListen(t *testing.T) {
	for _, address := range []string{"0.0.0.0:0", ":0", "[::]:0", "192.168.1.4:0", "localhost:0", "example.com:0", "127.0.0.1.example.com:0", "8020", ""} {
		if l, err := Listen(address); err == nil {
			l.Close()
			t.Errorf("%q: served to %s", address, l.Addr())
		}
	}
	l, err := Listen("127.0.0.1:0")
	if err != nil {
		t.Fatal(err)
	}
	defer l.Close()
	if a := l.Addr().(*net.TCPAddr); !a.IP.IsLoopback() || a.Port == 0 {
		t.Errorf("serves on %s", a)
	}
	a, b := New(Options{}), New(Options{})
	if a.token == b.token || len(a.token) != 43 || !strings.HasSuffix(a.Address(l), "/#"+a.token) {
		t.Errorf("tokens %q and %q, address %s", a.token, b.token, a.Address(l))
	}
}
