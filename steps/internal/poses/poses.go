// Package poses is the table of places that align gives and merge and coverage
// read: where each scan of a part lies in the part's frame, or why it could
// not be placed.
package poses

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// Table holds one place for each scan, in the order of the scans given.
type Table struct {
	Scans []Place `json:"scans"`
}

// Place says where one scan lies. A point p of the scan, in mm as its file is
// read, origin included, lies at Rot p + Move in the part's frame.
type Place struct {
	Name   string        `json:"name"`   // as the job called the file
	SHA256 string        `json:"sha256"` // of the file
	Placed bool          `json:"placed"`
	Rot    [3][3]float64 `json:"rot"`  // by rows
	Move   [3]float64    `json:"move"` // mm
	// Why says in a sentence why the scan was not placed, or what to mind.
	Why string `json:"why,omitempty"`
}

// Pose returns the place as a pose.
func (p Place) Pose() geom.Pose {
	return geom.Pose{Rot: p.Rot, Move: geom.Vec{X: p.Move[0], Y: p.Move[1], Z: p.Move[2]}}
}

// At returns the place of a scan that lies at pose.
func At(f step.File, pose geom.Pose) Place {
	return Place{Name: f.Name, SHA256: f.SHA256, Placed: true, Rot: pose.Rot, Move: [3]float64{pose.Move.X, pose.Move.Y, pose.Move.Z}}
}

// Nowhere returns the entry of a scan that was not placed.
func Nowhere(f step.File, why string) Place {
	return Place{Name: f.Name, SHA256: f.SHA256, Rot: geom.Identity, Why: why}
}

// Write writes the table. Numbers are written so that they read back as the
// same bits.
func Write(w io.Writer, t Table) error {
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(t)
}

// most is the longest table read, in bytes: some 100,000 scans.
const most = 64 << 20

// Read reads a table and checks that every place is a finite motion without
// scale or mirror.
func Read(r io.Reader) (Table, error) {
	var t Table
	data, err := io.ReadAll(io.LimitReader(r, most+1))
	if err != nil {
		return t, err
	}
	if len(data) > most {
		return t, fmt.Errorf("a table of places longer than %d MB", most>>20)
	}
	if err := json.Unmarshal(data, &t); err != nil {
		return t, fmt.Errorf("not a table of places: %w", err)
	}
	for i, p := range t.Scans {
		if p.Placed && !rigid(p.Pose()) {
			return t, fmt.Errorf("scan %d (%s): its place is no turn and shift: a mirror, a scale or a number that is not finite", i+1, p.Name)
		}
	}
	return t, nil
}

// Open reads the table in the single file of a job's input.
func Open(job *step.Job, input string) (Table, error) {
	files := job.Inputs[input]
	if len(files) != 1 {
		return Table{}, fmt.Errorf("input %q needs one file and has %d", input, len(files))
	}
	r, err := files[0].Open()
	if err != nil {
		return Table{}, fmt.Errorf("%s: %w", files[0].Name, err)
	}
	defer r.Close()
	t, err := Read(r)
	if err != nil {
		return Table{}, fmt.Errorf("%s: %w", files[0].Name, err)
	}
	return t, nil
}

// rigid allows for numbers written with nine digits by other programs.
func rigid(p geom.Pose) bool {
	const eps = 1e-6
	m := p.Rot.Mul(p.Rot.Transposed())
	for i := range 3 {
		for j := range 3 {
			if !(math.Abs(m[i][j]-geom.Identity[i][j]) <= eps) {
				return false
			}
		}
	}
	x := geom.Vec{X: p.Rot[0][0], Y: p.Rot[0][1], Z: p.Rot[0][2]}
	y := geom.Vec{X: p.Rot[1][0], Y: p.Rot[1][1], Z: p.Rot[1][2]}
	z := geom.Vec{X: p.Rot[2][0], Y: p.Rot[2][1], Z: p.Rot[2][2]}
	return x.Cross(y).Dot(z) > 0 && p.Move.Finite()
}

// For returns the place of the file: the entry with its bytes, of several with
// the same bytes the one with its name.
func (t Table) For(f step.File) (Place, bool) {
	found := -1
	for i, p := range t.Scans {
		if p.SHA256 == f.SHA256 && (found < 0 || p.Name == f.Name) {
			found = i
		}
	}
	if found < 0 {
		return Place{}, false
	}
	return t.Scans[found], true
}
