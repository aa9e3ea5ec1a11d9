package engine

import (
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

	"layette/engine/gate"
	"layette/engine/recipe"
	"layette/engine/trail"
)

// Subject is exactly what a person's word about a node is bound to: the files
// that were looked at, by digest and size, and what was shown beside them.
//
// The files are what the stage took and what it made; for handwork the person's
// own file, with From what it was made from; for a mere word what it is about.
type Subject struct {
	Node    Node
	Files   []File
	From    []File   // handwork: what the file was made from
	Sources []File   // hand-made files that Files were computed from
	Saw     []string // measures and gates as they were shown
	State   string   // SHA-256 of Saw, in hex
	Gates   []string // names of gates that hold the work and are not conceded
	Sign    *recipe.Sign
}

// Trail returns the subject as the trail knows it.
func (s *Subject) Trail() trail.Subject {
	return trail.Subject{Stage: s.Node.String(), Files: trailFiles(s.Files), State: s.State, Sources: trailFiles(s.Sources)}
}

// TrailFrom returns From as the trail knows it.
func (s *Subject) TrailFrom() []trail.File { return trailFiles(s.From) }

func trailFiles(files []File) []trail.File {
	var list []trail.File
	for _, f := range files {
		list = append(list, trail.File{SHA256: f.SHA256, Size: f.Size, Label: f.Path})
	}
	return list
}

// Policy returns what the recipe asks of sign-offs of a stage.
func Policy(s *recipe.Sign) trail.Policy {
	if s == nil {
		return trail.Policy{}
	}
	return trail.Policy{Role: s.Role, People: s.People, Meaning: s.Meaning, NotMaker: s.NotMaker, Questions: s.Questions, Sealed: s.Sealed}
}

// subject says what a word about a node is bound to.
func (w *walk) subject(n *node, st *Status) *Subject {
	s := &Subject{Node: n.Node, Sign: n.stage.Sign}
	switch {
	case n.book.Hand:
		s.Files, s.From = apart(st.Inputs)
	case n.book.Word:
		s.Files = st.Inputs
	default:
		s.Files = append(slices.Clone(st.Inputs), st.Files...)
	}
	s.Files = eachOnce(s.Files)
	s.Sources = w.handmade(n)
	s.Saw = saw(st, s.From)
	s.State = stateOf(s.Saw)
	for _, v := range st.Gates {
		if !v.GoesOn() {
			s.Gates = append(s.Gates, v.Gate)
		}
	}
	return s
}

// apart parts a handwork stage's inputs: the person's files, and what stages made.
func apart(inputs []File) (hand, made []File) {
	for _, f := range inputs {
		if f.From == (Node{}) {
			hand = append(hand, f)
		} else {
			made = append(made, f)
		}
	}
	return hand, made
}

func eachOnce(files []File) []File {
	seen := map[string]bool{}
	var list []File
	for _, f := range files {
		if !seen[f.SHA256] {
			seen[f.SHA256] = true
			list = append(list, f)
		}
	}
	return list
}

// handmade returns the people's files of handwork that a node was computed from.
func (w *walk) handmade(n *node) []File {
	var files []File
	seen := map[*node]bool{n: true}
	var visit func(up *node)
	visit = func(up *node) {
		if seen[up] {
			return
		}
		seen[up] = true
		if st := w.of(up); up.book.Hand && st != nil {
			hand, _ := apart(st.Inputs)
			files = append(files, hand...)
		}
		for _, next := range up.needs {
			visit(next)
		}
	}
	for _, up := range n.needs {
		visit(up)
	}
	return eachOnce(files)
}

// saw lists what a signer is shown beside the files.
func saw(st *Status, from []File) []string {
	var lines []string
	for _, m := range st.Measures {
		lines = append(lines, m.Name+" = "+m.Text()+listDigest(m.Value))
	}
	for _, v := range st.Gates {
		lines = append(lines, v.Line())
	}
	for _, f := range from {
		lines = append(lines, fmt.Sprintf("made from %s sha256:%s", f.From, f.SHA256))
	}
	for i, l := range lines {
		lines[i] = oneLine(l)
	}
	return lines
}

// longestLine is what a line of a trail may hold, with room to spare.
const longestLine = 1800

// oneLine is a line as a trail can hold it; a long one ends in a digest of the rest.
func oneLine(line string) string {
	line = trail.Tidy(strings.Join(strings.Fields(line), " "))
	if len(line) <= longestLine {
		return line
	}
	cut := longestLine
	for cut > 0 && !utf8.RuneStart(line[cut]) {
		cut--
	}
	sum := sha256.Sum256([]byte(line[cut:]))
	return line[:cut] + "… sha256:" + hex.EncodeToString(sum[:8])
}

// listDigest tells long lists apart whose beginnings are the same.
func listDigest(value any) string {
	if list, ok := value.([]float64); ok && len(list) > listed {
		sum := sha256.Sum256([]byte(fmt.Sprint(list)))
		return " sha256:" + hex.EncodeToString(sum[:8])
	}
	return ""
}

func stateOf(lines []string) string {
	sum := sha256.Sum256([]byte(strings.Join(lines, "\n") + "\n"))
	return hex.EncodeToString(sum[:])
}

