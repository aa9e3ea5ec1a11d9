package engine

import (
	"crypto/ed25519"
	"errors"
	"os"
	"path/filepath"
	"slices"
	"strings"
	"testing"
	"time"

	"golang.org/x/crypto/ssh"

	"layette/engine/trail"
)

// signer returns the key of an invented person; the seed makes it the same in every run.
func signer(t testing.TB, seed byte) ssh.Signer {
	key, err := ssh.NewSignerFromKey(ed25519.NewKeyFromSeed(append(make([]byte, 31), seed)))
	if err != nil {
		t.Fatal(err)
	}
	return key
}

// house opens the model's trail by Wren, who is everything, and enrols Anna the sculptor.
func (f *folder) house() (wren, anna ssh.Signer) {
	f.t.Helper()
	wren, anna = signer(f.t, 1), signer(f.t, 2)
	f.append(wren, trail.Draft{Kind: trail.Opening, Trail: "luna", Name: "wren", Printed: "Wren Hollis", Roles: []string{"sculptor", "maker"},
		Public: trail.PublicText(wren.PublicKey()), Meaning: "I open this trail"})
	f.append(wren, trail.Draft{Kind: trail.Person, Name: "anna", Printed: "Anna Berg", Roles: []string{"sculptor"},
		Public: trail.PublicText(anna.PublicKey()), Meaning: "This is Anna"})
	return wren, anna
}

func (f *folder) append(key ssh.Signer, d trail.Draft) trail.Record {
	f.t.Helper()
	tr, err := trail.Open(filepath.Join(f.dir, trail.FileName), trail.Options{})
	if err != nil {
		f.t.Fatal(err)
	}
	r, err := tr.Append(f.t.Context(), d, key)
	if err != nil {
		f.t.Fatal(err)
	}
	return r
}

// say signs a verdict about a node as it stands.
func (f *folder) say(b *bench, key ssh.Signer, n Node, v trail.Verdict, words string, answers ...trail.ID) trail.Record {
	f.t.Helper()
	m := f.open(b)
	defer m.Close()
	s, _, err := m.Subject(f.t.Context(), n)
	if err != nil {
		f.t.Fatal(err)
	}
	d := trail.Draft{Kind: trail.Signoff, Verdict: v, Stage: n.String(), Files: s.Trail().Files, State: s.State, Saw: s.Saw, Meaning: words, Answers: answers}
	if v == trail.Hold {
		d.Notes = []string{words}
	}
	if v == trail.Made {
		d.From = s.TrailFrom()
	}
	return f.append(key, d)
}

const signed = two + `
[roles.sculptor]
[stages.second.sign]
role = "sculptor"
meaning = "I looked at it"
[stages.third]
step = "join"
each = "part"
in = { from = "second" }
`

// TestSignOffHoldsForExactlyThisContent: asked, given, asked again after a
// change, and valid again when the old content is back.
func TestSignOffHoldsForExactlyThisContent(t *testing.T) {
	b, f := newBench(nil), newFolder(t, signed, map[string]string{"sculpt/head.stl": "one"})
	_, anna := f.house()
	second := Node{Stage: "second", Part: "head"}
	state := func(want State) {
		t.Helper()
		if st := f.run(b, RunOptions{}).Find(second); st.State != want {
			t.Fatalf("%s, want %s: %s", st.State, want, st.Says)
		}
	}
	state(Unsigned)
	f.say(b, anna, second, trail.Approve, "I looked at it")
	state(Done)
	if st := f.look(b).Find(second); len(st.Sign.By) != 1 || st.Sign.By[0].Printed != "Anna Berg" {
		t.Errorf("signed by %+v", st.Sign)
	}
	f.write("sculpt/head.stl", "two")
	state(Unsigned)
	f.write("sculpt/head.stl", "one")
	state(Done)
	f.recipe(strings.Replace(signed, `gap = "1 mm"`, `gap = "1.1 mm"`, 1))
	state(Unsigned) // she saw 1 mm
	f.recipe(strings.Replace(signed, `unused = "1 mm"`, `unused = "2 mm"`, 1))
	state(Done) // nobody saw that
	hold := f.say(b, anna, second, trail.Hold, "The thumb is odd")
	state(Held)
	f.say(b, anna, second, trail.Approve, "I looked at it", hold.ID)
	state(Done)
	b.ran()
	f.run(b, RunOptions{})
	if b.ran() != 0 {
		t.Error("people's words made steps run")
	}
}

