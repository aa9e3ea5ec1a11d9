package main

import (
	"context"
	_ "embed"
	"errors"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"layette/engine/trail"
	"layette/steps/specimen"
)

//go:embed demo/wren-sleeping.toml
var demoRecipe []byte

// demoModel is where the demo's only model lies in its studio.
const demoModel = "models/ottilie"

// The people of the invented studio.
var demoPeople = []struct {
	name, printed string
	roles         []string
}{
	{"ida", "Ida Thistle", []string{"release-authority"}}, // the owner: she opens the trail
	{"ada", "Ada Wren", []string{"sculptor", "attendant"}},
	{"tom", "Tom Reed", []string{"second-pair", "attendant"}},
}

func newDemoCmd(a *app) *cobra.Command {
	var size demoSize
	cmd := &cobra.Command{
		Use:   "demo DIR",
		Short: "Make the invented studio Wren & Thistle with one model, and run it",
		Long: `Make the invented studio Wren & Thistle with one model of five parts, its
recipe and keys for invented people, and run it: single shots of the right hand
become one surface. What it prints at the end can be typed as it stands, and
ends with a checked bag.

The keys have no passphrase, so that the lines can be typed one after the
other. A real key has one.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return a.demo(cmd.Context(), args[0], size) },
	}
	cmd.Flags().BoolVar(&size.small, "small", false, "fewer points and triangles: quicker, and less to look at")
	return cmd
}

func (a *app) demo(ctx context.Context, dir string, size demoSize) error {
	d := &demo{app: a, shown: dir, dir: a.path(dir), size: size}
	if entries, err := os.ReadDir(d.dir); err == nil && len(entries) > 0 {
		return usage(fmt.Errorf("%s is not empty", dir), "name a folder that is not there yet")
	}
	fmt.Fprintf(a.stdout, "Wren & Thistle, an invented studio, in %s\n", dir)
	for _, work := range []func(context.Context) error{d.studio, d.sculpts, d.scans, d.papers, d.people, d.session} {
		if err := work(ctx); err != nil {
			return err
		}
	}
	fmt.Fprintf(a.stdout, "\n$ layette run --model %s\n", filepath.Join(dir, demoModel))
	err := d.layette(ctx, "run")
	if e, ok := errors.AsType[*exitError](err); err != nil && (!ok || e.code == exitFailed || e.code == exitUsage) {
		return err
	}
	pins, err := d.unplaced(ctx)
	if err != nil {
		return err
	}
	d.next(pins)
	return nil
}

// demo is the making of the invented studio.
type demo struct {
	*app
	shown string // the studio's folder as the person typed it
	dir   string
	size  demoSize
	shots []specimen.Scan   // of the right hand
	wrist map[string]string // where each arm's hand is cut off, as TOML
	pin   string            // the right wrist, as a note is pinned to it
}

func (d *demo) at(name string) string { return filepath.Join(d.dir, filepath.FromSlash(name)) }

func (d *demo) write(name string, data []byte) error {
	if err := os.MkdirAll(filepath.Dir(d.at(name)), 0o777); err != nil {
		return err
	}
	return os.WriteFile(d.at(name), data, 0o666)
}

// say prints one line of what was made.
func (d *demo) say(format string, args ...any) { fmt.Fprintf(d.stdout, "  "+format+"\n", args...) }

// layette runs a command of this very program on the demo's model.
func (d *demo) layette(ctx context.Context, args ...string) error {
	sub := *d.app
	sub.model = ""
	root := newRootCmd(&sub)
	root.SetArgs(append(args, "--model", d.at(demoModel)))
	return root.ExecuteContext(ctx)
}

func (d *demo) studio(context.Context) error {
	if err := d.write("recipes/wren-sleeping.toml", demoRecipe); err != nil {
		return err
	}
	d.say("recipes/wren-sleeping.toml     the line's recipe; it extends one that comes along")
	return nil
}

// people makes keys and opens the trail.
func (d *demo) people(ctx context.Context) error {
	if err := os.MkdirAll(d.at("keys"), 0o700); err != nil {
		return err
	}
	// The folder was empty: a demo that lay here before is gone on purpose.
	if err := trail.Forget(d.trailOptions().Private, filepath.Join(d.at(demoModel), trail.FileName)); err != nil {
		return err
	}
	for i, p := range demoPeople {
		if _, err := trail.MakeKey(d.at("keys/"+p.name), p.name, nil); err != nil {
			return err
		}
		args := []string{"people", "add", p.name, "--printed", p.printed, "--key", d.at("keys/" + p.name), "--as", d.at("keys/" + demoPeople[0].name), "--yes"}
		for _, role := range p.roles {
			args = append(args, "--role", role)
		}
		if err := d.silent(ctx, args); err != nil {
			return fmt.Errorf("enrolling person %d, %s: %w", i+1, p.printed, err)
		}
		d.say("keys/%-25s %s: %s", p.name, p.printed, strings.Join(p.roles, ", "))
	}
	return nil
}

// silent runs a command whose words would only be in the way.
func (d *demo) silent(ctx context.Context, args []string) error {
	quiet := *d
	sub := *d.app
	sub.stdout, sub.stderr = io.Discard, io.Discard
	quiet.app = &sub
	return quiet.layette(ctx, args...)
}

// session signs, as the two who were in the room, for what was agreed before
// the first shot and for the log of what happened: no shot is looked at before.
func (d *demo) session(ctx context.Context) error {
	said := [][]string{
		{"run", "session-ready", "session-log"},
		{"sign", "session-ready", "--as", d.at("keys/ada"), "--tick", "all", "--yes"},
		{"sign", "session-ready", "--as", d.at("keys/tom"), "--tick", "all", "--yes"},
		{"sign", "session-log", "--as", d.at("keys/tom"), "--tick", "all", "--yes"},
	}
	for _, args := range said {
		err := d.silent(ctx, args)
		if e, ok := errors.AsType[*exitError](err); err != nil && !(ok && e.code == exitWaits) {
			return fmt.Errorf("layette %s: %w", strings.Join(args, " "), err)
		}
	}
	d.say("trail.txt                      Ada and Tom signed for the session: before the first shot, and its log")
	return nil
}
