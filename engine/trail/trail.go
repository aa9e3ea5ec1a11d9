// Package trail keeps the signed record of who approved what: one text file
// per model that any editor shows and that an auditor can check with grep, cut
// and ssh-keygen alone.
//
// # The file, to the byte
//
// UTF-8, lines ended by LF. Every line begins with the tag of its record,
// eight letters of a-z and 2-7, and a blank. Tags make lines unique, so that
// two people's additions survive a line-by-line merge, and let a record's
// lines be gathered by a search. Neither the order of records nor their being
// interleaved means anything. A byte order mark, CR before LF and empty lines
// are let pass; any other line is told as damage. After the tag stand a field's
// name, a blank and its value, in this order and no other:
//
//	record v1 KIND             open | person | retire | signoff | concession | seal
//	trail NAME ID              ID of the opening record (the opening itself: NAME alone)
//	after ID                   each newest record seen, in order; none in the opening
//	time 2026-03-04T10:05:00Z
//	by PERSON PRINTED NAME     who signs
//	key SHA256:FINGERPRINT     with which key
//	meaning TEXT               what the signer vouches for
//
// then, by kind,
//
//	open        role ROLE ...  public KEY
//	person      person PERSON PRINTED NAME  role ROLE ...  public KEY
//	retire      person PERSON PRINTED NAME  retire FINGERPRINT ...  reason TEXT
//	signoff     verdict made|approve|hold|reject|withdraw  CONTENT
//	            tick TEXT ...  at FILE mm X Y Z r RADIUS WORDS ...  answers ID ...
//	concession  CONTENT  gate TEXT ...  fault TEXT  action TEXT  reason TEXT  authority ROLE
//	seal        count N        how many records it follows, near and far
//
// where CONTENT is
//
//	on STAGE  file sha256:DIGEST BYTES LABEL ...  from sha256:DIGEST BYTES LABEL ...
//	state sha256:DIGEST  saw TEXT ...
//
// and last, for every kind,
//
//	note TEXT ...
//	tool TEXT
//	sig BASE64 ...             SSHSIG blob, 76 characters a line
//
// A record's ID is the SHA-256 of its lines, tags and LFs included, without
// the sig lines; exactly these bytes are signed, in namespace
// "signoff@layette" with SHA-512 (OpenSSH, PROTOCOL.sshsig). Only the one
// canonical form of a record and of its signature is taken.
//
// # What counts
//
// See judge for records and Decide for subjects. Texts are compared byte for
// byte in Unicode normal form C: Append brings them into it, a reader refuses
// any other form. File labels are for people only and may lie on disk in
// another form (Look).
//
// # Who could change what, and what then shows it
//
//	a line, a field, a signature's bytes       the record is spoilt
//	a record taken out of the middle           whoever follows it names it: gone
//	the newest records cut off                 nothing in the file; every workstation that saw
//	                                           them (Options.Private), a later record, a seal
//	the whole file, by another owner           the memory of the place; the owner's fingerprint
//	an approval moved to other bytes, another  digests, sizes, stage, state and the trail's
//	stage or another model                     first record are in the signed text
//	a key enrolled or two keys swapped         enrolments are signed by the owner; a record
//	                                           names its signer and the key's fingerprint
//	a clock set back                           a record lies after all that it follows, but for
//	                                           five minutes
//	a stolen key, once it is retired           what the retirement had not seen does not count
//	two writers at once, a lock left behind    memories put back what was lost, byte for byte
//
// It does not prove that somebody looked, only that the holder of a key said
// so about these bytes; nor when, between two neighbours; nor anything against
// somebody who holds the owner's key, every workstation and every printed seal.
package trail

import (
	"cmp"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"slices"
	"time"
)

// FileName is the trail's name in a model's folder.
const FileName = "trail.txt"

// Namespace parts our signatures from any other use of the same keys.
const Namespace = "signoff@layette"