// TestConcession: work that fails a gate goes on only by a concession of
// exactly this content by a person of the role that the recipe names (ISO
// 9001:2015, 8.6 and 8.7, release and concession by a relevant authority): the
// gate's own, else the one that signs for the stage, else nobody.
func TestConcession(t *testing.T) {
	narrow := strings.Replace(two, "width >= tolerances.gap", "width >= 2 * tolerances.gap", 1)
	sign := "[stages.second.sign]\nrole = \"sculptor\"\nmeaning = \"I looked at it\"\n"
	for _, tt := range []struct {
		name, concede, sign, as string
		want                    State
		says                    string
	}{
		{"no concession", "sculptor", "", "", Held, ""},
		{"by the role the gate names", "sculptor", "", "sculptor", Done, ""},
		{"by another role she has", "owner", "", "sculptor", Held, "it takes a owner"},
		{"by the role that signs", "", sign, "sculptor", Unsigned, ""},
		{"the gate's role before the signer's", "owner", sign, "sculptor", Held, "it takes a owner"},
		{"nobody may", "", "", "sculptor", Held, "names nobody who may concede gate wide"},
	} {
		t.Run(tt.name, func(t *testing.T) {
			recipe := narrow + tt.sign
			if tt.concede != "" {
				recipe = strings.Replace(recipe, "[stages.second.gates.wide]\n", "[stages.second.gates.wide]\nconcede = \""+tt.concede+"\"\n", 1)
			}
			b, f := newBench(nil), newFolder(t, recipe+"[roles.sculptor]\n[roles.owner]\n", map[string]string{"sculpt/head.stl": "one"})
			_, anna := f.house()
			n := Node{Stage: "second", Part: "head"}
			f.run(b, RunOptions{})
			s, st, err := f.open(b).Subject(t.Context(), n)
			if err != nil || st.State != Held || !slices.Equal(s.Gates, []string{"wide"}) {
				t.Fatalf("%v, %+v", err, s)
			}
			if tt.as != "" {
				f.append(anna, trail.Draft{Kind: trail.Concession, Stage: n.String(), Files: s.Trail().Files, State: s.State, Saw: s.Saw, Gates: s.Gates,
					Fault: "too narrow", Action: "none", Reason: "it will hold", Authority: tt.as, Meaning: "This may go on"})
			}
			st = f.run(b, RunOptions{}).Find(n)
			conceded := tt.want != Held
			if st.State != tt.want || (st.Gates[0].Conceded != nil) != conceded || !strings.Contains(strings.Join(st.Gates[0].Doubts, "; "), tt.says) {
				t.Errorf("%s, want %s: %s %v", st.State, tt.want, st.Says, st.Gates[0].Doubts)
			}
			f.write("sculpt/head.stl", "two")
			if st := f.run(b, RunOptions{}).Find(n); st.State != Held {
				t.Errorf("after a change %s: %s", st.State, st.Says)
			}
		})
	}
}

const handy = `
[stages.raw]
step = "join"
in = { file = "s.txt", units = "mm" }
[stages.clean]
step = "hand"
in = { file = "hand/clean.stl", units = "mm" }
named = { from = "raw" }
[stages.later]
step = "join"
in = { from = "clean" }
`

// TestHandwork: awaited, told of, due again by a person when what it was made
// from changes, and never touched.
func TestHandwork(t *testing.T) {
	b, f := newBench(nil), newFolder(t, handy, map[string]string{"s.txt": "one"})
	_, anna := f.house()
	clean := Node{Stage: "clean"}
	want := func(state State, says string) {
		t.Helper()
		st := f.run(b, RunOptions{}).Find(clean)
		if st.State != state || !strings.Contains(st.Says, says) {
			t.Fatalf("%s: %s; want %s, %q", st.State, st.Says, state, says)
		}
	}
	want(Handwork, "hand/clean.stl")
	f.write("hand/clean.stl", "mine")
	want(Unsigned, "nobody has said yet")
	f.say(b, anna, clean, trail.Made, "I made it")
	want(Done, "")
	f.write("s.txt", "two")
	want(Handwork, "was made from")
	if data, _ := os.ReadFile(filepath.Join(f.dir, "hand/clean.stl")); string(data) != "mine" {
		t.Error("the person's file was touched")
	}
	f.say(b, anna, clean, trail.Made, "It is still right")
	want(Done, "")
	f.write("s.txt", "one")
	want(Done, "") // the old word counts again
	f.write("hand/clean.stl", "mine, better")
	want(Unsigned, "nobody has said yet")
	if _, err := os.Stat(filepath.Join(f.dir, "out/kit/clean/out.txt")); !errors.Is(err, os.ErrNotExist) {
		t.Error("a person's file was copied to out/")
	}
}

// TestSubjectIsTakenAfresh: a file that changed since the run cannot be signed.
func TestSubjectIsTakenAfresh(t *testing.T) {
	b, f := newBench(nil), newFolder(t, chain, map[string]string{"s.txt": "one"})
	f.run(b, RunOptions{})
	objects, _ := filepath.Glob(filepath.Join(f.dir, ".layette/objects/*/*"))
	for _, at := range objects {
		info, _ := os.Stat(at)
		os.Chmod(at, 0o666)
		os.WriteFile(at, []byte(strings.Repeat("x", int(info.Size()))), 0o666)
		os.Chtimes(at, info.ModTime(), info.ModTime())
	}
	f.opts.Stat = coarse(time.Duration(0))
	m := f.open(b)
	if _, _, err := m.Subject(t.Context(), Node{Stage: "a"}); err == nil {
		t.Error("damaged bytes could be signed")
	}
}
