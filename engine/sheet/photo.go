package sheet

import (
	"bytes"
	"encoding/binary"
	"errors"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	"io"
)

// quality is that of the JPEG files on the page: a fine line stays a line.
const quality = 84

// mostBytes is how large a photograph's file may be.
const mostBytes = 64 << 20

// Photograph returns a photograph, JPEG or PNG, as a JPEG file fit for the
// sheet: upright, no wider or higher than a picture there. It is drawn anew, so
// that nothing but the picture goes on: no place where it was taken, no time,
// no device, no small copy of what was cut off.
func Photograph(r io.Reader) ([]byte, error) {
	data, err := io.ReadAll(io.LimitReader(r, mostBytes+1))
	if err != nil {
		return nil, err
	}
	if len(data) > mostBytes {
		return nil, fmt.Errorf("it is larger than %d MB", mostBytes>>20)
	}
	im, err := decode(data)
	if err != nil {
		return nil, err
	}
	var b bytes.Buffer
	err = jpeg.Encode(&b, upright(im, orientation(data), widest), &jpeg.Options{Quality: quality})
	return b.Bytes(), err
}

// decode reads a picture whose memory is bounded before it is taken: by what a
// large camera makes, and by what a file of that size can hold.
func decode(data []byte) (image.RGBA64Image, error) {
	conf, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return nil, errors.New("it is neither PNG, JPEG nor SVG")
	}
	most := min(mostPixels, 1<<20+1000*len(data))
	if m := conf.ColorModel; m == color.RGBA64Model || m == color.NRGBA64Model {
		most = min(most, mostPixels/2)
	}
	if conf.Width <= 0 || conf.Height <= 0 || conf.Width > most/conf.Height {
		return nil, fmt.Errorf("%d by %d pixels are too many", conf.Width, conf.Height)
	}
	im, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return nil, errors.New("it is damaged")
	}
	return im.(image.RGBA64Image), nil // as all that PNG and JPEG give are
}

// samples is how many of a large picture's pixels, each way, a small one's
// pixel is the mean of.
const samples = 4

// upright returns im turned as its orientation says and no side longer than
// most. Each pixel is the mean of up to sixteen of the picture's own, evenly
// spread over what it stands for.
func upright(im image.RGBA64Image, turn, most int) *image.RGBA {
	from := im.Bounds()
	w, h := from.Dx(), from.Dy()
	if turn >= 5 {
		w, h = h, w
	}
	scale := max(1, float64(max(w, h))/float64(most))
	out := image.NewRGBA(image.Rect(0, 0, max(1, int(float64(w)/scale)), max(1, int(float64(h)/scale))))
	n := min(samples, int(scale+0.999))
	for y := range out.Rect.Dy() {
		for x := range out.Rect.Dx() {
			var sum [3]uint32
			for k := range n * n {
				u := min(w-1, int((float64(x)+(float64(k%n)+0.5)/float64(n))*scale))
				v := min(h-1, int((float64(y)+(float64(k/n)+0.5)/float64(n))*scale))
				sx, sy := stored(turn, u, v, w, h)
				c := im.RGBA64At(from.Min.X+sx, from.Min.Y+sy)
				white := 0xffff - uint32(c.A) // what it stands on
				sum[0], sum[1], sum[2] = sum[0]+uint32(c.R)+white, sum[1]+uint32(c.G)+white, sum[2]+uint32(c.B)+white
			}
			d := uint32(n*n) << 8
			out.SetRGBA(x, y, color.RGBA{uint8(sum[0] / d), uint8(sum[1] / d), uint8(sum[2] / d), 255})
		}
	}
	return out
}

// stored returns where the pixel seen at (u, v) of a picture w by h is stored,
// by the eight orientations of TIFF 6.0, tag 274.
func stored(turn, u, v, w, h int) (x, y int) {
	switch turn {
	case 2:
		return w - 1 - u, v
	case 3:
		return w - 1 - u, h - 1 - v
	case 4:
		return u, h - 1 - v
	case 5:
		return v, u
	case 6:
		return v, w - 1 - u
	case 7:
		return h - 1 - v, w - 1 - u
	case 8:
		return h - 1 - v, u
	}
	return u, v
}

// orientation returns how the camera was held, 1 to 8, as a JPEG file's Exif
// segment says (Exif 2.3, 4.5.4 and 4.6.4, from memory); 1 where nothing says.
func orientation(data []byte) int {
	if len(data) < 4 || data[0] != 0xff || data[1] != 0xd8 {
		return 1
	}
	for at := 2; at+4 <= len(data) && data[at] == 0xff && data[at+1] != 0xda; {
		size := int(binary.BigEndian.Uint16(data[at+2:]))
		if size < 2 || at+2+size > len(data) {
			return 1
		}
		if body := data[at+4 : at+2+size]; data[at+1] == 0xe1 && bytes.HasPrefix(body, []byte("Exif\x00\x00")) {
			return tiffOrientation(body[6:])
		}
		at += 2 + size
	}
	return 1
}

func tiffOrientation(b []byte) int {
	if len(b) < 8 {
		return 1
	}
	var order binary.ByteOrder = binary.LittleEndian
	if b[0] == 'M' {
		order = binary.BigEndian
	}
	at := int64(order.Uint32(b[4:]))
	if at+2 > int64(len(b)) {
		return 1
	}
	rows := b[at+2:]
	for range order.Uint16(b[at:]) {
		if len(rows) < 12 {
			return 1
		}
		if turn := int(order.Uint16(rows[8:])); order.Uint16(rows) == 274 && turn >= 1 && turn <= 8 {
			return turn
		}
		rows = rows[12:]
	}
	return 1
}

// bare reports whether a JPEG file holds a picture and nothing else: no
// segment of an application's (APPn) and no comment (ITU-T T.81, B.2.4).
func bare(data []byte) bool {
	at := 2
	for at+4 <= len(data) && data[at] == 0xff {
		switch kind := data[at+1]; {
		case kind == 0xda: // the picture itself
			return true
		case kind == 0xfe || kind >= 0xe0 && kind <= 0xef:
			return false
		}
		at += 2 + int(binary.BigEndian.Uint16(data[at+2:]))
	}
	return false
}
