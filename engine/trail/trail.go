// Package trail keeps the signed record of who approved what: one text file
// per model that any editor shows and that an auditor can check with grep, cut
// and ssh-keygen alone.
package trail

import (
	"context"
	"errors"
	"time"

	"golang.org/x/crypto/ssh"
)

// FileName is the trail's name in a model's folder.
const FileName = "trail.txt"

// Namespace parts our signatures from any other use of the same keys.
const Namespace = "signoff@layette"

// Options say how a trail is opened. The zero value reads without memory.
type Options struct {
	// Private is a folder of this workstation and person in which the trail
	// last accepted is remembered, so that a trail cut short is noticed.
	// Empty remembers nothing. DefaultPrivate gives the usual place.
	Private string
	Now     func() time.Time // the clock; time.Now if nil
	Afresh  bool             // check every signature again, also those remembered as good
	Owner   string           // fingerprint the owner's key must have; empty asks nothing
	// Ask is asked whether to take over a lock that another writer seems to
	// have left; nil takes over only what is certainly dead.
	Ask func(holder string) bool
	// NoWrite leaves the private memory as it is (for auditors' folders).
	NoWrite bool
}

// Trail is a trail as read. Its methods may be called from several goroutines
// except Append and Heal.
type Trail struct{}

// Open reads the trail at path and checks all of it. A trail that does not
// exist yet is empty, not an error. An error means that it could not be read;
// whatever is wrong inside it is told by Problems.
func Open(path string, o Options) (*Trail, error) { return &Trail{}, nil }

// Empty reports whether the trail has no record yet.
func (t *Trail) Empty() bool { return true }

// Name returns the trail's name, "" if it is empty.
func (t *Trail) Name() string { return "" }

// Records returns every whole and rightly signed record in causal order, those
// that do not count (Void) included.
func (t *Trail) Records() []Record { return nil }

// Problem is something wrong with a trail.
type Problem struct {
	Line   int    `json:"line,omitempty"` // in the trail's file; 0 if it lies nowhere in it
	Code   string `json:"code"`           // constant words, such as "gone"
	Says   string `json:"says"`
	Damage bool   `json:"damage"` // while there is damage nothing counts as approved
}

// Problems returns all that is wrong, in order of line. Damage (bytes altered,
// records gone, strangers' records) stops every decision until it is mended;
// the rest are whole records that do not count and harmless oddities.
func (t *Trail) Problems() []Problem { return nil }

// Damaged reports whether any problem is damage.
func (t *Trail) Damaged() bool { return false }

// Member is a person of the trail.
type Member struct {
	Name    string   `json:"name"`
	Printed string   `json:"printed"`
	Roles   []string `json:"roles"`
	Owner   bool     `json:"owner"`
	Keys    []Key    `json:"keys"`
}

// Key is a key of a member.
type Key struct {
	Fingerprint string `json:"fingerprint"`
	Public      string `json:"public"`            // "type base64"
	Retired     string `json:"retired,omitempty"` // why; empty while it may sign
}

// People returns everyone enrolled, in order of name.
func (t *Trail) People() []Member { return nil }

// Append signs d with key and adds it to the trail: under a lock, after
// reading everything again, as a whole file that replaces the old one. It
// refuses while the trail is damaged, when the clock is behind, when key is
// not enrolled or may not sign such a record, and when d is not well formed,
// saying all that is wrong at once.
func (t *Trail) Append(ctx context.Context, d Draft, key ssh.Signer) (Record, error) {
	return Record{}, errors.New("not written yet")
}

// Digests returns the SHA-256 (64 hex digits) of every file any record ever
// named, whether the record counts or not, in order.
func (t *Trail) Digests() []string { return nil }
