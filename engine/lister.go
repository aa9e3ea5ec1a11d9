package engine

import (
	"errors"
	"io/fs"
	"os"
	"path"
	"path/filepath"
	"slices"
	"strings"

	"layette/engine/store"
)

// place returns the model's own folder, or a folder outside it that the model
// sheet names. Nothing else outside the model is ever read.
func (m *Model) place(folder string) (store.Place, error) {
	if folder == "" {
		return m.here(), nil
	}
	if !filepath.IsAbs(folder) {
		folder = filepath.Join(m.Dir, folder)
	}
	m.mu.Lock()
	defer m.mu.Unlock()
	root := m.others[folder]
	if root == nil {
		var err error
		if root, err = os.OpenRoot(folder); err != nil {
			return store.Place{}, err
		}
		m.others[folder] = root
	}
	return store.Place{Root: root, Name: filepath.ToSlash(folder)}, nil
}

func shown(p store.Place, name string) string {
	if p.Name == "" {
		return name
	}
	return path.Join(p.Name, name)
}

// lister finds files by pattern and reads each folder once.
type lister struct{ folders map[string][]fs.DirEntry }

func newLister() *lister { return &lister{map[string][]fs.DirEntry{}} }

// glob returns the files below p that a pattern of path.Match stands for, in
// order of name. Files whose name begins with a dot are found only by a
// pattern that says so. What is not there is no error.
func (l *lister) glob(p store.Place, pattern string) ([]string, error) {
	pattern = path.Clean(pattern)
	if _, err := path.Match(pattern, ""); err != nil {
		return nil, err
	}
	dirs := []string{"."}
	words := strings.Split(pattern, "/")
	for i, word := range words {
		var next []string
		for _, dir := range dirs {
			found, err := l.match(p, dir, word, i == len(words)-1)
			if err != nil {
				return nil, err
			}
			next = append(next, found...)
		}
		dirs = next
	}
	slices.Sort(dirs)
	return dirs, nil
}

// match returns what of one folder a word of a pattern stands for: files if it
// is the last word, else folders.
func (l *lister) match(p store.Place, dir, word string, last bool) ([]string, error) {
	entries, err := l.read(p, dir)
	if err != nil {
		return nil, err
	}
	var found []string
	for _, e := range entries {
		ok, err := path.Match(word, e.Name())
		if err != nil {
			return nil, err
		}
		hidden := strings.HasPrefix(e.Name(), ".") && !strings.HasPrefix(word, ".")
		folder := e.IsDir() || !last && e.Type()&fs.ModeSymlink != 0
		if ok && !hidden && folder != last {
			found = append(found, path.Join(dir, e.Name()))
		}
	}
	return found, nil
}

func (l *lister) read(p store.Place, dir string) ([]fs.DirEntry, error) {
	key := shown(p, dir)
	if entries, ok := l.folders[key]; ok {
		return entries, nil
	}
	entries, err := fs.ReadDir(p.Root.FS(), dir)
	if errors.Is(err, fs.ErrNotExist) {
		err = nil
	}
	if err == nil {
		l.folders[key] = entries
	}
	return entries, err
}
