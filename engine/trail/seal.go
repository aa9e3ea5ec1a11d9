package trail

import (
	"fmt"
	"slices"
	"strings"
)

// SealMeaning is what everybody vouches for with a seal.
const SealMeaning = "I have seen this trail up to here and none of my own records is missing from it"

// Sealing says whose seal the trail awaits.
type Sealing struct {
	Records int      // how many records the trail holds
	Heads   []ID     // its newest records
	Waiting []string // printed names of people who signed something and whose seal does not cover it all
}

// Sealing returns how far the trail is sealed. It is sealed when everybody who
// signed anything and is not retired has a seal that follows every other
// record but seals.
func (t *Trail) Sealing() Sealing { return t.sealing("") }

// sealing leaves out the sign-offs of one stage, which wait for the seals.
func (t *Trail) sealing(except string) Sealing {
	s := Sealing{Records: len(t.list), Heads: t.heads()}
	all := newBitset(len(t.list))
	var signers []string
	for i, r := range t.list {
		if r.Void != "" || r.Kind == Seal || except != "" && r.Kind == Signoff && r.Stage == except {
			continue
		}
		all.set(i)
		if !slices.Contains(signers, r.By) {
			signers = append(signers, r.By)
		}
	}
	for _, name := range signers {
		if t.active(name) && !t.sealedBy(name, all) {
			s.Waiting = append(s.Waiting, t.byName[name][0].Printed)
		}
	}
	return s
}

// sealedBy reports whether a seal of the person follows all of these places.
func (t *Trail) sealedBy(name string, all bitset) bool {
	return slices.ContainsFunc(t.list, func(r *Record) bool {
		return r.Kind == Seal && r.By == name && r.Void == "" && t.past[t.at[r.ID]].covers(all)
	})
}

// covers reports whether o is part of b.
func (b bitset) covers(o bitset) bool {
	for i, w := range o {
		if i >= len(b) && w != 0 || i < len(b) && w&^b[i] != 0 {
			return false
		}
	}
	return true
}

// SealText returns what a seal puts on paper: the trail's name, the number of
// records, the newest of them, and who sealed it when. Printed on a delivery
// note it shows later whether anything before it is gone.
func (t *Trail) SealText(seal Record) string {
	var b strings.Builder
	fmt.Fprintf(&b, "trail %s %s\n", t.Name(), t.opened())
	fmt.Fprintf(&b, "records %d\n", seal.Count+1)
	fmt.Fprintf(&b, "newest %s\n", seal.ID)
	fmt.Fprintf(&b, "sealed by %s, %s\n%s\n", seal.ByPrinted, seal.Time.Format("2006-01-02 15:04:05 UTC"), seal.Meaning)
	return b.String()
}
