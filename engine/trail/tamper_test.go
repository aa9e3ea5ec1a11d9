package trail

import (
	"bytes"
	"fmt"
	"math/rand/v2"
	"slices"
	"strings"
	"testing"
)

// Each of these single changes to the package was made once, and each made a
// test of this package fail; a new check belongs here with its own.
//
// Signatures: not verified; in any form; sig lines of any width; inner
// signature of any form; any namespace; fingerprint not compared; any kind of
// key; small RSA keys. Text: form not compared; texts not checked; stray lines
// passed; comments passed; files not bounded. Chain: gone not told; other
// trails, second openings, strangers let in; name, printed name not compared;
// enrolled later; clock not compared with what was followed, compared with
// parents only; future let in; retired by clock, not at all; anybody enrols,
// anybody retires; a key for two; another's key retired; authority, a seal's
// count, answers to the unseen not checked. Memory: cut, replaced not told.
// Decisions: doubt ignored; makers, sources' makers approve; any role; roles
// of today; records counted and not people; newer verdict, stricter parallel
// verdict ignored; other content, sizes, state ignored; holds on other content
// ignored; anybody answers; the same content answered by others; answers
// outlive their approval; questions, meaning, seals not asked; a seal that has
// not seen all; concessions on other content, of another authority, taken
// back. Writing: lock not taken, not looked at again, a thief's lock removed;
// written in place; writer's clock not asked; written while damaged; the
// owner's last key retired. Report: silent on retired keys, on what does not
// count.

// signedBytes is what a reader goes by: every sound record, signature included.
func signedBytes(t *Trail) string {
	var list []string
	for _, r := range t.list {
		list = append(list, string(r.lines)+string(r.sig)+r.Void)
	}
	slices.Sort(list)
	return strings.Join(list, "")
}

// TestEveryByte changes every byte of a trail in eight ways: each is told as
// damage or leaves every record as it was.
func TestEveryByte(t *testing.T) {
	h := newHouse(t, "anna")
	h.must("anna", word(Approve, subject("hand/left-arm.stl"), "fine"))
	data, good := h.bytes(), h.known()
	want := signedBytes(h.plain())
	harmless := 0
	for i, c := range data {
		for _, with := range [][]byte{{c ^ 1}, {c ^ 0x20}, {c ^ 0x80}, {'\n'}, {' '}, {'a'}, {}, {c, c}} {
			if len(with) == 1 && with[0] == c {
				continue
			}
			tr := reading(join(data[:i], with, data[i+1:]), good, h.now)
			if tr.damaged {
				continue
			}
			harmless++
			if got := signedBytes(tr); got != want {
				t.Fatalf("byte %d, %q to %q: no damage told, yet the records differ:\n%s", i, c, with, got)
			}
			if c != '\n' {
				t.Errorf("byte %d, %q to %q: not told", i, c, with)
			}
		}
	}
	if lines := bytes.Count(data, []byte("\n")); harmless > lines+1 {
		t.Errorf("%d changes harmless; want at most one doubled line end for each of %d lines, and the last one taken off", harmless, lines)
	}
}

// TestDropMiddle: whatever record but the newest is taken out, one that
// follows tells.
func TestDropMiddle(t *testing.T) {
	h, _ := aDay(t)
	list := blocks(h.bytes())
	for i := range list[:len(list)-1] {
		tr := h.of(slices.Concat(list[:i], list[i+1:])...)
		if c := codes(tr); !strings.Contains(c, "gone") && !strings.Contains(c, "no-opening") {
			t.Errorf("record %d taken out: problems %q", i+1, c)
		}
	}
}

// TestDropLast: no chain shows that its end is cut off; this workstation's
// memory does, and counts right.
func TestDropLast(t *testing.T) {
	h, _ := aDay(t)
	h.open()
	list := blocks(h.bytes())
	for n := 1; n < len(list); n++ {
		kept := join(list[:len(list)-n]...)
		h.write(kept)
		tr := h.open()
		if len(tr.Lost()) != n || !strings.Contains(codes(tr), "cut") {
			t.Errorf("last %d cut off: %d lost, problems %q", n, len(tr.Lost()), codes(tr))
		}
		if plain := h.of(kept); plain.damaged {
			t.Errorf("last %d cut off: the chain alone cannot know, yet %v", n, plain.Err())
		}
	}
}

