package main

import (
	"bytes"
	"context"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"layette/engine"
	"layette/engine/sheet"
	"layette/steps/gallery"
)

// export writes what the stages that args name found for other programs into a folder: spots as
// CSV, JSON and points, and the surface in the colours of each of its values
// as GLB and PLY.
func (a *app) export(ctx context.Context, dir string, args []string) error {
	m, err := a.openModel(ctx, nil)
	if err != nil {
		return err
	}
	defer m.Close()
	b, err := m.Look(ctx)
	if err != nil {
		return a.modelError(err)
	}
	list, err := named(b, args)
	if err != nil {
		return err
	}
	if !filepath.IsAbs(dir) {
		dir = filepath.Join(a.dir, dir)
	}
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	for _, st := range list {
		files, err := exported(ctx, st)
		if err != nil {
			return fmt.Errorf("%s: %w", st.Node, err)
		}
		name := strings.ReplaceAll(st.Node.String(), "/", "-")
		for _, f := range files {
			path := filepath.Join(dir, name+f.end)
			if _, err := os.Lstat(path); err == nil {
				return failed(exitUsage, fmt.Errorf("%s is there already", path), "name a new folder: nothing is written over")
			}
			if err := writeWhole(path, f.data); err != nil {
				return err
			}
			fmt.Fprintln(a.stdout, path)
		}
	}
	return nil
}

type exportFile struct {
	end  string
	data []byte
}

// exported returns the files for one stage, by the end of their names.
func exported(ctx context.Context, st *engine.Status) (out []exportFile, err error) {
	var csv, json bytes.Buffer
	if err := sheet.SpotsCSV(&csv, st.Spots); err != nil {
		return nil, err
	}
	if err := sheet.SpotsJSON(&json, st.Spots); err != nil {
		return nil, err
	}
	out = append(out, exportFile{"-spots.csv", csv.Bytes()}, exportFile{"-spots.json", json.Bytes()})
	if len(st.Spots) > 0 {
		points, err := gallery.Points(st.Spots)
		if err != nil {
			return nil, err
		}
		out = append(out, exportFile{"-spots.ply", points})
	}
	f := surfaceOf(st)
	if f == nil {
		return out, nil
	}
	data, err := readFile(*f)
	if err != nil {
		return nil, err
	}
	piece := gallery.Piece{Title: st.Node.String(), Data: bytes.NewReader(data), Size: int64(len(data)), Scale: inMM[f.Units]}
	columns := gallery.Columns(piece)
	if len(columns) == 0 {
		columns = []string{""}
	}
	for _, c := range columns {
		end := strings.TrimSuffix("-"+c, "-")
		glb, err := gallery.GLB(ctx, piece, c, 0)
		if err != nil {
			return nil, err
		}
		ply, err := gallery.PLY(ctx, piece, c, 0)
		if err != nil {
			return nil, err
		}
		out = append(out, exportFile{end + ".glb", glb}, exportFile{end + ".ply", ply})
	}
	return out, nil
}
