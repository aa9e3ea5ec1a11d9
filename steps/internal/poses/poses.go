// Package poses is the table of places that align gives and merge and coverage
// read, whatever else stands in it: where each scan of a part lies in the part's frame, or why it could
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
	Format string  `json:"format"` // "poses 1"
	Unit   string  `json:"unit"`   // "mm"
	Scans  []Place `json:"scans"`
}

// Place says where one scan lies. A point p of the scan, in mm as its file is
// read, origin included, lies at Rot p + Move in the part's frame.
type Place struct {
	Name   string     `json:"name"`           // as people call the scan
	File   string     `json:"file,omitempty"` // as the job called the file
	SHA256 string     `json:"sha256"`         // of the file
	Placed bool       `json:"placed"`
	Rot    [9]float64 `json:"rotation"` // by rows
	Move   [3]float64 `json:"move"`     // mm
	// Why says in a sentence why the scan was not placed, or what to mind.
	Why string `json:"why,omitempty"`
}

// Pose returns the place as a pose.
func (p Place) Pose() geom.Pose {
	var rot geom.Mat
	for i, x := range p.Rot {
		rot[i/3][i%3] = x
	}
	return geom.Pose{Rot: rot, Move: geom.Vec{X: p.Move[0], Y: p.Move[1], Z: p.Move[2]}}
}

// At returns the place of a scan that lies at pose.
func At(f step.File, pose geom.Pose) Place {
	p := Place{Name: f.Name, File: f.Name, SHA256: f.SHA256, Placed: true, Move: [3]float64{pose.Move.X, pose.Move.Y, pose.Move.Z}}
	for i := range p.Rot {
		p.Rot[i] = pose.Rot[i/3][i%3]
	}
	return p
}

// Nowhere returns the entry of a scan that was not placed.
func Nowhere(f step.File, why string) Place {
	return Place{Name: f.Name, File: f.Name, SHA256: f.SHA256, Why: why}
}

// Write writes the table. Numbers are written so that they read back as the
// same bits.
func Write(w io.Writer, t Table) error {
	t.Format, t.Unit = format, "mm"
	e := json.NewEncoder(w)
	e.SetIndent("", " ")
	return e.Encode(t)
}

const format = "poses 1"

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
	if t.Format != format || t.Unit != "mm" {
		return t, fmt.Errorf("a table of places begins with \"format\": %q and \"unit\": \"mm\"; this one says %q and %q", format, t.Format, t.Unit)
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
		if p.SHA256 == f.SHA256 && (found < 0 || p.File == f.Name || p.Name == f.Name) {
			found = i
		}
	}
	if found < 0 {
		return Place{}, false
	}
	return t.Scans[found], true
}
