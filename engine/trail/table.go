package trail

import (
	"encoding/csv"
	"encoding/json"
	"fmt"
	"io"
	"strings"
	"time"
)

// MarshalText writes an id as 64 hex digits.
func (id ID) MarshalText() ([]byte, error) { return []byte(id.String()), nil }

// UnmarshalText reads what MarshalText writes.
func (id *ID) UnmarshalText(text []byte) (err error) {
	*id, err = parseID(string(text))
	return err
}

// WriteJSON writes the whole trail as one JSON object: name, problems, people,
// sealing and records in causal order.
func (t *Trail) WriteJSON(w io.Writer) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	return e.Encode(map[string]any{"trail": t.Name(), "problems": t.Problems(), "people": t.People(),
		"sealing": t.Sealing(), "open": t.OpenHolds(), "records": t.Records()})
}

// WriteCSV writes one row for each record, in causal order. Cells that a
// spreadsheet would take for a formula are led by an apostrophe.
func (t *Trail) WriteCSV(w io.Writer) error {
	c := csv.NewWriter(w)
	c.Write([]string{"record", "kind", "verdict", "stage", "printed name", "time", "meaning", "name", "key", "files", "gates", "notes", "answers", "counts", "why not"})
	for _, r := range t.list {
		row := []string{r.ID.String(), string(r.Kind), string(r.Verdict), r.Stage, r.ByPrinted, r.Time.Format(time.RFC3339), r.Meaning, r.By, r.Key,
			joined(r.Files), strings.Join(r.Gates, " "), r.Words(), joined(r.Answers), fmt.Sprint(r.Void == ""), r.Void}
		for i, cell := range row {
			if cell != "" && strings.ContainsRune("=+-@", rune(cell[0])) {
				row[i] = "'" + cell
			}
		}
		c.Write(row)
	}
	c.Flush()
	return c.Error()
}

func joined[T fmt.Stringer](list []T) string {
	var texts []string
	for _, x := range list {
		texts = append(texts, x.String())
	}
	return strings.Join(texts, "; ")
}

// String returns a file as records write it.
func (f File) String() string { return f.line() }
