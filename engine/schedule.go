package engine

import (
	"cmp"
	"context"
	"slices"

	"layette/engine/graph"
)

// schedule decides what runs when: of what is ready, first what has the
// longest way ahead of it, by the times it took before, as far as processors
// and memory go. Only run's own goroutine touches its fields.
type schedule struct {
	w       *walk
	o       RunOptions
	watch   Watcher
	ahead   map[string]float64 // s, of the longest way from a node to the end
	in      map[*node]bool     // nodes of this run
	left    map[*node]int      // how many of a node's needs are not concluded
	fresh   []*node            // all needs concluded; not looked at yet
	due     []*visit           // looked at; the step is to run
	busy    int                // goroutines at work
	looking int                // of them, those that only look
	used    int64              // memory of running steps, bytes
	done    chan event
	ran     int
}

// event is a node that a goroutine has finished with.
type event struct {
	v      *visit
	isDue  bool
	ran    bool
	weight int64
	err    error
}

// usual is what a stage that never ran is taken to take, in seconds.
const usual = 1.0

func newSchedule(w *walk, nodes []*node, o RunOptions, watch Watcher) *schedule {
	if o.Workers <= 0 {
		o.Workers = workers()
	}
	if o.Memory <= 0 {
		o.Memory = halfOfMemory()
	}
	s := &schedule{w: w, o: o, watch: watch, in: map[*node]bool{}, left: map[*node]int{}, done: make(chan event)}
	for _, n := range nodes {
		s.in[n] = true
		s.left[n] = len(n.needs)
		if len(n.needs) == 0 {
			s.fresh = append(s.fresh, n)
		}
	}
	s.ahead = longest(w, nodes)
	return s
}

func longest(w *walk, nodes []*node) map[string]float64 {
	byName := map[string]*node{}
	var order []string
	for _, n := range nodes {
		byName[n.String()] = n
		order = append(order, n.String())
	}
	needs := func(name string) []string {
		var list []string
		for _, up := range byName[name].needs {
			list = append(list, up.String())
		}
		return list
	}
	return graph.Longest(order, needs, func(name string) float64 {
		if took := w.history.past(byName[name].Node).Took; took > 0 {
			return took.Seconds()
		}
		return usual
	})
}

// run goes on until nothing is left or ctx ends and what runs has stopped.
func (s *schedule) run(ctx context.Context) {
	for {
		if ctx.Err() == nil {
			s.start(ctx)
		}
		if s.busy == 0 {
			return
		}
		s.finished(ctx, <-s.done)
	}
}

// start puts as much to work as there is room for. Steps begin only when all
// that is ready has been looked at, which takes a moment: else the first to be
// looked at would go before the most pressing.
func (s *schedule) start(ctx context.Context) {
	for s.busy < s.o.Workers && len(s.fresh) > 0 {
		n := s.fresh[0]
		s.fresh = s.fresh[1:]
		s.busy++
		s.looking++
		go func() {
			v, isDue, err := s.w.advance(ctx, n, s.o.LeaveFailed)
			s.done <- event{v: v, isDue: isDue, err: err}
		}()
	}
	if s.looking > 0 {
		return
	}
	slices.SortStableFunc(s.due, func(a, b *visit) int {
		return cmp.Compare(s.ahead[b.node.String()], s.ahead[a.node.String()])
	})
	for i := 0; i < len(s.due) && s.busy < s.o.Workers; {
		v := s.due[i]
		weight := v.memory()
		if s.used > 0 && s.used+weight > s.o.Memory {
			i++ // something smaller may fit beside what runs
			continue
		}
		s.due = slices.Delete(s.due, i, i+1)
		s.begin(ctx, v, weight)
	}
}

// memory is what a node's step will need, in bytes.
func (v *visit) memory() int64 {
	var input int64
	for _, f := range v.st.Inputs {
		input += f.Size
	}
	return int64(v.node.book.Memory * float64(input))
}

func (s *schedule) begin(ctx context.Context, v *visit, weight int64) {
	s.busy++
	s.used += weight
	s.ran++
	progress := s.watch.Started(v.node.Node, v.st.Causes)
	share := max(1, s.o.Workers/min(s.o.Workers, s.busy+len(s.due)))
	go func() {
		err := s.w.perform(ctx, v, share, progress)
		s.done <- event{v: v, ran: true, weight: weight, err: err}
	}()
}

// finished takes in what a goroutine has done and frees what waited for it.
func (s *schedule) finished(ctx context.Context, e event) {
	s.busy--
	if !e.ran {
		s.looking--
	}
	s.used -= e.weight
	if e.isDue && e.err == nil {
		s.due = append(s.due, e.v)
		return
	}
	st := e.v.st
	if e.err != nil {
		if ctx.Err() != nil { // cut short: nothing can be said of it
			return
		}
		st.State, st.Says = Failed, e.err.Error()
	}
	s.w.set(e.v.node, st)
	s.watch.Finished(st)
	for _, next := range e.v.node.after {
		if s.left[next]--; s.left[next] == 0 && s.in[next] {
			s.fresh = append(s.fresh, next)
		}
	}
}
