package bagit

import (
	"fmt"
	"strings"
)

// Info is the content of bag-info.txt: labels with values, in order (2.2.2).
type Info []Label

// Label is one line of bag-info.txt.
type Label struct{ Name, Value string }

// Oxum is the payload's size in bytes and its number of files, as the label
// Payload-Oxum writes them (2.2.2).
func Oxum(files []File) string {
	var bytes int64
	n := 0
	for _, f := range files {
		if strings.HasPrefix(f.Path, payload) {
			bytes += f.Size
			n++
		}
	}
	return fmt.Sprintf("%d.%d", bytes, n)
}

// Bytes writes the labels, one a line; line breaks within a value become
// blanks.
func (in Info) Bytes() []byte {
	var b strings.Builder
	for _, l := range in {
		fmt.Fprintf(&b, "%s: %s\n", l.Name, strings.Join(strings.Fields(l.Value), " "))
	}
	return []byte(b.String())
}

// ParseInfo reads bag-info.txt. A line that begins with a blank goes on with
// the line before.
func ParseInfo(text []byte) (Info, []string) {
	var in Info
	var wrong []string
	for i, line := range splitLines(string(text)) {
		switch name, value, ok := strings.Cut(line, ":"); {
		case line == "":
		case line[0] == ' ' || line[0] == '\t':
			if len(in) == 0 {
				wrong = append(wrong, fmt.Sprintf("%s line %d goes on with nothing", InfoFile, i+1))
				continue
			}
			in[len(in)-1].Value += " " + strings.TrimSpace(line)
		case !ok || strings.TrimSpace(name) == "":
			wrong = append(wrong, fmt.Sprintf("%s line %d: a label, a colon and a value are wanted", InfoFile, i+1))
		default:
			in = append(in, Label{strings.TrimSpace(name), strings.TrimSpace(value)})
		}
	}
	return in, wrong
}
