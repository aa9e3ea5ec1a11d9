package store

import (
	"bufio"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"hash"
	"io/fs"
	"os"
	"path"
	"strconv"
	"time"
)

// Draft is a file being written: bytes, their count and their digest.
type Draft struct {
	s      *Store
	name   string
	f      *os.File
	buf    *bufio.Writer
	sum    hash.Hash
	size   int64
	closed bool
	back   int64 // the time it was set back to, ns
	err    error
}

// Draft begins a file under a name of this program's own.
func (s *Store) Draft() (*Draft, error) {
	name, f, err := s.begin()
	if err != nil {
		return nil, err
	}
	return &Draft{s: s, name: name, f: f, buf: bufio.NewWriterSize(f, 1<<16), sum: sha256.New()}, nil
}

func (s *Store) begin() (string, *os.File, error) {
	name := path.Join(s.own, strconv.FormatInt(s.drafts.Add(1), 10))
	f, err := s.root.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
	if errors.Is(err, fs.ErrNotExist) {
		if err = s.root.MkdirAll(s.own, 0o777); err == nil {
			f, err = s.root.OpenFile(name, os.O_RDWR|os.O_CREATE|os.O_EXCL, 0o666)
		}
	}
	return name, f, err
}

// Write adds bytes to the draft.
func (d *Draft) Write(p []byte) (int, error) {
	if d.err == nil {
		d.err = d.s.ask("write", d.name)
	}
	if d.err == nil && d.closed {
		d.err = fs.ErrClosed
	}
	if d.err != nil {
		return 0, d.err
	}
	n, err := d.buf.Write(p)
	d.sum.Write(p[:n])
	d.size += int64(n)
	d.err = err
	return n, err
}

// backdated is how far a file's time is set back before it appears, so that
// the stat cache may trust it at once and yet sees any later edit (see Stamps).
const backdated = 3 * time.Second

// Close forces the bytes to disk. After a failure the draft is worth nothing
// and is not tried again: the system may have dropped the pages that failed.
func (d *Draft) Close() error {
	if d.closed {
		return d.err
	}
	d.closed = true
	if d.err == nil {
		d.err = d.buf.Flush()
	}
	if d.err == nil {
		d.err = d.s.ask("sync", d.name)
	}
	if d.err == nil {
		d.err = d.f.Sync()
	}
	if err := d.f.Close(); d.err == nil {
		d.err = err
	}
	if d.err == nil {
		d.err = d.setBack()
	}
	return d.err
}

// setBack makes the file's time earlier by the file system's own clock.
func (d *Draft) setBack() error {
	info, err := d.s.root.Stat(d.name)
	if err != nil {
		return err
	}
	t := info.ModTime().Add(-backdated)
	d.back = t.UnixNano()
	return d.s.root.Chtimes(d.name, t, t)
}

// probe makes an empty file that shows the file system's own time.
func (s *Store) probe() (string, error) {
	name, f, err := s.begin()
	if err != nil {
		return "", err
	}
	return name, f.Close()
}

// Drop closes the draft and removes what is left of it. It may follow Close or
// Keep and then does no harm.
func (d *Draft) Drop() {
	d.Close()
	d.s.root.Remove(d.name)
}

// SHA256 returns the digest of what was written, in hex.
func (d *Draft) SHA256() string { return hex.EncodeToString(d.sum.Sum(nil)) }

// SetBack returns the time a closed draft was given, for Stamps.Trust.
func (d *Draft) SetBack() int64 { return d.back }

// Size returns how many bytes were written.
func (d *Draft) Size() int64 { return d.size }

// Keep makes a closed draft an object. An object that is there already stays
// if its size is right.
func (s *Store) Keep(d *Draft) error {
	if d.err != nil {
		return d.err
	}
	sum := d.SHA256()
	if info, err := s.root.Lstat(ObjectName(sum)); err == nil && info.Size() == d.size {
		return nil
	}
	if err := s.root.Chmod(d.name, 0o444); err != nil {
		return err
	}
	return s.rename(d.name, ObjectName(sum))
}

// ObjectName returns an object's path below the model's folder.
func ObjectName(sha256 string) string { return spread("objects", sha256, "") }

// Remove takes a damaged object away; what made it becomes due again.
func (s *Store) Remove(sha256 string) error {
	err := s.root.Remove(ObjectName(sha256))
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	return err
}

// Lay puts a read-only copy of the file from at the path to, both below the
// model's folder: sharing its blocks where the file system can, else byte by
// byte. Never a link: an edit of the copy must not reach the object. It returns
// the time the copy was given, for Stamps.Trust.
func (s *Store) Lay(from, to string) (setBack int64, err error) {
	src, err := s.root.Open(from)
	if err != nil {
		return 0, err
	}
	defer src.Close()
	d, err := s.Draft()
	if err != nil {
		return 0, err
	}
	defer d.Drop()
	if cloneFile(d.f, src) != nil {
		if err := s.ask("write", to); err != nil {
			return 0, err
		}
		if _, err := d.f.ReadFrom(src); err != nil {
			return 0, fmt.Errorf("copying to %s: %w", to, err)
		}
	}
	if err := d.Close(); err != nil {
		return 0, err
	}
	if err := s.root.Chmod(d.name, 0o444); err != nil {
		return 0, err
	}
	return d.back, s.rename(d.name, to)
}

// LayBytes puts a small read-only file at the path to below the model's
// folder. It returns the time the file was given, for Stamps.Trust.
func (s *Store) LayBytes(data []byte, to string) (setBack int64, err error) {
	d, err := s.Draft()
	if err != nil {
		return 0, err
	}
	defer d.Drop()
	if _, err := d.Write(data); err != nil {
		return 0, err
	}
	if err := d.Close(); err != nil {
		return 0, err
	}
	if err := s.root.Chmod(d.name, 0o444); err != nil {
		return 0, err
	}
	return d.back, s.rename(d.name, to)
}
