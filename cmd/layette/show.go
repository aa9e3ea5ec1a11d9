package main

import (
	"fmt"
	"strings"
	"text/tabwriter"

	"github.com/spf13/cobra"

	"layette/engine"
	"layette/engine/gate"
)

func newShowCmd(a *app) *cobra.Command {
	var asJSON bool
	var dir string
	cmd := &cobra.Command{
		Use:   "show STAGE [PART] [SCAN]",
		Short: "Show what a stage found: measures, gates, spots, files, sign-offs",
		Args:  cobra.RangeArgs(1, 3),
		RunE: func(cmd *cobra.Command, args []string) error {
			if dir != "" {
				return a.export(cmd.Context(), dir, args)
			}
			m, err := a.openModel(cmd.Context(), nil)
			if err != nil {
				return err
			}
			defer m.Close() // after its tables are read
			b, err := m.Look(cmd.Context())
			if err != nil {
				return a.modelError(err)
			}
			list, err := named(b, args)
			if err != nil {
				return err
			}
			if asJSON {
				return writeJSON(a.stdout, list)
			}
			for i, st := range list {
				if i > 0 {
					fmt.Fprintln(a.stdout)
				}
				a.show(st)
			}
			return nil
		},
	}
	cmd.Flags().BoolVar(&asJSON, "json", false, "print as JSON")
	cmd.Flags().StringVar(&dir, "export", "", "write spots (CSV, JSON, points) and coloured surfaces (GLB, PLY) for other programs to a `folder`")
	cmd.MarkFlagsMutuallyExclusive("json", "export")
	return cmd
}

// named returns the statuses that args name: STAGE, STAGE PART, STAGE PART
// SCAN, or all in one with slashes.
func named(b *engine.Board, args []string) ([]*engine.Status, error) {
	if len(args) == 1 {
		args = strings.SplitN(args[0], "/", 3)
	}
	var name [3]string
	copy(name[:], args)
	list := b.Of(name[0], name[1], name[2])
	if len(list) == 0 {
		return nil, usage(fmt.Errorf("the model has no stage %q", strings.Join(args, "/")), "layette due --all lists the stages")
	}
	return list, nil
}

func (a *app) show(st *engine.Status) {
	w := a.stdout
	fmt.Fprintf(w, "%s: %s", st.Node, st.State)
	if st.Says != "" {
		fmt.Fprintf(w, ", %s", st.Says)
	}
	fmt.Fprintln(w)
	if st.For != "" {
		fmt.Fprintf(w, "  %s\n", st.For)
	}
	for _, note := range st.Notes {
		fmt.Fprintf(w, "  note: %s\n", note)
	}
	a.showMeasures(st)
	a.showGates(st)
	a.showSpots(st)
	a.showTable(st)
	a.showFiles("takes", st.Inputs)
	a.showFiles("gives", st.Files)
	a.showSign(st)
}

func (a *app) showMeasures(st *engine.Status) {
	if len(st.Measures) == 0 {
		return
	}
	fmt.Fprintln(a.stdout, "\n  measures")
	t := tabwriter.NewWriter(a.stdout, 0, 0, 2, ' ', 0)
	for _, m := range st.Measures {
		fmt.Fprintf(t, "    %s\t%s\t%s\n", m.Name, m.Text(), m.Doc)
	}
	t.Flush()
}

func (a *app) showGates(st *engine.Status) {
	if len(st.Gates) == 0 {
		return
	}
	fmt.Fprintln(a.stdout, "\n  gates")
	for _, v := range st.Gates {
		fmt.Fprintf(a.stdout, "    %s %s: %s\n      %s", v.Gate, v.State, v.Rule, v.Numbers)
		switch {
		case v.Says != "":
			fmt.Fprintf(a.stdout, "; %s", v.Says)
		case v.Spare != "" && v.State == gate.Passes:
			fmt.Fprintf(a.stdout, "; %s to spare", v.Spare)
		case v.Spare != "":
			fmt.Fprintf(a.stdout, "; short by %s", strings.TrimPrefix(v.Spare, "-"))
		}
		fmt.Fprintln(a.stdout)
		if v.Why != "" {
			fmt.Fprintf(a.stdout, "      %s\n", v.Why)
		}
		if v.Conceded != nil {
			fmt.Fprintf(a.stdout, "      conceded by %s on %s: %s\n", v.Conceded.ByPrinted, v.Conceded.Time.Format("2 Jan 2006"), v.Conceded.Reason)
		}
		for _, d := range v.Doubts {
			fmt.Fprintf(a.stdout, "      %s\n", d)
		}
	}
}

func (a *app) showSpots(st *engine.Status) {
	if len(st.Spots) == 0 {
		return
	}
	fmt.Fprintln(a.stdout, "\n  spots")
	for _, s := range st.Spots {
		word := ""
		if !s.Fault {
			word = "(remark) "
		}
		fmt.Fprintf(a.stdout, "    %d %s%s at (%.2f, %.2f, %.2f) mm on %s: %s\n", s.Number, word, s.What, s.At[0], s.At[1], s.At[2], s.Surface, s.Says)
	}
}

func (a *app) showFiles(title string, files []engine.File) {
	if len(files) == 0 {
		return
	}
	fmt.Fprintf(a.stdout, "\n  %s\n", title)
	for _, f := range files {
		from := ""
		if f.From.Stage != "" && title == "takes" {
			from = " from " + f.From.String()
		}
		fmt.Fprintf(a.stdout, "    %s: %s (%d bytes, sha256 %s)%s\n", f.Role, f.Path, f.Size, f.SHA256[:12], from)
	}
}

func (a *app) showSign(st *engine.Status) {
	if st.Sign == nil {
		return
	}
	fmt.Fprintf(a.stdout, "\n  sign-off: %s", st.Sign.State)
	if st.Sign.Role != "" {
		fmt.Fprintf(a.stdout, " (%s: %s)", st.Sign.Role, st.Sign.Meaning)
	}
	fmt.Fprintln(a.stdout)
	for _, s := range st.Sign.By {
		fmt.Fprintf(a.stdout, "    %s, %s: %s\n", s.Printed, s.Time.Format("2 Jan 2006 15:04 MST"), s.Meaning)
	}
	if m := st.Sign.Made; m != nil {
		fmt.Fprintf(a.stdout, "    made by %s, %s\n", m.ByPrinted, m.Time.Format("2 Jan 2006 15:04 MST"))
	}
	for _, r := range st.Sign.Reasons {
		fmt.Fprintf(a.stdout, "    %s\n", r)
	}
}
