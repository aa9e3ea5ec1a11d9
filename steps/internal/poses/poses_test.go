package poses

import (
	"bytes"
	"reflect"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

func TestRoundTrip(t *testing.T) {
	a := step.File{Name: "scans/hand/001.ply", SHA256: "aa"}
	b := step.File{Name: "scans/hand/002.ply", SHA256: "bb"}
	twin := step.File{Name: "scans/hand/003.ply", SHA256: "aa"}
	pose := geom.Pose{Rot: geom.SmallTurn(geom.Vec{X: 0.3, Y: -1.1, Z: 0.7}), Move: geom.Vec{X: 1.0 / 3, Y: -2e-9, Z: 412.7}}
	want := Table{Format: format, Unit: "mm", Scans: []Place{At(a, pose), Nowhere(b, "too little overlap"), At(twin, geom.NoMove)}}
	var buf bytes.Buffer
	if err := Write(&buf, want); err != nil {
		t.Fatal(err)
	}
	got, err := Read(&buf)
	if err != nil || !reflect.DeepEqual(got, want) {
		t.Fatalf("read back %+v, %v; want %+v", got, err, want)
	}
	if p, ok := got.For(a); !ok || p.Pose() != pose {
		t.Errorf("place of %s: %+v %v", a.Name, p, ok)
	}
	if p, ok := got.For(twin); !ok || p.Pose() != geom.NoMove {
		t.Errorf("of two files with the same bytes, %s has place %+v %v", twin.Name, p, ok)
	}
	if p, ok := got.For(b); !ok || p.Placed {
		t.Errorf("place of %s: %+v %v", b.Name, p, ok)
	}
	if _, ok := got.For(step.File{SHA256: "cc"}); ok {
		t.Error("a scan that is not in the table has a place")
	}
}

func TestRefused(t *testing.T) {
	for _, tt := range []struct{ name, text, want string }{
		{"cut", `{"format":"poses 1","unit":"mm","scans":[{"name`, "not a table of places"},
		{"mirror", `{"format":"poses 1","unit":"mm","scans":[{"name":"a","placed":true,"rotation":[-1,0,0,0,1,0,0,0,1],"move":[0,0,0]}]}`, "scan 1 (a): its place is no turn and shift"},
		{"scale", `{"format":"poses 1","unit":"mm","scans":[{"name":"a","placed":true,"rotation":[2,0,0,0,2,0,0,0,2],"move":[0,0,0]}]}`, "no turn and shift"},
		{"nothing", `{"format":"poses 1","unit":"mm","scans":[{"name":"a","placed":true}]}`, "no turn and shift"},
		{"another", `{"scans":[]}`, `begins with "format"`},
		{"huge", `{"format":"poses 1","unit":"mm","scans":[{"name":"a","placed":true,"rotation":[1,0,0,0,1,0,0,0,1],"move":[1e999,0,0]}]}`, "not a table of places"},
	} {
		if _, err := Read(strings.NewReader(tt.text)); err == nil || !strings.Contains(err.Error(), tt.want) {
			t.Errorf("%s: error %v, want %q in it", tt.name, err, tt.want)
		}
	}
}

func FuzzRead(f *testing.F) {
	f.Add([]byte(`{"format":"poses 1","unit":"mm","scans":[{"name":"a","sha256":"aa","placed":true,"rotation":[1,0,0,0,1,0,0,0,1],"move":[0,0,0]}]}`))
	f.Fuzz(func(t *testing.T, data []byte) {
		got, err := Read(bytes.NewReader(data))
		if err != nil {
			return
		}
		var buf bytes.Buffer
		if err := Write(&buf, got); err != nil {
			t.Fatal(err)
		}
		again, err := Read(&buf)
		if err != nil || len(again.Scans) != len(got.Scans) {
			t.Fatalf("second reading: %v, %v; want %v", again, err, got)
		}
		for i := range got.Scans {
			if again.Scans[i] != got.Scans[i] {
				t.Fatalf("scan %d: %v, want %v", i, again.Scans[i], got.Scans[i])
			}
		}
	})
}
