package meshio

import (
	"bufio"
	"encoding/binary"
	"errors"
	"fmt"
	"math"
)

var errEnds = errors.New("the file ends too early: it was cut off; export or copy it again")

// textRows reads a PLY body in words: one row a line.
type textRows struct {
	*lines
	long  int // lines with more numbers than the head promises
	first int // the first of them
}

// leftovers notes what stood in the file beyond its head's promises.
func (t *textRows) leftovers(info *Info) {
	if t.long > 0 {
		info.note("%d lines have more numbers than the head promises, the first is line %d; the surplus was passed over", t.long, t.first)
	}
	if t.nextWords() {
		info.note("line %d: there are lines after the last element; they were passed over", t.n)
	}
}

func (t *textRows) where() string { return fmt.Sprintf("line %d", t.n) }

func (t *textRows) row(e *plyElement, list int, nums, items []float64) ([]float64, error) {
	items = items[:0]
	if !t.nextWords() {
		if t.err() != nil {
			return nil, t.err()
		}
		return nil, errEnds
	}
	words := t.words
	next := func() (float64, error) {
		if len(words) == 0 {
			return 0, errors.New("the line has too few numbers")
		}
		x, err := number(words[0])
		words = words[1:]
		return x, err
	}
	for i, p := range e.props {
		x, err := next()
		if err != nil {
			return nil, err
		}
		nums[i] = x
		if p.count == none {
			continue
		}
		if !(x >= 0 && x <= float64(len(words))) || x != math.Trunc(x) {
			return nil, fmt.Errorf("a list of %v numbers, but %d follow on the line", x, len(words))
		}
		for range int(x) {
			item, err := next()
			if err != nil {
				return nil, err
			}
			if i == list {
				items = append(items, item)
			}
		}
	}
	if len(words) > 0 {
		if t.long++; t.long == 1 {
			t.first = t.n
		}
	}
	return items, nil
}

// binaryRows reads a PLY body in bytes of either order.
type binaryRows struct {
	r    *bufio.Reader
	at   int64 // place in the file
	left int64 // bytes not read yet
	big  bool
}

func (b *binaryRows) where() string { return fmt.Sprintf("byte %d", b.at) }

// peek returns the next n bytes without moving on.
func (b *binaryRows) peek(n int64) ([]byte, error) {
	if n > b.left {
		return nil, errEnds
	}
	data, err := b.r.Peek(int(n))
	if int64(len(data)) < n {
		return nil, fmt.Errorf("%w", err)
	}
	return data, nil
}

func (b *binaryRows) skip(n int64) {
	b.r.Discard(int(n))
	b.at += n
	b.left -= n
}

func (b *binaryRows) row(e *plyElement, list int, nums, items []float64) ([]float64, error) {
	items = items[:0]
	for i, p := range e.props {
		kind := p.kind
		if p.count != none {
			kind = p.count
		}
		data, err := b.peek(plySize[kind])
		if err != nil {
			return nil, err
		}
		nums[i] = b.number(data, kind)
		b.skip(plySize[kind])
		if p.count == none {
			continue
		}
		if nums[i] < 0 || nums[i]*float64(plySize[p.kind]) > float64(b.left) {
			return nil, fmt.Errorf("a list of %v numbers where %d bytes are left", nums[i], b.left)
		}
		if items, err = b.list(p.kind, int64(nums[i]), i == list, items); err != nil {
			return nil, err
		}
	}
	return items, nil
}

// list reads n numbers, and keeps them in items if they are wanted.
func (b *binaryRows) list(kind plyType, n int64, wanted bool, items []float64) ([]float64, error) {
	size := plySize[kind]
	for n > 0 {
		some := min(n, 1024)
		data, err := b.peek(some * size)
		if err != nil {
			return nil, err
		}
		for k := int64(0); wanted && k < some; k++ {
			items = append(items, b.number(data[k*size:], kind))
		}
		b.skip(some * size)
		n -= some
	}
	return items, nil
}

func (b *binaryRows) number(d []byte, kind plyType) float64 {
	switch kind {
	case i8:
		return float64(int8(d[0]))
	case u8:
		return float64(d[0])
	}
	var order binary.ByteOrder = binary.LittleEndian
	if b.big {
		order = binary.BigEndian
	}
	switch kind {
	case i16:
		return float64(int16(order.Uint16(d)))
	case u16:
		return float64(order.Uint16(d))
	case i32:
		return float64(int32(order.Uint32(d)))
	case u32:
		return float64(order.Uint32(d))
	case f32:
		return float64(math.Float32frombits(order.Uint32(d)))
	}
	return math.Float64frombits(order.Uint64(d))
}
