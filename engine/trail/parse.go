package trail

import (
	"bytes"
	"crypto/sha256"
	"fmt"
	"runtime"
	"strings"
	"sync"
)

// Limits of a trail's file, far above any need: 2,000 records are 1.5 MB.
const (
	longestTrail = 16 << 20
	longestLine  = longestText + 200
	mostRecords  = longestTrail / 500 // a signed record takes more
	mostStrays   = 1000
	mostProblems = 100 // shown
)

// group is the lines of one record as found, by tag.
type group struct {
	tag   string
	line  int    // where it begins
	id    ID     // of what lines say
	lines []byte // all but the sig lines, each with LF
	sig   []byte
}

// known reports whether a record's bytes, signature included, were found good
// before.
type known map[[32]byte]bool

func (g *group) sum() [32]byte {
	h := sha256.New()
	h.Write(g.lines)
	h.Write(g.sig)
	return [32]byte(h.Sum(nil))
}

// split parts a trail's bytes into records by the tag each line begins with.
// A byte order mark, CR before LF and empty lines are let pass: they are no
// part of what is signed. Any other line that belongs to no record is told.
func split(data []byte) (groups []*group, problems []Problem) {
	data = bytes.TrimPrefix(data, []byte("\ufeff"))
	open := map[string]*group{}
	n := 0
	for line := range bytes.Lines(data) {
		if n++; len(groups) > mostRecords || len(problems) > mostStrays {
			problems = append(problems, Problem{Line: n, Code: "stray", Damage: true, Says: "from here on it was not read: too much of the file is no trail"})
			break
		}
		line = bytes.TrimSuffix(bytes.TrimSuffix(line, []byte("\n")), []byte("\r"))
		if len(line) == 0 {
			continue
		}
		if !tagged(line) || len(line) > longestLine {
			problems = append(problems, stray(n, line))
			continue
		}
		tag, field := line[:8], line[9:]
		g := open[string(tag)]
		if bytes.HasPrefix(field, []byte("record ")) {
			g = &group{tag: string(tag), line: n}
			open[g.tag] = g
			groups = append(groups, g)
		}
		isSig := bytes.HasPrefix(field, []byte("sig "))
		switch {
		case g == nil, len(g.sig) > 0 && !isSig:
			problems = append(problems, stray(n, line))
		case isSig:
			g.sig = append(append(g.sig, line...), '\n')
		default:
			g.lines = append(append(g.lines, line...), '\n')
		}
	}
	for _, g := range groups {
		g.id = sha256.Sum256(g.lines)
	}
	return groups, problems
}

// tagged reports whether a line begins with a tag and a blank.
func tagged(line []byte) bool {
	if len(line) < 9 || line[8] != ' ' {
		return false
	}
	for _, c := range line[:8] {
		if (c < 'a' || c > 'z') && (c < '2' || c > '7') {
			return false
		}
	}
	return true
}

func stray(n int, line []byte) Problem {
	return Problem{Line: n, Code: "stray", Damage: true,
		Says: fmt.Sprintf("this line belongs to no record: %q", clip(string(line)))}
}

// record reads a group and checks all that can be told without the rest of the
// trail: its form, its texts and its signature.
func (g *group) record(good known) (*Record, error) {
	r := &Record{Tag: g.tag, Line: g.line, ID: g.id, lines: g.lines, sig: g.sig}
	var fields []string
	for line := range strings.Lines(string(g.lines)) {
		fields = append(fields, strings.TrimSuffix(line[len(g.tag)+1:], "\n"))
	}
	if err := r.read(fields); err != nil {
		return r, err
	}
	if r.Kind == Opening {
		r.Name, r.Printed = r.By, r.ByPrinted
	}
	if good[g.sum()] {
		return r, nil // form, texts and signature were found good before
	}
	if i, got, want := firstDifference(fields, r.fields()); i >= 0 {
		return r, fmt.Errorf("line %d of the record should read %q, not %q", i+1, clip(want), clip(got))
	}
	if list := r.faults(); len(list) > 0 {
		return r, fmt.Errorf("%s", say(list))
	}
	if len(g.sig) == 0 {
		return r, fmt.Errorf("it is not signed")
	}
	return r, r.verify()
}

// records reads all groups, over all processors. A record that is there twice
// is kept once; one that is spoilt is told.
func records(groups []*group, good known) (list []*Record, problems []Problem) {
	type result struct {
		r   *Record
		err error
	}
	results := make([]result, len(groups))
	var wg sync.WaitGroup
	workers := runtime.GOMAXPROCS(0)
	for w := range workers {
		wg.Go(func() {
			for i := w; i < len(groups); i += workers {
				results[i].r, results[i].err = groups[i].record(good)
			}
		})
	}
	wg.Wait()
	seen := map[ID]bool{}
	for i, res := range results {
		switch {
		case res.err != nil:
			problems = append(problems, Problem{Line: groups[i].line, Code: "spoilt", Damage: true,
				Says: fmt.Sprintf("record %s is spoilt: %v", groups[i].tag, res.err)})
		case !seen[res.r.ID]:
			seen[res.r.ID] = true
			list = append(list, res.r)
		}
	}
	return list, problems
}
