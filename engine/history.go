package engine

import (
	"encoding/json"
	"fmt"
	"maps"
	"path"
	"slices"
	"sync"
	"time"

	"layette/engine/store"
)

// history remembers what each node last ran under, were it in vain, so that why can say what
// changed. It may be lost: then a stage is due because it "never ran", and runs
// no sooner or later for it.
type history struct {
	mu    sync.Mutex
	dirty bool

	Format int              `json:"format"`
	Nodes  map[string]*past `json:"nodes"`
	// Quantities are the recipe's named values at the last run.
	Quantities map[string]string `json:"quantities"`
}

type past struct {
	Keys    []string          `json:"keys"`              // of fingerprints, newest first
	Failed  string            `json:"failed,omitempty"`  // of the last run, if it failed
	Took    time.Duration     `json:"took,omitempty"`    // how long it last ran
	Folder  string            `json:"folder,omitempty"`  // of its visible files, below the model's
	Visible map[string]string `json:"visible,omitempty"` // visible files by name, with the digest they were laid with
}

const historyFormat = 1

// remembered is how many fingerprints of a node are remembered: now and before.
const remembered = 3

var historyFile = path.Join(store.Folder, "history.json")

func (m *Model) readHistory() *history {
	h := &history{}
	if data, err := m.root.ReadFile(historyFile); err == nil {
		if json.Unmarshal(data, h) != nil || h.Format != historyFormat {
			h = &history{}
		}
	}
	if h.Nodes == nil {
		h.Nodes = map[string]*past{}
	}
	return h
}

func (m *Model) writeHistory(h *history) error {
	h.mu.Lock()
	defer h.mu.Unlock()
	if !h.dirty {
		return nil
	}
	h.Format = historyFormat
	data, err := json.Marshal(h)
	if err != nil {
		return err
	}
	h.dirty = false
	return m.store.Publish(historyFile, data)
}

// past returns what is remembered of a node; the answer may be read only while
// nothing else touches the node.
func (h *history) past(n Node) *past {
	h.mu.Lock()
	defer h.mu.Unlock()
	p := h.Nodes[n.String()]
	if p == nil {
		p = &past{}
		h.Nodes[n.String()] = p
	}
	return p
}

// ran puts a key first among a node's.
func (h *history) ran(n Node, key string, took time.Duration) {
	p := h.past(n)
	h.mu.Lock()
	defer h.mu.Unlock()
	if len(p.Keys) > 0 && p.Keys[0] == key && p.Failed == "" && (took == 0 || took == p.Took) {
		return
	}
	p.Failed = ""
	p.Keys = slices.Insert(slices.DeleteFunc(p.Keys, func(k string) bool { return k == key }), 0, key)
	p.Keys = p.Keys[:min(len(p.Keys), remembered)]
	if took != 0 {
		p.Took = took
	}
	h.dirty = true
}

// failed remembers the key of a run that failed.
func (h *history) failed(n Node, key string) {
	p := h.past(n)
	h.mu.Lock()
	defer h.mu.Unlock()
	p.Failed, h.dirty = key, true
}

func (h *history) laid(n Node, folder string, visible map[string]string) {
	p := h.past(n)
	h.mu.Lock()
	defer h.mu.Unlock()
	p.Folder, p.Visible = folder, visible
	h.dirty = true
}

// lastText returns the newest fingerprint but the one of key under which a
// node ran, or nil, and why that run failed if it did.
func (m *Model) lastText(h *history, n Node, key string) (was *store.Fingerprint, failure string) {
	p := h.past(n)
	for _, k := range append([]string{p.Failed}, p.Keys...) {
		if k == key || k == "" {
			continue
		}
		t, err := m.store.Trace(k)
		if err != nil {
			continue
		}
		if fp, err := store.ParseFingerprint(t.Fingerprint); err == nil {
			return fp, t.Failure
		}
	}
	return nil, ""
}

// rememberQuantities notes the recipe's values, for the next time somebody
// wonders why a change made nothing due.
func (w *walk) rememberQuantities() {
	now := map[string]string{}
	for name, q := range w.plan.recipe.Quantities {
		if text, err := store.Canonical(q.Value); err == nil {
			now[name] = text
		}
	}
	if !maps.Equal(now, w.history.Quantities) {
		w.history.Quantities, w.history.dirty = now, true
	}
}

// changedQuantities lists values of the recipe that changed since the last run.
func (w *walk) changedQuantities() []string {
	var lines []string
	for _, name := range slices.Sorted(maps.Keys(w.plan.recipe.Quantities)) {
		q := w.plan.recipe.Quantities[name]
		text, err := store.Canonical(q.Value)
		if was, had := w.history.Quantities[name]; err == nil && had && was != text {
			lines = append(lines, fmt.Sprintf("%s changed: %s -> %s (%s)", name, inWords(was, q.Type), inWords(text, q.Type), q.Pos))
		}
	}
	return lines
}
