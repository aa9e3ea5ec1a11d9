// Package rows is what intake tells the session of one scan.
package rows

import (
	"encoding/json"
	"fmt"
	"io"
	"math"

	"layette/engine/step"
)

// Row is one scan of a session. It says nothing of the scan's name or part:
// those are the engine's to tell.
type Row struct {
	SHA256  string  `json:"sha256"` // of the file
	Sum     string  `json:"sum"`    // of its points, whatever their order; empty if it could not be read
	Verdict string  `json:"verdict"`
	Found   string  `json:"found"`
	Reason  string  `json:"reason"`
	Points  int     `json:"points"`
	Kept    float64 `json:"kept"`    // share of the points
	Spacing float64 `json:"spacing"` // mm; 0 not known
	Noise   float64 `json:"noise"`   // mm; 0 not known
	Turn    float64 `json:"turn"`    // degrees a mm
	Area    float64 `json:"area"`    // mm²
}

// Open reads a row.
func Open(f step.File) (Row, error) {
	var row Row
	r, err := f.Open()
	if err != nil {
		return row, fmt.Errorf("%s: %w", f.Name, err)
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, 1<<20))
	if err == nil {
		err = json.Unmarshal(data, &row)
	}
	if err == nil && math.IsNaN(row.Noise+row.Spacing+row.Area+row.Kept) {
		err = fmt.Errorf("a number in it is not one")
	}
	if err != nil {
		return row, fmt.Errorf("%s: not a row of intake: %w", f.Name, err)
	}
	return row, nil
}
