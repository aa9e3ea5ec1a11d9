package main

import (
	"context"
	"errors"
	"fmt"
	"os"
	"path/filepath"
	"strings"

	"github.com/spf13/cobra"

	"layette/engine/trail"
)

func newSealCmd(a *app) *cobra.Command {
	var as string
	var yes bool
	cmd := &cobra.Command{
		Use:   "seal",
		Short: "Seal the trail: sign that you have seen it whole, and print the seal",
		Long: `Seal the trail: sign that you have seen it whole and that none of your own
records is missing. The seal is written to seals/ for printing: on a delivery
note or an invoice it shows later whether anything before it is gone.

` + keyHelp,
		Args: cobra.NoArgs,
		RunE: func(cmd *cobra.Command, _ []string) error { return a.seal(cmd.Context(), as, yes) },
	}
	cmd.Flags().StringVar(&as, "as", "", "sign with this key `file`")
	cmd.Flags().BoolVar(&yes, "yes", false, "do not ask before signing (for scripts)")
	return cmd
}

func (a *app) seal(ctx context.Context, as string, yes bool) error {
	dir, t, err := a.openTrail("")
	if err != nil {
		return err
	}
	key, who, done, err := a.person(t, as)
	if err != nil {
		return err
	}
	defer done()
	own := 0
	for _, r := range t.Records() {
		if r.By == who.Name {
			own++
			fmt.Fprintf(a.stdout, "  %s  %s  %s %s\n", r.ID.Short(), r.Time.Format("2006-01-02 15:04"), says(r), r.Stage)
		}
	}
	fmt.Fprintf(a.stdout, "%d records, %d of them yours\n", len(t.Records()), own)
	if !yes {
		if err := a.agree(fmt.Sprintf("Is nothing missing that you signed? Seal it as %s?", who.Printed)); err != nil {
			return err
		}
	}
	r, err := t.Append(ctx, trail.Draft{Kind: trail.Seal, Meaning: trail.SealMeaning, Tool: "layette " + version()}, key)
	if err != nil {
		return unsigned(err)
	}
	text := t.SealText(r)
	name := filepath.Join(dir, "seals", fmt.Sprintf("%s-%s-%s.txt", r.Time.Format("2006-01-02"), r.By, r.ID.Short()))
	if err := errors.Join(os.MkdirAll(filepath.Dir(name), 0o755), os.WriteFile(name, []byte(text), 0o644)); err != nil {
		return err
	}
	fmt.Fprintf(a.stdout, "\n%s\nwritten to %s\n", text, filepath.Join("seals", filepath.Base(name)))
	if w := t.Sealing().Waiting; len(w) > 0 {
		fmt.Fprintf(a.stdout, "still to seal: %s\n", strings.Join(w, ", "))
	}
	return nil
}

func says(r trail.Record) string {
	if r.Verdict != "" {
		return string(r.Verdict)
	}
	return string(r.Kind)
}
