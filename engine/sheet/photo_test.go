package sheet

import (
	"bytes"
	"encoding/binary"
	"image"
	"image/color"
	"image/jpeg"
	"strings"
	"testing"
)

// sides are where a picture's first row and first column stand as one sees it,
// for the orientations 1 to 8 (TIFF 6.0, tag 274, from memory).
var sides = [9][2]string{1: {"top", "left"}, {"top", "right"}, {"bottom", "right"}, {"bottom", "left"}, {"left", "top"}, {"right", "top"}, {"right", "bottom"}, {"left", "bottom"}}

// camera returns a JPEG file as a camera writes it: w by h stored pixels, the
// upper left quarter of what one sees red, an Exif segment that says how the
// camera was held, and in it words that stand for where it was.
func camera(t testing.TB, w, h, turn int, order binary.AppendByteOrder) []byte {
	t.Helper()
	opposite := map[string]string{"top": "bottom", "bottom": "top", "left": "right", "right": "left"}
	im := image.NewRGBA(image.Rect(0, 0, w, h))
	for y := range h {
		for x := range w {
			row, col := sides[turn][0], sides[turn][1]
			if y >= h/2 {
				row = opposite[row]
			}
			if x >= w/2 {
				col = opposite[col]
			}
			c := color.RGBA{40, 60, 200, 255}
			if at := row + " " + col; at == "top left" || at == "left top" {
				c = color.RGBA{220, 30, 30, 255}
			}
			im.SetRGBA(x, y, c)
		}
	}
	var plain bytes.Buffer
	if err := jpeg.Encode(&plain, im, nil); err != nil {
		t.Fatal(err)
	}
	tiff := []byte("II*\x00")
	if order == binary.AppendByteOrder(binary.BigEndian) {
		tiff = []byte("MM\x00*")
	}
	tiff = order.AppendUint32(tiff, 8)
	tiff = order.AppendUint16(tiff, 2)
	for _, row := range [][3]uint32{{271, 2, 20}, {274, 3, 1}} { // maker, orientation
		tiff = order.AppendUint16(order.AppendUint16(tiff, uint16(row[0])), uint16(row[1]))
		tiff = order.AppendUint32(tiff, row[2])
		tiff = order.AppendUint16(order.AppendUint16(tiff, uint16(turn)), 0)
	}
	tiff = append(tiff, "GPS 51.4778 N 0.0015 W"...)
	body := append([]byte("Exif\x00\x00"), tiff...)
	head := binary.BigEndian.AppendUint16([]byte{0xff, 0xd8, 0xff, 0xe1}, uint16(len(body)+2))
	return append(append(head, body...), plain.Bytes()[2:]...)
}

// However the camera was held, the photograph stands upright, is made small,
// and says nothing of where it was taken.
func TestPhotograph(t *testing.T) {
	for turn := 1; turn <= 8; turn++ {
		for _, order := range []binary.AppendByteOrder{binary.LittleEndian, binary.BigEndian} {
			w, h := 160, 100
			if turn == 6 {
				w, h = 1600, 1000 // to be made smaller
			}
			data := camera(t, w, h, turn, order)
			out, err := Photograph(bytes.NewReader(data))
			if err != nil {
				t.Fatal(err)
			}
			if bytes.Contains(out, []byte("GPS")) || bytes.Contains(out, []byte("Exif")) {
				t.Errorf("turn %d: it says more than the picture", turn)
			}
			im, err := jpeg.Decode(bytes.NewReader(out))
			if err != nil {
				t.Fatal(err)
			}
			b := im.Bounds()
			want := image.Pt(160, 100)
			if turn == 6 {
				want = image.Pt(750, 1200)
			} else if turn > 4 {
				want = image.Pt(100, 160)
			}
			if b.Size() != want {
				t.Errorf("turn %d: %v", turn, b.Size())
			}
			for _, at := range []struct {
				x, y int
				red  bool
			}{{1, 1, true}, {3, 1, false}, {1, 3, false}, {3, 3, false}} {
				r, _, blue, _ := im.At(b.Dx()*at.x/4, b.Dy()*at.y/4).RGBA()
				if (r > blue) != at.red {
					t.Errorf("turn %d: quarter %d, %d is red: %v", turn, at.x, at.y, r > blue)
				}
			}
		}
	}
}

