package factorysheet

import (
	"bytes"
	"context"
	"fmt"
	"image"
	"image/color"
	"image/jpeg"
	_ "image/png" // pictures may be PNG
	"io"
	"path"

	"golang.org/x/image/draw"

	"layette/engine/step"
)

// What a photograph may be, and how large it is on the sheet.
const (
	largestPhoto  = 64 << 20 // bytes
	mostPixels    = 120e6
	photoSide     = 1400 // pixels
	photoFineness = 85   // of JPEG
)

// readPhotos reads photographs and makes them small. They are written anew, so
// that nothing but the picture goes on: no place, no device, no name.
func readPhotos(ctx context.Context, files []step.File, taken widths) ([]photo, error) {
	var list []photo
	for _, f := range files {
		if ctx.Err() != nil {
			return nil, context.Cause(ctx)
		}
		p, err := readPhoto(f, taken)
		if err != nil {
			return nil, fmt.Errorf("%s: %w", f.Name, err)
		}
		list = append(list, p)
	}
	return list, nil
}

func readPhoto(f step.File, taken widths) (photo, error) {
	if f.Size > largestPhoto {
		return photo{}, fmt.Errorf("%d bytes are too many for a picture; %d are the most", f.Size, largestPhoto)
	}
	r, err := f.Open()
	if err != nil {
		return photo{}, err
	}
	defer r.Close()
	data, err := io.ReadAll(io.LimitReader(r, f.Size))
	if err != nil {
		return photo{}, err
	}
	head, _, err := image.DecodeConfig(bytes.NewReader(data))
	if err != nil {
		return photo{}, fmt.Errorf("it is no PNG or JPEG picture: %w", err)
	}
	if n := float64(head.Width) * float64(head.Height); !(n > 0 && n <= mostPixels) {
		return photo{}, fmt.Errorf("%d by %d pixels are not between 1 and %.0f million", head.Width, head.Height, mostPixels/1e6)
	}
	im, _, err := image.Decode(bytes.NewReader(data))
	if err != nil {
		return photo{}, fmt.Errorf("the picture is damaged: %w", err)
	}
	return shrunk(im, path.Base(f.Name), taken)
}

func shrunk(im image.Image, caption string, taken widths) (photo, error) {
	b := im.Bounds()
	wide, tall := b.Dx(), b.Dy()
	if most := max(wide, tall); most > photoSide {
		wide, tall = max(1, wide*photoSide/most), max(1, tall*photoSide/most)
	}
	wide = taken.free(wide)
	out := image.NewRGBA(image.Rect(0, 0, wide, tall))
	draw.Draw(out, out.Bounds(), image.NewUniform(color.White), image.Point{}, draw.Src)
	draw.ApproxBiLinear.Scale(out, out.Bounds(), im, b, draw.Over, nil)
	var data bytes.Buffer
	err := jpeg.Encode(&data, out, &jpeg.Options{Quality: photoFineness})
	return photo{Caption: caption, Kind: "jpeg", Data: data.Bytes(), Wide: wide, Tall: tall}, err
}
