// Package engine plans and runs a model's stages as one dependency graph.
//
// Open reads a model's recipe; Look tells where every stage stands without
// running anything; Run runs what is due. Both answer a Board: plain data for
// the terminal, the sheet and the desk.
//
//	due ---run---> computed ---gates hold, or are conceded---> signed, if asked ---> done
//	                  |                    |                        |
//	                  v                    v                        v
//	               failed                held                   unsigned
//
// A stage is looked at when all that it needs is done; until then it is
// waiting. A stage of handwork awaits a person's file first.
package engine

import (
	"bytes"
	"io"
	"path"
	"strings"
	"time"

	"layette/engine/gate"
	"layette/engine/recipe"
	"layette/engine/step"
	"layette/engine/store"
	"layette/engine/trail"
)

// Node names one instance of a stage: the stage itself, or the stage for one
// part, or for one scan of a part. A scan is its path below the model.
type Node struct {
	Stage string `json:"stage"`
	Part  string `json:"part,omitempty"`
	Scan  string `json:"scan,omitempty"`
}

// String returns "bag", "gaps/left-arm" or "intake/head/scans/head/017.ply".
func (n Node) String() string { return path.Join(n.Stage, n.Part, n.Scan) }

// State is where a stage stands.
type State string

// The states.
const (
	Done     State = "done"
	Due      State = "due"      // would run now
	Held     State = "held"     // a gate or a person said no
	Unsigned State = "unsigned" // computed; awaits a person's word
	Handwork State = "handwork" // awaits a file from a person's hands
	Waiting  State = "waiting"  // something before it is not done
	Failed   State = "failed"   // could not be computed
)

// Status is all that is known of one instance of a stage. What a stage found
// when it last ran under the same fingerprint is there whatever its state.
type Status struct {
	Node
	Step     string        `json:"step"`
	For      string        `json:"for,omitempty"` // what the recipe says the stage is for
	State    State         `json:"state"`
	Says     string        `json:"says,omitempty"`   // why it stands there, one sentence
	Behind   *Node         `json:"behind,omitempty"` // for waiting: the stage at the root of it
	Causes   []Cause       `json:"causes,omitempty"` // why it is due, or why it ran
	Ran      bool          `json:"ran,omitempty"`    // ran in this run
	Took     time.Duration `json:"took,omitempty"`   // ns, when it last ran
	Key      string        `json:"key,omitempty"`    // of its fingerprint
	Inputs   []File        `json:"inputs,omitempty"`
	Files    []File        `json:"files,omitempty"` // its outputs
	Measures []Measure     `json:"measures,omitempty"`
	Spots    []step.Spot   `json:"spots,omitempty"`
	Notes    []string      `json:"notes,omitempty"`
	Gates    []Verdict     `json:"gates,omitempty"`
	Sign     *SignOff      `json:"sign,omitempty"`   // nil if the recipe asks for none and nobody holds it
	Asides   []string      `json:"asides,omitempty"` // what else people should know, such as an edited result set aside

	fingerprint string
}

// File is a file that a stage takes or gives.
type File struct {
	Role   string        `json:"role"` // name of the input or output
	Name   string        `json:"name"` // file name
	Path   string        `json:"path"` // below the model's folder, for people; absolute in other folders
	Kind   step.FileKind `json:"kind"`
	Units  string        `json:"units,omitempty"`
	SHA256 string        `json:"sha256"`
	Size   int64         `json:"size"`
	From   Node          `json:"from,omitzero"` // the stage that made it; zero for a person's file

	part, scan string
	bytes      where
}

// Hand reports whether the file is a person's and not a stage's.
func (f File) Hand() bool { return f.bytes.source }

// below is the file's path below the folder it was found in: what a copy of it
// elsewhere is called too.
func (f File) below() string {
	if f.bytes.source {
		return f.bytes.name
	}
	return f.Path
}

// where says where a file's bytes lie.
type where struct {
	place  store.Place
	name   string
	source bool // a person's file, which may change
	sum    store.Sum
	data   []byte // the bytes themselves, for a stage's account
}

