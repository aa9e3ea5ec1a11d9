package trail

import (
	"bytes"
	"cmp"
	"container/heap"
	"math/bits"
)

// chain is records in causal order: each after all that it follows, ties by
// time, then by id. Where they stand in the file means nothing.
type chain struct {
	list []*Record
	at   map[ID]int // place in list
	past []bitset   // past[i]: the places of everything list[i] follows, near or far
}

// newChain orders records. Links to records that are not there are left out.
func newChain(records []*Record) *chain {
	c := &chain{at: make(map[ID]int, len(records))}
	byID := make(map[ID]*Record, len(records))
	for _, r := range records {
		byID[r.ID] = r
	}
	waits := make(map[ID]int, len(records))
	next := map[ID][]*Record{}
	ready := &queue{}
	for _, r := range records {
		for _, a := range r.After {
			if byID[a] != nil {
				waits[r.ID]++
				next[a] = append(next[a], r)
			}
		}
		if waits[r.ID] == 0 {
			heap.Push(ready, r)
		}
	}
	for ready.Len() > 0 {
		r := heap.Pop(ready).(*Record)
		c.add(r)
		for _, n := range next[r.ID] {
			if waits[n.ID]--; waits[n.ID] == 0 {
				heap.Push(ready, n)
			}
		}
	}
	return c
}

// add puts r, all that it follows being there, at the end.
func (c *chain) add(r *Record) {
	past := newBitset(len(c.list))
	for _, a := range r.After {
		if i, ok := c.at[a]; ok {
			past.union(c.past[i])
			past.set(i)
		}
	}
	c.at[r.ID] = len(c.list)
	c.list = append(c.list, r)
	c.past = append(c.past, past)
}

// follows reports whether a, near or far, follows b.
func (c *chain) follows(a, b *Record) bool { return c.past[c.at[a.ID]].has(c.at[b.ID]) }

// heads returns the records that no other that counts follows.
func (c *chain) heads() []ID {
	covered := newBitset(len(c.list))
	for i, r := range c.list {
		if r.Void == "" {
			covered.union(c.past[i])
		}
	}
	var heads []ID
	for i, r := range c.list {
		if r.Void == "" && !covered.has(i) {
			heads = append(heads, r.ID)
		}
	}
	return sortedIDs(heads)
}

// newest returns those of some records that none of the others follows.
func (c *chain) newest(some []*Record) []*Record {
	var list []*Record
next:
	for _, r := range some {
		for _, o := range some {
			if o != r && c.follows(o, r) {
				continue next
			}
		}
		list = append(list, r)
	}
	return list
}

// bitset is a set of places in a chain.
type bitset []uint64

func newBitset(n int) bitset    { return make(bitset, (n+63)/64) }
func (b bitset) set(i int)      { b[i/64] |= 1 << (i % 64) }
func (b bitset) has(i int) bool { return i/64 < len(b) && b[i/64]&(1<<(i%64)) != 0 }

// union adds a shorter or equally long set.
func (b bitset) union(o bitset) {
	for i, w := range o {
		b[i] |= w
	}
}

func (b bitset) count() (n int) {
	for _, w := range b {
		n += bits.OnesCount64(w)
	}
	return n
}

// queue gives the earliest record first, then the one with the smaller id.
type queue []*Record

func (q queue) Len() int      { return len(q) }
func (q queue) Swap(i, j int) { q[i], q[j] = q[j], q[i] }
func (q *queue) Push(r any)   { *q = append(*q, r.(*Record)) }
func (q queue) Less(i, j int) bool {
	return cmp.Or(q[i].Time.Compare(q[j].Time), bytes.Compare(q[i].ID[:], q[j].ID[:])) < 0
}
func (q *queue) Pop() any {
	last := (*q)[len(*q)-1]
	*q = (*q)[:len(*q)-1]
	return last
}
