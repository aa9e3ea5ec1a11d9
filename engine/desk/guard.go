package desk

import (
	"crypto/rand"
	"crypto/sha256"
	"crypto/subtle"
	"encoding/base64"
	"mime"
	"net/http"
	"strings"
)

// newToken returns 256 random bits as they stand in an address.
func newToken() string {
	var b [32]byte
	rand.Read(b[:])
	return base64.RawURLEncoding.EncodeToString(b[:])
}

// policy lets the page load nothing but the desk's own files, send nothing
// elsewhere, stand in no frame, and make no script out of text.
const policy = "default-src 'none'; script-src 'self'; style-src 'self'; img-src 'self' data:; connect-src 'self'; " +
	"base-uri 'none'; form-action 'none'; frame-ancestors 'none'; require-trusted-types-for 'script'; trusted-types 'none'"

// longestBody is how much a request may carry: a word with its notes.
const longestBody = 64 << 10

// A guard stands before everything that the desk answers.
type guard struct {
	host  string // number and port that the desk is found under
	token [32]byte
	next  http.Handler
	open  map[string]bool // paths that tell nothing of the model
}

func newGuard(host, token string, next http.Handler, open map[string]bool) *guard {
	return &guard{host: host, token: sha256.Sum256([]byte(token)), next: next, open: open}
}

func (g *guard) ServeHTTP(w http.ResponseWriter, r *http.Request) {
	h := w.Header()
	for name, value := range map[string]string{
		"Content-Security-Policy": policy, "X-Frame-Options": "DENY", "X-Content-Type-Options": "nosniff", "Referrer-Policy": "no-referrer",
		"Cross-Origin-Opener-Policy": "same-origin", "Cross-Origin-Resource-Policy": "same-origin", "Cache-Control": "no-store",
		"Permissions-Policy": "camera=(), microphone=(), geolocation=()",
	} {
		h.Set(name, value)
	}
	if code, says := g.refuses(r); code != 0 {
		refuse(w, code, says, "")
		return
	}
	r.Body = http.MaxBytesReader(w, r.Body, longestBody)
	g.next.ServeHTTP(w, r)
}

// refuses says why a request is not answered; code 0 lets it pass.
func (g *guard) refuses(r *http.Request) (code int, says string) {
	switch {
	case r.Host != g.host:
		return http.StatusMisdirectedRequest, "the desk answers to its own number alone"
	case !g.ownPage(r):
		return http.StatusForbidden, "this was asked from another page than the desk's"
	case !g.open[r.URL.Path] && !g.knows(r):
		return http.StatusUnauthorized, "open the desk by the address that layette desk printed"
	case r.Method == http.MethodPost && !isJSON(r):
		return http.StatusUnsupportedMediaType, "the desk's page sends JSON"
	case r.ContentLength > longestBody:
		return http.StatusRequestEntityTooLarge, "that is too much at once"
	}
	return 0, ""
}

// ownPage reports whether a request comes from the desk's own page as far as
// the browser tells. The empty page may be gone to from anywhere; whatever is
// to change something must say where it comes from.
func (g *guard) ownPage(r *http.Request) bool {
	origin, from := r.Header.Get("Origin"), r.Header.Get("Sec-Fetch-Site")
	reads := r.Method == http.MethodGet || r.Method == http.MethodHead
	switch {
	case origin != "" && origin != "http://"+g.host, origin == "" && !reads:
		return false
	case from == "", from == "same-origin":
		return true
	}
	return reads && (from == "none" || r.URL.Path == "/")
}

// knows reports whether a request carries the token.
func (g *guard) knows(r *http.Request) bool {
	said, ok := strings.CutPrefix(r.Header.Get("Authorization"), "Bearer ")
	sum := sha256.Sum256([]byte(said))
	return subtle.ConstantTimeCompare(sum[:], g.token[:]) == 1 && ok
}

func isJSON(r *http.Request) bool {
	kind, _, err := mime.ParseMediaType(r.Header.Get("Content-Type"))
	return err == nil && kind == "application/json"
}
