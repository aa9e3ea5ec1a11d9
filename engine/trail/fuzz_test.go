package trail

import (
	"bytes"
	"strings"
	"testing"
)

// FuzzTrail: whatever the bytes, no panic; what is not damaged reads the same
// when written neatly, and nothing that was not signed comes out of it.
func FuzzTrail(f *testing.F) {
	h, _ := aDay(f)
	data, good := h.bytes(), h.known()
	list := blocks(data)
	f.Add(data)
	f.Add(join(list[1:]...))
	f.Add(mingle(list))
	f.Add(bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n")))
	f.Add(data[:len(data)/2])
	f.Add([]byte(strings.Replace(string(data), "verdict approve", "verdict reject", 1)))
	f.Add([]byte("aaaaaaaa record v1 open\naaaaaaaa sig AAAA\n"))
	f.Add([]byte("\ufeff\n\n"))
	ours := map[ID]bool{}
	for _, r := range h.plain().list {
		ours[r.ID] = true
	}
	f.Fuzz(func(t *testing.T, b []byte) {
		tr := reading(b, good, h.now)
		for _, r := range tr.list {
			if !ours[r.ID] {
				t.Errorf("a record that nobody signed: %s", r.lines)
			}
		}
		tr.Decide(subject("hand/left-arm v2.stl"), Policy{People: 2, NotMaker: true, Sealed: true})
		tr.Report(nil)
		if !tr.damaged {
			if again := reading(tr.neat(), good, h.now); again.damaged || signedBytes(again) != signedBytes(tr) {
				t.Errorf("written neatly it reads otherwise: %v", again.Err())
			}
		}
	})
}

// FuzzText: what Tidy makes of any text either may stand in a record or is
// refused; tidying again changes nothing.
func FuzzText(f *testing.F) {
	f.Add("Zoe\u0308\u00a0")
	f.Add("a\u202eb")
	f.Fuzz(func(t *testing.T, s string) {
		once := Tidy(s)
		if Tidy(once) != once {
			t.Errorf("%q becomes %q, then %q", s, once, Tidy(once))
		}
		if textFault(once) == "" && strings.ContainsAny(once, "\n\r\t\x00") {
			t.Errorf("%q may stand in a record", once)
		}
	})
}
