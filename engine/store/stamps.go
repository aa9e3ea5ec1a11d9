package store

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"io"
	"os"
	"sync"
	"time"
)

// Stamp is what tells that a file was not touched. Times are in ns.
type Stamp struct {
	Size, MTime, CTime int64
	Inode              uint64
}

// Place is a folder whose files' digests are remembered. Name is empty for the
// model's own folder and the absolute path for any other.
type Place struct {
	Root *os.Root
	Name string
}

// Stater takes a file's stamp; tests give one with a coarse clock.
type Stater func(p Place, name string) (Stamp, error)

// Stat takes a file's stamp from the file system.
func Stat(p Place, name string) (Stamp, error) {
	info, err := p.Root.Stat(name)
	if err != nil {
		return Stamp{}, err
	}
	return StampOf(info), nil
}

// A file changed within the file system's clock step after it was read may
// keep its time. The coarsest clock in use steps by 2 s (FAT), which is also
// the Go command's limit for "file used as input is too new".
const clockStep = int64(2 * time.Second)

// Stamps remembers the digests of files by their stamps, per machine. All of
// it may be lost at any time: a digest not remembered is taken again.
//
// A digest is believed while the file's stamp is the same and its time lies
// over 2 s before the moment it was read. That moment is the time which the
// same file system gave a probe file, so that a share whose clock is slow
// deceives nobody.
type Stamps struct {
	// SizeAndTime compares no more than sizes and times, for shares that
	// report the rest inconsistently.
	SizeAndTime bool
	// Rehash is how much of what was remembered before is not believed, from 0
	// to 1: what was read longest ago, so that in time a tenth comes round to
	// everything. It counts when Load is called.
	Rehash float64

	stat  Stater
	store *Store
	mu    sync.Mutex
	known map[string]known
	old   int64 // what was read then or before is read again
	dirty bool
}

type known struct {
	Stamp
	sum   string
	read  int64 // when it was read, by the file system's own clock
	fresh bool  // read by this program
}

// ErrChanging means that a file changed while it was read.
var ErrChanging = errors.New("still being written")

// Sum is a file's content: digest and size, and the stamp it had.
type Sum struct {
	SHA256 string
	Stamp
	Sure bool // the stamp alone will show any later change
}

// Known returns the digest of a file if it is known without reading it.
func (c *Stamps) Known(p Place, name string) (Sum, bool, error) {
	now, err := c.stat(p, name)
	if err != nil {
		return Sum{}, false, err
	}
	c.mu.Lock()
	k, ok := c.known[id(p, name)]
	c.mu.Unlock()
	if !ok || !c.same(k.Stamp, now) || !racyFree(k) || !k.fresh && k.read <= c.old {
		return Sum{Stamp: now}, false, nil
	}
	return Sum{SHA256: k.sum, Stamp: now, Sure: true}, true, nil
}

// Seen reports whether the file had this very stamp in an earlier run, so that
// it is not being written now.
func (c *Stamps) Seen(p Place, name string, s Stamp) bool {
	c.mu.Lock()
	defer c.mu.Unlock()
	k, ok := c.known[id(p, name)]
	return ok && !k.fresh && c.same(k.Stamp, s)
}

func racyFree(k known) bool { return k.MTime < k.read-clockStep }

func (c *Stamps) same(a, b Stamp) bool {
	if c.SizeAndTime {
		return a.Size == b.Size && a.MTime == b.MTime
	}
	return a == b
}

func id(p Place, name string) string {
	if p.Name == "" {
		return name
	}
	return p.Name + "//" + name
}

