package store

import (
	"fmt"
	"strconv"
	"strings"
)

// ParseFingerprint reads a stored fingerprint's text.
func ParseFingerprint(text string) (*Fingerprint, error) {
	head, rest, _ := strings.Cut(text, "\n")
	if head != fingerprintHead {
		return nil, fmt.Errorf("a fingerprint begins with %q, not %q", fingerprintHead, head)
	}
	f := &Fingerprint{}
	n := 1
	for line := range strings.Lines(rest) {
		n++
		words := &fields{text: strings.TrimSuffix(line, "\n")}
		f.line(words)
		if words.err != nil || words.text != "" {
			return nil, fmt.Errorf("line %d of a fingerprint cannot be read: %q", n, line)
		}
	}
	return f, nil
}

func (f *Fingerprint) line(w *fields) {
	switch w.word() {
	case "kind":
		f.Kind = w.quoted()
		w.want("version")
		f.Version = int(w.number())
	case "value":
		f.Values = append(f.Values, Value{Name: w.quoted(), Type: w.word(), Text: w.rest()})
	case "in":
		f.Inputs = append(f.Inputs, w.input())
	case "out":
		f.Outputs = append(f.Outputs, w.quoted())
	default:
		w.fail()
	}
}

func (w *fields) input() Input {
	in := Input{Role: w.quoted(), Index: int(w.number())}
	in.SHA256 = strings.TrimPrefix(w.word(), "sha256:")
	in.Size = w.number()
	in.Units = w.quoted()
	if w.text != "" {
		w.want("name")
		in.Named, in.Name, in.Part, in.Scan, in.Stage = true, w.quoted(), w.quoted(), w.quoted(), w.quoted()
	}
	return in
}

// fields takes one line apart from left to right.
type fields struct {
	text string
	err  error
}

func (w *fields) fail() { w.err = strconv.ErrSyntax }

func (w *fields) word() string {
	word, rest, _ := strings.Cut(w.text, " ")
	w.text = rest
	return word
}

func (w *fields) want(word string) {
	if w.word() != word {
		w.fail()
	}
}

func (w *fields) number() int64 {
	n, err := strconv.ParseInt(w.word(), 10, 64)
	if err != nil {
		w.fail()
	}
	return n
}

func (w *fields) quoted() string {
	q, err := strconv.QuotedPrefix(w.text)
	if err != nil {
		w.fail()
		return ""
	}
	w.text = strings.TrimPrefix(w.text[len(q):], " ")
	s, err := strconv.Unquote(q)
	if err != nil {
		w.fail()
	}
	return s
}

func (w *fields) rest() string {
	r := w.text
	w.text = ""
	return r
}
