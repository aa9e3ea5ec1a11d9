package trail

import (
	"fmt"
	"regexp"
	"strings"
	"unicode"
	"unicode/utf8"

	"golang.org/x/text/unicode/norm"
)

// Limits of one text and of one list, far above any need.
const (
	longestText = 2000 // bytes
	longestList = 5000 // files of a record
)

var (
	nameForm  = regexp.MustCompile(`^[a-z][a-z0-9-]{0,63}$`)
	titleForm = regexp.MustCompile(`^[A-Za-z0-9][A-Za-z0-9._-]{0,99}$`)
	tagForm   = regexp.MustCompile(`^[a-z2-7]{8}$`)
	hexForm   = regexp.MustCompile(`^[0-9a-f]{64}$`)
	printForm = regexp.MustCompile(`^SHA256:[A-Za-z0-9+/]{43}$`)
)

// textFault says why s may not stand in a record, "" if it may. A text is what
// everybody sees alike: valid UTF-8 in normal form C, without control or
// format characters (line ends, direction marks, zero-width characters),
// without any blank but the plain one, and none of those at either end.
func textFault(s string) string {
	switch {
	case s == "":
		return "is empty"
	case len(s) > longestText:
		return fmt.Sprintf("is %d bytes long; %d are allowed", len(s), longestText)
	case !utf8.ValidString(s):
		return "is not valid UTF-8"
	case strings.TrimSpace(s) != s:
		return "begins or ends with a blank"
	}
	for _, r := range s {
		if hidden(r) {
			return fmt.Sprintf("holds the invisible or forbidden character %U", r)
		}
	}
	if !norm.NFC.IsNormalString(s) {
		return "is not in Unicode normal form C"
	}
	return ""
}

// hidden reports characters that readers would not see, or see differently:
// controls, format characters (direction marks, zero-width ones), line and
// paragraph separators, unusual blanks, private use, U+FFFD.
func hidden(r rune) bool {
	switch {
	case r < 0x7f:
		return r < 0x20
	case r == 0x7f, r == unicode.ReplacementChar:
		return true
	}
	return unicode.In(r, unicode.Cc, unicode.Cf, unicode.Co, unicode.Cs, unicode.Z)
}

// Tidy brings a text that a person typed into the form of a record where that
// changes nothing anyone sees: normal form C, plain blanks, none at the ends.
func Tidy(s string) string {
	plain := strings.Map(func(r rune) rune {
		if unicode.Is(unicode.Zs, r) {
			return ' '
		}
		return r
	}, s)
	return strings.TrimSpace(norm.NFC.String(plain))
}

// tidy applies Tidy to every text of d.
func (d Draft) tidy() Draft {
	for _, s := range []*string{&d.Meaning, &d.Printed, &d.Stage, &d.Fault, &d.Action, &d.Reason, &d.Tool} {
		*s = Tidy(*s)
	}
	for _, list := range []*[]string{&d.Saw, &d.Ticks, &d.Gates, &d.Notes} {
		*list = tidyAll(*list)
	}
	for _, list := range []*[]File{&d.Files, &d.From} {
		tidied := make([]File, len(*list))
		for i, f := range *list {
			f.Label = Tidy(f.Label)
			tidied[i] = f
		}
		*list = tidied
	}
	pins := make([]Pin, len(d.Pins))
	for i, p := range d.Pins {
		p.Words = Tidy(p.Words)
		pins[i] = p
	}
	d.Pins = pins
	return d
}

func tidyAll(list []string) []string {
	tidied := make([]string, len(list))
	for i, s := range list {
		tidied[i] = Tidy(s)
	}
	return tidied
}
