package trail

import (
	"bytes"
	"crypto/ed25519"
	"crypto/sha256"
	"encoding/hex"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"
)

// house is an invented studio with its people, its keys and a clock.
type house struct {
	t    testing.TB
	dir  string
	path string
	now  time.Time
	keys map[string]ssh.Signer
	o    Options
}

// key returns a key that is the same at every run.
func key(t testing.TB, name string) ssh.Signer {
	t.Helper()
	seed := sha256.Sum256([]byte("key of " + name))
	s, err := ssh.NewSignerFromKey(ed25519.NewKeyFromSeed(seed[:]))
	if err != nil {
		t.Fatal(err)
	}
	return s
}

var printedNames = map[string]string{"wren": "Wren Hollis", "anna": "Anna Berg", "ben": "Ben Okafor", "carla": "Carla Søby", "dov": "Dov Arnaud"}

var rolesOf = map[string][]string{"wren": {"owner"}, "anna": {"sculptor"}, "ben": {"reviewer", "sculptor"}, "carla": {"reviewer"}, "dov": {"reviewer", "release"}}

// newHouse opens a trail whose owner is wren and enrols the others.
func newHouse(t testing.TB, names ...string) *house {
	t.Helper()
	dir := t.TempDir()
	h := &house{t: t, dir: dir, path: filepath.Join(dir, "model", FileName), keys: map[string]ssh.Signer{},
		now: time.Date(2026, 3, 2, 9, 0, 0, 0, time.UTC)}
	if err := os.Mkdir(filepath.Dir(h.path), 0o755); err != nil {
		t.Fatal(err)
	}
	h.o = Options{Private: filepath.Join(dir, "private"), Now: func() time.Time { return h.now }}
	h.must("wren", Draft{Kind: Opening, Trail: "luna-2026-03", Name: "wren", Printed: "Wren Hollis", Roles: rolesOf["wren"],
		Public: PublicText(h.key("wren").PublicKey()), Meaning: "I open this trail and answer for the people in it"})
	for _, n := range names {
		h.must("wren", h.enrolment(n))
	}
	return h
}

func (h *house) key(name string) ssh.Signer {
	if h.keys[name] == nil {
		h.keys[name] = key(h.t, name)
	}
	return h.keys[name]
}

func (h *house) enrolment(name string) Draft {
	return Draft{Kind: Person, Name: name, Printed: printedNames[name], Roles: rolesOf[name],
		Public: PublicText(h.key(name).PublicKey()), Meaning: "I know this key to be this person's"}
}

// open reads the trail with this house's own memory.
func (h *house) open() *Trail {
	h.t.Helper()
	tr, err := Open(h.path, h.o)
	if err != nil {
		h.t.Fatal(err)
	}
	return tr
}

// plain reads the trail without any memory.
func (h *house) plain() *Trail {
	h.t.Helper()
	tr, err := Open(h.path, Options{Now: h.o.Now})
	if err != nil {
		h.t.Fatal(err)
	}
	return tr
}

// add lets a person append a record a minute after the last.
func (h *house) add(name string, d Draft) (Record, error) {
	h.t.Helper()
	h.now = h.now.Add(time.Minute)
	return h.open().Append(h.t.Context(), d, h.key(name))
}

func (h *house) must(name string, d Draft) Record {
	h.t.Helper()
	r, err := h.add(name, d)
	if err != nil {
		h.t.Fatalf("%s adds %s %s: %v", name, d.Kind, d.Verdict, err)
	}
	return r
}

func (h *house) bytes() []byte {
	h.t.Helper()
	data, err := os.ReadFile(h.path)
	if err != nil {
		h.t.Fatal(err)
	}
	return data
}

func (h *house) write(data []byte) {
	h.t.Helper()
	if err := os.WriteFile(h.path, data, 0o644); err != nil {
		h.t.Fatal(err)
	}
}

// fork copies the studio to a second workstation: its own file and memory.
func (h *house) fork(name string) *house {
	f := *h
	f.path = filepath.Join(h.dir, name, FileName)
	if err := os.MkdirAll(filepath.Dir(f.path), 0o755); err != nil {
		h.t.Fatal(err)
	}
	f.o.Private = filepath.Join(h.dir, "private-"+name)
	f.o.Now = func() time.Time { return f.now }
	f.write(h.bytes())
	return &f
}

