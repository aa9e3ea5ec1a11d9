package store

import (
	"bufio"
	"bytes"
	"errors"
	"fmt"
	"io/fs"
	"maps"
	"math"
	"os"
	"path/filepath"
	"slices"
	"strconv"
	"strings"
)

// stampsHead opens the file of remembered digests; under another head it is
// left unread, and every digest is taken again.
const stampsHead = "layette-stamps v1"

// NewStamps returns an empty memory over a store. stat may be nil.
func NewStamps(s *Store, stat Stater) *Stamps {
	if stat == nil {
		stat = Stat
	}
	return &Stamps{stat: stat, store: s, known: map[string]known{}, old: math.MinInt64}
}

// Load adds what an earlier program saved in file, an ordinary path. A file
// that is not there or not whole adds what it can: nothing depends on it.
func (c *Stamps) Load(file string) error {
	data, err := os.ReadFile(file)
	if errors.Is(err, fs.ErrNotExist) {
		return nil
	}
	if err != nil {
		return err
	}
	text := string(data)
	head, text, _ := strings.Cut(text, "\n")
	if head != stampsHead {
		return nil
	}
	c.mu.Lock()
	defer c.mu.Unlock()
	c.known = make(map[string]known, strings.Count(text, "\n"))
	for line := range strings.Lines(text) {
		if id, k, ok := parseKnown(line); ok {
			c.known[id] = k
		}
	}
	c.old = c.oldest()
	return nil
}

// oldest returns when the last of the share to be read again was read.
func (c *Stamps) oldest() int64 {
	if c.Rehash <= 0 || len(c.known) == 0 {
		return math.MinInt64
	}
	var read []int64
	for _, k := range c.known {
		read = append(read, k.read)
	}
	slices.Sort(read)
	n := math.Ceil(min(c.Rehash, 1) * float64(len(read)))
	return read[int(n)-1]
}

// parseKnown reads a line: size, mtime, ctime, inode, time read, digest, name.
func parseKnown(line string) (string, known, bool) {
	line, whole := strings.CutSuffix(line, "\n")
	var n [5]int64
	for i := range n {
		word, rest, _ := strings.Cut(line, " ")
		v, err := strconv.ParseInt(word, 10, 64)
		if err != nil {
			return "", known{}, false
		}
		n[i], line = v, rest
	}
	sum, name, ok := strings.Cut(line, " ")
	if !whole || !ok || len(sum) != sumLength {
		return "", known{}, false
	}
	if name[0] == '"' {
		var err error
		if name, err = strconv.Unquote(name); err != nil {
			return "", known{}, false
		}
	}
	return name, known{Stamp: Stamp{Size: n[0], MTime: n[1], CTime: n[2], Inode: uint64(n[3])}, read: n[4], sum: sum}, true
}

// Save writes all that is known to file if anything is new.
func (c *Stamps) Save(file string) error {
	c.mu.Lock()
	if !c.dirty {
		c.mu.Unlock()
		return nil
	}
	c.dirty = false
	data := c.text()
	c.mu.Unlock()
	if err := os.MkdirAll(filepath.Dir(file), 0o777); err != nil {
		return err
	}
	f, err := os.CreateTemp(filepath.Dir(file), "stamps-*")
	if err != nil {
		return err
	}
	defer os.Remove(f.Name())
	_, err = f.Write(data)
	if err := errors.Join(err, f.Close()); err != nil {
		return err
	}
	return os.Rename(f.Name(), file)
}

func (c *Stamps) text() []byte {
	var b bytes.Buffer
	w := bufio.NewWriter(&b)
	fmt.Fprintln(w, stampsHead)
	for _, name := range slices.Sorted(maps.Keys(c.known)) {
		k := c.known[name]
		if strings.ContainsAny(name, "\n\"") {
			name = strconv.Quote(name)
		}
		fmt.Fprintf(w, "%d %d %d %d %d %s %s\n", k.Size, k.MTime, k.CTime, int64(k.Inode), k.read, k.sum, name)
	}
	w.Flush()
	return b.Bytes()
}
