package factorysheet

import (
	"bytes"
	_ "embed"
	"encoding/base64"
	"fmt"
	"html"
	"html/template"
	"strings"
)

var (
	//go:embed sheet.html
	pageText string
	//go:embed sheet.css
	pageStyle string
)

var pageTemplate = template.Must(template.New("factory sheet").Funcs(template.FuncMap{"plate": svg, "image": dataURI, "percent": percent, "mono": isMono}).Parse(pageText))

// writeHTML returns the sheet as one page that loads nothing from outside and
// runs nothing.
func (s *sheet) writeHTML() ([]byte, error) {
	var b bytes.Buffer
	err := pageTemplate.Execute(&b, map[string]any{"Title": s.title, "Style": template.CSS(pageStyle), "Blocks": s.blocks})
	return b.Bytes(), err
}

func percent(share float64) string { return fmt.Sprintf("%.0f%%", 100*share) }

func isMono(t *table, column int) bool { return t.mono == column }

func dataURI(kind string, data []byte) template.URL {
	return template.URL("data:image/" + kind + ";base64," + base64.StdEncoding.EncodeToString(data))
}

// svg returns a plate as an SVG drawing whose unit is the mm of paper.
func svg(d *drawing) template.HTML {
	var b strings.Builder
	fmt.Fprintf(&b, `<svg xmlns="http://www.w3.org/2000/svg" width="%gmm" height="%gmm" viewBox="0 0 %g %g" role="img" aria-label="plate: %s">`,
		d.width, d.height, d.width, d.height, html.EscapeString(d.title))
	for _, p := range d.pictures {
		fmt.Fprintf(&b, `<image x="%.3f" y="%.3f" width="%.3f" height="%.3f" href="%s"/>`, p.at.x, p.at.y, p.width, p.height, dataURI("png", p.png))
	}
	for _, l := range d.lines {
		svgLine(&b, l)
	}
	for _, w := range d.words {
		svgWords(&b, w)
	}
	b.WriteString("</svg>")
	return template.HTML(b.String())
}

func svgLine(b *strings.Builder, l line) {
	b.WriteString(`<path d="`)
	for i, p := range l.through {
		fmt.Fprintf(b, "%c%.3f %.3f", "ML"[min(i, 1)], p.x, p.y)
	}
	if l.closed {
		b.WriteByte('Z')
	}
	fill := "none"
	if l.filled {
		fill = "#111"
	}
	fmt.Fprintf(b, `" fill="%s"`, fill)
	if l.width > 0 {
		fmt.Fprintf(b, ` stroke="#111" stroke-width="%.3g" stroke-linejoin="round"`, l.width)
	}
	if len(l.dashes) > 0 {
		fmt.Fprintf(b, ` stroke-dasharray="%s"`, strings.Trim(fmt.Sprint(l.dashes), "[]"))
	}
	b.WriteString("/>")
}

func svgWords(b *strings.Builder, w lettering) {
	fmt.Fprintf(b, `<text x="%.3f" y="%.3f" font-size="%.3g"`, w.at.x, w.at.y, w.size)
	if !w.start {
		b.WriteString(` text-anchor="middle"`)
	}
	if w.bold {
		b.WriteString(` font-weight="bold"`)
	}
	if w.upward {
		fmt.Fprintf(b, ` transform="rotate(-90 %.3f %.3f)"`, w.at.x, w.at.y)
	}
	fmt.Fprintf(b, ">%s</text>", html.EscapeString(w.text))
}
