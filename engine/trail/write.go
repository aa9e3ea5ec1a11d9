package trail

import (
	"bytes"
	"context"
	"crypto/rand"
	"crypto/sha256"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"runtime"
	"slices"
	"strings"
	"time"

	"golang.org/x/crypto/ssh"
)

// Append signs d with key and adds it to the trail: under a lock, after
// reading everything again, as a whole file that replaces the old one. It
// refuses while the trail is damaged, when the clock is behind, when key is
// not enrolled or may not sign such a record, and when d is not well formed,
// saying all that is wrong at once.
func (t *Trail) Append(ctx context.Context, d Draft, key ssh.Signer) (Record, error) {
	var r *Record
	err := t.rewrite(ctx, func(now *Trail) ([]byte, error) {
		if now.damaged {
			return nil, fmt.Errorf("the trail is damaged and nothing can be added before it is mended:\n%w", now.Err())
		}
		var err error
		if r, err = now.draw(d, key); err != nil {
			return nil, err
		}
		if err := ctx.Err(); err != nil {
			return nil, context.Cause(ctx)
		}
		if r.sig, err = sign(r.Tag, r.lines, key); err != nil {
			return nil, err
		}
		return slices.Concat(whole(now.data), r.lines, r.sig), nil
	})
	if err != nil {
		return Record{}, err
	}
	i, ok := t.at[r.ID]
	if !ok || t.list[i].Void != "" {
		return Record{}, fmt.Errorf("the record was written and is not there when read again: %w", t.Err())
	}
	return *t.list[i], nil
}

// Err returns all problems as one error, nil if there are none.
func (t *Trail) Err() error {
	var list []error
	for _, p := range t.Problems() {
		list = append(list, errors.New(p.String()))
	}
	return errors.Join(list...)
}

// whole ends the last line of data.
func whole(data []byte) []byte {
	if len(data) > 0 && data[len(data)-1] != '\n' {
		return append(slices.Clone(data), '\n')
	}
	return data
}

// rewrite replaces the trail's file by what change makes of it as it stands
// now, and reads the result.
func (t *Trail) rewrite(ctx context.Context, change func(now *Trail) ([]byte, error)) error {
	l, err := takeLock(ctx, t.path, t.o)
	if err != nil {
		return err
	}
	defer l.release()
	sweep(t.path)
	now, err := Open(t.path, t.o)
	if err != nil {
		return err
	}
	data, err := change(now)
	if err != nil {
		return err
	}
	if len(data) > longestTrail {
		return fmt.Errorf("the trail would be larger than %d MB", longestTrail>>20)
	}
	if err := l.held(); err != nil {
		return err
	}
	if err := replace(t.path, data, 0o644); err != nil {
		return err
	}
	again, err := Open(t.path, t.o)
	if err != nil {
		return err
	}
	if !bytes.Equal(again.data, data) {
		return errors.New("the trail changed while it was written: look at it, then try again")
	}
	*t = *again
	return nil
}

// draw places d behind everything that counts, dates it and checks that it
// will count itself. It is not signed yet.
func (t *Trail) draw(d Draft, key ssh.Signer) (*Record, error) {
	if key == nil {
		return nil, errors.New("no key to sign with")
	}
	if err := allowed(key.PublicKey()); err != nil {
		return nil, err
	}
	r := &Record{Draft: d.tidy(), Tag: newTag(), Time: t.o.now().UTC().Truncate(time.Second), Key: Fingerprint(key.PublicKey())}
	if err := t.place(r); err != nil {
		return nil, err
	}
	if list := r.faults(); len(list) > 0 {
		return nil, errors.New(say(list))
	}
	r.lines = r.signed()
	r.ID = sha256.Sum256(r.lines)
	j := newJudge(append(slices.Clone(t.list), r), t.opened(), t.o.now())
	if r.Void != "" {
		return nil, errors.New(r.Void)
	}
	if r.Kind == Retire && !(&Trail{judge: j}).active(j.opening.By) {
		return nil, errors.New("that is the owner's last key: enrol another first, or nobody can be enrolled or retired any more")
	}
	return r, nil
}

// place fills in what r follows and who signs it.
func (t *Trail) place(r *Record) error {
	if r.Kind == Opening {
		if len(t.list) > 0 {
			return fmt.Errorf("the trail is open already, by %s", t.opening.ByPrinted)
		}
		r.By, r.ByPrinted = r.Name, r.Printed
		return nil
	}
	if t.opening == nil {
		return errors.New("the trail is not open yet: its owner must be the first in it")
	}
	who, ok := t.Who(r.Key)
	if !ok {
		return fmt.Errorf("the key %s is not enrolled in this trail: ask its owner, %s", r.Key, t.opening.ByPrinted)
	}
	if why := t.whyRetired(r.Key); why != "" {
		return fmt.Errorf("the key %s of %s was retired: %s", r.Key, who.Printed, why)
	}
	r.Trail, r.opened, r.After = t.opening.Trail, t.opening.ID, t.heads()
	r.By, r.ByPrinted = who.Name, t.printed(r.Key)
	r.Answers = sortedIDs(r.Answers)
	if r.Kind == Seal {
		past := newBitset(len(t.list))
		for _, a := range r.After {
			past.union(t.past[t.at[a]])
			past.set(t.at[a])
		}
		r.Count = past.count()
	}
	return t.clock(r)
}