func (w where) open() (step.Reader, error) {
	if w.data != nil {
		return memoryReader{bytes.NewReader(w.data)}, nil
	}
	return w.place.Root.Open(w.name)
}

// Open opens the file for reading.
func (f File) Open() (io.ReadCloser, error) { return f.bytes.open() }

// Measure is a measure with its value.
type Measure struct {
	Name  string         `json:"name"`
	Type  step.ValueType `json:"type"`
	Unit  string         `json:"unit,omitempty"`
	Value any            `json:"value"` // float64, int64, bool, string or a slice of them; nil when unknown
	Doc   string         `json:"doc,omitempty"`
}

// Verdict is what a gate says: it passes, it holds the work, or it cannot tell
// and holds too.
type Verdict struct {
	Gate string `json:"gate"`
	Why  string `json:"why,omitempty"` // what the recipe says the gate is for
	gate.Verdict
	Numbers  string        `json:"numbers"`            // what it saw, in words
	Spare    string        `json:"spare,omitempty"`    // the margin in words
	Concede  string        `json:"concede,omitempty"`  // the role that may concede it; empty means nobody may
	Conceded *trail.Record `json:"conceded,omitempty"` // the concession that lets work go on
	Doubts   []string      `json:"doubts,omitempty"`   // why a concession that is there does not count
}

// GoesOn reports whether work may go on: the gate passes or is conceded.
func (v Verdict) GoesOn() bool { return v.State == gate.Passes || v.Conceded != nil }

// SignOff is whose word a stage awaits or has.
type SignOff struct {
	Asked     bool              `json:"asked"` // the recipe asks for it
	Role      string            `json:"role,omitempty"`
	Meaning   string            `json:"meaning,omitempty"`
	Questions []string          `json:"questions,omitempty"`
	State     trail.State       `json:"state"`
	By        []trail.Signature `json:"by,omitempty"`
	Needed    int               `json:"needed"`         // how many more people must approve
	Open      []trail.Record    `json:"open,omitempty"` // holds and rejects that stand
	Reasons   []string          `json:"reasons,omitempty"`
	Made      *trail.Record     `json:"made,omitempty"` // handwork: who made the file, and from what
}

// Board is where a model stands.
type Board struct {
	Model  recipe.Model   `json:"model"`
	Title  string         `json:"title"` // of the recipe
	Recipe *recipe.Recipe `json:"-"`
	Stages []*Status      `json:"stages"` // each after what it needs
	Trail  TrailState     `json:"trail"`
	Notes  []string       `json:"notes,omitempty"` // what people should know of the run as a whole
	Ran    int            `json:"ran"`             // how many stages ran
	Took   time.Duration  `json:"took,omitempty"`  // ns, of the run
}

// TrailState is what there is to say of the trail as a whole.
type TrailState struct {
	Name     string          `json:"name,omitempty"`
	Records  int             `json:"records"`
	Damaged  bool            `json:"damaged,omitempty"`
	Problems []trail.Problem `json:"problems,omitempty"`
	Unsealed []string        `json:"unsealed,omitempty"` // people whose seal is awaited
}

// Find returns the status of one node, or nil.
func (b *Board) Find(n Node) *Status {
	for _, s := range b.Stages {
		if s.Node == n {
			return s
		}
	}
	return nil
}

// Of returns the statuses of a stage, of one part and scan unless those are
// empty. A scan may be given by its path or its file name alone.
func (b *Board) Of(stage, part, scan string) []*Status {
	var found []*Status
	for _, s := range b.Stages {
		if s.Stage == stage && (part == "" || s.Part == part) &&
			(scan == "" || s.Scan == scan || path.Base(s.Scan) == scan || strings.TrimSuffix(path.Base(s.Scan), path.Ext(s.Scan)) == scan) {
			found = append(found, s)
		}
	}
	return found
}

// Count returns how many stages are in each state.
func (b *Board) Count() map[State]int {
	n := map[State]int{}
	for _, s := range b.Stages {
		n[s.State]++
	}
	return n
}
