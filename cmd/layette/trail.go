package main

import (
	"context"
	"errors"
	"fmt"
	"path/filepath"
	"time"

	"github.com/spf13/cobra"

	"layette/engine/trail"
)

// trailFlags are what layette trail is asked to do.
type trailFlags struct {
	json, csv, check, heal, forget bool
	export, file, owner            string
}

func newTrailCmd(a *app) *cobra.Command {
	f := &trailFlags{}
	cmd := &cobra.Command{
		Use:   "trail",
		Short: "Print, check, export or heal the signed record of who approved what",
		Long: `Print the trail for reading, or:
  --check        verify every signature afresh and tell all that is wrong
  --export DIR   write what an auditor needs, with a check that needs only
                 grep, cut, sort and ssh-keygen
  --heal         put back, byte for byte, what this workstation remembers and
                 the file has lost
  --forget       let this workstation forget the trail that lay here, when a
                 model is begun afresh in the same place`,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.trail(cmd.Context(), f) },
	}
	cmd.Flags().BoolVar(&f.json, "json", false, "print as JSON")
	cmd.Flags().BoolVar(&f.csv, "csv", false, "print as CSV, one row a record")
	cmd.Flags().BoolVar(&f.check, "check", false, "verify every signature afresh and tell all that is wrong")
	cmd.Flags().StringVar(&f.export, "export", "", "write what an auditor needs to a new `folder`")
	cmd.Flags().BoolVar(&f.heal, "heal", false, "put back what the file has lost")
	cmd.Flags().BoolVar(&f.forget, "forget", false, "forget the trail that lay here")
	cmd.Flags().StringVar(&f.file, "file", "", "read this trail `file`, from an export or a copy, instead of the model's")
	cmd.Flags().StringVar(&f.owner, "owner", "", "with --check: the `fingerprint` that the owner's key must have")
	cmd.MarkFlagsMutuallyExclusive("json", "csv", "check", "export", "heal", "forget")
	return cmd
}

// trailOptions are how this person's programs open a trail.
func (a *app) trailOptions() trail.Options {
	o := trail.Options{Now: a.now, Ask: a.takeLock, SureOfClock: a.env("LAYETTE_CLOCK_IS_RIGHT") != ""}
	switch memory := a.env("LAYETTE_MEMORY"); memory {
	case "-":
	case "":
		o.Private, _ = trail.DefaultPrivate() // without a home there is no memory
	default:
		o.Private = filepath.Join(memory, "trails")
	}
	return o
}

// openTrail opens the model's trail, without its recipe, or the file named.
func (a *app) openTrail(file string) (dir string, t *trail.Trail, err error) {
	o := a.trailOptions()
	if file != "" {
		o.NoWrite, o.Private = true, ""
		t, err = trail.Open(a.path(file), o)
	} else if dir, err = a.findModel(); err == nil {
		t, err = trail.Open(filepath.Join(dir, trail.FileName), o)
	}
	return dir, t, err
}

func (a *app) trail(ctx context.Context, f *trailFlags) error {
	if f.forget {
		return a.forgetTrail()
	}
	if f.check {
		return a.checkTrail(f)
	}
	dir, t, err := a.openTrail(f.file)
	if err != nil {
		return err
	}
	switch {
	case f.json:
		return t.WriteJSON(a.stdout)
	case f.csv:
		return t.WriteCSV(a.stdout)
	case f.heal:
		return a.healTrail(ctx, t)
	case f.export != "":
		return a.exportTrail(t, f.export, dir)
	}
	changed := []string{"(not looked up; layette trail --export does)"}
	fmt.Fprint(a.stdout, t.Report(changed))
	return a.damage(t)
}

// damage ends the program with a code that says whether the trail can be
// relied on.
func (a *app) damage(t *trail.Trail) error {
	if t.Damaged() {
		return failed(exitHeld, errors.New("the trail is damaged: nothing counts as approved before it is mended"),
			"layette trail --heal puts back what this workstation remembers; look at every other line that is named")
	}
	return nil
}

func (a *app) checkTrail(f *trailFlags) error {
	o := a.trailOptions()
	o.Afresh, o.Owner = true, f.owner
	path := a.path(f.file)
	if f.file != "" {
		o.NoWrite, o.Private = true, ""
	} else {
		dir, err := a.findModel()
		if err != nil {
			return err
		}
		path = filepath.Join(dir, trail.FileName)
	}
	began := time.Now()
	t, err := trail.Open(path, o)
	if err != nil {
		return err
	}
	for _, p := range t.Problems() {
		fmt.Fprintln(a.stdout, p)
	}
	void := 0
	for _, r := range t.Records() {
		if r.Void != "" {
			void++
		}
	}
	s := t.Sealing()
	fmt.Fprintf(a.stdout, "%d records verified afresh in %s; %d do not count\n", s.Records, time.Since(began).Round(time.Millisecond), void)
	if r, ok := t.Opening(); ok {
		fmt.Fprintf(a.stdout, "trail %s, first record %s, owner %s, key %s\n", t.Name(), r.ID, r.ByPrinted, r.Key)
	}
	for _, h := range s.Heads {
		fmt.Fprintf(a.stdout, "newest record %s\n", h)
	}
	return a.damage(t)
}

func (a *app) healTrail(ctx context.Context, t *trail.Trail) error {
	for _, r := range t.Lost() {
		fmt.Fprintf(a.stdout, "  %s  %s  %s by %s %s\n", r.ID.Short(), r.Time.Format("2006-01-02 15:04"), says(r), r.ByPrinted, r.Stage)
	}
	n, err := t.Heal(ctx)
	if err != nil {
		return failed(exitHeld, err, "")
	}
	fmt.Fprintf(a.stdout, "%d records put back\n", n)
	return a.damage(t)
}

func (a *app) exportTrail(t *trail.Trail, to, root string) error {
	if err := t.Export(a.path(to), root); err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "written to %s: %s, report.txt, allowed_signers, check.sh\nthe auditor's check: sh %s\n", to, trail.FileName, filepath.Join(to, "check.sh"))
	return a.damage(t)
}

func (a *app) forgetTrail() error {
	dir, err := a.findModel()
	if err != nil {
		return err
	}
	return trail.Forget(a.trailOptions().Private, filepath.Join(dir, trail.FileName))
}
