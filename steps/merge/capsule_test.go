package merge

import (
	"fmt"
	"math"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
)

// A capsule along z about zero: all that lies within capsuleRound mm of a line
// capsuleLong mm long.
const capsuleRound, capsuleLong = 12.0, 30.0

// capsule is an exact scan of it from dir at 300 mm, of what is seen within 72
// degrees of square on, with its pose.
func capsule(dir geom.Vec, pitch float64) (*geom.Mesh, geom.Pose) {
	_, pose := globe(capsuleRound, capsuleRound, dir)
	m, at := &geom.Mesh{}, map[[2]int]int32{}
	n := int((capsuleRound + capsuleLong) / pitch)
	for j := -n; j <= n; j++ {
		for i := -n; i <= n; i++ {
			p := geom.Vec{X: float64(i) * pitch, Y: float64(j) * pitch, Z: 200}
			if d := onCapsule(&p, pose); d.Dot(dir.Unit()) > 0.3 {
				at[[2]int{i, j}] = int32(len(m.Verts))
				m.Verts = append(m.Verts, p.Point())
			}
		}
	}
	steptest.Web(m, at, n)
	return m, pose
}

// onCapsule moves p of the scanner's frame along its sight (z) to the capsule and
// returns the capsule's normal there; nothing if it misses.
func onCapsule(p *geom.Vec, pose geom.Pose) geom.Vec {
	for range 400 {
		q := pose.Apply(*p)
		off := q.Sub(geom.Vec{Z: min(max(q.Z, -capsuleLong/2), capsuleLong/2)})
		d := off.Len() - capsuleRound
		if d < 1e-9 {
			return off.Unit()
		}
		if p.Z += d; p.Z > 400 {
			break
		}
	}
	return geom.Vec{}
}

// TestCapsule: exact views from all round join to a closed surface of volume
// πr²l + 4πr³/3 and area 2πrl + 4πr².
func TestCapsule(t *testing.T) {
	in := map[string][]step.File{}
	var table poses.Table
	for i, dir := range dirs {
		m, pose := capsule(dir, 0.5)
		f := scanFile(t, fmt.Sprintf("%02d.ply", i), m)
		in["scans"], table.Scans = append(in["scans"], f), append(table.Scans, poses.At(f, pose))
	}
	in["poses"] = tableFile(t, table)
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.6}})
	m, _ := surfaceOf(t, r)
	if !r.Measures["watertight"].(bool) || r.Measures["scans.joined"] != int64(len(dirs)) {
		t.Fatalf("measures %v, notes %q", r.Measures, r.Notes)
	}
	const r2 = capsuleRound * capsuleRound
	if v, want := m.Volume(), math.Pi*r2*(capsuleLong+4*capsuleRound/3); !(math.Abs(v/want-1) <= 1e-3) {
		t.Errorf("volume %.2f, want %.2f", v, want)
	}
	if a, want := m.Area(), math.Pi*(2*capsuleRound*capsuleLong+4*r2); !(math.Abs(a/want-1) <= 1e-3) {
		t.Errorf("area %.2f, want %.2f", a, want)
	}
	t.Logf("volume %.5f, area %.5f of the closed forms", m.Volume()/(math.Pi*r2*(capsuleLong+4*capsuleRound/3)), m.Area()/(math.Pi*(2*capsuleRound*capsuleLong+4*r2)))
}