// TestDropReject: the one attack no chain sees turns a gate green; the memory
// of this workstation reports it, and so does any later record.
func TestDropReject(t *testing.T) {
	h := newHouse(t, "anna", "ben")
	arm := subject("hand/left-arm.stl")
	h.must("anna", word(Approve, arm))
	h.must("ben", word(Reject, arm, "fingers joined"))
	list := blocks(h.bytes())
	cut := join(list[:len(list)-1]...)
	h.wantState(h.of(cut), arm, Policy{}, Approved) // green: this is why there is a memory
	h.write(cut)
	h.wantState(h.open(), arm, Policy{}, Doubtful)
	if _, err := h.add("anna", word(Approve, arm)); err == nil || !strings.Contains(err.Error(), "damaged") {
		t.Errorf("added to a trail that is cut short: %v", err)
	}

	h.write(join(list...))
	later := h.forge("anna", word(Approve, subject("other")), nil)
	h.wantState(h.of(cut, later), arm, Policy{}, Doubtful)
}

// TestHeal puts back byte for byte what was cut off, also when the file is gone.
func TestHeal(t *testing.T) {
	h, _ := aDay(t)
	whole := h.bytes()
	want := signedBytes(h.open())
	list := blocks(whole)
	for _, left := range [][]byte{join(list[:5]...), nil, join(list[:5]...)[:2000], bytes.Replace(whole, []byte("joined"), []byte("coined"), 1)} {
		h.write(left)
		tr := h.open()
		if _, err := tr.Heal(t.Context()); err != nil {
			t.Fatal(err)
		}
		if tr := h.open(); signedBytes(tr) != want || tr.damaged {
			t.Errorf("not as it was: %v", tr.Err())
		}
	}
}

// TestTorn cuts the last record at every byte.
func TestTorn(t *testing.T) {
	h := newHouse(t, "anna")
	h.must("anna", word(Approve, subject("hand/left-arm.stl")))
	data, good := h.bytes(), h.known()
	list := blocks(data)
	start := len(data) - len(list[len(list)-1])
	for n := start + 1; n < len(data)-1; n++ {
		if tr := reading(data[:n], good, h.now); !tr.damaged {
			t.Fatalf("cut after byte %d of the last record: not told", n-start)
		}
	}
	if tr := reading(data[:len(data)-1], good, h.now); tr.damaged || len(tr.list) != 3 {
		t.Error("only the last line end is missing: nothing is lost")
	}
}

// TestShuffles: neither the order of records nor their mingling means anything.
func TestShuffles(t *testing.T) {
	h, _ := aDay(t)
	arm2 := subject("hand/left-arm v2.stl")
	good := h.known()
	tr := h.open()
	want := verdict(tr, arm2)
	list := blocks(h.bytes())
	rng := rand.New(rand.NewPCG(1, 2))
	for range 300 {
		rng.Shuffle(len(list), func(i, j int) { list[i], list[j] = list[j], list[i] })
		tr := reading(join(list...), good, h.now)
		if got := verdict(tr, arm2); tr.damaged || got != want {
			t.Fatalf("another decision in another order:\n%s\n%s", got, want)
		}
	}
	tr = reading(mingle(list), good, h.now)
	if tr.damaged || len(tr.list) != len(list) {
		t.Errorf("records mingled line by line: %v", tr.Err())
	}
}

// verdict is a decision in all its words.
func verdict(t *Trail, s Subject) string {
	d := t.Decide(s, Policy{People: 2})
	return fmt.Sprint(d.State, d.By, d.StillNeeded, d.Reasons, d.Records, len(d.Open), len(t.OpenHolds()))
}

// mingle takes a line of each record in turn.
func mingle(list [][]byte) []byte {
	var lines [][][]byte
	for _, b := range list {
		lines = append(lines, bytes.SplitAfter(b, []byte("\n")))
	}
	var out []byte
	for i := 0; ; i++ {
		before := len(out)
		for _, l := range lines {
			if i < len(l) {
				out = append(out, l[i]...)
			}
		}
		if len(out) == before && i > 0 {
			return out
		}
	}
}

