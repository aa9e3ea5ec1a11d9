package factorysheet

import (
	"fmt"
	"strings"

	"layette/engine/step"
)

// sheet is all that the factory is told; both writers write its blocks.
type sheet struct {
	values   step.Values
	title    string
	masters  []*master
	accounts []step.Account
	photos   []photo
	blocks   []block
}

// photo is a picture for the sheet, PNG or JPEG.
type photo struct {
	Caption    string
	Kind       string // "png" or "jpeg"
	Data       []byte
	Wide, Tall int // pixels
}

// block is a piece of the page, in the order of reading.
type block struct {
	Heading string
	Text    string
	Strong  bool // of Text: what must not be overlooked
	Items   []string
	Table   *table
	Plate   *drawing
	Photos  []photo
}

// table is rows under a head; shares are of the width and add up to one.
type table struct {
	Head   []string
	Shares []float64
	Rows   [][]string
	mono   int // column of digests, -1 if there is none
}

func newSheet(values step.Values, masters []*master, accounts []step.Account, photos []photo) *sheet {
	s := &sheet{values: values, masters: masters, accounts: accounts, photos: photos, title: "Masters for moulds"}
	s.title = s.text("title", s.title)
	s.lead()
	s.shrinkage()
	s.sizes()
	s.digests()
	s.concessions()
	s.gates()
	s.signatures()
	s.cautions()
	s.plates()
	s.pictures()
	return s
}

func (s *sheet) add(b block)                 { s.blocks = append(s.blocks, b) }
func (s *sheet) headed(heading, text string) { s.add(block{Heading: heading, Text: text}) }

func (s *sheet) rows(t table) {
	if t.mono == 0 {
		t.mono = -1
	}
	s.add(block{Table: &t})
}

// text returns a value, or other words where it is not stated.
func (s *sheet) text(name, other string) string {
	if s.values.Has(name) && strings.TrimSpace(s.values.Text(name)) != "" {
		return s.values.Text(name)
	}
	return other
}

func (s *sheet) wall() string {
	if !s.values.Has("wall") {
		return "not stated"
	}
	return fmt.Sprintf("%.2f mm", s.values.Float("wall"))
}

// ask is what the factory does about a thing that is not stated.
const ask = "not stated: ask before you cut a mould"

func (s *sheet) lead() {
	s.headed("", "All surfaces are in millimetres, at 20 degrees C (ISO 1), in right-handed axes. A binary STL file names no unit: read it as millimetres. Every dimension here is the master's, measured on the file named, and not the finished part's.")
	wall := ask
	if s.values.Has("wall") {
		wall = s.wall()
	}
	s.rows(table{Shares: []float64{0.25, 0.75}, Rows: [][]string{
		{"From", s.text("studio", "not stated")},
		{"Ask", s.text("contact", "not stated")},
		{"Masters", fmt.Sprint(len(s.masters))},
		{"Material", s.text("material", ask)},
		{"Wall wanted", wall},
		{"Meant for", s.text("age-grade", ask)},
	}})
}

func (s *sheet) sizes() {
	t := table{Head: []string{"Master", "Along the file's x, y, z", "On its opening: broad, deep, high", "Opening: broad, deep, girth", "Volume"},
		Shares: []float64{0.15, 0.23, 0.25, 0.23, 0.14}}
	for _, m := range s.masters {
		open, volume := "none found", "open"
		if o := m.Opening; o != nil {
			open = fmt.Sprintf("%s × %s, %s", size(o.Across.size()), size(o.Deep.size()), size(o.Girth))
		}
		if m.Closed {
			volume = fmt.Sprintf("%.1f cm³", m.Volume/1000)
		}
		t.Rows = append(t.Rows, []string{m.name,
			fmt.Sprintf("%s × %s × %s", size(m.Box.X), size(m.Box.Y), size(m.Box.Z)),
			fmt.Sprintf("%s × %s × %s", size(m.Across.size()), size(m.Deep.size()), size(m.High.size())), open, volume})
	}
	s.headed("Main dimensions of the masters, mm", "")
	s.rows(t)
	for _, m := range s.masters {
		for _, n := range m.Notes {
			s.add(block{Text: n})
		}
	}
}

func (s *sheet) digests() {
	t := table{Head: []string{"File", "Bytes", "Triangles", "SHA-256"}, Shares: []float64{0.24, 0.13, 0.12, 0.51}, mono: 3}
	for _, m := range s.masters {
		t.Rows = append(t.Rows, []string{m.label(), thousands(int(m.file.Size)), thousands(m.Triangles), m.file.SHA256})
	}
	s.headed("Files", "A file with another digest is not the one that was approved.")
	s.rows(t)
}

