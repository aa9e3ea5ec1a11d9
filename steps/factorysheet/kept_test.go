package factorysheet

import (
	"bytes"
	"io"
	"testing"

	"layette/engine/step"
)

type keptReader struct{ *bytes.Reader }

func (keptReader) Close() error { return nil }

// TestKept: a sheet made with the pictures of an earlier run is the same, byte
// for byte, as one drawn anew; a master that was changed is drawn again, and so
// is one whose pictures were damaged.
func TestKept(t *testing.T) {
	kept, drawn := map[string][]byte{}, 0
	made := func(in map[string][]step.File, from map[string][]byte) []byte {
		t.Helper()
		var out bytes.Buffer
		j := job(t, in)
		j.Create = func(string, string) (io.WriteCloser, error) { return nopCloser{&out}, nil }
		if from != nil {
			j.Prior = func(key string) (step.Reader, bool) { return keptReader{bytes.NewReader(from[key])}, from[key] != nil }
			j.Keep = func(key string, data []byte) error { from[key] = data; drawn++; return nil }
		}
		if _, err := (Kind{}).Run(t.Context(), j); err != nil {
			t.Fatal(err)
		}
		return out.Bytes()
	}
	both := little(t)
	again := func(in map[string][]step.File, anew int, when string) {
		t.Helper()
		drawn = 0
		if got := made(in, kept); !bytes.Equal(got, made(in, nil)) || drawn != anew {
			t.Errorf("%s: %d pictures were drawn, want %d, or the sheet is another one", when, drawn, anew)
		}
	}
	again(both, 8, "at first")
	again(both, 0, "unchanged")
	for key := range kept {
		kept[key] = append([]byte{}, kept[key]...)
		kept[key][len(kept[key])-1] ^= 1
	}
	again(both, 8, "damaged")
	edited := little(t)
	edited["masters"] = []step.File{edited["masters"][0], surface(t, "ball", domeAndBall[1].Scaled(1.1))}
	again(edited, 4, "one edited")
}
