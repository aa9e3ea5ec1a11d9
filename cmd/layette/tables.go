package main

import (
	"bytes"
	"encoding/csv"
	"fmt"
	"strings"
	"text/tabwriter"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/step"
)

// tableRows is how many rows of a table are shown: the step puts the most
// telling first.
const tableRows = 40

// table adds the rows that a stage wrote to be read by people: the shots of a
// session, worst first, and how they lie together.
func (w *sheetWriter) table(s *sheet.Stage, st *engine.Status) {
	t, err := tableOf(st)
	if err != nil {
		w.lacks = append(w.lacks, st.Node.String()+": no table: "+err.Error())
	}
	s.Table = t
}

// tableOf reads the stage's table; nil if it wrote none. That is its output
// "table", or of a stage of the whole kit without a surface any rows.
func tableOf(st *engine.Status) (*sheet.Table, error) {
	all := st.Part == "" && surfaceOf(st) == nil
	for _, f := range st.Files {
		if f.Kind != step.Rows || f.Role != "table" && !all {
			continue
		}
		data, err := readFile(f)
		if err != nil {
			return nil, err
		}
		rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
		if err != nil || len(rows) < 2 || len(rows[0]) < 2 { // rows of another form
			continue
		}
		shown := rows[1:min(len(rows), 1+tableRows)]
		return &sheet.Table{Title: f.Role, Head: rows[0], Rows: shown, More: len(rows) - 1 - len(shown)}, nil
	}
	return nil, nil
}

// showTable prints the stage's table.
func (a *app) showTable(st *engine.Status) {
	t, err := tableOf(st)
	if err != nil || t == nil { // a file that is gone is said where files are
		return
	}
	var b strings.Builder
	w := tabwriter.NewWriter(&b, 0, 0, 2, ' ', 0)
	for _, row := range append([][]string{t.Head}, t.Rows...) {
		fmt.Fprintln(w, strings.Join(row, "\t")+"\t")
	}
	w.Flush()
	fmt.Fprintf(a.stdout, "\n  %s\n", t.Title)
	for line := range strings.Lines(b.String()) {
		fmt.Fprintln(a.stdout, "    "+strings.TrimRight(line, " \n"))
	}
	if t.More > 0 {
		fmt.Fprintf(a.stdout, "    … and %d more rows in the file\n", t.More)
	}
}