// A page shows a photograph beside its render, and what is lacking in its
// place; nothing of a file's own words reaches the page.
func TestPhotoOnThePage(t *testing.T) {
	p := sample()
	photo, err := Photograph(bytes.NewReader(camera(t, 640, 480, 6, binary.BigEndian)))
	if err != nil {
		t.Fatal(err)
	}
	p.Parts[0].Stages[1].Pictures = []Picture{{Title: "front", Data: picture(300, 200, false), Photo: photo},
		{Title: "back", Data: picture(300, 200, false), Lacks: "there is no file photos/back.jpg"}}
	got := written(t, p)
	if n := strings.Count(got, "photograph from the same side"); n != 1 {
		t.Errorf("%d photographs, want 1", n)
	}
	if !strings.Contains(got, "No photograph: there is no file photos/back.jpg.") {
		t.Error("the page does not say which photograph is lacking")
	}
}

// A picture that is small enough goes onto the page as it is, but only if it
// holds nothing else.
func TestBarePictures(t *testing.T) {
	told := camera(t, 640, 480, 1, binary.BigEndian)
	plain, err := Photograph(bytes.NewReader(told))
	if err != nil {
		t.Fatal(err)
	}
	if got, _, err := (&album{width: 640}).fit(plain); err != nil || !bytes.Equal(got, plain) {
		t.Errorf("a plain picture is made anew, %v", err)
	}
	commented := append([]byte{0xff, 0xd8, 0xff, 0xfe, 0, 5, 'G', 'P', 'S'}, plain[2:]...)
	for _, data := range [][]byte{told, commented} {
		if got, _, err := (&album{width: 640}).fit(data); err != nil || bytes.Contains(got, []byte("GPS")) {
			t.Errorf("it goes on with what it says beside the picture, %v", err)
		}
	}
	if got, _, err := (&album{width: 320}).fit(plain); err != nil || len(got) >= len(plain) {
		t.Errorf("a large picture stays large, %v", err)
	}
}

func TestBadPhotographs(t *testing.T) {
	whole := camera(t, 64, 48, 1, binary.LittleEndian)
	flat := picture(64, 64, false)
	binary.BigEndian.PutUint32(flat[16:], 7000) // a small file that claims much
	binary.BigEndian.PutUint32(flat[20:], 7000)
	for name, data := range map[string][]byte{"nothing": nil, "text": []byte("not a picture"), "cut short": whole[:len(whole)/2],
		"too many pixels for its size": flat, "too large": make([]byte, mostBytes+1), "a drawing": []byte(histogram)} {
		if _, err := Photograph(bytes.NewReader(data)); err == nil {
			t.Errorf("%s was taken", name)
		}
	}
}

func FuzzOrientation(f *testing.F) {
	f.Add(camera(f, 16, 16, 6, binary.LittleEndian)[:120])
	f.Add(camera(f, 16, 16, 8, binary.BigEndian)[:120])
	f.Fuzz(func(t *testing.T, data []byte) {
		if turn := orientation(data); turn < 1 || turn > 8 {
			t.Fatalf("orientation %d", turn)
		}
	})
}

func BenchmarkPhotograph(b *testing.B) {
	data := camera(b, 6000, 4000, 6, binary.LittleEndian) // 24 million pixels: a usual camera
	for b.Loop() {
		if _, err := Photograph(bytes.NewReader(data)); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(24*float64(b.N)/b.Elapsed().Seconds(), "Mpixel/s")
}