// label names a master's file with its part where the file does not.
func (m *master) label() string {
	base := m.file.Name[strings.LastIndexByte(m.file.Name, '/')+1:]
	if m.file.Part == "" || strings.HasPrefix(base, m.file.Part) {
		return base
	}
	return m.file.Part + "-" + base
}

// place names a stage and the part it was run for.
func place(a step.Account) string { return strings.TrimSuffix(a.Stage+" "+a.Part, " ") }

// clock writes a record's time, RFC 3339 in UTC, for people.
func clock(t string) string {
	if len(t) != len("2026-03-04T10:05:00Z") {
		return t
	}
	return t[:10] + " " + t[11:16] + " UTC"
}

func (s *sheet) concessions() {
	var rows [][]string
	for _, a := range s.accounts {
		for _, g := range a.Gates {
			if c := g.Concession; c != nil {
				rows = append(rows, []string{place(a), fmt.Sprintf("%s: %s", g.Name, g.Rule), strings.Join(g.Saw, "; "), c.Name + ", " + c.Role, clock(c.Time), c.Note})
			}
		}
	}
	s.headed("Concessions", "")
	switch {
	case len(s.accounts) == 0:
		s.add(block{Text: "Nothing is known of gates: no stage gave its account.", Strong: true})
	case len(rows) == 0:
		s.add(block{Text: "None: no gate was conceded."})
	default:
		s.add(block{Text: "These limits are not held. Somebody who may decide it let the masters go on all the same; ask before you change anything about them.", Strong: true})
		s.rows(table{Head: []string{"Stage", "Gate", "Found", "Conceded by", "When", "Why"}, Shares: []float64{0.14, 0.22, 0.17, 0.16, 0.12, 0.19}, Rows: rows})
	}
}

func (s *sheet) gates() {
	t := table{Head: []string{"Stage", "Gate", "Rule", "Found", "Verdict"}, Shares: []float64{0.18, 0.15, 0.32, 0.24, 0.11}}
	for _, a := range s.accounts {
		for _, g := range a.Gates {
			verdict := g.Verdict
			if g.Concession != nil {
				verdict += ", conceded"
			}
			t.Rows = append(t.Rows, []string{place(a), g.Name, g.Rule, strings.Join(g.Saw, "; "), verdict})
		}
	}
	if len(t.Rows) > 0 {
		s.headed("Gates", "What was asked of each part, and what was found.")
		s.rows(t)
	}
}

func (s *sheet) signatures() {
	t := table{Head: []string{"Stage", "Name", "As", "Time", "Word", "Record"}, Shares: []float64{0.17, 0.14, 0.13, 0.14, 0.3, 0.12}}
	for _, a := range s.accounts {
		for _, w := range a.Words {
			t.Rows = append(t.Rows, []string{place(a), w.Name, w.Role, clock(w.Time), w.Verdict + ": " + w.Meaning, w.Record})
		}
	}
	s.headed("Signed", "")
	if len(t.Rows) == 0 {
		s.add(block{Text: "Nobody's word is known here; the release is signed after this sheet is made."})
		return
	}
	s.add(block{Text: "The release itself is signed after this sheet is made and stands in the trail."})
	s.rows(t)
}

// Cautions go with the sheet whatever else does.
var Cautions = []string{
	"Hot plastisol, ovens and moulds: work by your own licensed practice and local rules.",
	"Small parts, phthalates, points and edges: an accredited laboratory must say what the law where the toy is sold asks; nothing on this sheet does.",
	"Nothing here says that anything conforms to anything.",
}

func (s *sheet) cautions() {
	s.add(block{Heading: "Cautions", Items: Cautions})
	if s.values.Has("notes") && len(s.values.Texts("notes")) > 0 {
		s.add(block{Heading: "Further", Items: s.values.Texts("notes")})
	}
}

func (s *sheet) plates() {
	s.headed("Plates", "Print at 100 %, without fitting to the page, and lay a rule on the bar before you take a length off the paper. Dimensions are written to 0.1 mm; no tolerance is stated by them.")
	openings := s.openingPlates(0, 0)
	of := len(s.masters) + len(openings)
	for i, m := range s.masters {
		s.add(block{Plate: s.plate(m, i+1, of)})
	}
	for _, d := range s.openingPlates(len(s.masters)+1, of) {
		s.add(block{Plate: d})
	}
}

func (s *sheet) pictures() {
	var all []photo
	for _, m := range s.masters {
		all = append(all, m.clay)
	}
	s.add(block{Heading: "Pictures", Photos: append(all, s.photos...)})
}
