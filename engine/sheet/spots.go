package sheet

import (
	"encoding/csv"
	"encoding/json"
	"io"
	"math"
	"strconv"
	"strings"

	"layette/engine/step"
)

// SpotsCSV writes spots as rows for other programs: place in mm in the
// surface's own frame. Cells that a spreadsheet would take for a formula are
// led by an apostrophe.
func SpotsCSV(w io.Writer, spots []step.Spot) error {
	c := csv.NewWriter(w)
	c.Write([]string{"number", "what", "x mm", "y mm", "z mm", "to x mm", "to y mm", "to z mm", "radius mm", "value", "unit", "fault", "part", "surface", "says"})
	num := func(x float64) string { return strconv.FormatFloat(math.Round(x*1e6)/1e6, 'f', -1, 64) } // to a millionth of a mm
	for _, s := range spots {
		row := []string{strconv.Itoa(s.Number), s.What, num(s.At[0]), num(s.At[1]), num(s.At[2]), num(s.To[0]), num(s.To[1]), num(s.To[2]),
			num(s.Radius), num(s.Value), s.Unit, strconv.FormatBool(s.Fault), s.Part, s.Surface, s.Says}
		for _, i := range []int{1, 10, 12, 13, 14} {
			if row[i] != "" && strings.ContainsRune("=+-@\t\r", rune(row[i][0])) {
				row[i] = "'" + row[i]
			}
		}
		c.Write(row)
	}
	c.Flush()
	return c.Error()
}

// SpotsJSON writes spots as a JSON list.
func SpotsJSON(w io.Writer, spots []step.Spot) error {
	e := json.NewEncoder(w)
	e.SetIndent("", "  ")
	e.SetEscapeHTML(false)
	if spots == nil {
		spots = []step.Spot{}
	}
	return e.Encode(spots)
}
