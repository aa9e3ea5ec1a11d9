package trail

import (
	"bytes"
	"encoding/hex"
	"fmt"
	"slices"
	"strconv"
	"strings"
	"time"
)

// fields returns what the lines of r say, without tag and signature, in the
// only order and form they may have.
func (r *Record) fields() []string {
	w := &writer{}
	w.add("record", "v1 "+string(r.Kind))
	if r.Kind == Opening {
		w.add("trail", r.Trail)
	} else {
		w.add("trail", r.Trail+" "+r.opened.String())
	}
	w.ids("after", r.After)
	w.add("time", r.Time.UTC().Format(time.RFC3339))
	w.add("by", r.By+" "+r.ByPrinted)
	w.add("key", r.Key)
	w.add("meaning", r.Meaning)
	r.body(w)
	w.each("note", r.Notes)
	w.some("tool", r.Tool)
	return w.lines
}

// body writes what only one kind of record has.
func (r *Record) body(w *writer) {
	switch r.Kind {
	case Opening:
		w.each("role", r.Roles)
		w.add("public", r.Public)
	case Person:
		w.add("person", r.Name+" "+r.Printed)
		w.each("role", r.Roles)
		w.add("public", r.Public)
	case Retire:
		w.add("person", r.Name+" "+r.Printed)
		w.each("retire", r.Keys)
		w.add("reason", r.Reason)
	case Signoff:
		w.add("verdict", string(r.Verdict))
		r.subject(w)
		w.each("saw", r.Saw)
		w.each("tick", r.Ticks)
		for _, p := range r.Pins {
			w.add("at", p.line())
		}
		w.ids("answers", r.Answers)
	case Concession:
		r.subject(w)
		w.each("saw", r.Saw)
		w.each("gate", r.Gates)
		w.add("fault", r.Fault)
		w.add("action", r.Action)
		w.add("reason", r.Reason)
		w.add("authority", r.Authority)
	case Seal:
		w.add("count", strconv.Itoa(r.Count))
	}
}

// subject writes exactly which content a record is about.
func (r *Record) subject(w *writer) {
	w.add("on", r.Stage)
	for _, f := range r.Files {
		w.add("file", f.line())
	}
	for _, f := range r.From {
		w.add("from", f.line())
	}
	if r.State != "" {
		w.add("state", "sha256:"+r.State)
	}
}

func (f File) line() string { return fmt.Sprintf("sha256:%s %d %s", f.SHA256, f.Size, f.Label) }

func (p Pin) line() string {
	return fmt.Sprintf("%d mm %s %s %s r %s %s", p.File, number(p.At[0]), number(p.At[1]), number(p.At[2]), number(p.Radius), p.Words)
}

func number(v float64) string {
	if v == 0 {
		v = 0 // no minus zero
	}
	return strconv.FormatFloat(v, 'f', -1, 64)
}

// signed returns the bytes that are signed and named: each field behind the tag.
func (r *Record) signed() []byte {
	var b bytes.Buffer
	for _, f := range r.fields() {
		b.WriteString(r.Tag + " " + f + "\n")
	}
	return b.Bytes()
}

type writer struct{ lines []string }

func (w *writer) add(name, value string) { w.lines = append(w.lines, name+" "+value) }

func (w *writer) some(name, value string) {
	if value != "" {
		w.add(name, value)
	}
}

func (w *writer) each(name string, values []string) {
	for _, v := range values {
		w.add(name, v)
	}
}

func (w *writer) ids(name string, ids []ID) {
	for _, id := range ids {
		w.add(name, id.String())
	}
}

// read fills r from its fields. It takes what it can; that nothing was left
// out, doubled or in another order shows when r is written again (recordOf).
func (r *Record) read(fields []string) error {
	for i, f := range fields {
		name, value, _ := strings.Cut(f, " ")
		if err := r.field(name, value); err != nil {
			return fmt.Errorf("line %d of the record (%s): %w", i+1, name, err)
		}
	}
	return nil
}

