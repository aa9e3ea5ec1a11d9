// Package step is the contract between the engine and a step: what a step
// says of itself (Handbook), what it is given (Job) and what it answers
// (Outcome). It holds no logic that knows recipes, files, people or geometry.
//
// Units throughout: lengths mm, areas mm², volumes mm³, angles degrees, shares
// as fractions of one (2 % is 0.02), masses g, densities g/cm³, times s,
// temperatures °C.
package step

import (
	"context"
	"io"
)

// Kind is what a stage does. A step is a function of its Job alone: the same
// handbook version, inputs and values give the same bytes on any machine. It
// reads no clock, no environment and no file but through its Job.
type Kind interface {
	// Handbook says what the step needs and what it finds. It is constant.
	Handbook() Handbook
	// Run does the work. A limit that is not met is a measure for a gate to
	// judge; an error means the step could not tell. Run returns
	// context.Cause(ctx) soon after ctx is done, within 100 ms.
	Run(ctx context.Context, job *Job) (*Outcome, error)
}

// Checker is a Kind that can say more about a stage's values than their types,
// before anything runs. Each complaint names the value it is about.
type Checker interface {
	Check(values Values) []Complaint
}

// Complaint is one thing wrong with one value of a stage.
type Complaint struct {
	Value string // name of the value
	Says  string // what is wrong, in the recipe's words
	Hint  string // what to write instead; may be empty
}

// Handbook describes a step to the recipe reader, to the engine and to people.
type Handbook struct {
	Name     string // as recipes write it, such as "gaps"
	Version  int    // raised in the commit that changes any result
	Summary  string // one sentence, for lists
	Method   string // how it is done, for people; paragraphs parted by a blank line
	Sources  []string
	Cautions []string
	Inputs   []Input
	Values   []Value
	Measures []Measure
	Outputs  []Output
	// Memory is the working memory the step needs, in bytes for each byte of
	// input; the engine keeps the sum over running stages below its limit.
	Memory float64
	// Hand marks a step whose work is a person's: the engine never runs a
	// stage of it before the person's file is there, and never writes that file.
	Hand bool
	// Word marks a step that is only a person's word over named inputs: its
	// stage computes nothing and is done when it is signed.
	Word bool
}

// FileKind says what a file holds.
type FileKind string

// The kinds of file that steps take and give.
const (
	Surface FileKind = "surface" // triangles: STL, PLY, OBJ; needs units
	Scan    FileKind = "scan"    // one shot of the scanner, points or an open patch; needs units
	Picture FileKind = "picture" // PNG, JPEG or SVG
	Rows    FileKind = "table"   // CSV or JSON
	Text    FileKind = "text"    // plain text, Markdown, HTML
	Any     FileKind = "any"     // bytes of any sort: photographs, bags, originals
)

// Input is a declared input of a step.
type Input struct {
	Name     string
	Kind     FileKind
	Many     bool // any number of files, in the order of their names
	Optional bool
	// Named marks an input whose files' names matter to the result (a list of
	// originals, say); only then are names part of the stage's fingerprint.
	Named bool
	Doc   string
}

// ValueType says how a value is written in a recipe and read by a step.
type ValueType string

// The types of value. A reference such as "materials.vinyl.wall" may stand for
// any of them in a recipe.
const (
	Length      ValueType = "length"      // "1.2 mm", "0.05 in": float64 mm
	Angle       ValueType = "angle"       // "15 deg": float64 degrees
	Area        ValueType = "area"        // "25 mm2": float64 mm²
	Volume      ValueType = "volume"      // "3 cm3": float64 mm³
	Share       ValueType = "share"       // "2 %": float64, 0.02
	Mass        ValueType = "mass"        // "120 g": float64 g
	Density     ValueType = "density"     // "1.2 g/cm3": float64 g/cm³
	Time        ValueType = "time"        // "24 h": float64 s
	Temperature ValueType = "temperature" // "20 degC": float64 °C
	Number      ValueType = "number"      // 2.5: float64
	Count       ValueType = "count"       // 3: int64
	Flag        ValueType = "flag"        // true: bool
	OneWord     ValueType = "word"        // one of Value.OneOf: string
	String      ValueType = "text"        // string
	Strings     ValueType = "texts"       // ["a", "b"]: []string
	Point       ValueType = "point"       // [1, 2, 3] in mm: [3]float64
	Tree        ValueType = "table"       // a table of quantities, texts, lists and tables: Table
)

// Value is a declared value of a step.
type Value struct {
	Name     string
	Type     ValueType
	Default  string   // as a recipe would write it, quotes left out; empty means the recipe must give it unless Optional
	Optional bool     // may be absent; Values.Has tells
	OneOf    []string // for OneWord
	Min      string   // least allowed, as a recipe would write it; empty means no limit
	Max      string
	Doc      string
	Origin   string // where the default comes from: "published: …", "common practice", "ask your factory"
}

// Table is a value with named members in the recipe's order: each member is a
// float64 (a quantity in base units, or a bare number), bool, string, []string,
// []float64 or Table. Kinds[i] is the type that entry i was written as, such
// as Length or Share; Number for a bare number.
type Table struct {
	Names  []string
	Kinds  []ValueType
	Values []any
}

// Get returns the member called name and whether there is one.
func (t Table) Get(name string) (any, bool) {
	for i, n := range t.Names {
		if n == name {
			return t.Values[i], true
		}
	}
	return nil, false
}

