package store

import (
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"io/fs"
	"os"
	"path"
)

// Left is something a step left for its own reuse.
type Left struct {
	*io.SectionReader
	f *os.File
}

// Close closes the file it is read from.
func (l *Left) Close() error { return l.f.Close() }

const sumLength = 2 * sha256.Size

// Left opens what a step left under a key of its own choosing. What is damaged
// is as good as nothing: the file begins with the digest of the rest.
func (s *Store) Left(key string) (*Left, bool) {
	f, err := s.root.Open(spread("kept", KeyOf(key), ""))
	if err != nil {
		return nil, false
	}
	info, err := f.Stat()
	if err != nil || info.Size() < sumLength {
		f.Close()
		return nil, false
	}
	l := &Left{io.NewSectionReader(f, sumLength, info.Size()-sumLength), f}
	if !l.sound() {
		f.Close()
		return nil, false
	}
	return l, true
}

func (l *Left) sound() bool {
	want := make([]byte, sumLength)
	sum := sha256.New()
	_, err1 := l.f.ReadAt(want, 0)
	_, err2 := io.Copy(sum, l)
	_, err3 := l.Seek(0, io.SeekStart)
	return err1 == nil && err2 == nil && err3 == nil && hex.EncodeToString(sum.Sum(nil)) == string(want)
}

// Leave keeps data under a step's key. It may be lost at any time without harm,
// so nothing is forced to disk: a session of two hundred scans leaves twenty
// thousand comparisons, and forcing each would take minutes. A file cut short
// by a failing power supply is found by its digest.
func (s *Store) Leave(key string, data []byte) error {
	sum := sha256.Sum256(data)
	draft, f, err := s.begin()
	if err != nil {
		return err
	}
	defer s.root.Remove(draft) // what is left of it after an error
	_, err = f.Write(append([]byte(hex.EncodeToString(sum[:])), data...))
	if closed := f.Close(); err == nil {
		err = closed
	}
	if err != nil {
		return err
	}
	to := spread("kept", KeyOf(key), "")
	if err = s.root.Rename(draft, to); errors.Is(err, fs.ErrNotExist) { // the folder is not there yet
		if err = s.root.MkdirAll(path.Dir(to), 0o777); err == nil {
			err = s.root.Rename(draft, to)
		}
	}
	return err
}
