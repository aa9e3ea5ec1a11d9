// Package sheet makes a model's inspection sheet: one HTML page that loads
// nothing from outside, is read on a screen, a phone or paper, and shows where
// every part stands, what was found and where on the part, who signed for what
// and how the trail checks.
//
// The package is given plain data, all of it already in words for people, and
// pictures as bytes. It knows no geometry, reads no file and runs nothing.
// Equal pages give equal bytes.
package sheet

import (
	"bytes"
	"crypto/sha256"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html/template"
	"io"
	"math"
	"slices"
	"strings"
)

// Page is all that a sheet shows.
type Page struct {
	Model    string // name of the model
	Title    string // of the recipe
	Made     string // when, as it is to be printed
	By       string // the program and its version; may be empty
	Headline string // one sentence: how far the model is; made from the states if empty
	Next     []string
	Changed  []Change
	Parts    []Part
	Given    []Given
	Cautions []string
	Trail    Trail
	Desk     bool // the page is served to a person who may act, not sent to a reader
}

// Part is a part of the kit, or with an empty name the kit as a whole.
type Part struct {
	Name   string
	Stages []Stage
}

// Stage is one instance of a stage.
type Stage struct {
	ID       string // unique on the page, such as "gaps/left-arm"
	Name     string // such as "gaps"
	Shot     string // the shot it is for; many shots of a stage are shown folded into one
	Step     string
	For      string // what the recipe says it is for
	State    string // done, due, held, unsigned, handwork, waiting or failed
	Says     string // why it stands there, one sentence
	Gates    []Gate
	Measures []Measure
	Spots    []Spot
	Pictures []Picture
	Solids   []Solid // what the 3D view shows; may be empty
	Table    *Table  // rows that it wrote, to be read as they stand; may be nil
	Notes    []string
	Asked    string // whose word it awaits and what that word means; may be empty
	Signed   []Signature
	Files    []File
}

// Gate is a rule and what it said.
type Gate struct {
	Name     string
	Why      string // what it is for
	Rule     string
	Numbers  string // what the rule saw
	Margin   string // how much there is to spare or is lacking
	State    string // passes, holds or unknown
	Conceded string // by whom, when and why work goes on nevertheless; empty if it is not
	Picture  *Picture
}

// Measure is a measure with its value, in words.
type Measure struct{ Name, Value, Doc string }

// Spot is a numbered place.
type Spot struct {
	Number int        `json:"n"`
	What   string     `json:"what"`
	Value  string     `json:"value"` // with its unit
	Says   string     `json:"says"`
	Fault  bool       `json:"fault"`
	At     [3]float64 `json:"at"` // mm, in the frame of the solid it lies on
	Radius float64    `json:"r"`  // mm
}

// Picture is a PNG, JPEG or SVG picture.
type Picture struct {
	Title string
	Data  []byte
	Photo []byte // a photograph to show beside it, as Photograph returns it; may be empty
	Lacks string // why the photograph that belongs beside it is not there; may be empty
}

// renders are the pictures that are not drawings of lines; charts are those,
// such as histograms.
func renders(list []Picture) (out []Picture) {
	return slices.DeleteFunc(slices.Clone(list), Picture.drawn)
}

func charts(list []Picture) (out []Picture) {
	return slices.DeleteFunc(slices.Clone(list), func(p Picture) bool { return !p.drawn() })
}

func (p Picture) drawn() bool { return isDrawing(p.Data) }

// Signature is what a sign-off must show wherever it is printed: the signer's
// printed name, the date and time, and the meaning (the three things that 21
// CFR 11.50(a) names).
type Signature struct {
	Name    string
	Time    string
	Meaning string
	Verdict string // approved, held, rejected, conceded, made, withdrawn
	Note    string
	Record  string // of the trail, shortened
	Lapsed  string // why it counts no more, such as "for content that has changed since"; empty if it does
}

// File is a file that a stage gave or took.
type File struct{ Role, Name, Size, SHA256 string }

// Change is something that differs from what was last signed.
type Change struct{ Stage, Says, Since string }

// Given is a value that the model sheet sets against the recipe.
type Given struct{ Name, Value, Was, Reason string }

// Trail is the auditor's view.
type Trail struct {
	Name    string
	Limits  string // what the trail does not prove
	Checks  []Check
	People  []Person
	Records []Record
}

// Check is one check of the trail and how it came out.
type Check struct {
	Name string
	OK   bool
	Says string
}

// Person is somebody enrolled.
type Person struct{ Name, Roles, Keys string }

// Record is one record of the trail.
type Record struct {
	ID, What, Stage, Name, Time, Meaning, Note string
	Void                                       string // why it does not count; empty if it does
}

// Most is how large a page may grow: what a phone opens at once and a letter
// program still sends.
const Most = 5_000_000

var (
	//go:embed sheet.html
	pageText string
	//go:embed sheet.css
	pageStyle string
	//go:embed sheet.js
	pageScript string
	//go:embed viewer.js
	viewerScript string
)

// Viewer returns the script of the 3D view and the style of the sheet, for a
// page that shows them too. The script defines layetteViewer(element).
func Viewer() (script, style string) { return viewerScript, pageStyle }

// Solid3D returns a solid as the JSON that the script of Viewer reads.
func Solid3D(s Solid) ([]byte, error) { return s.pack() }

