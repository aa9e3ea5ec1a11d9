package merge

import (
	"bytes"
	"compress/gzip"
	"fmt"
	"io"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/intake"
	"layette/steps/internal/geom"
	"layette/steps/internal/poses"
	"layette/steps/internal/steptest"
)

// TestRabbit takes the ten range scans of the Stanford rabbit, in metres, with
// the published poses (bun.conf; the sign of w is turned, under which 96 % of
// the points have a neighbour in another scan within 1 mm): intake drops none,
// all are joined, six sevenths of the skin are seen by two scans or more, and
// half of that is agreed on better than 0.15 mm.
func TestRabbit(t *testing.T) {
	root := os.Getenv("LAYETTE_DATA")
	if root == "" {
		t.Skip("LAYETTE_DATA is not set: NOT TESTED on stanford-bunny-scans")
	}
	dir := filepath.Join(root, "stanford-bunny-scans")
	conf, err := os.ReadFile(filepath.Join(dir, "bun.conf"))
	if err != nil {
		t.Fatal(err)
	}
	in := map[string][]step.File{}
	var table poses.Table
	for line := range strings.Lines(string(conf)) {
		var name string
		var m geom.Vec
		var q geom.Quaternion
		if n, _ := fmt.Sscanf(line, "bmesh %s %g %g %g %g %g %g %g", &name, &m.X, &m.Y, &m.Z, &q.X, &q.Y, &q.Z, &q.W); n != 8 {
			continue
		}
		q.W = -q.W
		f := steptest.File(name, unzipped(t, filepath.Join(dir, name+".gz")), "m")
		r := steptest.Run(t, intake.Kind{}, steptest.Given{Inputs: map[string][]step.File{"scan": {f}}})
		t.Logf("%s: %v, %v; noise %v", name, r.Measures["verdict"], r.Measures["reason"], r.Measures["noise"])
		if r.Measures["verdict"] != "trim" {
			t.Errorf("%s: %v: %v", name, r.Measures["verdict"], r.Measures["reason"])
		}
		for _, key := range r.Order {
			if strings.HasPrefix(key, "scan/") {
				given := steptest.File(name, r.Files[key], "mm")
				in["scans"] = append(in["scans"], given)
				table.Scans = append(table.Scans, poses.At(given, geom.Pose{Rot: q.Rot(), Move: m.Mul(1000)}))
			}
		}
	}
	in["poses"] = tableFile(t, table)
	r := steptest.Run(t, Kind{}, steptest.Given{Inputs: in, Values: step.Values{"voxel": 0.8}})
	m, _ := surfaceOf(t, r)
	t.Log(r.Measures, r.Notes)
	twice := 0
	for _, n := range m.Seen {
		if n > 1 {
			twice++
		}
	}
	if r.Measures["scans.joined"] != int64(10) || twice < len(m.Seen)*6/7 || r.Measures["disagree.p50"].(float64) > 0.15 {
		t.Errorf("%v joined; %d of %d vertices seen twice or more", r.Measures["scans.joined"], twice, len(m.Seen))
	}
}

func unzipped(t testing.TB, path string) []byte {
	t.Helper()
	data, err := os.ReadFile(path)
	if err != nil {
		t.Fatal(err)
	}
	z, err := gzip.NewReader(bytes.NewReader(data))
	if err != nil {
		t.Fatal(err)
	}
	if data, err = io.ReadAll(z); err != nil {
		t.Fatal(err)
	}
	return data
}
