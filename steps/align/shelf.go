package align

import (
	"bytes"
	"context"
	"crypto/sha256"
	"encoding/binary"
	"fmt"
	"maps"
	"slices"
	"sync"

	"layette/steps/internal/workpiece"
)

// shelf is what earlier runs found of pairs that one scan is in. Two hundred
// scans make twenty thousand pairs, too many for a file each. Every row is a
// function of its own key alone, which names both scans by digest.
type shelf struct {
	sync.Mutex
	key  string
	rows map[rowKey][]byte
	had  int // rows that an earlier run left; -1 if there was none
	more bool
}

type rowKey [16]byte

// shelves opens what earlier runs kept of the scans' pairs.
func (s *session) shelves(ctx context.Context) error {
	s.kept = make([]*shelf, len(s.scans))
	return s.each(ctx, len(s.scans), func(i int) error {
		c := s.scans[i]
		h := &shelf{key: fmt.Sprintf("pairs of %s %s %v %x, version %d", c.file.SHA256, c.file.Units, c.fixed, s.spacing, Kind{}.Handbook().Version)}
		data, ok := workpiece.Kept(s.job, h.key)
		h.rows, h.more, h.had = rowsOf(data), !ok, -1
		if ok {
			h.had = len(h.rows)
		}
		s.kept[i] = h
		return nil
	})
}

// rowsOf reads a shelf; what is damaged is as good as nothing.
func rowsOf(data []byte) map[rowKey][]byte {
	rows := map[rowKey][]byte{}
	for len(data) >= 18 {
		n := 18 + int(binary.LittleEndian.Uint16(data[16:]))
		if n > len(data) {
			break
		}
		rows[rowKey(data[:16])] = data[18:n]
		data = data[n:]
	}
	return rows
}

// rowOf returns the key of what is found of a pair.
func (s *session) rowOf(what string, p *pair) rowKey {
	a, b := s.scans[p.a], s.scans[p.b]
	sum := sha256.Sum256(fmt.Appendf(nil, "%s %s %s %v %s %s %v", what, a.file.SHA256, a.file.Units, a.fixed, b.file.SHA256, b.file.Units, b.fixed))
	return rowKey(sum[:16])
}

// found looks a pair up with both its scans.
func (s *session) found(key rowKey, p *pair) ([]byte, bool) {
	for _, i := range []int{p.a, p.b} {
		h := s.kept[i]
		h.Lock()
		data, ok := h.rows[key]
		h.Unlock()
		if ok {
			return data, true
		}
	}
	return nil, false
}

// shelve puts a pair with that of its scans of which less was kept before: with
// the new one, where one is new, so that little is written again.
func (s *session) shelve(key rowKey, p *pair, data []byte) {
	h := s.kept[p.b]
	if s.kept[p.a].had < h.had {
		h = s.kept[p.a]
	}
	h.Lock()
	h.rows[key], h.more = data, true
	h.Unlock()
}

// putAway keeps the shelves to which something was added.
func (s *session) putAway() error {
	for _, h := range s.kept {
		if !h.more {
			continue
		}
		var b []byte
		for _, key := range slices.SortedFunc(maps.Keys(h.rows), func(x, y rowKey) int { return bytes.Compare(x[:], y[:]) }) {
			b = append(b, key[:]...)
			b = binary.LittleEndian.AppendUint16(b, uint16(len(h.rows[key])))
			b = append(b, h.rows[key]...)
		}
		if err := workpiece.Keep(s.job, h.key, b); err != nil {
			return err
		}
		h.more = false
	}
	return nil
}
