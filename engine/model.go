package engine

import (
	"context"
	"crypto/sha256"
	"encoding/hex"
	"errors"
	"fmt"
	"io/fs"
	"os"
	"path/filepath"
	"runtime"
	"sync"
	"time"

	"layette/engine/recipe"
	"layette/engine/step"
	"layette/engine/store"
	"layette/engine/trail"
)

// SheetName is the name of the model sheet in a model's folder.
const SheetName = "model.toml"

// Options say how a model is opened. The zero value is right for the terminal.
type Options struct {
	Recipes fs.FS            // recipes that come with the program, "name.toml"; may be nil
	Memory  string           // folder of this person and machine for remembered digests; empty for the usual one, "-" for none
	Trail   trail.Options    // how the trail is opened
	Settle  time.Duration    // how long a file must stay as it is before it counts; 0 for 2 s, below 0 for not at all
	Stat    store.Stater     // takes files' stamps; nil for the file system's own
	Share   bool             // the folder is a share that reports times inconsistently: compare sizes and times only
	Rehash  float64          // share of the remembered digests to take afresh, oldest first; 1 for all
	Fault   store.Fault      // makes changes to the disk fail, in tests
	Now     func() time.Time // the clock for what is told to people; time.Now if nil
	Tool    string           // the program's version, told beside results
}

// Model is a model's folder, opened. Its methods may be called one at a time.
type Model struct {
	Dir string

	kinds  []step.Kind
	books  map[string]step.Handbook
	opts   Options
	root   *os.Root
	store  *store.Store
	stamps *store.Stamps
	memory string // file of remembered digests; empty for none

	mu     sync.Mutex
	recipe *recipe.Recipe // as last read, from sheet and what shelf found
	sheet  []byte
	shelf  *Shelf
	others map[string]*os.Root // folders outside the model that the sheet names
}

// Open opens the model in the folder dir and reads its recipe with the steps
// that kinds gives. What is wrong in the recipe comes as one error that
// diag.Of takes apart. Two kinds of one name are a fault in the program.
func Open(ctx context.Context, dir string, kinds []step.Kind, opts Options) (*Model, error) {
	dir, err := filepath.Abs(dir)
	if err != nil {
		return nil, err
	}
	root, err := os.OpenRoot(dir)
	if err != nil {
		return nil, err
	}
	m := &Model{Dir: dir, root: root, kinds: kinds, opts: opts, books: handbooks(kinds), others: map[string]*os.Root{}}
	if m.opts.Now == nil {
		m.opts.Now = time.Now
	}
	if m.opts.Settle == 0 {
		m.opts.Settle = 2 * time.Second
	}
	if err := m.begin(); err != nil {
		m.Close()
		return nil, err
	}
	return m, nil
}

func (m *Model) begin() error {
	if _, err := m.Recipe(); err != nil {
		return err
	}
	var err error
	if m.store, err = store.Open(m.root, m.opts.Fault); err != nil {
		return err
	}
	m.stamps = store.NewStamps(m.store, m.opts.Stat)
	m.stamps.SizeAndTime, m.stamps.Rehash = m.opts.Share, m.opts.Rehash
	m.memory = m.memoryFile()
	if m.memory == "" {
		return nil
	}
	return m.stamps.Load(m.memory)
}

// memoryFile is where this machine remembers digests of the model's files.
func (m *Model) memoryFile() string {
	folder := m.opts.Memory
	if folder == "-" {
		return ""
	}
	if folder == "" {
		cache, err := os.UserCacheDir()
		if err != nil {
			return "" // nothing depends on it
		}
		folder = filepath.Join(cache, "layette")
	}
	sum := sha256.Sum256([]byte(m.Dir))
	return filepath.Join(folder, hex.EncodeToString(sum[:8]), "stamps.txt")
}

func handbooks(kinds []step.Kind) map[string]step.Handbook {
	books := make(map[string]step.Handbook, len(kinds))
	for _, k := range kinds {
		h := k.Handbook()
		if _, twice := books[h.Name]; twice {
			panic(fmt.Sprintf("two steps are called %q", h.Name))
		}
		books[h.Name] = h
	}
	return books
}

// Close saves what is remembered and lets the folder go.
func (m *Model) Close() error {
	var errs []error
	if m.stamps != nil && m.memory != "" {
		errs = append(errs, m.stamps.Save(m.memory))
	}
	if m.store != nil {
		errs = append(errs, m.store.Close())
	}
	for _, r := range m.others {
		errs = append(errs, r.Close())
	}
	return errors.Join(append(errs, m.root.Close())...)
}

func (m *Model) here() store.Place { return store.Place{Root: m.root} }

// workers is how many stages run at once unless the caller says otherwise.
func workers() int { return runtime.GOMAXPROCS(0) }
