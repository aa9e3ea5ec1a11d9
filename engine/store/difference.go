package store

import (
	"slices"
	"strconv"
)

// What can differ between two fingerprints.
const (
	KindChanged    = "kind"          // another step
	VersionChanged = "version"       // the step's own version was raised
	ValueChanged   = "value changed" //
	ValueNew       = "value new"     //
	ValueGone      = "value gone"    //
	InputChanged   = "input changed" // other content, or other units
	InputRenamed   = "input renamed" // same content, another name, where names count
	InputAdded     = "input added"   //
	InputRemoved   = "input removed" //
	InputReordered = "input reordered"
	OutputsChanged = "outputs"
)

// Difference is one way in which a stage's fingerprint is not what it was.
type Difference struct {
	What string
	Name string // of the value or input
	Type string // of a value
	Was  string // digest, name or canonical value
	Is   string
	At   int // the input file's place now, or before if it is gone
}

// Differences lists what changed from was to is, in the order of the text.
func Differences(was, is *Fingerprint) []Difference {
	if was.Kind != is.Kind {
		return []Difference{{What: KindChanged, Name: is.Kind, Was: was.Kind, Is: is.Kind}}
	}
	var ds []Difference
	if was.Version != is.Version {
		ds = append(ds, Difference{What: VersionChanged, Name: is.Kind, Was: strconv.Itoa(was.Version), Is: strconv.Itoa(is.Version)})
	}
	ds = append(ds, valueDifferences(was.Values, is.Values)...)
	for _, role := range roles(was, is) {
		ds = append(ds, inputDifferences(role, of(was, role), of(is, role))...)
	}
	if !slices.Equal(was.Outputs, is.Outputs) {
		ds = append(ds, Difference{What: OutputsChanged})
	}
	return ds
}

func valueDifferences(was, is []Value) []Difference {
	old := map[string]Value{}
	for _, v := range was {
		old[v.Name] = v
	}
	var ds []Difference
	for _, v := range is {
		o, had := old[v.Name]
		delete(old, v.Name)
		switch {
		case !had:
			ds = append(ds, Difference{What: ValueNew, Name: v.Name, Type: v.Type, Is: v.Text})
		case o != v:
			ds = append(ds, Difference{What: ValueChanged, Name: v.Name, Type: v.Type, Was: o.Text, Is: v.Text})
		}
	}
	for _, o := range was {
		if _, gone := old[o.Name]; gone {
			ds = append(ds, Difference{What: ValueGone, Name: o.Name, Type: o.Type, Was: o.Text})
		}
	}
	return ds
}

// inputDifferences compares one input's files: by place when only contents
// changed, by content when files came or went.
func inputDifferences(role string, was, is []Input) []Difference {
	if sameContents(was, is) {
		return moved(role, was, is)
	}
	if len(was) == len(is) {
		return byPlace(role, was, is)
	}
	var ds []Difference
	old, now := contents(was), contents(is)
	for i, in := range is {
		if old[in.SHA256] == 0 {
			ds = append(ds, Difference{What: InputAdded, Name: role, Is: in.SHA256, At: i})
		}
	}
	for i, in := range was {
		if now[in.SHA256] == 0 {
			ds = append(ds, Difference{What: InputRemoved, Name: role, Was: in.SHA256, At: i})
		}
	}
	if ds == nil { // equal files came or went
		ds = append(ds, Difference{What: InputAdded, Name: role, At: len(is) - 1})
		if len(is) < len(was) {
			ds[0] = Difference{What: InputRemoved, Name: role, At: len(was) - 1}
		}
	}
	return ds
}

func byPlace(role string, was, is []Input) []Difference {
	var ds []Difference
	for i := range is {
		switch {
		case is[i].SHA256 != was[i].SHA256:
			ds = append(ds, Difference{What: InputChanged, Name: role, Was: was[i].SHA256, Is: is[i].SHA256, At: i})
		case is[i] != was[i]:
			ds = append(ds, Difference{What: InputRenamed, Name: role, Was: was[i].Name, Is: is[i].Name, At: i})
		}
	}
	return ds
}

// moved compares files whose contents are the same taken together.
func moved(role string, was, is []Input) []Difference {
	for i := range is {
		if is[i].SHA256 != was[i].SHA256 {
			return []Difference{{What: InputReordered, Name: role, At: i}}
		}
	}
	var ds []Difference
	for i := range is {
		switch {
		case is[i].Units != was[i].Units:
			ds = append(ds, Difference{What: InputChanged, Name: role, Was: was[i].Units, Is: is[i].Units, At: i})
		case is[i] != was[i]:
			ds = append(ds, Difference{What: InputRenamed, Name: role, Was: was[i].Name, Is: is[i].Name, At: i})
		}
	}
	return ds
}

func contents(ins []Input) map[string]int {
	m := map[string]int{}
	for _, in := range ins {
		m[in.SHA256]++
	}
	return m
}

func sameContents(a, b []Input) bool {
	if len(a) != len(b) {
		return false
	}
	left := contents(a)
	for _, in := range b {
		if left[in.SHA256]--; left[in.SHA256] < 0 {
			return false
		}
	}
	return true
}

// roles lists the input names of both, in order of first mention.
func roles(was, is *Fingerprint) []string {
	var names []string
	seen := map[string]bool{}
	for _, f := range []*Fingerprint{is, was} {
		for _, in := range f.Inputs {
			if !seen[in.Role] {
				seen[in.Role] = true
				names = append(names, in.Role)
			}
		}
	}
	return names
}

func of(f *Fingerprint, role string) []Input {
	var ins []Input
	for _, in := range f.Inputs {
		if in.Role == role {
			ins = append(ins, in)
		}
	}
	return ins
}
