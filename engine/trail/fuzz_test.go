package trail

import (
	"bytes"
	"crypto/sha256"
	"os"
	"path/filepath"
	"strings"
	"testing"
	"time"
)

// oldDay is a trail that was written once and is kept: records of every kind
// and verdict, in form v1.
func oldDay(t testing.TB) (data []byte, now time.Time) {
	t.Helper()
	data, err := os.ReadFile(filepath.Join("testdata", "day.txt"))
	if err != nil {
		t.Fatal(err)
	}
	return data, time.Date(2026, 3, 3, 0, 0, 0, 0, time.UTC)
}

// TestOldDay: what was signed once is read for ever.
func TestOldDay(t *testing.T) {
	data, now := oldDay(t)
	tr := reading(data, nil, now)
	if len(tr.Problems()) != 0 || len(tr.list) != 14 {
		t.Fatalf("%d records, want 14; %v", len(tr.list), tr.Err())
	}
	arm2 := subject("hand/left-arm v2.stl")
	if d := tr.Decide(arm2, Policy{NotMaker: true}); d.State != Approved {
		t.Errorf("%s: %q", d.State, d.Reasons)
	}
	if _, ok, why := tr.Conceded(arm2, "no-webs", "release"); !ok {
		t.Error(why)
	}
}

// FuzzTrail: whatever the bytes, no panic; what is not damaged reads the same
// when written neatly, and nothing that was not signed comes out of it.
func FuzzTrail(f *testing.F) {
	data, now := oldDay(f)
	groups, _ := split(data)
	list, good, ours := blocks(data), known{}, map[ID]bool{}
	for _, g := range groups {
		good[g.sum()] = true
		ours[sha256.Sum256(g.lines)] = true
	}
	f.Add(data)
	f.Add(join(list[1:]...))
	f.Add(mingle(list))
	f.Add(bytes.ReplaceAll(data, []byte("\n"), []byte("\r\n")))
	f.Add(data[:len(data)/2])
	f.Add([]byte(strings.Replace(string(data), "verdict approve", "verdict reject", 1)))
	f.Add([]byte("aaaaaaaa record v1 open\naaaaaaaa sig AAAA\n"))
	f.Add([]byte("\ufeff\n\n"))
	f.Fuzz(func(t *testing.T, b []byte) {
		tr := reading(b, good, now)
		for _, r := range tr.list {
			if !ours[r.ID] {
				t.Errorf("a record that nobody signed: %s", r.lines)
			}
		}
		tr.Decide(subject("hand/left-arm v2.stl"), Policy{People: 2, NotMaker: true, Sealed: true})
		tr.Report(nil)
		if !tr.damaged {
			if again := reading(tr.neat(), good, now); again.damaged || signedBytes(again) != signedBytes(tr) {
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
