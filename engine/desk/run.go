package desk

import (
	"context"
	"fmt"
	"net/http"
	"slices"

	"layette/engine"
	"layette/engine/step"
)

// runView is how far a run is.
type runView struct {
	Going   bool      `json:"going"`
	Stages  int       `json:"stages"`
	Settled int       `json:"settled"`
	Ran     int       `json:"ran"`
	Read    int64     `json:"read"` // bytes of files
	Whole   int64     `json:"whole"`
	Now     []running `json:"now,omitempty"`  // what runs, in the order it began
	Says    string    `json:"says,omitempty"` // how the last one ended
}

// running is how far one stage is.
type running struct {
	Stage string `json:"stage"`
	What  string `json:"what,omitempty"`
	Done  int    `json:"done"`
	Total int    `json:"total"`

	node engine.Node
}

// run runs what is due, if nothing runs yet.
func (d *Desk) run(r *http.Request) (any, error) {
	var asked struct {
		Only []string `json:"only"`
	}
	if err := read(r, &asked); err != nil {
		return nil, err
	}
	ctx, cancel := context.WithCancel(d.life)
	began := false
	d.live.change(func() {
		if began = !d.live.run.Going; began {
			d.live.run, d.live.cancel = runView{Going: true}, cancel
			d.runs.Add(1)
		}
	})
	if !began {
		cancel()
		return nil, wrong(http.StatusConflict, "a run is under way")
	}
	go func() {
		defer d.runs.Done()
		defer cancel()
		says := d.runOnce(ctx, asked.Only)
		d.live.change(func() { d.live.run, d.live.cancel = runView{Says: says}, nil })
	}()
	return map[string]bool{"going": true}, nil
}

func (d *Desk) runOnce(ctx context.Context, only []string) string {
	m, err := d.o.Open(ctx)
	if err != nil {
		return err.Error()
	}
	defer m.Close()
	b, err := m.Run(ctx, engine.RunOptions{Only: only}, (*follower)(d.live))
	switch {
	case ctx.Err() != nil:
		return "stopped: what was finished is kept"
	case err != nil:
		return err.Error()
	case b.Ran == 0:
		return "nothing was due"
	case b.Ran == 1:
		return "1 stage ran"
	}
	return fmt.Sprintf("%d stages ran", b.Ran)
}

// stop stops a run; what it finished is kept.
func (d *Desk) stop(r *http.Request) (any, error) {
	d.live.change(func() {
		if d.live.cancel != nil {
			d.live.cancel()
		}
	})
	return map[string]bool{"going": false}, nil
}

// follower tells the page how a run goes.
type follower live

func (f *follower) change(do func(*runView)) { (*live)(f).change(func() { do(&f.run) }) }

// Reading implements engine.Watcher.
func (f *follower) Reading(done, total int64) {
	f.change(func(v *runView) { v.Read, v.Whole = done, total })
}

// Planned implements engine.Watcher.
func (f *follower) Planned(stages int) {
	f.change(func(v *runView) { v.Stages, v.Settled = stages, 0 })
}

// Started implements engine.Watcher.
func (f *follower) Started(n engine.Node, _ []engine.Cause) step.Progress {
	f.change(func(v *runView) { v.Now = append(v.Now, running{Stage: n.String(), node: n}) })
	return &stride{f, n}
}

// Finished implements engine.Watcher.
func (f *follower) Finished(st *engine.Status) {
	f.change(func(v *runView) {
		v.Settled++
		if st.Ran {
			v.Ran++
		}
		v.Now = slices.DeleteFunc(slices.Clone(v.Now), func(r running) bool { return r.node == st.Node })
	})
}

// stride tells how far one stage is.
type stride struct {
	f *follower
	n engine.Node
}

func (s *stride) change(do func(*running)) {
	s.f.change(func(v *runView) {
		for i := range v.Now {
			if v.Now[i].node == s.n {
				do(&v.Now[i])
			}
		}
	})
}

// Start implements step.Progress.
func (s *stride) Start(what string, total int) {
	s.change(func(r *running) { r.What, r.Total, r.Done = what, total, 0 })
}

// Add implements step.Progress.
func (s *stride) Add(n int) { s.change(func(r *running) { r.Done += n }) }
