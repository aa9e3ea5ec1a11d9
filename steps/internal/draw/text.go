package draw

import (
	"image"
	"image/color"
	"sync"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gomedium"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/opentype"
	"golang.org/x/image/math/fixed"
)

// The hands that pictures are lettered in: the Go fonts, which carry the same
// free licence as the language.
type hand int

const (
	plainHand hand = iota
	boldHand
)

// fonts are parsed once; a face is not safe for two goroutines, so each
// lettering makes its own.
var fonts = sync.OnceValue(func() (f [2]*opentype.Font) {
	for i, data := range [2][]byte{goregular.TTF, gomedium.TTF} {
		font, err := opentype.Parse(data)
		if err != nil {
			panic(err) // the font is part of the program
		}
		f[i] = font
	}
	return f
})

// A letterer writes lines of one size on a picture.
type letterer struct {
	face font.Face
	size float64
}

// lettering returns a letterer of a size in pixels.
func lettering(h hand, size float64) letterer {
	face, err := opentype.NewFace(fonts()[h], &opentype.FaceOptions{Size: size, DPI: 72, Hinting: font.HintingNone})
	if err != nil {
		panic(err) // the font is part of the program
	}
	return letterer{face, size}
}

// width returns how wide s is, in pixels, rounded up.
func (l letterer) width(s string) int { return font.MeasureString(l.face, s).Ceil() }

// height returns the height of a line.
func (l letterer) height() int { return int(float64(l.size*1.25) + 0.5) }

// fit returns s, cut short with an ellipsis if it is wider than most pixels.
func (l letterer) fit(s string, most int) string {
	if l.width(s) <= most {
		return s
	}
	r := []rune(s)
	for len(r) > 0 && l.width(string(r)+"…") > most {
		r = r[:len(r)-1]
	}
	return string(r) + "…"
}

// write writes s with its upper left corner at (x, y).
func (l letterer) write(im *image.RGBA, x, y int, s string, c color.Color) {
	d := font.Drawer{Dst: im, Src: image.NewUniform(c), Face: l.face, Dot: fixed.P(x, y+int(float64(l.size*0.96)+0.5))}
	d.DrawString(s)
}
