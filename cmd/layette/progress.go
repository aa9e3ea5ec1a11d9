package main

import (
	"fmt"
	"io"
	"strings"
	"sync"
	"time"

	"layette/engine"
	"layette/engine/step"
)

// progress shows how a run goes on stderr: on a terminal one line that is
// redrawn, elsewhere a plain line for each stage that ran.
type progress struct {
	w        io.Writer
	terminal bool
	now      func() time.Time

	mu      sync.Mutex
	drawn   time.Time // when the line was last redrawn
	width   int       // of the line that stands there
	stages  int
	settled int
	running []*running // in the order they began
}

// running is how far one stage is.
type running struct {
	p     *progress
	node  engine.Node
	what  string
	total int
	done  int
}

func (a *app) progress() *progress {
	return &progress{w: a.stderr, terminal: a.isTerminal(a.stderr), now: time.Now}
}

// redraw is how often the line is redrawn at most.
const redraw = 100 * time.Millisecond

// Reading implements engine.Watcher.
func (p *progress) Reading(done, total int64) {
	p.mu.Lock()
	defer p.mu.Unlock()
	if total > 0 {
		p.draw(fmt.Sprintf("reading files: %s of %s", megabytes(done), megabytes(total)))
	}
}

func megabytes(n int64) string { return fmt.Sprintf("%.0f MB", float64(n)/1e6) }

// Planned implements engine.Watcher.
func (p *progress) Planned(stages int) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.stages, p.settled = stages, 0
}

// Started implements engine.Watcher.
func (p *progress) Started(n engine.Node, causes []engine.Cause) step.Progress {
	p.mu.Lock()
	defer p.mu.Unlock()
	r := &running{p: p, node: n}
	p.running = append(p.running, r)
	p.line()
	return r
}

// Finished implements engine.Watcher.
func (p *progress) Finished(st *engine.Status) {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.settled++
	for i, r := range p.running {
		if r.node == st.Node {
			p.running = append(p.running[:i:i], p.running[i+1:]...)
			break
		}
	}
	if st.Ran {
		p.clear()
		why := ""
		if len(st.Causes) > 0 {
			why = " (" + brief(st.Causes[0]) + ")"
		}
		fmt.Fprintf(p.w, "%-9s %s %s%s\n", st.State, st.Node, seconds(st.Took), why)
	}
	p.line()
}

// brief is a cause on one line: what is behind the stage before, and the whole
// of a long value, are for layette why.
func brief(c engine.Cause) string {
	says := c.Says
	if b := c.Because; b != nil && len(b.Causes) > 0 {
		says = strings.TrimSuffix(says, ": "+b.Causes[0].Says)
	}
	for _, long := range []string{c.Was, c.Is} {
		if r := []rune(long); len(r) > 60 {
			says = strings.Replace(says, long, string(r[:40])+"…", 1)
		}
	}
	return says
}

// Start implements step.Progress.
func (r *running) Start(what string, total int) {
	r.p.mu.Lock()
	defer r.p.mu.Unlock()
	r.what, r.total, r.done = what, total, 0
	r.p.line()
}

// Add implements step.Progress.
func (r *running) Add(n int) {
	r.p.mu.Lock()
	defer r.p.mu.Unlock()
	r.done += n
	r.p.line()
}

// line redraws what is running.
func (p *progress) line() {
	if !p.terminal {
		return
	}
	words := []string{fmt.Sprintf("%d/%d", p.settled, p.stages)}
	for _, r := range p.running {
		w := r.node.String()
		if r.what != "" {
			w += " " + r.what
		}
		if r.total > 0 {
			w += fmt.Sprintf(" %d %%", 100*r.done/r.total)
		}
		words = append(words, w)
	}
	p.draw(strings.Join(words, " · "))
}

func (p *progress) draw(line string) {
	if !p.terminal || p.now().Sub(p.drawn) < redraw {
		return
	}
	p.drawn = p.now()
	runes := []rune(line)
	if len(runes) > 100 {
		line = string(runes[:99]) + "…"
	}
	p.clear()
	fmt.Fprint(p.w, line)
	p.width = len([]rune(line))
}

// clear takes the redrawn line away.
func (p *progress) clear() {
	if p.width > 0 {
		fmt.Fprintf(p.w, "\r%s\r", strings.Repeat(" ", p.width))
		p.width = 0
	}
}

// end leaves the terminal clean.
func (p *progress) end() {
	p.mu.Lock()
	defer p.mu.Unlock()
	p.clear()
}
