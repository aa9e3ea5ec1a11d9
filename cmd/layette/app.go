package main

import (
	"context"
	"errors"
	"fmt"
	"io"
	"os"
	"os/signal"
	"runtime/debug"
	"strings"
	"syscall"
	"time"

	"github.com/spf13/cobra"
	"golang.org/x/term"

	"layette/engine/step"
	"layette/steps"
)

// Exit codes.
const (
	exitDone        = 0   // everything asked for is done
	exitFailed      = 1   // something could not be computed
	exitUsage       = 2   // the command line or a recipe is wrong
	exitHeld        = 3   // a gate or a person holds it
	exitWaits       = 4   // it waits for a person
	exitInterrupted = 130 // interrupted
)

// app is what every command is given instead of the process: a command reads
// no global, so that tests run it whole.
type app struct {
	stdin          io.Reader
	stdout, stderr io.Writer
	dir            string              // folder the program was started in
	env            func(string) string // looks an environment variable up
	now            func() time.Time
	kinds          []step.Kind // every step a recipe may name
	model          string      // --model: the model's folder; empty to look for it from dir upwards
}

func newApp(stdin io.Reader, stdout, stderr io.Writer) *app {
	dir, err := os.Getwd()
	if err != nil {
		dir = "."
	}
	return &app{stdin: stdin, stdout: stdout, stderr: stderr, dir: dir, env: os.Getenv, now: time.Now, kinds: steps.All()}
}

// newRootCmd adds up the commands. A new command is one file with one
// new...Cmd function, and one line here, in the order help shows them.
func newRootCmd(a *app) *cobra.Command {
	root := &cobra.Command{
		Use:           "layette",
		Short:         "From a child's scans to moulding masters, with every check made and signed",
		SilenceErrors: true,
		SilenceUsage:  true,
		Args:          cobra.NoArgs,
		RunE:          func(cmd *cobra.Command, _ []string) error { return cmd.Help() },
	}
	root.SetIn(a.stdin)
	root.SetOut(a.stdout)
	root.SetErr(a.stderr)
	root.PersistentFlags().StringVarP(&a.model, "model", "m", "", "the model's `folder` (default: the one you are in)")
	root.SetFlagErrorFunc(func(cmd *cobra.Command, err error) error {
		return usage(err, "see "+cmd.CommandPath()+" --help")
	})
	root.AddCommand(
		newDemoCmd(a),
		newNewCmd(a),
		newTryCmd(a),
		newRunCmd(a),
		newDueCmd(a),
		newWhyCmd(a),
		newShowCmd(a),
		newSheetCmd(a),
		newDeskCmd(a),
		newSignCmd(a),
		newHoldCmd(a),
		newConcedeCmd(a),
		newPeopleCmd(a),
		newSealCmd(a),
		newTrailCmd(a),
		newStepsCmd(a),
		newTidyCmd(a),
	)
	return root
}

// An exitError carries an exit code, and what to say and do.
type exitError struct {
	code int
	err  error  // nil when everything has been said already
	hint string // the way out; may be empty
}

func (e *exitError) Error() string {
	if e.err == nil {
		return fmt.Sprintf("exit code %d", e.code)
	}
	return e.err.Error()
}

func (e *exitError) Unwrap() error { return e.err }

// quiet ends the program with code; everything has been said already.
func quiet(code int) error {
	if code == exitDone {
		return nil
	}
	return &exitError{code: code}
}

// failed ends the program with code, an error and a hint.
func failed(code int, err error, hint string) error {
	return &exitError{code: code, err: err, hint: hint}
}

// usage says that the command line is wrong.
func usage(err error, hint string) error { return failed(exitUsage, err, hint) }

// exitCode says what err has to say on stderr and returns the exit code.
func (a *app) exitCode(ctx context.Context, err error) int {
	if err == nil {
		return exitDone
	}
	if ctx.Err() != nil && errors.Is(err, context.Canceled) {
		fmt.Fprintln(a.stderr, "interrupted: what was finished is kept; run again to go on")
		return exitInterrupted
	}
	e, ok := errors.AsType[*exitError](err)
	if !ok {
		e = &exitError{code: exitFailed, err: err}
		if strings.HasPrefix(err.Error(), "unknown command") || strings.Contains(err.Error(), "arg(s)") || strings.Contains(err.Error(), "flags in the group") {
			e.code, e.hint = exitUsage, "see layette --help"
		}
	}
	if e.err != nil {
		fmt.Fprintf(a.stderr, "layette: %s\n", strings.TrimRight(e.err.Error(), "\n"))
	}
	if e.hint != "" {
		fmt.Fprintf(a.stderr, "hint: %s\n", e.hint)
	}
	return e.code
}

// interruptible returns a context that the first Ctrl-C cancels. The second
// ends the program at once: what is stored is whole at any moment.
func interruptible(ctx context.Context) (context.Context, func()) {
	ctx, cancel := context.WithCancel(ctx)
	signals := make(chan os.Signal, 2)
	signal.Notify(signals, os.Interrupt, syscall.SIGTERM)
	done := make(chan struct{})
	go func() {
		for n := 0; ; n++ {
			select {
			case <-done:
				return
			case <-signals:
			}
			if n > 0 {
				os.Exit(exitInterrupted)
			}
			cancel()
		}
	}()
	return ctx, func() { signal.Stop(signals); close(done); cancel() }
}

// isTerminal reports whether w is a terminal that lines may be redrawn on.
func (a *app) isTerminal(w io.Writer) bool {
	f, ok := w.(*os.File)
	return ok && term.IsTerminal(int(f.Fd())) && a.env("TERM") != "dumb"
}

// version is the program's version as the build noted it.
func version() string {
	if info, ok := debug.ReadBuildInfo(); ok && info.Main.Version != "" {
		return info.Main.Version
	}
	return "unversioned"
}
