package draw

import (
	"bytes"
	"encoding/binary"
	"hash/crc32"
	"image"
	"image/png"
	"io"
	"math"
)

// encode writes im as a PNG file. A perMM above zero is written down as pixels
// per metre, in the chunk that the PNG specification (W3C, third edition,
// 11.3.4.3 pHYs) gives for it.
func encode(w io.Writer, im image.Image, perMM float64) error {
	var b bytes.Buffer
	enc := png.Encoder{CompressionLevel: png.BestSpeed}
	if err := enc.Encode(&b, im); err != nil {
		return err
	}
	data := b.Bytes()
	const head = 8 + 12 + 13 // signature, then IHDR with its length, name and checksum
	if perMM > 0 {
		if _, err := w.Write(data[:head]); err != nil {
			return err
		}
		if _, err := w.Write(physical(perMM)); err != nil {
			return err
		}
		data = data[head:]
	}
	_, err := w.Write(data)
	return err
}

// physical returns the pHYs chunk.
func physical(perMM float64) []byte {
	n := uint32(math.Round(min(perMM*1000, 1<<31-1)))
	out := binary.BigEndian.AppendUint32(nil, 9)
	out = append(out, "pHYs"...)
	out = binary.BigEndian.AppendUint32(out, n)
	out = binary.BigEndian.AppendUint32(out, n)
	out = append(out, 1) // metres
	return binary.BigEndian.AppendUint32(out, crc32.ChecksumIEEE(out[4:]))
}
