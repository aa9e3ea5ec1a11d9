// Package workpiece brings surfaces into a step and out of it: it ties a job's
// files to the readers and writers of meshio, in millimetres.
package workpiece

import (
	"cmp"
	"context"
	"fmt"
	"io"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
)

// inMM is how many millimetres one unit of a file is.
var inMM = map[string]float64{"um": 0.001, "mm": 1, "cm": 10, "m": 1000, "in": 25.4}

// Piece is a surface of a job's inputs.
type Piece struct {
	File step.File
	Mesh *geom.Mesh
	Info meshio.Info
}

// Surface reads the single file of an input that holds triangles. The error
// names the file and the place in it.
func Surface(ctx context.Context, job *step.Job, input string) (*geom.Mesh, error) {
	p, err := One(ctx, job, input)
	return p.Mesh, err
}

// One is Surface with what is known of the file.
func One(ctx context.Context, job *step.Job, input string) (Piece, error) {
	files := job.Inputs[input]
	if len(files) != 1 {
		return Piece{}, fmt.Errorf("input %q needs one file and has %d", input, len(files))
	}
	p, err := Open(ctx, job, files[0])
	return p, err
}

// Surfaces reads every file of an input, in the order of the job. Mind the
// memory: where one file at a time is enough, use Open.
func Surfaces(ctx context.Context, job *step.Job, input string) ([]Piece, error) {
	var pieces []Piece
	for _, f := range job.Inputs[input] {
		p, err := Open(ctx, job, f)
		if err != nil {
			return nil, err
		}
		pieces = append(pieces, p)
	}
	return pieces, nil
}

// Open reads one file that must hold triangles.
func Open(ctx context.Context, job *step.Job, f step.File, columns ...string) (Piece, error) {
	p, err := OpenScan(ctx, job, f, columns...)
	if err == nil && len(p.Mesh.Tris) == 0 {
		return Piece{}, fmt.Errorf("%s: this %s holds %d points and no triangles", f.Name, p.Info.Format, len(p.Mesh.Verts))
	}
	return p, err
}

// OpenScan reads one file that may hold points alone.
func OpenScan(ctx context.Context, job *step.Job, f step.File, columns ...string) (Piece, error) {
	scale, ok := inMM[f.Units]
	if !ok {
		return Piece{}, fmt.Errorf("%s: its unit must be stated in the recipe: units = \"mm\", \"cm\", \"m\", \"in\" or \"um\" (it says %q)", f.Name, f.Units)
	}
	r, err := f.Open()
	if err != nil {
		return Piece{}, fmt.Errorf("%s: %w", f.Name, err)
	}
	defer r.Close()
	mesh, info, err := meshio.Read(ctx, r, f.Size, meshio.Options{Scale: scale, Workers: job.Workers, Columns: columns})
	if err != nil {
		if ctx.Err() != nil {
			return Piece{}, context.Cause(ctx)
		}
		return Piece{}, fmt.Errorf("%s: %w", f.Name, err)
	}
	return Piece{File: f, Mesh: mesh, Info: info}, nil
}

// Notes returns what a reader found odd, as sentences that name the file.
func (p Piece) Notes() []string {
	var notes []string
	for _, n := range p.Info.Notes {
		notes = append(notes, p.File.Name+": "+n)
	}
	if n := p.Info.NotFinite; n > 0 {
		notes = append(notes, fmt.Sprintf("%s: %d triangles were left out because a corner is NaN or infinite, the first is triangle %d", p.File.Name, n, p.Info.Where[0]))
	}
	if n := p.Info.PointsNotFinite; n > 0 && p.Info.NotFinite == 0 {
		notes = append(notes, fmt.Sprintf("%s: %d points were left out because they are NaN or infinite", p.File.Name, n))
	}
	return notes
}

// Base returns the name of the file without its ending, for naming what is made
// from it; of one made from a shot the shot's, which people know it by.
func (p Piece) Base() string {
	name := cmp.Or(p.File.Scan, p.File.Name)
	name = name[strings.LastIndexByte(name, '/')+1:]
	if i := strings.LastIndexByte(name, '.'); i > 0 {
		name = name[:i]
	}
	return name
}

// Write writes m as a PLY in millimetres, for another stage; the columns become
// further numbers at each vertex.
func Write(job *step.Job, output, name string, m *geom.Mesh, columns ...meshio.Column) error {
	return create(job, output, name, func(w io.Writer) error { return meshio.WritePLY(w, m, columns...) })
}

// WriteSTL writes m as a binary STL in millimetres, for the factory.
func WriteSTL(job *step.Job, output, name string, m *geom.Mesh, title string) error {
	return create(job, output, name, func(w io.Writer) error { return meshio.WriteSTL(w, m, title) })
}

// WriteText writes text, such as the rows of a table.
func WriteText(job *step.Job, output, name, text string) error {
	return create(job, output, name, func(w io.Writer) error {
		_, err := io.WriteString(w, text)
		return err
	})
}

func create(job *step.Job, output, name string, write func(io.Writer) error) error {
	w, err := job.Create(output, name)
	if err != nil {
		return err
	}
	if err := write(w); err != nil {
		w.Close()
		return fmt.Errorf("%s: %w", name, err)
	}
	return w.Close()
}

// WritePicture writes a PNG.
func WritePicture(job *step.Job, output, name string, p interface{ PNG() ([]byte, error) }) error {
	return create(job, output, name, func(w io.Writer) error {
		data, err := p.PNG()
		if err == nil {
			_, err = w.Write(data)
		}
		return err
	})
}
