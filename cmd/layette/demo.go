package main

import (
	"bytes"
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
var demoPeople = []struct{ name, printed, role string }{
	{"ida", "Ida Thistle", "release-authority"}, // the owner: she opens the trail
	{"ada", "Ada Wren", "sculptor"},
	{"tom", "Tom Reed", "second-pair"},
}

// demoTriangles is the size of a part: enough for the webs between fingers,
// little enough for a first look in less than a minute.
func demoTriangles(part string) int {
	if strings.HasSuffix(part, "arm") {
		return 300_000
	}
	return 150_000
}

func newDemoCmd(a *app) *cobra.Command {
	return &cobra.Command{
		Use:   "demo DIR",
		Short: "Make the invented studio Wren & Thistle with one model, and run it",
		Long: `Make the invented studio Wren & Thistle with one model of five parts, its
recipe and keys for invented people, and run it. What it prints at the end can
be typed as it stands, and ends with a checked bag.

The keys have no passphrase, so that the lines can be typed one after the
other. A real key has one.`,
		Args: cobra.ExactArgs(1),
		RunE: func(cmd *cobra.Command, args []string) error { return a.demo(cmd.Context(), args[0]) },
	}
}

func (a *app) demo(ctx context.Context, dir string) error {
	d := &demo{app: a, shown: dir, dir: a.path(dir)}
	if entries, err := os.ReadDir(d.dir); err == nil && len(entries) > 0 {
		return usage(fmt.Errorf("%s is not empty", dir), "name a folder that is not there yet")
	}
	fmt.Fprintf(a.stdout, "Wren & Thistle, an invented studio, in %s\n", dir)
	for _, work := range []func(context.Context) error{d.studio, d.sculpts, d.scans, d.people} {
		if err := work(ctx); err != nil {
			return err
		}
	}
	fmt.Fprintf(a.stdout, "\n$ layette run --model %s\n", filepath.Join(dir, demoModel))
	err := d.layette(ctx, "run")
	if e, ok := errors.AsType[*exitError](err); err != nil && (!ok || e.code == exitFailed || e.code == exitUsage) {
		return err
	}
	d.next()
	return nil
}

// demo is the making of the invented studio.
type demo struct {
	*app
	shown string // the studio's folder as the person typed it
	dir   string
	wrist map[string]string // where each arm's hand is cut off, as TOML
	pin   string            // the left wrist, as a note is pinned to it
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

// demoSlip is what the sculptor overlooked: two fingers too close.
var demoSlip = specimen.Fault{What: specimen.FingerGap, Part: "left-arm", Size: 0.8, Seed: 3}

// sculpts writes the five parts as the sculptor left them, and beside them the
// left arm as she would change it.
func (d *demo) sculpts(ctx context.Context) error {
	slipped, err := specimen.NewKit(specimen.Options{Faults: []specimen.Fault{demoSlip}})
	if err != nil {
		return err
	}
	sound, err := specimen.NewKit(specimen.Options{})
	if err != nil {
		return err
	}
	d.wrist = map[string]string{}
	for _, name := range specimen.Parts {
		p, err := d.surface(ctx, slipped, name, demoModel+"/sculpt/"+name+".stl")
		if err != nil {
			return err
		}
		if w, ok := p.Marks["wrist"]; ok {
			d.wrist[name] = fmt.Sprintf("[%.2f, %.2f, %.2f]", w.X, w.Y, w.Z)
			if name == demoSlip.Part {
				d.pin = strings.ReplaceAll(fmt.Sprintf("%.1f,%.1f,%.1f", w.X, w.Y, w.Z), "-0.0,", "0.0,")
			}
		}
	}
	if _, err := d.surface(ctx, sound, demoSlip.Part, "changed/"+demoSlip.Part+".stl"); err != nil {
		return err
	}
	d.say("%s/sculpt/         five parts as the sculptor left them", demoModel)
	d.say("changed/left-arm.stl           the left arm with two fingers set apart")
	return d.write(demoModel+"/model.toml", d.modelSheet())
}

func (d *demo) surface(ctx context.Context, kit *specimen.Kit, part, name string) (*specimen.Part, error) {
	p, err := kit.Part(part)
	if err != nil {
		return nil, err
	}
	m, err := p.Mesh(ctx, specimen.Sampling{Triangles: demoTriangles(part)})
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	if err := specimen.WriteSTL(&b, m); err != nil {
		return nil, err
	}
	return p, d.write(name, b.Bytes())
}

func (d *demo) modelSheet() []byte {
	var b strings.Builder
	b.WriteString(`# One child, one kit. Ottilie is invented.
format = 1
recipe = "wren-sleeping"
title  = "Ottilie"

# The second and third copy of every original. In a studio these are other
# disks, one of them away from the house.
[folders.second]
path = "../../backups/second"
[folders.third]
path = "../../backups/third"
`)
	for _, arm := range []string{"left-arm", "right-arm"} {
		fmt.Fprintf(&b, `
[overrides.wrist-%[1]s]
set    = "stages.test-hands.values.cuts"
part   = "%[1]s"
value  = { hand = { at = %[2]s, toward = [0, 0, 1], within = "8 mm", lean = "15 deg" } }
reason = "this child's wrist"
`, arm, d.wrist[arm])
	}
	return []byte(b.String())
}

// scans writes a few shots of the left hand's casting, and both their copies.
func (d *demo) scans(ctx context.Context) error {
	kit, err := specimen.NewKit(specimen.Options{})
	if err != nil {
		return err
	}
	hand, err := kit.Part("left-hand")
	if err != nil {
		return err
	}
	s := specimen.Session{Scanner: specimen.Scanner{Pitch: 0.6}, Shots: 6, Overlap: 0.4, Seed: 1}
	err = s.Run(ctx, hand, func(scan specimen.Scan) error {
		var b bytes.Buffer
		if err := specimen.WritePLY(&b, scan.Mesh); err != nil {
			return err
		}
		for _, place := range []string{demoModel, "backups/second", "backups/third"} {
			if err := d.write(place+"/castings/left-hand/"+scan.Name+".ply", b.Bytes()); err != nil {
				return err
			}
		}
		return nil
	})
	if err != nil {
		return err
	}
	d.say("%s/castings/       six shots of a casting, and both copies in backups/", demoModel)
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
		args := []string{"people", "add", p.name, "--printed", p.printed, "--role", p.role, "--key", d.at("keys/" + p.name), "--as", d.at("keys/" + demoPeople[0].name), "--yes"}
		if err := d.silent(ctx, args); err != nil {
			return fmt.Errorf("enrolling person %d, %s: %w", i+1, p.printed, err)
		}
		d.say("keys/%-25s %s, %s", p.name, p.printed, p.role)
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

// next prints the lines that lead from here to a checked bag.
func (d *demo) next() {
	model := filepath.Join(d.shown, demoModel)
	fmt.Fprintf(d.stdout, `
The lines from here to a checked bag; everything is invented, so sign freely:

  cd %[1]s
  layette show gaps left-arm                                  # where and how near
  cp ../../changed/left-arm.stl sculpt/left-arm.stl           # what the sculptor does
  layette run                                                 # only the left arm runs again
`, model)
	for _, part := range specimen.Parts {
		fmt.Fprintf(d.stdout, "  layette sign gaps %-9s --as ../../keys/ada --tick all --yes\n", part)
	}
	fmt.Fprintf(d.stdout, `  layette run                                                 # cuts the hands off and stands them on a printer
  layette hold test-print left-arm --as ../../keys/tom --yes --at "%[1]s,6:does the wrist bend right?"
  layette show test-print left-arm                            # held; layette sheet shows the note where it is pinned
  layette sign test-print left-arm --as ../../keys/tom --yes --verdict withdraw --note "it does" \
    --answer $(layette trail --csv | grep ',hold,' | cut -d, -f1)
  for arm in left-arm right-arm; do layette sign test-print $arm --as ../../keys/ada --tick all --yes; done
  for part in %[2]s; do layette sign second-look $part --as ../../keys/tom --tick all --yes; done
  layette run                                                 # writes the factory's sheet, page and print
  layette seal --as ../../keys/ada --yes                      # who signed anything has seen it all
  layette seal --as ../../keys/tom --yes
  layette seal --as ../../keys/ida --yes
  layette sign release --as ../../keys/ida --tick all --yes   # masters and sheet, as they are
  layette run                                                 # packs the bag
  cd out/kit/kit/for-the-factory && sha256sum -c manifest-sha256.txt
`, d.pin, strings.Join(specimen.Parts, " "))
}
