package sheet

import (
	"bytes"
	"encoding/base64"
	"encoding/xml"
	"errors"
	"fmt"
	"html"
	"html/template"
	"image"
	"image/color"
	imagedraw "image/draw"
	"image/jpeg"
	_ "image/png" // pictures come as PNG or JPEG
	"io"
	"slices"
	"strings"

	"golang.org/x/image/draw"
)

// An album makes pictures fit for the page: no wider than width pixels, as
// JPEG, or as drawn lines where they are SVG of the plain kind.
type album struct {
	width int
	bytes int                      // of the pictures shown so far, as they stand in the page
	seen  map[string]template.HTML // by bytes and words: the page may show one picture twice
}

// mostPixels bounds what is decoded: a photograph of a large camera.
const mostPixels = 64 << 20

// show returns the HTML of one picture. What cannot be shown says why.
func (a *album) show(data []byte, words string) template.HTML {
	if len(data) == 0 {
		return ""
	}
	key := words + "\x00" + string(data)
	if out, ok := a.seen[key]; ok {
		a.bytes += len(out)
		return out
	}
	out, err := a.html(data, words)
	if err != nil {
		out = template.HTML(`<p class="lack">This picture cannot be shown: ` + html.EscapeString(err.Error()) + `.</p>`)
	}
	if a.seen == nil {
		a.seen = map[string]template.HTML{}
	}
	a.seen[key] = out
	a.bytes += len(out)
	return out
}

func (a *album) html(data []byte, words string) (template.HTML, error) {
	if isDrawing(data) {
		return plainSVG(data)
	}
	small, size, err := a.fit(data)
	if err != nil {
		return "", err
	}
	return template.HTML(fmt.Sprintf(`<img src="data:image/jpeg;base64,%s" width="%d" height="%d" alt="%s" loading="lazy">`,
		base64.StdEncoding.EncodeToString(small), size.X, size.Y, html.EscapeString(words))), nil
}

// fit returns a picture as a JPEG file no wider than the album, and its size
// in full. One that is so already, and holds nothing but itself, stays as it is.
func (a *album) fit(data []byte) ([]byte, image.Point, error) {
	conf, kind, err := image.DecodeConfig(bytes.NewReader(data))
	if err == nil && kind == "jpeg" && conf.Width <= a.width && conf.Height <= 2*a.width && bare(data) {
		return data, image.Pt(conf.Width, conf.Height), nil
	}
	im, err := decode(data)
	if err != nil {
		return nil, image.Point{}, err
	}
	small, err := a.reduce(im)
	return small, im.Bounds().Size(), err
}

// Address returns a picture as a data address that shows it, made fit for the
// page; empty if it cannot be shown.
func Address(data []byte) string {
	text := func(kind string, data []byte) string {
		return "data:image/" + kind + ";base64," + base64.StdEncoding.EncodeToString(data)
	}
	if isDrawing(data) {
		if _, err := plainSVG(data); err != nil {
			return ""
		}
		return text("svg+xml", data)
	}
	small, _, err := (&album{width: widest}).fit(data)
	if err != nil {
		return ""
	}
	return text("jpeg", small)
}

// isDrawing reports whether a picture is a drawing of lines, such as a
// histogram.
func isDrawing(data []byte) bool {
	return bytes.HasPrefix(bytes.TrimSpace(data[:min(len(data), 512)]), []byte("<"))
}

// reduce returns im as a JPEG file no wider than the album's width.
func (a *album) reduce(im image.Image) ([]byte, error) {
	b := im.Bounds()
	w, h := b.Dx(), b.Dy()
	if w > a.width {
		w, h = a.width, max(1, b.Dy()*a.width/b.Dx())
	}
	out := image.NewRGBA(image.Rect(0, 0, w, h))
	imagedraw.Draw(out, out.Rect, image.NewUniform(color.White), image.Point{}, imagedraw.Src)
	var by draw.Scaler = draw.CatmullRom
	if b.Dx() < 2*w {
		by = draw.ApproxBiLinear // as good so near to full size, and four times as fast
	}
	by.Scale(out, out.Rect, im, b, draw.Over, nil)
	var buf bytes.Buffer
	err := jpeg.Encode(&buf, out, &jpeg.Options{Quality: quality})
	return buf.Bytes(), err
}

// What a plain SVG drawing is made of; anything else, above all what could
// run or load something, makes it no picture for the page.
var (
	svgElements   = []string{"svg", "g", "path", "rect", "line", "polyline", "polygon", "circle", "ellipse", "text", "tspan", "title", "desc"}
	svgAttributes = []string{"viewBox", "width", "height", "role", "aria-label", "font-family", "font-size", "font-weight", "fill", "fill-opacity",
		"stroke", "stroke-width", "stroke-dasharray", "stroke-linejoin", "stroke-linecap", "stroke-opacity", "opacity", "text-anchor",
		"d", "x", "y", "x1", "y1", "x2", "y2", "cx", "cy", "r", "rx", "ry", "dx", "dy", "points", "transform"}
)

// plainSVG copies a drawing, element by element.
func plainSVG(data []byte) (template.HTML, error) {
	var b strings.Builder
	d := xml.NewDecoder(bytes.NewReader(data))
	depth := 0
	for {
		tok, err := d.Token()
		if errors.Is(err, io.EOF) && depth == 0 && b.Len() > 0 {
			return template.HTML(b.String()), nil
		}
		if err != nil {
			return "", errors.New("it is not a whole SVG drawing")
		}
		switch t := tok.(type) {
		case xml.StartElement:
			if err := startSVG(&b, t, depth); err != nil {
				return "", err
			}
			depth++
		case xml.EndElement:
			depth--
			fmt.Fprintf(&b, "</%s>", t.Name.Local)
		case xml.CharData:
			if depth > 0 {
				b.WriteString(html.EscapeString(string(t)))
			}
		}
	}
}

func startSVG(b *strings.Builder, t xml.StartElement, depth int) error {
	if !slices.Contains(svgElements, t.Name.Local) || (depth == 0) != (t.Name.Local == "svg") {
		return fmt.Errorf("it holds <%s>, which a drawing on this page may not", t.Name.Local)
	}
	b.WriteString("<" + t.Name.Local)
	for _, a := range t.Attr {
		if a.Name.Space != "" || a.Name.Local == "xmlns" {
			continue
		}
		if !slices.Contains(svgAttributes, a.Name.Local) || strings.Contains(strings.ToLower(a.Value), "url(") {
			return fmt.Errorf("its <%s> has %q, which a drawing on this page may not", t.Name.Local, a.Name.Local)
		}
		fmt.Fprintf(b, ` %s="%s"`, a.Name.Local, html.EscapeString(a.Value))
	}
	b.WriteString(">")
	return nil
}