// TestLenientBytes: what editors and version control do to line ends is no
// part of what is signed.
func TestLenientBytes(t *testing.T) {
	h, _ := aDay(t)
	want := signedBytes(h.plain())
	data := h.bytes()
	for name, changed := range map[string][]byte{
		"CRLF and byte order mark": join([]byte("\ufeff"), bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n"))),
		"empty lines":              bytes.ReplaceAll(data, []byte("\n"), []byte("\n\n")),
	} {
		if tr := h.of(changed); tr.damaged || signedBytes(tr) != want {
			t.Errorf("%s: %v", name, tr.Err())
		}
	}
	// And one can go on writing such a file.
	h.write(join([]byte("\ufeff"), bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n"))))
	h.must("anna", word(Approve, subject("a")))
	h.wantCodes(h.open(), "")
}

// TestForms: a record and its signature have one form only.
func TestForms(t *testing.T) {
	h := newHouse(t, "anna")
	h.must("anna", word(Approve, subject("hand/left-arm.stl"), "fine"))
	list := blocks(h.bytes())
	last := string(list[len(list)-1])
	tag := last[:8]
	rest := join(list[:len(list)-1]...)
	resign := func(change func(string) string) []byte {
		lines := change(last[:strings.Index(last, tag+" sig ")])
		return h.seal("anna", &Record{Tag: tag}, []byte(lines))
	}
	swapped := func(s string) string {
		lines := strings.SplitAfter(s, "\n")
		lines[4], lines[5] = lines[5], lines[4]
		return strings.Join(lines, "")
	}
	for name, b := range map[string][]byte{
		"a line under the tag behind the signature": []byte(last + tag + " note and I approve the rest\n"),
		"a comment":                []byte(last + "# approved by everybody\n"),
		"fields in another order":  resign(swapped),
		"an unknown field":         resign(func(s string) string { return s + tag + " approved yes\n" }),
		"an unknown field before":  resign(func(s string) string { return strings.Replace(s, tag+" on ", tag+" level 3\n"+tag+" on ", 1) }),
		"a field twice":            resign(func(s string) string { return strings.Replace(s, tag+" on ", tag+" verdict approve\n"+tag+" on ", 1) }),
		"a later form":             resign(func(s string) string { return strings.Replace(s, "record v1", "record v2", 1) }),
		"an unknown kind":          resign(func(s string) string { return strings.Replace(s, "record v1 signoff", "record v1 pardon", 1) }),
		"time in another zone":     resign(func(s string) string { return strings.Replace(s, "Z\n", "+00:00\n", 1) }),
		"a size with a plus":       resign(func(s string) string { return strings.Replace(s, " 1017 ", " +1017 ", 1) }),
		"not signed":               []byte(last[:strings.Index(last, tag+" sig ")]),
		"a copy spoilt, in front":  []byte(strings.Replace(last, "fine", "mine", 1) + last),
		"sig lines of other width": []byte(rewidth(last, tag)),
	} {
		if tr := h.of(rest, b); !tr.damaged {
			t.Errorf("%s: not told\n%s", name, b)
		}
	}
}

// rewidth writes a record's sig lines 64 characters wide.
func rewidth(s, tag string) string {
	cut := strings.Index(s, tag+" sig ")
	text := strings.NewReplacer(tag+" sig ", "", "\n", "").Replace(s[cut:])
	for len(text) > 0 {
		n := min(64, len(text))
		s = s[:cut] + tag + " sig " + text[:n] + "\n"
		cut, text = len(s), text[n:]
	}
	return s
}

// TestText: what people type reaches the file as everybody sees it, or not at all.
func TestText(t *testing.T) {
	for _, bad := range []string{"", " a", "a ", "a\nb", "a\tb", "a\x1b[1mb", "a\u202eb", "a\u200bb", "a\ufeffb", "a\u2028b", "a\u0085b", "a\x7fb",
		"a\xffb", "a\ufffdb", "a\u00a0b", "a\u00adb", "a\ue000b", "e\u0301", strings.Repeat("x", longestText+1), "a\u2066b", "a\U000e0041b"} {
		if textFault(bad) == "" {
			t.Errorf("%q passes", bad)
		}
	}
	for _, good := range []string{"fine", "Søren, Zoë & 李", "å is one letter: \u00e5", "a # b ! * , \" '", "3 × 0.5 mm – ok", "👶🏽"} {
		if why := textFault(good); why != "" {
			t.Errorf("%q %s", good, why)
		}
	}
	h := newHouse(t, "anna")
	for _, bad := range []string{"a\nb", "a\u202eb", "a\x1bb", "\xff", "a\u200bb"} {
		if _, err := h.add("anna", word(Approve, subject("a"), bad)); err == nil {
			t.Errorf("note %q was written", bad)
		}
	}
	// What changes nothing visible is brought into form.
	r := h.must("anna", word(Approve, subject("a"), " Zoe\u0308\u00a0said so "))
	if r.Notes[0] != "Zoë said so" {
		t.Errorf("note became %q", r.Notes[0])
	}
	h.wantCodes(h.open(), "")
}
