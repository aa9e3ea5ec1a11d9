package trail

import (
	"cmp"
	"slices"
)

// Member is a person of the trail.
type Member struct {
	Name    string   `json:"name"`
	Printed string   `json:"printed"`
	Roles   []string `json:"roles"`
	Owner   bool     `json:"owner"`
	Keys    []Key    `json:"keys"`
}

// Active reports whether any key of the person may still sign.
func (m Member) Active() bool {
	return slices.ContainsFunc(m.Keys, func(k Key) bool { return k.Retired == "" })
}

// Key is a key of a member.
type Key struct {
	Fingerprint string `json:"fingerprint"`
	Public      string `json:"public"`            // "type base64"
	Retired     string `json:"retired,omitempty"` // why; empty while it may sign
}

// People returns everyone enrolled, in order of name.
func (t *Trail) People() []Member {
	var list []Member
	for name, records := range t.byName {
		newest := t.newest(records)
		m := Member{Name: name, Printed: newest[len(newest)-1].Printed, Owner: name == t.opening.By}
		m.Roles = newest[0].Roles
		for _, e := range newest[1:] {
			m.Roles = slices.DeleteFunc(slices.Clone(m.Roles), func(x string) bool { return !slices.Contains(e.Roles, x) })
		}
		for _, e := range records {
			k := Key{Fingerprint: e.enrols(), Public: e.Public, Retired: t.whyRetired(e.enrols())}
			if !slices.Contains(m.Keys, k) {
				m.Keys = append(m.Keys, k)
			}
		}
		list = append(list, m)
	}
	slices.SortFunc(list, func(a, b Member) int { return cmp.Compare(a.Name, b.Name) })
	return list
}

// Who returns the person that a key is enrolled for.
func (t *Trail) Who(fingerprint string) (Member, bool) {
	for _, m := range t.People() {
		if slices.ContainsFunc(m.Keys, func(k Key) bool { return k.Fingerprint == fingerprint }) {
			return m, true
		}
	}
	return Member{}, false
}

func (t *Trail) whyRetired(fingerprint string) string {
	for _, r := range t.retired[fingerprint] {
		if r.Void == "" {
			return r.Reason
		}
	}
	return ""
}

// active reports whether any key of the person may still sign.
func (t *Trail) active(name string) bool {
	return slices.ContainsFunc(t.byName[name], func(e *Record) bool { return t.whyRetired(e.enrols()) == "" })
}