// blocks parts a trail's bytes into records.
func blocks(data []byte) (list [][]byte) {
	groups, _ := split(data)
	for _, g := range groups {
		list = append(list, slices.Concat(g.lines, g.sig))
	}
	return list
}

func join(list ...[]byte) []byte { return bytes.Join(list, nil) }

// file invents a file with a digest.
func file(name string) File {
	sum := sha256.Sum256([]byte(name))
	return File{SHA256: hex.EncodeToString(sum[:]), Size: int64(1000 + len(name)), Label: name}
}

func subject(files ...string) Subject {
	s := Subject{Stage: "gaps/left-arm", State: file("state").SHA256}
	for _, f := range files {
		s.Files = append(s.Files, file(f))
	}
	return s
}

// word is a verdict on a subject.
func word(v Verdict, s Subject, notes ...string) Draft {
	return Draft{Kind: Signoff, Verdict: v, Stage: s.Stage, Files: s.Files, State: s.State, Notes: notes,
		Meaning: "I looked at every spot and judged it mouldable", Saw: []string{"air.least = 1.31 mm | rule air.least >= 1.2 mm | holds"}}
}

func answering(d Draft, ids ...ID) Draft { d.Answers = ids; return d }

// codes lists the codes of a trail's problems, each once.
func codes(t *Trail) string {
	var list []string
	for _, p := range t.Problems() {
		list = append(list, p.Code)
	}
	slices.Sort(list)
	return strings.Join(slices.Compact(list), " ")
}

func (h *house) wantCodes(tr *Trail, want string) {
	h.t.Helper()
	if got := codes(tr); got != want {
		h.t.Errorf("problems %q, want %q\n%v", got, want, tr.Err())
	}
}

func (h *house) wantState(tr *Trail, s Subject, p Policy, want State) Decision {
	h.t.Helper()
	d := tr.Decide(s, p)
	if d.State != want {
		h.t.Errorf("the subject is %s, want %s; %q", d.State, want, d.Reasons)
	}
	return d
}

// forge signs a record that Append would not write: change alters it before
// it is signed. It returns the record's bytes.
func (h *house) forge(name string, d Draft, change func(*Record)) []byte {
	h.t.Helper()
	h.now = h.now.Add(time.Minute)
	tr := h.open()
	r := &Record{Draft: d.tidy(), Tag: newTag(), Time: h.now, Key: Fingerprint(h.key(name).PublicKey()),
		By: name, ByPrinted: printedNames[name]}
	r.Trail, r.opened, r.After = tr.Name(), tr.opened(), tr.heads()
	if r.Kind == Opening {
		r.Trail, r.opened, r.After = d.Trail, ID{}, nil
	}
	if change != nil {
		change(r)
	}
	return h.seal(name, r, r.signed())
}

// seal signs lines as they are and returns them with their sig lines.
func (h *house) seal(name string, r *Record, lines []byte) []byte {
	h.t.Helper()
	sig, err := sign(r.Tag, lines, h.key(name))
	if err != nil {
		h.t.Fatal(err)
	}
	return join(lines, sig)
}

// with reads the trail with more bytes behind it, without memory.
func (h *house) with(more ...[]byte) *Trail {
	h.t.Helper()
	return h.of(append([][]byte{h.bytes()}, more...)...)
}

// of reads bytes as a trail, without memory or disk.
func (h *house) of(parts ...[]byte) *Trail {
	return reading(join(parts...), nil, h.now)
}

func reading(data []byte, good known, now time.Time) *Trail {
	t := &Trail{data: data, o: Options{Now: func() time.Time { return now }}}
	groups, problems := split(data)
	t.problems = problems
	t.take(groups, &memory{good: good})
	t.settle()
	return t
}

// known returns the trail's records as found good before.
func (h *house) known() known {
	groups, _ := split(h.bytes())
	good := known{}
	for _, g := range groups {
		good[g.sum()] = true
	}
	return good
}