func (r *Record) field(name, value string) (err error) {
	switch name {
	case "record":
		version, kind, _ := strings.Cut(value, " ")
		if version != "v1" {
			return fmt.Errorf("written in form %q; this program knows v1", version)
		}
		r.Kind = Kind(kind)
	case "trail":
		var opened string
		if r.Trail, opened, _ = strings.Cut(value, " "); opened != "" {
			r.opened, err = parseID(opened)
		}
	case "after":
		err = appendID(&r.After, value)
	case "answers":
		err = appendID(&r.Answers, value)
	case "time":
		r.Time, err = time.Parse(time.RFC3339, value)
	case "by":
		r.By, r.ByPrinted, _ = strings.Cut(value, " ")
	case "person":
		r.Name, r.Printed, _ = strings.Cut(value, " ")
	case "file":
		err = appendFile(&r.Files, value)
	case "from":
		err = appendFile(&r.From, value)
	case "at":
		err = r.pin(value)
	case "count":
		r.Count, err = strconv.Atoi(value)
	default:
		err = r.plain(name, value)
	}
	return err
}

// plain reads the fields that are one text.
func (r *Record) plain(name, value string) error {
	if name == "verdict" {
		r.Verdict = Verdict(value)
	} else if name == "state" {
		r.State = strings.TrimPrefix(value, "sha256:")
	} else if one := r.one(name); one != nil {
		*one = value
	} else if many := r.many(name); many != nil {
		*many = append(*many, value)
	} else {
		return fmt.Errorf("no record has such a field")
	}
	return nil
}

// one returns where a field that stands once is kept, nil if there is none.
func (r *Record) one(name string) *string {
	switch name {
	case "key":
		return &r.Key
	case "meaning":
		return &r.Meaning
	case "public":
		return &r.Public
	case "on":
		return &r.Stage
	case "fault":
		return &r.Fault
	case "action":
		return &r.Action
	case "reason":
		return &r.Reason
	case "authority":
		return &r.Authority
	case "tool":
		return &r.Tool
	}
	return nil
}

// many returns where a field that may stand often is kept, nil if there is none.
func (r *Record) many(name string) *[]string {
	switch name {
	case "role":
		return &r.Roles
	case "retire":
		return &r.Keys
	case "saw":
		return &r.Saw
	case "tick":
		return &r.Ticks
	case "gate":
		return &r.Gates
	case "note":
		return &r.Notes
	}
	return nil
}

func parseID(s string) (id ID, err error) {
	if !hexForm.MatchString(s) {
		return id, fmt.Errorf("want 64 hex digits, got %q", clip(s))
	}
	_, err = hex.Decode(id[:], []byte(s))
	return id, err
}

func appendID(ids *[]ID, s string) error {
	id, err := parseID(s)
	*ids = append(*ids, id)
	return err
}

func appendFile(files *[]File, s string) error {
	words := strings.SplitN(s, " ", 3)
	if len(words) < 3 || !strings.HasPrefix(words[0], "sha256:") {
		return fmt.Errorf("want sha256:DIGEST BYTES LABEL, got %q", clip(s))
	}
	size, err := strconv.ParseInt(words[1], 10, 64)
	*files = append(*files, File{SHA256: words[0][len("sha256:"):], Size: size, Label: words[2]})
	return err
}

func (r *Record) pin(s string) (err error) {
	w := strings.SplitN(s, " ", 8)
	if len(w) < 8 || w[1] != "mm" || w[5] != "r" {
		return fmt.Errorf("want FILE mm X Y Z r RADIUS WORDS, got %q", clip(s))
	}
	var p Pin
	if p.File, err = strconv.Atoi(w[0]); err != nil {
		return err
	}
	for i, to := range []*float64{&p.At[0], &p.At[1], &p.At[2], &p.Radius} {
		if *to, err = strconv.ParseFloat(w[[]int{2, 3, 4, 6}[i]], 64); err != nil {
			return err
		}
	}
	p.Words = w[7]
	r.Pins = append(r.Pins, p)
	return nil
}

// clip shortens a text for a message.
func clip(s string) string {
	if len(s) > 80 {
		return s[:80] + "…"
	}
	return s
}

// firstDifference returns the first of two lists of lines that differ.
func firstDifference(got, want []string) (i int, g, w string) {
	for i = 0; i < max(len(got), len(want)); i++ {
		if g, w = at(got, i), at(want, i); g != w {
			return i, g, w
		}
	}
	return -1, "", ""
}

func at(list []string, i int) string {
	if i < len(list) {
		return list[i]
	}
	return ""
}

// sortedIDs returns ids in order, each once.
func sortedIDs(ids []ID) []ID {
	ids = slices.Clone(ids)
	slices.SortFunc(ids, func(a, b ID) int { return bytes.Compare(a[:], b[:]) })
	return slices.Compact(ids)
}
