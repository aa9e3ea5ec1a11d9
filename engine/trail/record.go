package trail

import (
	"encoding/hex"
	"time"
)

// Kind says what a record does.
type Kind string

// The kinds of record.
const (
	Opening    Kind = "open"       // the owner's first record
	Person     Kind = "person"     // enrols a person, a further key or other roles; signed by the owner
	Retire     Kind = "retire"     // ends a person's keys; signed by the owner
	Signoff    Kind = "signoff"    // a person's word about exactly this content
	Concession Kind = "concession" // leave to go on although gates do not hold
	Seal       Kind = "seal"       // "I have seen these records and none of mine is missing"
)

// Verdict is what a sign-off says.
type Verdict string

// The verdicts.
const (
	Made     Verdict = "made"     // I made these files, from those
	Approve  Verdict = "approve"  // this may go on
	Hold     Verdict = "hold"     // this stops until it is answered
	Reject   Verdict = "reject"   // this must be made anew
	Withdraw Verdict = "withdraw" // I take back what I said about this, or the records that I answer
)

// ID names a record: the SHA-256 of its lines without the signature.
type ID [32]byte

// String returns 64 hex digits.
func (id ID) String() string { return hex.EncodeToString(id[:]) }

// Short returns the first eight hex digits, as people quote them.
func (id ID) Short() string { return hex.EncodeToString(id[:4]) }

// File is a file as it was looked at. Its digest and size are what counts; the
// label only tells people where it lay.
type File struct {
	SHA256 string `json:"sha256"` // 64 lower-case hex digits
	Size   int64  `json:"size"`   // bytes
	Label  string `json:"label"`  // path below the model's folder, forward slashes
}

// Pin is a place that a person points at.
type Pin struct {
	File   int        `json:"file"`   // which file of the record, from 1
	At     [3]float64 `json:"at"`     // mm, in the file's own frame
	Radius float64    `json:"radius"` // mm, about how far it reaches
	Words  string     `json:"words"`
}

// Draft is what a record says, before it is placed, dated and signed. Only the
// fields of its Kind may be set.
type Draft struct {
	Kind    Kind   `json:"kind"`
	Meaning string `json:"meaning"` // what the signer vouches for, one sentence

	Trail string `json:"trail,omitempty"` // the trail's name; given for Opening, filled in otherwise

	// Opening: the owner. Person: who is enrolled. Retire: who is retired.
	Name    string   `json:"name,omitempty"`    // [a-z][a-z0-9-]*
	Printed string   `json:"printed,omitempty"` // the name as it is printed beside signatures
	Roles   []string `json:"roles,omitempty"`   // what the person may sign for
	Public  string   `json:"public,omitempty"`  // the public key, "type base64"
	Keys    []string `json:"keys,omitempty"`    // Retire: fingerprints, "SHA256:…"

	// Signoff and Concession: exactly which content.
	Verdict Verdict  `json:"verdict,omitempty"`
	Stage   string   `json:"stage,omitempty"` // such as "gaps/left-arm"
	Files   []File   `json:"files,omitempty"`
	From    []File   `json:"from,omitempty"`    // Made: what the files were made from
	State   string   `json:"state,omitempty"`   // digest of what was shown beside the files
	Saw     []string `json:"saw,omitempty"`     // measures and gates as they were shown
	Ticks   []string `json:"ticks,omitempty"`   // the recipe's questions that were answered yes
	Pins    []Pin    `json:"pins,omitempty"`    // places pointed at
	Answers []ID     `json:"answers,omitempty"` // holds and rejects that this settles

	// Concession: the four things of ISO 9001:2015, 8.7.2: what is wrong, what
	// is done about it, the concession itself, and who decided.
	Gates     []string `json:"gates,omitempty"`
	Fault     string   `json:"fault,omitempty"`
	Action    string   `json:"action,omitempty"`
	Reason    string   `json:"reason,omitempty"` // why it may go on; for Retire: why
	Authority string   `json:"authority,omitempty"`

	Notes []string `json:"notes,omitempty"`
	Tool  string   `json:"tool,omitempty"` // what wrote it, for information
}

// Record is a signed record as it stands in the trail.
type Record struct {
	Draft
	ID    ID        `json:"id"`
	Tag   string    `json:"tag"` // the eight letters its lines begin with
	After []ID      `json:"after"`
	Time  time.Time `json:"time"` // the signer's clock, UTC, whole seconds
	By    string    `json:"by"`   // the signer's name
	// ByPrinted is the signer's printed name.
	ByPrinted string `json:"byPrinted"`
	Key       string `json:"key"`             // fingerprint of the key that signed
	Count     int    `json:"count,omitempty"` // Seal: how many records came before it
	Line      int    `json:"line"`            // where it begins in the file
	// Void says why a whole and rightly signed record does not count; empty if
	// it counts.
	Void string `json:"void,omitempty"`

	opened   ID     // id of the opening record it names; zero for the opening itself
	foreign  bool   // no record of this trail, or of nobody enrolled
	lines    []byte // its lines as signed
	sig      []byte // its sig lines, with tag
	about    string // key of its content, if it counts
	enrolKey string // fingerprint that an enrolment enrols, once worked out
}
