// Package store keeps what stages made, by content. It does not know what its
// bytes mean.
//
// In a model's folder:
//
//	.layette/format                 "1"
//	.layette/objects/ab/<sha256>    what stages made; written once
//	.layette/traces/ab/<key>.json   fingerprint, outcome and outputs of a stage; written once
//	.layette/kept/ab/<key>          what steps left for their own reuse; may vanish at any time
//	.layette/tmp/                   half-written files
//	.layette/trash/<day>/           what tidy took away
//
// A file appears whole or not at all: it is written under another name, forced
// to disk, renamed, and the folder forced to disk. Objects come before the
// trace that names them, so any moment's state is a right one, and two
// programs that race write the same bytes under the same name.
package store

import (
	"errors"
	"fmt"
	"io"
	"io/fs"
	"os"
	"path"
	"strconv"
	"strings"
	"sync/atomic"
)

// Folder is where a model's store lies, below the model's folder.
const Folder = ".layette"

const format = "1"

// Store is the store of one model. Its methods may be called from several
// goroutines and several programs at once.
type Store struct {
	root   *os.Root // the model's folder
	own    string   // this program's folder in tmp
	drafts atomic.Int64
	fault  Fault
}

// A Fault that is not nil is asked before each change to the disk and makes it
// fail; tests fill the disk with it. op is "write", "sync" or "rename".
type Fault func(op, name string) error

// Open opens the store of the model whose folder is root, and makes it if there is none.
func Open(root *os.Root, fault Fault) (*Store, error) {
	s := &Store{root: root, fault: fault, own: path.Join(Folder, "tmp", strconv.Itoa(os.Getpid())+"-"+strconv.FormatInt(opened.Add(1), 10))}
	found, err := root.ReadFile(path.Join(Folder, "format"))
	switch {
	case errors.Is(err, fs.ErrNotExist):
		return s, s.make()
	case err != nil:
		return nil, err
	case strings.TrimSpace(string(found)) != format:
		return nil, fmt.Errorf("%s/format says %q: this store was made by a later layette", Folder, strings.TrimSpace(string(found)))
	}
	return s, nil
}

var opened atomic.Int64 // tells the stores of one process apart

func (s *Store) make() error {
	for _, dir := range []string{"objects", "traces", "tmp"} {
		if err := s.root.MkdirAll(path.Join(Folder, dir), 0o777); err != nil {
			return err
		}
	}
	return s.Publish(path.Join(Folder, "format"), []byte(format+"\n"))
}

// Close removes this program's half-written files.
func (s *Store) Close() error { return s.root.RemoveAll(s.own) }

// Publish puts data in the place of the named file, whole or not at all.
func (s *Store) Publish(name string, data []byte) error {
	d, err := s.Draft()
	if err != nil {
		return err
	}
	defer d.Drop()
	if _, err := d.Write(data); err != nil {
		return err
	}
	if err := d.Close(); err != nil {
		return err
	}
	return s.rename(d.name, name)
}

// rename moves a finished file to its place and forces the folder to disk.
func (s *Store) rename(from, to string) error {
	if err := s.ask("rename", to); err != nil {
		return err
	}
	err := s.root.Rename(from, to)
	if errors.Is(err, fs.ErrNotExist) { // the folder is not there yet
		if err = s.root.MkdirAll(path.Dir(to), 0o777); err == nil {
			err = s.root.Rename(from, to)
		}
	}
	if err != nil {
		return err
	}
	return s.syncFolder(path.Dir(to))
}

func (s *Store) syncFolder(name string) error {
	dir, err := s.root.Open(name)
	if err != nil {
		return err
	}
	defer dir.Close()
	if err := dir.Sync(); err != nil && !errors.Is(err, errors.ErrUnsupported) && !errors.Is(err, fs.ErrInvalid) {
		return err
	}
	return nil
}

func (s *Store) ask(op, name string) error {
	if s.fault == nil {
		return nil
	}
	return s.fault(op, name)
}

// spread returns the path of a name in a folder of 256 folders.
func spread(folder, name, suffix string) string {
	return path.Join(Folder, folder, name[:2], name+suffix)
}

// readAll reads a small file of the store, up to limit bytes.
func (s *Store) readAll(name string, limit int64) ([]byte, error) {
	f, err := s.root.Open(name)
	if err != nil {
		return nil, err
	}
	defer f.Close()
	data, err := io.ReadAll(io.LimitReader(f, limit+1))
	if err == nil && int64(len(data)) > limit {
		return nil, fmt.Errorf("%s is over %d bytes", name, limit)
	}
	return data, err
}