// Options say how a trail is opened. The zero value reads without memory.
type Options struct {
	// Private is a folder of this workstation and person in which the trail
	// last accepted is remembered, so that a trail cut short is noticed and
	// good records need not be verified again. Empty remembers nothing.
	// DefaultPrivate gives the usual place.
	Private string
	Now     func() time.Time // the clock; time.Now if nil
	Afresh  bool             // check every signature again, also those remembered as good
	Owner   string           // fingerprint the owner's key must have; empty asks nothing
	// Ask is asked whether to take over a lock that another writer seems to
	// have left; nil takes over only what is certainly dead.
	Ask func(holder string) bool
	// SureOfClock lets Append write although records of others are dated in
	// the future: their clocks are wrong, not this one.
	SureOfClock bool
	// NoWrite leaves the private memory as it is (for auditors' folders).
	NoWrite bool
}

func (o Options) now() time.Time {
	if o.Now != nil {
		return o.Now()
	}
	return time.Now()
}

// Trail is a trail as read. Its methods may be called from several goroutines
// except Append and Heal.
type Trail struct {
	path string // absolute
	o    Options
	data []byte // the file's bytes
	*judge
	byStage  map[string][]*Record // sign-offs and concessions, in causal order
	makers   map[string][]*Record // records of verdict made, by digest of a file
	problems []Problem
	damaged  bool
	lost     []*Record // remembered here, no longer in the file
	found    []*Record // sound records of the file, in its order
}

// Open reads the trail at path and checks all of it. A trail that does not
// exist yet is empty, not an error. An error means that it could not be read;
// whatever is wrong inside it is told by Problems.
//
// It takes about 20 ms for 2,000 records that are remembered as good (1.5 MB),
// 60 µs a record and processor for others. Trails above 16 MB are refused.
func Open(path string, o Options) (*Trail, error) {
	path, err := filepath.Abs(path)
	if err != nil {
		return nil, err
	}
	data, err := readFile(path)
	if err != nil {
		return nil, err
	}
	t := &Trail{path: path, o: o, data: data}
	t.read()
	return t, nil
}

// read checks the trail's bytes against its own rules and against what this
// workstation remembers, and remembers what is new.
func (t *Trail) read() {
	groups, problems := split(t.data)
	t.problems = problems
	m, err := recall(t.path, t.data, groups, t.o)
	if err != nil {
		t.problem(false, "memory", "this workstation cannot tell whether the trail was cut short: %v", err)
		m = &memory{}
	}
	t.take(groups, m)
	t.compare(m)
	if !t.o.NoWrite {
		if err := t.remember(m); err != nil {
			t.problem(false, "memory", "this workstation cannot remember the trail: %v", err)
		}
	}
	t.settle()
}

// take reads and judges the records.
func (t *Trail) take(groups []*group, m *memory) {
	found, spoilt := records(groups, m.good)
	t.found, t.judge = found, newJudge(found, m.opened, t.o.now())
	t.problems = slices.Concat(t.problems, spoilt, t.judge.problems)
}

// readFile reads the whole trail; one that is not there is empty.
func readFile(path string) ([]byte, error) {
	info, err := os.Lstat(path)
	if errors.Is(err, os.ErrNotExist) {
		return nil, nil
	}
	if err != nil {
		return nil, err
	}
	if !info.Mode().IsRegular() {
		return nil, fmt.Errorf("%s is not a plain file: put the trail itself in its place", path)
	}
	if info.Size() <= longestTrail {
		data, err := os.ReadFile(path)
		if err != nil || len(data) <= longestTrail {
			return data, err
		}
	}
	return nil, fmt.Errorf("%s is larger than %d MB: no trail of ours grows so long; look what is in it", path, longestTrail>>20)
}

