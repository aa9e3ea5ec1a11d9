package main

import (
	"encoding/json"
	"errors"
	"fmt"
	"io"
	"strconv"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"layette/engine"
)

// runFlags are the flags of run.
type runFlags struct {
	dry, watch, afresh, json, share bool
	only                            []string
	workers                         int
	memory                          string
	rehash                          string
}

func newRunCmd(a *app) *cobra.Command {
	var f runFlags
	cmd := &cobra.Command{
		Use:   "run [STAGE...]",
		Short: "Run every stage that is due, and say where the model stands",
		Long: `Run every stage that is due, and say where the model stands.

Nothing runs whose equal run is stored. One failure stops nothing but what
depends on it. Ctrl-C stops within a tenth of a second and loses no more than
the stages in progress; a second Ctrl-C ends the program at once.

Exit codes: 0 everything asked for is done, 1 something could not be computed,
2 the command line or a recipe is wrong, 3 a gate or a person holds it, 4 it
waits for a person, 130 interrupted.`,
		RunE: func(cmd *cobra.Command, args []string) error {
			f.only = append(f.only, args...)
			return a.run(cmd, f)
		},
	}
	flags := cmd.Flags()
	flags.StringSliceVar(&f.only, "only", nil, "run only these `stages` and what they need")
	flags.BoolVar(&f.dry, "dry", false, "say what would run, and run nothing")
	flags.BoolVar(&f.watch, "watch", false, "stay, and run again whenever a file changes")
	flags.BoolVar(&f.afresh, "afresh", false, "run everything though it is stored, and compare")
	flags.StringVar(&f.rehash, "rehash", "", "read files again instead of believing sizes and times: all, or a `share` such as 10%, those first that were read longest ago")
	flags.Lookup("rehash").NoOptDefVal = "100%"
	flags.BoolVar(&f.share, "share", false, "the folder is a share: compare only files' sizes and times")
	flags.BoolVar(&f.json, "json", false, "print where everything stands as JSON")
	flags.IntVarP(&f.workers, "jobs", "j", 0, "how many stages at once (default: one a processor)")
	flags.StringVar(&f.memory, "memory", "", "memory that running stages may need together, such as `6GB` (default: half of the machine's)")
	return cmd
}

func (a *app) run(cmd *cobra.Command, f runFlags) error {
	memory, err := bytesOf(f.memory)
	if err != nil {
		return usage(err, "write --memory 6GB")
	}
	again, err := shareOf(f.rehash)
	if err != nil {
		return usage(err, "write --rehash=10%, or --rehash alone for every file")
	}
	m, err := a.openModel(cmd.Context(), func(o *engine.Options) { o.Rehash, o.Share = again, f.share })
	if err != nil {
		return err
	}
	defer m.Close()
	if f.dry {
		return a.dry(cmd, m, f)
	}
	o := engine.RunOptions{Only: f.only, Workers: f.workers, Memory: memory, Afresh: f.afresh}
	if f.watch {
		return a.watch(cmd, m, o)
	}
	show := a.progress()
	b, err := m.Run(cmd.Context(), o, show)
	show.end()
	if err != nil {
		return a.modelError(err)
	}
	return a.report(b, f.json)
}

// modelError adds a hint to what the engine refuses, and shows recipe problems.
func (a *app) modelError(err error) error {
	if unknown, ok := errors.AsType[*engine.UnknownStage](err); ok {
		return usage(unknown, "layette due lists the stages")
	}
	return a.recipeError(err)
}

// report prints a board and returns its exit code.
func (a *app) report(b *engine.Board, asJSON bool) error {
	if asJSON {
		if err := writeJSON(a.stdout, b); err != nil {
			return err
		}
	} else {
		writeSummary(a.stdout, b)
	}
	return quiet(exitCodeOf(b))
}

// exitCodeOf is the gravest of the states: what failed, then what is held,
// then what waits for a person.
func exitCodeOf(b *engine.Board) int {
	n := b.Count()
	switch {
	case n[engine.Failed] > 0:
		return exitFailed
	case n[engine.Held] > 0:
		return exitHeld
	case n[engine.Unsigned]+n[engine.Handwork]+n[engine.Waiting] > 0:
		return exitWaits
	}
	return exitDone
}

func writeJSON(w io.Writer, v any) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(v)
}

// bytesOf reads "6GB", "500MB" or a plain number of bytes; "" is 0.
func bytesOf(text string) (int64, error) {
	number := strings.ToUpper(strings.TrimSpace(text))
	if number == "" {
		return 0, nil
	}
	scale := 1.0
	for unit, s := range map[string]float64{"KB": 1e3, "MB": 1e6, "GB": 1e9, "TB": 1e12} {
		if rest, ok := strings.CutSuffix(number, unit); ok {
			number, scale = strings.TrimSpace(rest), s
			break
		}
	}
	n, err := strconv.ParseFloat(number, 64)
	if err != nil || !(n > 0) || n*scale > 1e15 {
		return 0, fmt.Errorf("%q is no amount of memory", text)
	}
	return int64(n * scale), nil
}

// shareOf reads "10%"; "" is 0.
func shareOf(text string) (float64, error) {
	if text == "" {
		return 0, nil
	}
	number, percent := strings.CutSuffix(text, "%")
	x, err := strconv.ParseFloat(strings.TrimSpace(number), 64)
	if err != nil || !percent || !(x > 0 && x <= 100) {
		return 0, fmt.Errorf("%q is no share from 0 to 100%%", text)
	}
	return x / 100, nil
}

func seconds(d time.Duration) string { return d.Round(100 * time.Millisecond).String() }