// ClockError says that a writer's clock is behind a record in the trail. One of
// the two clocks is wrong, and only a person can tell which.
type ClockError struct {
	Behind time.Duration
	Signer string // whose record it is, printed name
}

// Error says how far the clock is behind.
func (e *ClockError) Error() string {
	return fmt.Sprintf("your clock is %s behind a record of %s: set it right, or say that yours is right", e.Behind.Round(time.Second), e.Signer)
}

// clock refuses to sign with a clock that is behind what others signed. It
// cannot tell whose clock is wrong; a person can.
func (t *Trail) clock(r *Record) error {
	for _, o := range t.list {
		if ahead := o.Time.Sub(r.Time); !o.foreign && ahead > skew && !t.o.SureOfClock {
			return &ClockError{Behind: ahead, Signer: o.ByPrinted}
		}
	}
	return nil
}

// printed returns the printed name of the newest enrolment of a key.
func (t *Trail) printed(fingerprint string) string {
	list := t.newest(t.enrolled[fingerprint])
	return list[len(list)-1].Printed
}

func (t *Trail) opened() ID {
	if t.opening == nil {
		return ID{}
	}
	return t.opening.ID
}

func newTag() string { return strings.ToLower(rand.Text()[:8]) }

// Heal puts back, byte for byte, what this workstation remembers and the file
// has lost, and drops spoilt copies of records that are whole. What strangers
// added stays for people to look at. It returns how many records came back.
func (t *Trail) Heal(ctx context.Context) (n int, err error) {
	err = t.rewrite(ctx, func(now *Trail) ([]byte, error) {
		if slices.ContainsFunc(now.problems, func(p Problem) bool { return p.Code == "replaced" }) && len(now.list) > 0 {
			return nil, errors.New("another trail lies in this one's place: move it away first, then heal")
		}
		n = len(now.lost)
		mine := map[string]bool{}
		for _, r := range slices.Concat(now.list, now.lost) {
			mine[r.Tag] = true
		}
		return now.mended(mine), nil
	})
	return n, err
}

// mended returns the file with every record that is whole as it stands, the
// lost ones behind, and without any other line under their tags.
func (t *Trail) mended(mine map[string]bool) []byte {
	var b bytes.Buffer
	for _, r := range slices.Concat(t.found, t.lost) {
		b.Write(r.lines)
		b.Write(r.sig)
	}
	for line := range bytes.Lines(bytes.TrimPrefix(t.data, []byte("\ufeff"))) {
		tag, _, _ := strings.Cut(string(line), " ")
		if len(bytes.TrimSpace(line)) > 0 && !mine[tag] {
			b.Write(whole(line))
		}
	}
	return b.Bytes()
}

// replace puts a file in place whole or not at all: written aside, flushed,
// renamed. A file that another program holds open (Windows, file servers) is
// tried again for two seconds.
func replace(path string, data []byte, mode os.FileMode) error {
	dir := filepath.Dir(path)
	if err := os.MkdirAll(dir, 0o755); err != nil {
		return err
	}
	f, err := os.CreateTemp(dir, filepath.Base(path)+".*.new")
	if err != nil {
		return err
	}
	_, err = f.Write(data)
	err = errors.Join(err, f.Sync(), f.Close())
	if err == nil {
		err = os.Chmod(f.Name(), mode)
	}
	for try := 0; err == nil; try++ {
		if err = os.Rename(f.Name(), path); err == nil || runtime.GOOS != "windows" || try == 10 {
			break
		}
		err = nil
		time.Sleep(200 * time.Millisecond)
	}
	if err != nil {
		os.Remove(f.Name())
		return fmt.Errorf("%s could not be written (does another program hold it open?): %w", path, err)
	}
	if d, err := os.Open(dir); err == nil {
		d.Sync() // some systems cannot; the rename is done all the same
		d.Close()
	}
	return nil
}

// sweep removes what writers that died left beside the trail.
func sweep(path string) {
	entries, _ := os.ReadDir(filepath.Dir(path))
	for _, e := range entries {
		if !strings.HasPrefix(e.Name(), filepath.Base(path)+".") || !strings.HasSuffix(e.Name(), ".new") {
			continue
		}
		if info, err := e.Info(); err == nil && time.Since(info.ModTime()) > lockOld {
			os.Remove(filepath.Join(filepath.Dir(path), e.Name()))
		}
	}
}
