package trail

import (
	"bytes"
	"context"
	"crypto/rand"
	"errors"
	"fmt"
	"os"
	"runtime"
	"strconv"
	"strings"
	"syscall"
	"time"
)

const (
	lockOld  = 10 * time.Minute // a lock this old may be taken over if a person agrees
	lockWait = 10 * time.Second // how long a writer waits for another
	lockPoll = 20 * time.Millisecond
	lockBare = 5 * time.Second // a lock without an owner this old was left by a writer that died
)

// lock is a file beside the trail that says who is writing. It is politeness:
// if it fails, or is taken over wrongly, a record may be lost from the file,
// and every workstation's memory tells and heals that.
type lock struct {
	path string
	text []byte // what we wrote into it
}

// takeLock waits for the lock of the trail at path.
func takeLock(ctx context.Context, path string, o Options) (*lock, error) {
	l := &lock{path: path + ".lock", text: lockText(o.now())}
	for deadline := time.Now().Add(lockWait); ; {
		err := l.create()
		if err == nil || !errors.Is(err, os.ErrExist) {
			return l, err
		}
		if held, err := os.ReadFile(l.path); err == nil && l.mayTake(held, o) {
			l.takeOver(held)
			continue
		} else if time.Now().After(deadline) {
			return nil, fmt.Errorf("somebody else is writing the trail (%s); if nobody is, delete %s",
				strings.Join(strings.Fields(string(held)), " "), l.path)
		}
		select {
		case <-ctx.Done():
			return nil, context.Cause(ctx)
		case <-time.After(lockPoll):
		}
	}
}

// lockText is "machine M pid P since TIME nonce N".
func lockText(now time.Time) []byte {
	machine, _ := os.Hostname()
	return fmt.Appendf(nil, "machine %q pid %d since %s nonce %s\n", machine, os.Getpid(), now.UTC().Format(time.RFC3339), rand.Text())
}

func (l *lock) create() error {
	f, err := os.OpenFile(l.path, os.O_CREATE|os.O_EXCL|os.O_WRONLY, 0o644)
	if err != nil {
		return err
	}
	_, err = f.Write(l.text)
	return errors.Join(err, f.Close())
}

// mayTake says whether a lock's writer is gone: certainly, or by its age and a
// person's word.
func (l *lock) mayTake(held []byte, o Options) bool {
	info, err := os.Stat(l.path)
	if err != nil {
		return false
	}
	age := time.Since(info.ModTime())
	words := strings.Fields(string(held))
	if len(words) != 8 {
		return age > lockBare
	}
	machine, _ := os.Hostname()
	if pid, err := strconv.Atoi(words[3]); err == nil && words[1] == strconv.Quote(machine) && !alive(pid) {
		return true
	}
	return age > lockOld && o.Ask != nil && o.Ask(strings.TrimSpace(string(held)))
}

// alive reports whether a process of this machine runs, as far as can be told.
func alive(pid int) bool {
	p, err := os.FindProcess(pid)
	if err != nil {
		return false
	}
	if runtime.GOOS == "windows" {
		return true
	}
	err = p.Signal(syscall.Signal(0))
	return err == nil || errors.Is(err, os.ErrPermission)
}

// takeOver removes the lock that was judged left behind, and only that: if
// another writer has meanwhile put its own in place, it is put back.
func (l *lock) takeOver(held []byte) {
	aside := l.path + "." + rand.Text()
	if os.Rename(l.path, aside) != nil {
		return
	}
	if now, err := os.ReadFile(aside); err == nil && !bytes.Equal(now, held) {
		os.Link(aside, l.path) // fails if there is a third: then nothing is lost but politeness
	}
	os.Remove(aside)
}

// held reports an error if the lock is no longer ours.
func (l *lock) held() error {
	if now, err := os.ReadFile(l.path); err != nil || !bytes.Equal(now, l.text) {
		return errors.New("somebody took the lock over while we were writing: nothing was written; try again")
	}
	return nil
}

// release gives the lock up if it is still ours.
func (l *lock) release() {
	if l.held() == nil {
		os.Remove(l.path)
	}
}