// Measure declares a measure that a step finds.
type Measure struct {
	Name string    // lower-case words parted by dots: "air.least"
	Type ValueType // Length, Angle, Share, Number, Count, Flag, String, ...; "list" measures set Many
	Unit string    // shown after the number when Type does not imply it: "mm²", "mm³"
	// Resolution is the step the value is rounded to before anything sees it,
	// 0.001 mm for most lengths; 0 leaves it as it is.
	Resolution float64
	Many       bool // a list of such values
	Doc        string
}

// Output declares a file, or files, that a step gives.
type Output struct {
	Name string // what other stages ask for
	Kind FileKind
	Many bool
	// Units is the unit of a surface's coordinates: "mm" unless stated.
	Units string
	Doc   string
}

// File is one input file of a job. Its bytes are fixed for the job's duration;
// the engine throws the result away when they are not.
type File struct {
	Name   string // file name, or for a Named input the path below the model; a label
	Units  string // unit of its coordinates, for surfaces and scans: "mm", "cm", "m", "in", "um"
	Size   int64
	SHA256 string // 64 hex digits
	Part   string // which part it belongs to; empty if none. Not in the fingerprint unless Input.Named
	Scan   string // which scan; empty if none
	Stage  string // the stage that made it; empty for a file of a person. Not in the fingerprint unless Input.Named
	Open   func() (Reader, error)
}

// Reader reads a File.
type Reader interface {
	io.Reader
	io.ReaderAt
	io.Closer
}

// Job is all that a step is given.
type Job struct {
	Inputs   map[string][]File // by input name; absent inputs have no entry
	Values   Values
	Workers  int // how many goroutines to use at most; results must not depend on it
	Progress Progress
	// Create makes an output file. output is a declared output, name a file
	// name (a relative path with forward slashes for Kind Any outputs). The
	// file appears when the whole stage has succeeded.
	Create func(output, name string) (io.WriteCloser, error)
	// Pass gives an input file on as an output without copying its bytes, under
	// f.Name, which the step may change first.
	Pass func(output string, f File) error
	// Prior opens what an earlier run of this step with other inputs left for
	// reuse, by key, and Keep leaves something. What they hold must be a
	// function of the key's inputs alone (a key names its own digests, or what
	// is under it names them row by row): they save work and never change a
	// result. Both may be nil.
	Prior func(key string) (Reader, bool)
	Keep  func(key string, data []byte) error
}

// Values are a stage's values by name, in base units, after defaults and
// overrides. The getters panic on a name or type the handbook does not
// declare: that is a fault in the step, not in the recipe.
type Values map[string]any

// Has reports whether an optional value was given.
func (v Values) Has(name string) bool { _, ok := v[name]; return ok }

// Float returns a length, angle, area, volume, share, mass, density, time, temperature or number.
func (v Values) Float(name string) float64 { return v[name].(float64) }

// Int returns a count.
func (v Values) Int(name string) int { return int(v[name].(int64)) }

// Flag returns a flag.
func (v Values) Flag(name string) bool { return v[name].(bool) }

// Text returns a text or word.
func (v Values) Text(name string) string { return v[name].(string) }

// Texts returns a list of texts.
func (v Values) Texts(name string) []string { return v[name].([]string) }

// Point returns a point in mm.
func (v Values) Point(name string) [3]float64 { return v[name].([3]float64) }

// Table returns a table.
func (v Values) Table(name string) Table { return v[name].(Table) }

// Outcome is what a step found. The engine stores it, judges its measures by
// the stage's gates and shows its spots; it is replayed whole from the store.
type Outcome struct {
	// Measures by declared name: float64, int64, bool, string or slices of
	// them. A float that is not finite means "unknown", which holds a gate.
	Measures map[string]any
	Spots    []Spot
	Notes    []string // sentences for people, in order of weight
}

// Spot is a place on a surface where a step found something.
type Spot struct {
	Number  int          `json:"number"`         // 1 is the gravest
	What    string       `json:"what"`           // what sort of thing: "air gap", "hole"
	At      [3]float64   `json:"at"`             // mm, in the input surface's own frame
	To      [3]float64   `json:"to,omitzero"`    // the facing point, for what spans two places
	Radius  float64      `json:"radius"`         // mm, about how far it reaches
	Value   float64      `json:"value"`          // the number that matters
	Unit    string       `json:"unit"`           // of Value
	Says    string       `json:"says"`           // one sentence: what, how bad, what would cure it
	Surface string       `json:"surface"`        // name of the input or output it lies on
	Part    string       `json:"part,omitempty"` // filled in by the engine
	Scan    string       `json:"scan,omitempty"` // which scan, where a step looks at several
	Fault   bool         `json:"fault"`          // false for a remark
	Ring    [][3]float64 `json:"ring,omitempty"` // an outline to draw, closed, mm
}

// Progress hears how far a step is. Its methods may be called from several
// goroutines and as often as the step likes.
type Progress interface {
	// Start says what is being done and how many units it takes; 0 means not known.
	Start(what string, total int)
	// Add reports n more units done.
	Add(n int)
}

// NoProgress hears and says nothing.
var NoProgress Progress = silent{}

type silent struct{}

func (silent) Start(string, int) {}
func (silent) Add(int)           {}
