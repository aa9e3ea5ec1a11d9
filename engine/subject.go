package engine

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"fmt"
	"slices"
	"strings"
	"unicode/utf8"

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

// Subject returns what a word about a node is bound to now, and where the node
// stands. Every digest is taken afresh, believing nothing that was remembered:
// what is signed is what lies there. A stage that is not computed has nothing
// to sign and is refused with the reason.
func (m *Model) Subject(ctx context.Context, n Node) (*Subject, *Status, error) {
	w, nodes, err := m.lookWalk(ctx, nil)
	if err != nil {
		return nil, nil, err
	}
	i := slices.IndexFunc(nodes, func(x *node) bool { return x.Node == n })
	if i < 0 {
		return nil, nil, &UnknownStage{Name: n.String(), Recipe: w.plan.recipe}
	}
	st := w.of(nodes[i])
	switch st.State {
	case Due, Failed, Waiting:
		return nil, st, fmt.Errorf("%s is %s and has nothing to sign: %s", n, st.State, st.Says)
	case Handwork:
		if st.Sign == nil { // the file itself is awaited
			return nil, st, fmt.Errorf("%s awaits handwork: %s", n, st.Says)
		}
	}
	s := w.subject(nodes[i], st)
	for _, f := range slices.Concat(s.Files, s.From) {
		if f.bytes.data != nil { // made from what was just looked at
			continue
		}
		sum, err := m.stamps.Read(ctx, f.bytes.place, f.bytes.name, nil)
		if err != nil {
			return nil, st, fmt.Errorf("%s: %w", f.Path, err)
		}
		if sum.SHA256 != f.SHA256 {
			return nil, st, fmt.Errorf("%s is not what the stage worked with: run again, and look again, before you sign", f.Path)
		}
	}
	return s, st, nil
}
