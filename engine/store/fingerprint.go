package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"math"
	"strconv"
	"strings"

	"layette/engine/step"
)

// fingerprintHead opens every fingerprint. To change it is to throw away all
// that every model has stored.
const fingerprintHead = "engine-fp v1"

// Fingerprint is all that the result of a stage depends on, and nothing else:
// no path, time, machine, program version or number of workers. Its text is
// stored whole, for it is the explanation that why prints.
type Fingerprint struct {
	Kind    string
	Version int
	Values  []Value  // in order of name: those the step declares and no others
	Inputs  []Input  // in the order the step gets them
	Outputs []string // names of the declared outputs
}

// Value is a value in the form that counts.
type Value struct {
	Name, Type string
	Text       string // canonical: equal values have equal texts
}

// Input is an input file as it counts: by content.
type Input struct {
	Role   string // name of the input
	Index  int    // its place among the input's files
	SHA256 string
	Size   int64
	Units  string
	Named  bool // whether the names below count
	Name   string
	Part   string
	Scan   string
	Stage  string
}

// Text is the fingerprint as it is hashed: one field a line.
//
//	engine-fp v1
//	kind "gaps" version 3
//	value "least" length 1.2
//	in "surface" 0 sha256:<hex> <bytes> "mm"
//	in "originals" 0 sha256:<hex> <bytes> "mm" name "scans/1.ply" "head" "scans/1.ply" ""
//	out "map"
func (f *Fingerprint) Text() string {
	var b strings.Builder
	fmt.Fprintf(&b, "%s\nkind %q version %d\n", fingerprintHead, f.Kind, f.Version)
	for _, v := range f.Values {
		fmt.Fprintf(&b, "value %q %s %s\n", v.Name, v.Type, v.Text)
	}
	for _, in := range f.Inputs {
		fmt.Fprintf(&b, "in %q %d sha256:%s %d %q", in.Role, in.Index, in.SHA256, in.Size, in.Units)
		if in.Named {
			fmt.Fprintf(&b, " name %q %q %q %q", in.Name, in.Part, in.Scan, in.Stage)
		}
		b.WriteByte('\n')
	}
	for _, o := range f.Outputs {
		fmt.Fprintf(&b, "out %q\n", o)
	}
	return b.String()
}

// KeyOf returns the SHA-256 of a fingerprint's text, in hex.
func KeyOf(text string) string {
	sum := sha256.Sum256([]byte(text))
	return hex.EncodeToString(sum[:])
}

// Canonical writes a value as step.Values holds it so that equal values have
// equal texts: the shortest decimal that reads back as the same number, -0 as
// 0, texts quoted. What is not finite is refused.
func Canonical(value any) (string, error) {
	switch v := value.(type) {
	case float64:
		if math.IsNaN(v) || math.IsInf(v, 0) {
			return "", errors.New("is not a finite number")
		}
		return strconv.FormatFloat(v+0, 'g', -1, 64), nil // -0 + 0 is +0
	case int64:
		return strconv.FormatInt(v, 10), nil
	case bool:
		return strconv.FormatBool(v), nil
	case string:
		return strconv.Quote(v), nil
	case []string:
		return canonicalList(v)
	case []float64:
		return canonicalList(v)
	case [3]float64:
		return canonicalList(v[:])
	case step.Table:
		return canonicalTable(v)
	}
	return "", fmt.Errorf("has the unknown type %T", value)
}

func canonicalList[T any](items []T) (string, error) {
	texts := make([]string, len(items))
	for i, it := range items {
		t, err := Canonical(it)
		if err != nil {
			return "", err
		}
		texts[i] = t
	}
	return "[" + strings.Join(texts, ", ") + "]", nil
}

func canonicalTable(t step.Table) (string, error) {
	members := make([]string, len(t.Names))
	for i, name := range t.Names {
		text, err := Canonical(t.Values[i])
		if err != nil {
			return "", fmt.Errorf("%s %w", name, err)
		}
		members[i] = strconv.Quote(name) + " " + string(t.Kinds[i]) + " " + text
	}
	return "{" + strings.Join(members, ", ") + "}", nil
}