// decide asks the trail about a node that was computed, and says where it stands.
func (w *walk) decide(n *node, st *Status) {
	s := w.subject(n, st)
	subject := s.Trail()
	for i := range st.Gates {
		if v := &st.Gates[i]; v.State != gate.Passes {
			w.concede(n, v, subject)
		}
	}
	d := w.trail.Decide(subject, Policy(n.stage.Sign))
	st.Sign = signOff(n, d)
	st.State, st.Says = Done, ""
	if n.book.Hand && len(s.From) > 0 && w.unmade(st, s) {
		return
	}
	switch {
	case !goOn(st):
	case d.State == trail.Doubtful:
		st.State, st.Says = Held, "the trail is damaged, so nobody's word can be told from it: see layette trail --check"
	case d.State == trail.Held:
		st.State, st.Says = Held, "held: "+strings.Join(openWords(d.Open), "; ")
	case n.asks() && d.State != trail.Approved:
		st.State, st.Says = Unsigned, awaits(n, d)
	}
	if !n.asks() && len(d.Open) == 0 {
		st.Sign = nil
	}
}

// asks reports whether a node needs somebody's word.
func (n *node) asks() bool { return n.stage.Sign != nil || n.book.Word }

func (w *walk) concede(n *node, v *Verdict, subject trail.Subject) {
	role := ""
	if n.stage.Sign != nil {
		role = n.stage.Sign.Role
	}
	record, ok, doubts := w.trail.Conceded(subject, v.Gate, role)
	if ok {
		v.Conceded = &record
	}
	v.Doubts = doubts
}

// goOn reports whether every gate lets work go on, and says which does not.
func goOn(st *Status) bool {
	for _, v := range st.Gates {
		if v.GoesOn() {
			continue
		}
		st.State = Held
		st.Says = fmt.Sprintf("gate %s holds it: %s, but the rule is %s", v.Gate, v.Numbers, v.Rule)
		if v.State == gate.Unknown {
			st.Says = fmt.Sprintf("gate %s cannot tell: %s", v.Gate, v.Verdict.Says)
		}
		return false
	}
	return true
}

func signOff(n *node, d trail.Decision) *SignOff {
	s := &SignOff{Asked: n.asks(), State: d.State, By: d.By, Needed: d.StillNeeded, Open: d.Open, Reasons: d.Reasons}
	if n.stage.Sign != nil {
		s.Role, s.Meaning, s.Questions = n.stage.Sign.Role, n.stage.Sign.Meaning, n.stage.Sign.Questions
	}
	return s
}

func openWords(open []trail.Record) []string {
	var words []string
	for _, r := range open {
		says := r.Meaning
		if len(r.Notes) > 0 {
			says = r.Notes[0]
		}
		words = append(words, fmt.Sprintf("%s (%s, %s): %s", r.ByPrinted, r.Verdict, r.ID.Short(), says))
	}
	return words
}

func awaits(n *node, d trail.Decision) string {
	who := "somebody"
	if n.stage.Sign != nil && n.stage.Sign.Role != "" {
		who = "the " + n.stage.Sign.Role
	}
	says := fmt.Sprintf("awaits the word of %s", who)
	if d.StillNeeded > 1 {
		says = fmt.Sprintf("awaits the word of %d people (%s)", d.StillNeeded, who)
	}
	if len(d.Reasons) > 0 {
		says += ": " + strings.Join(d.Reasons, "; ")
	}
	return says
}

// unmade reports whether nobody has said that the person's file was made from
// what stands before it now. The file is never touched; its maker is asked.
func (w *walk) unmade(st *Status, s *Subject) bool {
	var records []trail.Record
	for _, f := range s.Files {
		for _, r := range w.trail.MadeBy(f.SHA256) {
			if r.Stage == s.Node.String() {
				records = append(records, r)
			}
		}
	}
	for _, r := range slices.Backward(records) {
		if sameDigests(r.From, s.From) {
			st.Sign.Made = &r
			return false
		}
	}
	if len(records) == 0 {
		st.State = Unsigned
		st.Says = fmt.Sprintf("nobody has said yet that %s was made from %s", names(s.Files), origins(s.From))
		return true
	}
	st.Sign.Made = &records[len(records)-1]
	st.State = Handwork
	st.Says = fmt.Sprintf("%s was made from %s; now there is %s: look whether it is still right, change it if not, and say so", names(s.Files), wasFrom(st.Sign.Made.From), origins(s.From))
	return true
}

func sameDigests(was []trail.File, is []File) bool {
	var a, b []string
	for _, f := range was {
		a = append(a, f.SHA256)
	}
	for _, f := range is {
		b = append(b, f.SHA256)
	}
	slices.Sort(a)
	slices.Sort(b)
	return slices.Equal(slices.Compact(a), slices.Compact(b))
}

func origins(from []File) string {
	var words []string
	for _, f := range from {
		words = append(words, fmt.Sprintf("%s %s", f.From, short(f.SHA256)))
	}
	return strings.Join(words, ", ")
}

func wasFrom(from []trail.File) string {
	var words []string
	for _, f := range from {
		words = append(words, fmt.Sprintf("%s %s", f.Label, short(f.SHA256)))
	}
	return strings.Join(words, ", ")
}
