package main

import (
	"context"
	"errors"
	"fmt"
	"net"
	"os"
	"strconv"
	"strings"

	"github.com/spf13/cobra"
	"golang.org/x/crypto/ssh"

	"layette/engine"
	"layette/engine/desk"
	"layette/engine/sheet"
	"layette/engine/trail"
	"layette/steps/gallery"
)

func newDeskCmd(a *app) *cobra.Command {
	var as, at string
	var port int
	cmd := &cobra.Command{
		Use:   "desk",
		Short: "Look at the model, run it and sign on a page that this machine serves to you alone",
		Long: `Look at the model, run it and sign on a page that this machine serves to you
alone. It prints an address to open in a browser: whoever has the address may
act at the desk, so keep it to yourself. It ends with Ctrl-C.

The desk does nothing by itself: it shows where everything stands as files
change, and runs, signs, holds or concedes when you say so. Your key is
unlocked for one signature at a time and its passphrase is not kept.

` + keyHelp + `
On the page you may choose among them, or name another file.`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error {
			return a.desk(cmd.Context(), as, net.JoinHostPort(at, strconv.Itoa(port)))
		},
	}
	cmd.Flags().StringVar(&as, "as", "", "offer this key `file` to sign with")
	cmd.Flags().StringVar(&at, "at", "127.0.0.1", "the `number` of this machine to serve on: 127.0.0.1 or ::1")
	cmd.Flags().IntVar(&port, "port", 0, "the port to serve on (default: any that is free)")
	return cmd
}

func (a *app) desk(ctx context.Context, as, address string) error {
	m, err := a.openModel(ctx, nil) // what is wrong with the recipe is best said here
	if err != nil {
		return err
	}
	m.Close()
	l, err := desk.Listen(address)
	if err != nil {
		return usage(err, "layette desk alone takes a free port of this machine")
	}
	d := desk.New(a.deskOptions(m.Dir, as))
	fmt.Fprintf(a.stdout, "desk for %s: open this in a browser, and keep it to yourself; Ctrl-C ends it\n\n  %s\n", m.Dir, d.Address(l))
	return d.Serve(ctx, l)
}

func (a *app) deskOptions(dir, as string) desk.Options {
	return desk.Options{
		Open: func(ctx context.Context) (*engine.Model, error) {
			return engine.Open(ctx, dir, a.kinds, a.modelOptions())
		},
		Words: func(ctx context.Context, b *engine.Board, t *trail.Trail) (sheet.Page, error) {
			w := &sheetWriter{app: a, board: b, trail: t}
			return w.page(ctx)
		},
		Shown:    deskShown,
		Solid:    a.deskSolid,
		Pictures: a.deskPictures,
		Keys:     &deskKeys{app: a, as: as},
		Tool:     tool(),
	}
}

// deskTriangles is how many triangles the desk's 3D view has: nothing travels
// far, and a wrinkle is to be seen.
const deskTriangles = 150_000

// deskShown is what the sheet shows of a stage, or else any surface of it.
func deskShown(st *engine.Status, t *trail.Trail) (out []desk.Shown) {
	list := shownOf(st, t)
	if f := anySurface(st); len(list) == 0 && f != nil {
		list = []shown{{file: f}}
	}
	for _, s := range list {
		out = append(out, desk.Shown{Name: s.file.Name, File: *s.file, Spots: sheetSpots(s.spots)})
	}
	return out
}

// deskSolid reduces one of a stage's surfaces.
func (a *app) deskSolid(ctx context.Context, m *engine.Model, st *engine.Status, s desk.Shown) (*sheet.Solid, error) {
	e, err := exhibits{m}.show(ctx, shown{file: &s.File}, "", limitsOf(st), gallery.Options{Pictures: gallery.None, Triangles: deskTriangles})
	if err != nil {
		return nil, err
	}
	solid := sheetSolid(st.Node.String(), e.Solid, nil)
	return &solid, nil
}

// deskPictures draws a stage as the sheet does.
func (a *app) deskPictures(ctx context.Context, m *engine.Model, st *engine.Status, t *trail.Trail) ([]sheet.Picture, error) {
	r, err := m.Recipe()
	if err != nil {
		return nil, err
	}
	w := &sheetWriter{app: a, model: m, board: &engine.Board{Recipe: r}, trail: t}
	var s sheet.Stage
	if err := w.picture(ctx, &s, st, 0); err != nil {
		return nil, err
	}
	for _, lack := range w.lacks {
		s.Pictures = append(s.Pictures, sheet.Picture{Title: lack})
	}
	return s.Pictures, nil
}

// deskKeys are the keys at hand for the person at the desk.
type deskKeys struct {
	*app
	as string
}

// AtHand implements desk.Keys: the same keys, in the same order, as the
// commands look for.
func (k *deskKeys) AtHand(t *trail.Trail) (list []desk.Key) {
	seen := map[string]bool{}
	add := func(key desk.Key, err error) {
		if err == nil && !seen[key.Fingerprint] && k.maySign(t, key.Fingerprint) {
			seen[key.Fingerprint] = true
			list = append(list, key)
		}
	}
	for _, name := range []string{k.as, k.env("LAYETTE_KEY")} {
		if name != "" {
			add(k.Look(name))
		}
	}
	held, done := k.agentKeys()
	defer done()
	for _, key := range held {
		f := trail.Fingerprint(key.PublicKey())
		add(desk.Key{Name: inAgent + f, Fingerprint: f}, nil)
	}
	for _, file := range k.usualKeys() {
		add(k.Look(file))
	}
	return list
}

// inAgent begins the name of a key that the agent holds.
const inAgent = "agent "

var errLocked = errors.New("locked")

// Look implements desk.Keys. Of a locked key it reads the .pub file beside it;
// whose the key really is shows when it is unlocked.
func (k *deskKeys) Look(name string) (desk.Key, error) {
	if err := keySized(k.path(name)); err != nil {
		return desk.Key{}, err
	}
	locked := false
	key, done, err := k.namedKey(k.path(name), func(string) ([]byte, error) { locked = true; return nil, errLocked })
	if err == nil {
		defer done()
		return desk.Key{Name: name, Fingerprint: trail.Fingerprint(key.PublicKey())}, nil
	}
	if !locked {
		return desk.Key{}, err
	}
	public, err := publicBeside(k.path(name))
	if err != nil {
		return desk.Key{}, fmt.Errorf("%s takes a passphrase, and no .pub file beside it tells whose it is", name)
	}
	return desk.Key{Name: name, Fingerprint: trail.Fingerprint(public), Locked: true}, nil
}

// Unlock implements desk.Keys.
func (k *deskKeys) Unlock(name string, passphrase []byte) (ssh.Signer, func(), error) {
	if fingerprint, ok := strings.CutPrefix(name, inAgent); ok {
		return k.heldKey(fingerprint, fingerprint)
	}
	if err := keySized(k.path(name)); err != nil {
		return nil, nil, err
	}
	locked := false
	key, done, err := k.namedKey(k.path(name), func(string) ([]byte, error) { locked = true; return passphrase, nil })
	if err != nil && locked {
		return nil, nil, fmt.Errorf("%s is not unlocked: the passphrase is not right", name)
	}
	return key, done, err
}

// keySized refuses what no key file is before it is read: a name that came from
// a page may be anything.
func keySized(file string) error {
	info, err := os.Stat(file)
	if err == nil && (!info.Mode().IsRegular() || info.Size() > 64<<10) {
		err = fmt.Errorf("%s is not a key file", file)
	}
	return err
}
