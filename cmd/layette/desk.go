package main

import (
	"bytes"
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
	"layette/engine/step"
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
		Surface: func(st *engine.Status) (engine.File, bool) {
			if f := deskSurface(st); f != nil {
				return *f, true
			}
			return engine.File{}, false
		},
		Solid: deskSolid,
		Keys:  &deskKeys{app: a, as: as},
		Tool:  tool(),
	}
}

// deskTriangles is how many triangles the desk's 3D view has: nothing travels
// far, and a wrinkle is to be seen.
const deskTriangles = 150_000

// deskSurface is the surface on which a stage's findings are best seen, or else
// any surface or shot that it gave or took: a person may see what no step finds.
func deskSurface(st *engine.Status) *engine.File {
	if f := surfaceOf(st); f != nil {
		return f
	}
	for _, files := range [][]engine.File{st.Files, st.Inputs} {
		for i, f := range files {
			if f.Kind == step.Surface || f.Kind == step.Scan {
				return &files[i]
			}
		}
	}
	return nil
}

// deskSolid reduces a stage's surface.
func deskSolid(ctx context.Context, st *engine.Status) (*sheet.Solid, error) {
	f := deskSurface(st)
	data, err := readFile(*f)
	if err != nil {
		return nil, err
	}
	e, err := gallery.Show(ctx, gallery.Piece{Data: bytes.NewReader(data), Size: int64(len(data)), Scale: inMM[f.Units], Spots: st.Spots, Limits: limitsOf(st)},
		gallery.Options{Pictures: gallery.None, Triangles: deskTriangles})
	if err != nil {
		return nil, err
	}
	solid := sheetSolid(st.Node.String(), e.Solid, nil)
	return &solid, nil
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
