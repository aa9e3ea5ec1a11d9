package desk

import (
	"encoding/json"
	"fmt"
	"net/http"
	"strings"
	"sync"
	"time"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/trail"
)

// live is what the page is told of as it changes.
type live struct {
	mu      sync.Mutex
	board   *engine.Board
	trail   *trail.Trail
	page    *sheet.Page
	problem string
	version int
	run     runView
	cancel  func()
	hearers map[chan struct{}]bool
}

// A moment is what is told when something changed: what has changed is asked
// for then.
type moment struct {
	Board   int     `json:"board"` // counts up; 0 before the first look
	Problem string  `json:"problem,omitempty"`
	Run     runView `json:"run"`
}

func newLive() *live { return &live{hearers: map[chan struct{}]bool{}, page: &sheet.Page{}} }

// put has a new board told. With an error the last one stays, and what is
// wrong is told beside it.
func (l *live) put(b *engine.Board, t *trail.Trail, p sheet.Page, err error) {
	l.change(func() {
		l.version++
		l.problem = ""
		if err != nil {
			l.problem = err.Error()
			return
		}
		l.board, l.trail, l.page = b, t, &p
	})
}

func (l *live) get() (*engine.Board, *trail.Trail, *sheet.Page) {
	l.mu.Lock()
	defer l.mu.Unlock()
	return l.board, l.trail, l.page
}

// change changes something and wakes who listens.
func (l *live) change(f func()) {
	l.mu.Lock()
	defer l.mu.Unlock()
	f()
	for c := range l.hearers {
		select {
		case c <- struct{}{}:
		default: // one is waiting already
		}
	}
}

func (l *live) listen() (chan struct{}, func()) {
	c := make(chan struct{}, 1)
	l.change(func() { l.hearers[c] = true }) // and so it is told at once what there is
	return c, func() { l.change(func() { delete(l.hearers, c) }) }
}

func (l *live) moment() []byte {
	l.mu.Lock()
	defer l.mu.Unlock()
	text, err := json.Marshal(moment{l.version, l.problem, l.run})
	if err != nil {
		panic(err) // plain strings and numbers
	}
	return text
}

// beat is how long the line may be silent; pace how often it speaks at most.
const (
	beat = 20 * time.Second
	pace = 100 * time.Millisecond
)

// events tells what changes, for as long as the page stands (the format is the
// event stream of the HTML standard).
func (d *Desk) events(w http.ResponseWriter, r *http.Request) {
	hint, stop := d.live.listen()
	defer stop()
	line := http.NewResponseController(w)
	w.Header().Set("Content-Type", "text/event-stream")
	quiet := time.NewTicker(beat)
	defer quiet.Stop()
	for {
		text := ":\n\n"
		select {
		case <-r.Context().Done():
			return
		case <-quiet.C:
		case <-hint:
			text = fmt.Sprintf("data: %s\n\n", d.live.moment())
		}
		if _, err := w.Write([]byte(text)); err != nil || line.Flush() != nil {
			return
		}
		select {
		case <-r.Context().Done():
			return
		case <-time.After(pace):
		}
	}
}

// board tells where every stage stands, without what each of them found.
func (d *Desk) board(*http.Request) (any, error) {
	d.live.mu.Lock()
	defer d.live.mu.Unlock()
	p := *d.live.page
	p.Desk = true
	p.Parts = nil
	for _, part := range d.live.page.Parts {
		brief := sheet.Part{Name: part.Name}
		for _, s := range part.Stages {
			brief.Stages = append(brief.Stages, sheet.Stage{ID: s.ID, Name: s.Name, Step: s.Step, State: s.State, Says: s.Says})
		}
		p.Parts = append(p.Parts, brief)
	}
	return p, nil
}

// stageView is one stage with all that was found, and what a person may say.
type stageView struct {
	sheet.Stage
	Key    string      `json:"key"`    // of what it was computed from
	Solids []solidName `json:"solids"` // what the 3D view can show
	Speak  bool        `json:"speak"`  // there is something to give one's word about
	Held   []string    `json:"held"`   // gates that hold it and may be conceded
	Why    []string    `json:"why"`    // why it is due, or why it ran
}

func (d *Desk) stage(r *http.Request) (any, error) {
	st, t, words, err := d.status(r.FormValue("id"))
	if err != nil {
		return nil, err
	}
	v := stageView{Stage: *words, Key: st.Key, Solids: []solidName{}, Held: []string{}, Why: []string{}}
	for _, s := range d.o.Shown(st, t) {
		v.Solids = append(v.Solids, nameOf(st, s))
	}
	for _, g := range st.Gates {
		if !g.GoesOn() && st.Concedes(g.Gate) != "" {
			v.Held = append(v.Held, g.Gate)
		}
	}
	for _, c := range st.Causes {
		v.Why = append(v.Why, strings.TrimSpace(c.Says))
	}
	switch st.State {
	case engine.Done, engine.Held, engine.Unsigned:
		v.Speak = true
	case engine.Handwork:
		v.Speak = st.Sign != nil // else the file itself is awaited
	}
	return v, nil
}