// Write writes the page. Pictures are made smaller until the page stays below
// Most; surfaces must be given reduced. A page that cannot be brought below it
// is written all the same, and the size returned says so.
func Write(w io.Writer, p Page) (size int, err error) {
	v, err := newView(p)
	if err != nil {
		return 0, err
	}
	width := widest
	for {
		out, pictures, err := v.render(width)
		if err != nil {
			return 0, err
		}
		if len(out) < Most || width <= narrowest || pictures == 0 {
			return w.Write(out)
		}
		// a picture's bytes go about with its area
		room := float64(max(Most-(len(out)-pictures), 0)) / float64(pictures)
		width = max(narrowest, min(width*9/10, int(float64(width)*math.Sqrt(room)*0.95)))
	}
}

// Pictures are shown at most so many pixels wide, and at least so many where
// there are too many of them.
const (
	widest    = 1200
	narrowest = 320
)

// A view is a page as its template sees it.
type view struct {
	Page
	Style  template.CSS
	Script template.JS
	Policy string
	Tally  []tally
	Shown  []shownPart
}

type shownPart struct {
	ID     string
	Label  string
	Blocks []block
}

type shownStage struct {
	Stage
	Packs []shownSolid
}

type shownSolid struct {
	Solid
	JSON template.JS
}

// tally is how many stages are in one state.
type tally struct {
	State string
	N     int
}

// states in the order in which a reader cares.
var states = []string{"held", "failed", "unsigned", "handwork", "due", "waiting", "done"}

// newView makes of a page all that does not depend on how large its pictures
// are.
func newView(p Page) (*view, error) {
	v := &view{Page: p, Style: template.CSS(pageStyle), Script: template.JS(viewerScript + pageScript)}
	sum := sha256.Sum256([]byte(v.Script))
	v.Policy = "default-src 'none'; img-src data:; style-src 'unsafe-inline'; script-src 'sha256-" + base64.StdEncoding.EncodeToString(sum[:]) + "'"
	v.count()
	for i, part := range p.Parts {
		s := shownPart{ID: fmt.Sprintf("part-%d", i), Label: part.Name}
		if s.Label == "" {
			s.Label = "the kit as a whole"
		}
		for _, stage := range part.Stages {
			packs, err := stage.packs()
			if err != nil {
				return nil, fmt.Errorf("3D view of %s: %w", stage.ID, err)
			}
			s.add(shownStage{stage, packs})
		}
		v.Shown = append(v.Shown, s)
	}
	return v, nil
}

// render returns the page with pictures of at most width pixels, and how many
// of its bytes are pictures.
func (v *view) render(width int) (page []byte, pictures int, err error) {
	album := &album{width: width}
	t, err := template.New("sheet").Funcs(template.FuncMap{
		"picture": album.show, "mark": mark, "anchor": anchor, "faults": faults, "open": isOpen, "stands": stands, "gravest": gravest, "others": others, "renders": renders, "charts": charts,
	}).Parse(pageText)
	if err != nil {
		return nil, 0, err
	}
	var b bytes.Buffer
	if err := t.Execute(&b, v); err != nil {
		return nil, 0, err
	}
	return b.Bytes(), album.bytes, nil
}

// packs returns the stage's solids as the page carries them.
func (s Stage) packs() (out []shownSolid, err error) {
	for _, solid := range s.Solids {
		packed, err := solid.pack()
		if err != nil {
			return nil, err
		}
		out = append(out, shownSolid{solid, template.JS(packed)})
	}
	return out, nil
}

// count tallies the states and, if the page has no headline, makes one.
func (v *view) count() {
	n := map[string]int{}
	total := 0
	for _, p := range v.Parts {
		for _, s := range p.Stages {
			n[s.State]++
			total++
		}
	}
	var words []string
	for _, s := range states {
		if n[s] > 0 {
			v.Tally = append(v.Tally, tally{s, n[s]})
			words = append(words, fmt.Sprintf("%d %s", n[s], s))
		}
	}
	if v.Headline == "" && total > 0 {
		v.Headline = fmt.Sprintf("Of %d stages: %s.", total, strings.Join(words, ", "))
	}
}

// mark returns the sign drawn before a state, so that no state is told by
// tone alone.
func mark(state string) string {
	return map[string]string{"done": "●", "due": "◔", "held": "■", "unsigned": "○", "handwork": "◇", "waiting": "·", "failed": "✕",
		"passes": "●", "holds": "■", "unknown": "?"}[state]
}

// anchor turns an id into something an address may end in.
func anchor(id string) string {
	return "s-" + strings.Map(func(r rune) rune {
		switch {
		case r >= 'a' && r <= 'z', r >= 'A' && r <= 'Z', r >= '0' && r <= '9', r == '-', r == '.':
			return r
		}
		return '_'
	}, id)
}

// faults counts the spots that are faults.
func faults(spots []Spot) (n int) {
	for _, s := range spots {
		if s.Fault {
			n++
		}
	}
	return n
}

// unfolded is how many spots are listed before the rest are folded away.
const unfolded = 12

func gravest(spots []Spot) []Spot { return spots[:min(len(spots), unfolded)] }
func others(spots []Spot) []Spot  { return spots[min(len(spots), unfolded):] }

// isOpen reports whether a stage is shown unfolded: whatever is not done.
func isOpen(s shownStage) bool { return s.State != "done" && s.State != "waiting" }