// Read takes the digest of a file by reading it and remembers it. If the file
// changes meanwhile it answers ErrChanging. read hears of bytes as they go by.
func (c *Stamps) Read(ctx context.Context, p Place, name string, read func(n int64)) (Sum, error) {
	probe, err := c.clock(p)
	if err != nil {
		return Sum{}, err
	}
	before, err := c.stat(p, name)
	if err != nil {
		return Sum{}, err
	}
	sum, n, err := digest(ctx, p.Root, name, read)
	if err != nil {
		return Sum{}, err
	}
	after, err := c.stat(p, name)
	if err != nil {
		return Sum{}, err
	}
	if !c.same(before, after) || n != after.Size {
		return Sum{}, ErrChanging
	}
	k := known{Stamp: after, sum: sum, read: probe, fresh: true}
	c.remember(id(p, name), k)
	return Sum{SHA256: sum, Stamp: after, Sure: racyFree(k)}, nil
}

// Sum returns the digest of a file: what is known, or what it reads.
func (c *Stamps) Sum(ctx context.Context, p Place, name string, read func(n int64)) (Sum, error) {
	if s, ok, err := c.Known(p, name); ok || err != nil {
		return s, err
	}
	return c.Read(ctx, p, name, read)
}

// Trust remembers the digest of a file of ours that was just renamed into
// place. Its time was set back to setBack before, so any edit since shows.
func (c *Stamps) Trust(p Place, name, sha256 string, setBack int64) {
	now, err := c.stat(p, name)
	if err != nil || now.MTime > setBack {
		return
	}
	c.remember(id(p, name), known{Stamp: now, sum: sha256, read: setBack + clockStep + 1, fresh: true})
}

// Forget drops what is known of a file.
func (c *Stamps) Forget(p Place, name string) {
	c.mu.Lock()
	defer c.mu.Unlock()
	delete(c.known, id(p, name))
	c.dirty = true
}

func (c *Stamps) remember(id string, k known) {
	c.mu.Lock()
	defer c.mu.Unlock()
	if c.known[id] != k {
		c.known[id] = k
		c.dirty = true
	}
}

// foreignMargin takes the place of a probe file in folders where nothing is
// written: files younger than this by the local clock are read again. Common
// practice has machines within minutes of each other; no source.
const foreignMargin = 10 * time.Minute

// clock returns the time by a folder's own file system: the time a file just
// written gets. In folders that are not the model's it is a guess on the safe side.
func (c *Stamps) clock(p Place) (int64, error) {
	if p.Name != "" {
		return time.Now().Add(-foreignMargin).UnixNano(), nil
	}
	name, err := c.store.probe()
	if err != nil {
		return 0, err
	}
	defer c.store.root.Remove(name)
	s, err := c.stat(p, name)
	return s.MTime, err
}

var buffers = sync.Pool{New: func() any { return new([1 << 20]byte) }}

// digest reads a file's content, a megabyte at a time so that ctx is heard.
func digest(ctx context.Context, root *os.Root, name string, read func(int64)) (string, int64, error) {
	f, err := root.Open(name)
	if err != nil {
		return "", 0, err
	}
	defer f.Close()
	h := sha256.New()
	buf := buffers.Get().(*[1 << 20]byte)
	defer buffers.Put(buf)
	var total int64
	for {
		if ctx.Err() != nil {
			return "", 0, context.Cause(ctx)
		}
		n, err := f.Read(buf[:])
		h.Write(buf[:n])
		total += int64(n)
		if read != nil && n > 0 {
			read(int64(n))
		}
		if err == io.EOF {
			return hex.EncodeToString(h.Sum(nil)), total, nil
		}
		if err != nil {
			return "", 0, err
		}
	}
}

// Unchanged reports whether a file still is what s says. Where the stamp alone
// cannot tell, the file is read again.
func (c *Stamps) Unchanged(ctx context.Context, p Place, name string, s Sum) (bool, error) {
	now, err := c.stat(p, name)
	if err != nil || !c.same(now, s.Stamp) {
		return false, err
	}
	if s.Sure {
		return true, nil
	}
	again, _, err := digest(ctx, p.Root, name, nil)
	return again == s.SHA256, err
}
