package recipe

import (
	"layette/engine/diag"
	"layette/engine/gate"
	"layette/engine/step"
)

// Recipe is a product line's recipe with one model's sheet laid over it.
type Recipe struct {
	Title string
	File  string   // the recipe's own file, as named to the reader
	Lines []string // titles of the recipes it extends, nearest first
	Parts []*Part  // in order of name
	Roles map[string]*Role
	Given []*Given // overrides of the model sheet, in order of name
	Model Model
	// Folders are the folders outside the model that its sheet names, by name.
	Folders map[string]*Folder
	Stages  []*Stage // in an order in which each comes after what it needs
	Photos  []*Photo // in order of name
	// Quantities holds every named quantity that rules and values may refer
	// to, by full name: "materials.vinyl.wall", "tolerances.gap",
	// "parts.head.longest", "child.head-girth", "model.title". Members of tables are there on
	// their own too: "materials.vinyl.shrinkage.mould".
	Quantities map[string]*Quantity
}

// Model is what the model sheet says of the child and the kit.
type Model struct {
	Name  string // the folder's name unless the sheet says otherwise
	Title string
	File  string
}

// Folder is a folder outside the model, such as a backup disk.
type Folder struct {
	Name string
	Path string // as the model sheet writes it; may be absolute, and may not be there today
	Pos  diag.Pos
}

// Part is a part of the kit.
type Part struct {
	Name   string
	Mirror string // the part it mirrors; empty if none
	Scans  string // glob of its scans below the model's folder; empty if it has none
	Pos    diag.Pos
}

// Role says what a role of the studio may sign for.
type Role struct {
	Name string
	Doc  string
	Pos  diag.Pos
}

// Quantity is a named value with its place and origin.
type Quantity struct {
	Name   string
	Type   step.ValueType
	Value  any       // as step.Values holds it
	Pos    diag.Pos  // where the value that counts was written
	Origin string    // what the recipe says of where it comes from: "factory", "published: …"; may be empty
	Given  *Given    // the override that set it; nil if none
	Was    *Quantity // what it replaced, in a recipe extended or overridden; nil if none
	// For holds what counts instead for one part or one scan, the most
	// particular last. Recipe.Quantity picks.
	For []*Quantity
}

// Given is a value that the model sheet sets against the recipe.
type Given struct {
	Name   string // of its table in the model sheet
	Sets   string // what it sets: "tolerances.gap", "stages.intake.values.verdict"
	Part   string // only for this part; empty for all
	Scan   string // only for this scan (path below the model); empty for all
	Reason string
	Pos    diag.Pos
}

// Stage is a named node of the recipe, not yet fanned out.
type Stage struct {
	Name   string
	Step   string
	Each   string        // "", "part" or "scan"
	Only   []string      // the parts it is for, in order of name; all parts unless the recipe says otherwise
	Inputs []*Input      // in the order the step declares them
	Values []*StageValue // in order of name; every value the step declares that is not absent
	After  []string      // stages that must be done first although nothing of theirs is read
	Gates  []*Gate       // in order of name
	Sign   *Sign         // nil if nobody need sign
	Why    string        // what the recipe says the stage is for
	Pos    diag.Pos
	Kind   step.Kind
}

// Input says where an input of a stage comes from: other stages, or files.
type Input struct {
	Name     string
	From     []From   // outputs of stages; empty for files
	Files    []string // globs below the model's folder, "{part}" and "{scan}" to be filled in; none for stages
	Folder   string   // a folder outside the model that the model sheet names (a backup); empty otherwise
	Units    string   // unit of coordinates in Files
	Optional bool
	Pos      diag.Pos
	Given    []*Override // other Files from the model sheet (Value is a []string), the most particular last
}

// From is an output of a stage. A stage takes it from its own part or scan
// where both fan out alike; a stage that fans out less takes all there are, in
// order of name (its input is then Many); one that fans out more takes the one.
type From struct {
	Stage  string
	Output string
	Pos    diag.Pos
}

// StageValue is a value of a stage. For a stage that fans out it may differ
// between instances; At gives the one that counts.
type StageValue struct {
	Name string
	Type step.ValueType
	// Refer is the quantity's name where the recipe refers to one; "part.…"
	// and "scan.…" stand for the instance's own part or scan.
	Refer string
	Value any // as step.Values holds it; nil where it depends on the instance
	Pos   diag.Pos
	Given []*Override // from the model sheet, the most particular last
}

// Override is a stage's value set by the model sheet.
type Override struct {
	*Given
	Value any
}

// Gate is a rule that must hold before work goes on.
type Gate struct {
	Name string
	Rule string
	Why  string
	// Concede is the role that may let work go on although the gate does not
	// hold: what the recipe says, else the role that signs for the stage. Empty
	// means nobody may.
	Concede string
	Pos     diag.Pos // of the rule's text, its first character
	// Compiled judges the measures of one instance; its Names say which
	// measures and quantities it needs.
	Compiled *gate.Rule
}

// Sign says whose word a stage needs.
type Sign struct {
	Role      string
	People    int      // how many different people; at least 1
	Meaning   string   // what each vouches for
	Questions []string // each to be answered yes with the sign-off
	NotMaker  bool     // who made one of the files may not sign for it
	Sealed    bool     // everybody who signed anything must have sealed the trail as well, and no hold may be open
	Pos       diag.Pos
}
