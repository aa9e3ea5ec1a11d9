package store

import (
	"errors"
	"io/fs"
	"path"
	"slices"
	"strings"
	"time"
)

// Loose is something in the store that nothing needs any more.
type Loose struct {
	Name string // below the model's folder
	Size int64
}

// keptLonger is how much longer than objects what steps left for reuse stays:
// it saves work for as long as somebody works on the model.
const keptLonger = 30 * 24 * time.Hour

// Loose lists the objects and traces that keep does not answer true for and
// that were made before the moment young, and what steps left for reuse long
// before it, in order of name. keep gets an object's digest or a trace's key.
func (s *Store) Loose(keep func(name string) bool, young time.Time) ([]Loose, error) {
	var list []Loose
	for _, folder := range []string{"objects", "traces", "kept"} {
		err := fs.WalkDir(s.root.FS(), path.Join(Folder, folder), func(name string, d fs.DirEntry, err error) error {
			if errors.Is(err, fs.ErrNotExist) {
				return nil // tidied by another program, or never made
			}
			if err != nil || d.IsDir() {
				return err
			}
			before := young
			if base, _, _ := strings.Cut(d.Name(), "."); folder == "kept" {
				before = young.Add(-keptLonger)
			} else if keep(base) {
				return nil
			}
			if info, err := d.Info(); err == nil && info.ModTime().Before(before) {
				list = append(list, Loose{name, info.Size()})
			}
			return nil
		})
		if err != nil {
			return nil, err
		}
	}
	slices.SortFunc(list, func(a, b Loose) int { return strings.Compare(a.Name, b.Name) })
	return list, nil
}

// Discard moves something to the trash of a day, "2026-03-04".
func (s *Store) Discard(l Loose, day string) error {
	to := path.Join(Folder, "trash", day, strings.TrimPrefix(l.Name, Folder+"/"))
	if err := s.root.MkdirAll(path.Dir(to), 0o777); err != nil {
		return err
	}
	err := s.root.Rename(l.Name, to)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// EmptyTrash deletes what was put there before a day, and half-written files
// that programs which ended badly left behind before it.
func (s *Store) EmptyTrash(before time.Time) error {
	var errs []error
	for _, folder := range []string{"trash", "tmp"} {
		at := path.Join(Folder, folder)
		entries, err := fs.ReadDir(s.root.FS(), at)
		if err != nil && !errors.Is(err, fs.ErrNotExist) {
			return err
		}
		for _, e := range entries {
			if s.older(folder, e, before) {
				errs = append(errs, s.root.RemoveAll(path.Join(at, e.Name())))
			}
		}
	}
	return errors.Join(errs...)
}

func (s *Store) older(folder string, e fs.DirEntry, before time.Time) bool {
	if folder == "trash" {
		day, err := time.Parse(time.DateOnly, e.Name())
		return err == nil && day.Before(before)
	}
	info, err := e.Info()
	return err == nil && info.ModTime().Before(before)
}
