// Package desk serves a model to the person who sits before it: a page on this
// machine alone, on which she sees where every stage stands as files change,
// walks through what was found with the 3D view beside it, runs what is due,
// and signs, holds or concedes with notes pinned to the skin.
//
// The desk does nothing by itself. It looks; a run and a word are the person's
// act each time. It makes the same calls as the commands: every file is read
// afresh when it is shown for signing and again when it is signed, the key is
// unlocked for one signature and forgotten.
//
// # Who may ask
//
// Another page in the same browser can send requests to this machine too. What
// it cannot do is know the token: 256 random bits that stand behind the # of
// the address, which browsers keep to themselves. The page sends it in a header
// with every request; there is no cookie that a browser would add by itself.
// Without it nothing of the model is told or done. Beside that, a request must
// be addressed to the desk by its own number (so that a name turned to this
// machine does not help), come from the desk's own page, and carry JSON if it
// asks for something to be done. The page itself may load nothing from
// elsewhere, run no script but the desk's own, and stand in no frame.
//
// Whoever can read this person's files or memory, or look over her shoulder,
// is not kept out.
package desk

import (
	"context"
	"errors"
	"net"
	"net/http"
	"sync"
	"time"

	"golang.org/x/crypto/ssh"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/trail"
)

// Options are what a desk is given: how to open the model, how to put it into
// words, how to show a surface, and the person's keys.
type Options struct {
	// Open opens the model anew: the desk holds one to look, and opens one for
	// every run and every word, as the commands do.
	Open func(context.Context) (*engine.Model, error)
	// Words tells where everything stands, in words for people and without
	// pictures.
	Words func(context.Context, *engine.Board, *trail.Trail) (sheet.Page, error)
	// Shown tells on which surfaces a stage's findings and people's notes are
	// best seen, the findings first; none if there is nothing to see.
	Shown func(*engine.Status, *trail.Trail) []Shown
	// Solid reduces one of them for the 3D view.
	Solid func(context.Context, *engine.Model, *engine.Status, Shown) (*sheet.Solid, error)
	// Pictures draws a stage, for those who have no 3D view or want none.
	Pictures func(context.Context, *engine.Model, *engine.Status, *trail.Trail) ([]sheet.Picture, error)
	Keys     Keys
	Tool     string // noted in records as what wrote them
}

// Shown is a surface of a stage with what is marked on it.
type Shown struct {
	Name  string
	File  engine.File
	Spots []sheet.Spot
}

// Keys are the person's keys.
type Keys interface {
	// AtHand lists the keys within reach that the trail knows.
	AtHand(t *trail.Trail) []Key
	// Look reads whose key a file holds without unlocking it.
	Look(name string) (Key, error)
	// Unlock returns a key for one signature, and what lets it go again.
	Unlock(name string, passphrase []byte) (ssh.Signer, func(), error)
}

// Key is a key that may be chosen: a file's name, or a key that an agent holds.
type Key struct {
	Name        string `json:"name"`
	Fingerprint string `json:"fingerprint"`
	Locked      bool   `json:"locked"` // it takes a passphrase
}

// A Desk is a model and the person before it.
type Desk struct {
	o     Options
	token string
	life  context.Context // of Serve: what goes on beyond one request ends with it
	live  *live
	model *engine.Model // of Serve: what looks
	runs  sync.WaitGroup
	words sync.Mutex // one word at a time
	views views
}

// New returns a desk with a token of its own.
func New(o Options) *Desk { return &Desk{o: o, token: newToken(), live: newLive()} }

// Address is where the person finds the desk that l serves. It holds the token:
// who has it may act at the desk.
func (d *Desk) Address(l net.Listener) string { return "http://" + l.Addr().String() + "/#" + d.token }

// Listen takes a port for a desk. The address must be of this machine alone,
// such as 127.0.0.1:0 (any free port) or [::1]:8020.
func Listen(address string) (net.Listener, error) {
	host, port, err := net.SplitHostPort(address)
	if err != nil {
		return nil, err
	}
	if ip := net.ParseIP(host); ip == nil || !ip.IsLoopback() {
		return nil, errors.New("a desk is for the person at this machine: " + host + " can be reached from others, or may be; take 127.0.0.1 or ::1")
	}
	return net.Listen("tcp", net.JoinHostPort(host, port))
}

// leaving is how long answers under way may take when the desk closes.
const leaving = time.Second

// Serve serves the desk until ctx ends; a run under way is stopped then, and
// what it finished is kept. It closes l.
func (d *Desk) Serve(ctx context.Context, l net.Listener) error {
	m, err := d.o.Open(ctx)
	if err != nil {
		l.Close()
		return err
	}
	defer m.Close()
	ctx, cancel := context.WithCancel(ctx)
	defer cancel()
	d.life, d.model = ctx, m
	s := &http.Server{Handler: d.handler(l.Addr().String()), BaseContext: func(net.Listener) context.Context { return ctx },
		ReadHeaderTimeout: 5 * time.Second, IdleTimeout: 2 * time.Minute, MaxHeaderBytes: 16 << 10}
	served, attended := make(chan error, 1), make(chan struct{})
	go func() { served <- s.Serve(l) }()
	go func() { defer close(attended); d.attend(ctx, m) }()
	select {
	case err = <-served:
	case <-ctx.Done():
		err = context.Cause(ctx)
	}
	cancel()
	last, done := context.WithTimeout(context.Background(), leaving)
	defer done()
	if s.Shutdown(last) != nil {
		s.Close()
	}
	d.runs.Wait()
	<-attended
	return err
}

// attend keeps what is shown up to date.
func (d *Desk) attend(ctx context.Context, m *engine.Model) {
	m.Attend(ctx, func(b *engine.Board, err error) {
		var page sheet.Page
		var t *trail.Trail
		if err == nil {
			if t, err = m.OpenTrail(); err == nil {
				page, err = d.o.Words(ctx, b, t)
			}
		}
		d.live.put(b, t, page, err)
	})
}
