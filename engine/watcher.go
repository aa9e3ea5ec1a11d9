package engine

import "layette/engine/step"

// Watcher hears how a run goes. Its methods are called from one goroutine at a
// time except Progress, which a step may call from any.
type Watcher interface {
	// Reading hears of source files being read for their digests: bytes so far, and of how many.
	Reading(done, total int64)
	// Planned hears how many stages the run looks at.
	Planned(stages int)
	// Started hears that a stage begins to run, and why. What it returns hears
	// how far the step is.
	Started(n Node, causes []Cause) step.Progress
	// Finished hears where a stage stands, whether it ran or not.
	Finished(s *Status)
}

// NoWatcher hears and does nothing.
type NoWatcher struct{}

func (NoWatcher) Reading(int64, int64)                {}
func (NoWatcher) Planned(int)                         {}
func (NoWatcher) Started(Node, []Cause) step.Progress { return step.NoProgress }
func (NoWatcher) Finished(*Status)                    {}