// settle checks the owner, sorts the problems and sorts records by stage.
func (t *Trail) settle() {
	if t.opening != nil && t.o.Owner != "" && t.opening.Key != t.o.Owner {
		t.problem(true, "owner", "the trail was opened with key %s, not with %s", t.opening.Key, t.o.Owner)
	}
	slices.SortStableFunc(t.problems, func(a, b Problem) int { return cmp.Compare(a.Line, b.Line) })
	t.damaged = slices.ContainsFunc(t.problems, func(p Problem) bool { return p.Damage })
	t.byStage, t.makers = map[string][]*Record{}, map[string][]*Record{}
	for _, r := range t.list {
		if r.Void == "" && r.Stage != "" {
			r.about = contentKey(r.Stage, r.Files, r.State)
			t.byStage[r.Stage] = append(t.byStage[r.Stage], r)
		}
		if r.Void == "" && r.Verdict == Made {
			for _, f := range r.Files {
				t.makers[f.SHA256] = append(t.makers[f.SHA256], r)
			}
		}
	}
}

func (t *Trail) problem(damage bool, code, format string, args ...any) {
	t.problems = append(t.problems, Problem{Code: code, Says: fmt.Sprintf(format, args...), Damage: damage})
}

// Empty reports whether the trail has no record yet.
func (t *Trail) Empty() bool { return len(t.list) == 0 && !t.damaged }

// Path returns the trail's absolute path.
func (t *Trail) Path() string { return t.path }

// Name returns the trail's name, "" if it is empty.
func (t *Trail) Name() string {
	if t.opening == nil {
		return ""
	}
	return t.opening.Trail
}

// Opening returns the record that opened the trail and whether there is one.
func (t *Trail) Opening() (Record, bool) {
	if t.opening == nil {
		return Record{}, false
	}
	return *t.opening, true
}

// Records returns every whole and rightly signed record in causal order, those
// that do not count (Void) included.
func (t *Trail) Records() []Record {
	list := make([]Record, len(t.list))
	for i, r := range t.list {
		list[i] = *r
	}
	return list
}

// Problem is something wrong with a trail.
type Problem struct {
	Line   int    `json:"line,omitempty"` // in the trail's file; 0 if it lies nowhere in it
	Code   string `json:"code"`           // constant words, such as "gone"
	Says   string `json:"says"`
	Damage bool   `json:"damage"` // while there is damage nothing counts as approved
}

// String returns the problem in one line.
func (p Problem) String() string {
	if p.Line == 0 {
		return fmt.Sprintf("%s: %s [%s]", FileName, p.Says, p.Code)
	}
	return fmt.Sprintf("%s:%d: %s [%s]", FileName, p.Line, p.Says, p.Code)
}

// Problems returns all that is wrong, in order of line. Damage (bytes altered,
// records gone, strangers' records) stops every decision until it is mended;
// the rest are whole records that do not count and harmless oddities. After a
// hundred the rest are only counted.
func (t *Trail) Problems() []Problem {
	if len(t.problems) <= mostProblems {
		return slices.Clone(t.problems)
	}
	list := slices.Clone(t.problems[:mostProblems])
	return append(list, Problem{Code: "more", Damage: t.damaged, Says: fmt.Sprintf("… and %d more", len(t.problems)-mostProblems)})
}

// Damaged reports whether any problem is damage.
func (t *Trail) Damaged() bool { return t.damaged }

// Digests returns the SHA-256 (64 hex digits) of every file any record ever
// named, whether the record counts or not, in order.
func (t *Trail) Digests() []string {
	var list []string
	for _, r := range t.list {
		for _, f := range slices.Concat(r.Files, r.From) {
			list = append(list, f.SHA256)
		}
	}
	for _, r := range t.lost {
		for _, f := range slices.Concat(r.Files, r.From) {
			list = append(list, f.SHA256)
		}
	}
	slices.Sort(list)
	return slices.Compact(list)
}

// GitAttributes is what a model's .gitattributes says of its trail: no line
// ends changed, and two people's additions merged by keeping both.
const GitAttributes = FileName + " -text merge=union\n"
