package intake

import (
	"cmp"
	"crypto/sha256"
	"encoding/binary"
	"encoding/hex"
	"encoding/json"
	"fmt"
	"math"
	"slices"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/rows"
	"layette/steps/internal/workpiece"
)

// digest is equal for scans of equal points, whatever their order: SHA-256 over
// the sorted coordinates.
func digest(m *geom.Mesh) string {
	pts := slices.Clone(m.Verts)
	slices.SortFunc(pts, func(a, b geom.Point) int {
		return cmp.Or(cmp.Compare(a[0], b[0]), cmp.Compare(a[1], b[1]), cmp.Compare(a[2], b[2]))
	})
	h := sha256.New()
	var b []byte
	for _, x := range [3]float64{m.Origin.X, m.Origin.Y, m.Origin.Z} {
		b = binary.LittleEndian.AppendUint64(b, math.Float64bits(x))
	}
	for _, p := range pts {
		for _, x := range p {
			b = binary.LittleEndian.AppendUint32(b, math.Float32bits(x))
		}
		if len(b) > 1<<16 {
			h.Write(b)
			b = b[:0]
		}
	}
	h.Write(b)
	return hex.EncodeToString(h.Sum(nil))
}

// writeRow writes what the session's table needs.
func (s *sighting) writeRow(job *step.Job, verdict string) error {
	r := rows.Row{
		SHA256: job.Inputs["scan"][0].SHA256, Sum: s.sum, Verdict: verdict, Found: s.verdict, Reason: s.reason, Points: len(s.piece.Mesh.Verts), Kept: s.handed(verdict),
	}
	if t := s.trimmed; t != nil {
		r.Spacing, r.Noise, r.Turn, r.Area = rounded(t.Spacing), rounded(t.Noise), rounded(turn(t)), math.Round(t.Mesh.Area())
	}
	data, err := json.MarshalIndent(r, "", " ")
	if err != nil {
		return err
	}
	return workpiece.WriteText(job, "row", "row.json", string(data)+"\n")
}

// rounded is to four places; unknown is zero.
func rounded(x float64) float64 {
	if math.IsNaN(x) {
		return 0
	}
	return math.Round(x*1e4) / 1e4
}

// most is how many holes are shown.
const most = 12

// holes returns the rims of the scan but for the longest, which is its border.
func (s *sighting) holes() []geom.Loop {
	loops := s.trimmed.Mesh.Rims(s.trimmed.Edges)
	if len(loops) == 0 {
		return nil
	}
	slices.SortStableFunc(loops, func(a, b geom.Loop) int { return cmp.Compare(len(b.Verts), len(a.Verts)) })
	return loops[1:]
}

// spots shows the longest holes of a scan that is used.
func (s *sighting) spots() []step.Spot {
	if s.trimmed == nil || s.verdict == "drop" {
		return nil
	}
	var spots []step.Spot
	for _, l := range s.holes() {
		box := geom.EmptyBox()
		for _, v := range l.Verts {
			box = box.Include(s.trimmed.Mesh.Verts[v].Vec())
		}
		wide := box.Size().Len()
		if len(spots) == most || wide < 5*s.trimmed.Spacing {
			break
		}
		at := box.Centre().Add(s.trimmed.Mesh.Origin)
		spots = append(spots, step.Spot{
			Number: len(spots) + 1, What: "hole", At: [3]float64{at.X, at.Y, at.Z}, Radius: wide / 2, Value: wide, Unit: "mm", Surface: "scan",
			Says: fmt.Sprintf("A hole %.1f mm wide within the patch: wet, dark or hidden skin.", wide),
		})
	}
	return spots
}
