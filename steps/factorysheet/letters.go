package factorysheet

import (
	"strings"

	"golang.org/x/image/font"
	"golang.org/x/image/font/gofont/gobold"
	"golang.org/x/image/font/gofont/gomono"
	"golang.org/x/image/font/gofont/goregular"
	"golang.org/x/image/font/sfnt"
	"golang.org/x/image/math/fixed"
)

// The Go fonts (Bigelow & Holmes, BSD licence) are part of the PDF, so that it
// prints alike everywhere.
var (
	plainFont = goregular.TTF
	boldFont  = gobold.TTF
	monoFont  = gomono.TTF
)

// face measures words in the plain letters.
var face = parsed(plainFont)

func parsed(ttf []byte) *sfnt.Font {
	f, err := sfnt.Parse(ttf)
	if err != nil {
		panic("the letters that come along cannot be read: " + err.Error())
	}
	return f
}

// textWidth returns how wide a text is in letters of the given size, mm.
func textWidth(text string, size float64) float64 {
	var b sfnt.Buffer
	em := fixed.I(int(face.UnitsPerEm()))
	wide := 0
	for _, r := range text {
		glyph, err := face.GlyphIndex(&b, r)
		if err != nil {
			continue
		}
		if a, err := face.GlyphAdvance(&b, glyph, em, font.HintingNone); err == nil {
			wide += a.Round()
		}
	}
	return float64(wide) / float64(face.UnitsPerEm()) * size
}

// writable returns a text with a question mark for each letter that the fonts
// have not, and how many those are.
func writable(text string) (string, int) {
	var b sfnt.Buffer
	missing := 0
	out := strings.Map(func(r rune) rune {
		if r == '\n' {
			return r
		}
		if glyph, err := face.GlyphIndex(&b, r); err != nil || glyph == 0 || r > 0xffff {
			missing++
			return '?'
		}
		return r
	}, text)
	return out, missing
}
