package main

import (
	"bytes"
	"encoding/csv"

	"layette/engine"
	"layette/engine/sheet"
	"layette/engine/step"
)

// tableRows is how many rows of a table the sheet shows: the step puts the most
// telling first.
const tableRows = 40

// table adds the rows that a stage of the whole kit wrote where nothing can be
// shown on a surface, such as the shots of a session, worst first.
func (w *sheetWriter) table(s *sheet.Stage, st *engine.Status) {
	if st.Part != "" || surfaceOf(st) != nil {
		return
	}
	for _, f := range st.Files {
		if f.Kind != step.Rows {
			continue
		}
		data, err := readFile(f)
		if err != nil {
			w.lacks = append(w.lacks, st.Node.String()+": no table: "+err.Error())
			continue
		}
		rows, err := csv.NewReader(bytes.NewReader(data)).ReadAll()
		if err != nil || len(rows) < 2 || len(rows[0]) < 2 { // rows of another form
			continue
		}
		shown := rows[1:min(len(rows), 1+tableRows)]
		s.Table = &sheet.Table{Title: f.Role, Head: rows[0], Rows: shown, More: len(rows) - 1 - len(shown)}
		return
	}
}
