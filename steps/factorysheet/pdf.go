package factorysheet

import (
	"bytes"
	"context"
	"fmt"
	"slices"
	"strings"

	"codeberg.org/go-pdf/fpdf"
)

// A4 with its margins, mm, and letters in points.
const (
	pageWidth   = 210.0
	pageHeight  = 297.0
	margin      = 10.0
	bottom      = 280.0 // lowest line of text
	textPoints  = 9.5
	tablePoints = 7.8
	digestSize  = 6.6
)

// inMM is how many mm a point of lettering is.
const inMM = 25.4 / 72

// printer writes the sheet's blocks as a PDF.
type printer struct {
	*fpdf.Fpdf
	pictures int
	missing  int // letters that the fonts have not
}

// writePDF returns the sheet as a PDF and how many letters it could not write.
// Equal sheets give equal bytes: the file's dates are the first of January 2000,
// which stands for none.
func (s *sheet) writePDF(ctx context.Context) ([]byte, int, error) {
	p := newPrinter()
	p.SetTitle(p.clean(s.title)+": factory sheet", true)
	p.AddPage()
	p.letters("plain", "", textPoints)
	p.words("Factory sheet")
	p.letters("plain", "B", 19)
	p.words(s.title)
	p.Ln(2)
	for _, b := range s.blocks {
		if ctx.Err() != nil {
			return nil, 0, context.Cause(ctx)
		}
		p.block(b)
	}
	var out bytes.Buffer
	err := p.Output(&out)
	return out.Bytes(), p.missing, err
}

func newPrinter() *printer {
	p := &printer{Fpdf: fpdf.New("P", "mm", "A4", "")}
	p.SetCatalogSort(true)
	day := p.GetCreationDate().AddDate(1999, 0, 0) // the library's zero date, moved to 2000
	p.SetCreationDate(day)
	p.SetModificationDate(day)
	p.SetProducer("layette", true)
	p.SetLang("en")
	// copies, because the library renumbers glyphs in the bytes it is given
	p.AddUTF8FontFromBytes("plain", "", slices.Clone(plainFont))
	p.AddUTF8FontFromBytes("plain", "B", slices.Clone(boldFont))
	p.AddUTF8FontFromBytes("mono", "", slices.Clone(monoFont))
	p.SetMargins(margin, margin, margin)
	p.SetCellMargin(0)
	p.SetAutoPageBreak(false, margin)
	p.AliasNbPages("{pages}")
	p.SetFooterFunc(func() {
		p.letters("plain", "", 7.5)
		p.Text(pageWidth-margin-20, 288, fmt.Sprintf("Page %d of {pages}", p.PageNo()))
	})
	return p
}

func (p *printer) letters(family, style string, points float64) { p.SetFont(family, style, points) }

// clean replaces what the letters cannot write.
func (p *printer) clean(text string) string {
	text, missing := writable(text)
	p.missing += missing
	return text
}

// room starts a page unless so many mm are left.
func (p *printer) room(mm float64) {
	if p.GetY()+mm > bottom {
		p.AddPage()
	}
}

// words writes a paragraph in the letters set.
func (p *printer) words(text string) {
	_, high := p.GetFontSize()
	for _, l := range p.wrapped(text, pageWidth-2*margin) {
		p.room(high * 1.4)
		p.SetX(margin)
		p.CellFormat(0, high*1.4, l, "", 1, "L", false, 0, "")
	}
}

// wrapped breaks a text into lines of a width; a word too long for one is cut.
func (p *printer) wrapped(text string, wide float64) []string {
	var lines []string
	for _, part := range strings.Split(p.clean(text), "\n") {
		line := ""
		for _, word := range strings.Fields(part) {
			for p.GetStringWidth(word) > wide {
				head := p.fitting(word, wide)
				if line != "" {
					lines, line = append(lines, line), ""
				}
				lines, word = append(lines, head), word[len(head):]
			}
			switch {
			case line == "":
				line = word
			case p.GetStringWidth(line+" "+word) <= wide:
				line += " " + word
			default:
				lines, line = append(lines, line), word
			}
		}
		lines = append(lines, line)
	}
	return lines
}

// fitting returns the longest beginning of a word that a width takes, at least
// one letter.
func (p *printer) fitting(word string, wide float64) string {
	end := 0
	for i, r := range word {
		next := i + len(string(r))
		if end > 0 && p.GetStringWidth(word[:next]) > wide {
			break
		}
		end = next
	}
	return word[:end]
}

func (p *printer) block(b block) {
	if b.Plate != nil {
		p.plate(b.Plate)
		return
	}
	if len(b.Photos) > 0 {
		p.room(95)
	}
	if b.Heading != "" {
		p.heading(b.Heading)
	}
	if b.Text != "" {
		style := ""
		if b.Strong {
			style = "B"
		}
		p.letters("plain", style, textPoints)
		if b.Strong {
			p.room(32) // with what it is about
		}
		p.words(b.Text)
		p.Ln(1)
	}
	p.letters("plain", "", textPoints)
	for _, item := range b.Items {
		p.words("– " + item)
	}
	if b.Table != nil {
		p.table(b.Table)
	}
	p.photos(b.Photos)
}

func (p *printer) heading(text string) {
	p.room(38)
	p.Ln(4)
	y := p.GetY()
	p.SetLineWidth(0.4)
	p.Line(margin, y, pageWidth-margin, y)
	p.Ln(1.5)
	p.letters("plain", "B", 12)
	p.words(text)
	p.Ln(1)
}

func (p *printer) table(t *table) {
	p.head(t)
	for _, row := range t.Rows {
		cells, high := p.cells(t, row, "")
		if p.GetY()+high > bottom {
			p.AddPage()
			p.head(t)
		}
		p.row(t, cells, high, "")
	}
	p.Ln(2)
}

func (p *printer) head(t *table) {
	if len(t.Head) == 0 {
		return
	}
	cells, high := p.cells(t, t.Head, "B")
	p.room(high + 8)
	p.row(t, cells, high, "B")
}

// rowLine is the height of a line in a table, mm.
const rowLine = tablePoints * inMM * 1.35

// cells breaks a row's texts into lines and says how tall the row is.
func (p *printer) cells(t *table, row []string, style string) (cells [][]string, high float64) {
	for i, text := range row {
		p.cellFont(t, i, style)
		lines := p.wrapped(text, (pageWidth-2*margin)*t.Shares[i]-2)
		cells = append(cells, lines)
		high = max(high, float64(len(lines))*rowLine+1.6)
	}
	return cells, high
}

func (p *printer) cellFont(t *table, column int, style string) {
	if column == t.mono && style == "" {
		p.letters("mono", "", digestSize)
		return
	}
	p.letters("plain", style, tablePoints)
}

func (p *printer) row(t *table, cells [][]string, high float64, style string) {
	x, y := margin, p.GetY()
	for i, lines := range cells {
		p.cellFont(t, i, style)
		for k, l := range lines {
			p.Text(x, y+rowLine*(float64(k)+0.85), l)
		}
		x += (pageWidth - 2*margin) * t.Shares[i]
	}
	p.SetLineWidth(0.15)
	p.Line(margin, y+high-0.5, pageWidth-margin, y+high-0.5)
	p.SetY(y + high)
}

// photos lays pictures two to a row.
func (p *printer) photos(list []photo) {
	const gap = 4.0
	wide := (pageWidth - 2*margin - gap) / 2
	for i := 0; i < len(list); i += 2 {
		pair := list[i:min(i+2, len(list))]
		high := 0.0
		for _, f := range pair {
			high = max(high, wide*float64(f.Tall)/float64(f.Wide))
		}
		p.room(high + 8)
		y := p.GetY()
		for k, f := range pair {
			x := margin + float64(k)*(wide+gap)
			p.picture(f.Kind, f.Data, x, y, wide, wide*float64(f.Tall)/float64(f.Wide))
			p.letters("plain", "", tablePoints)
			p.Text(x, y+high+4, p.clean(f.Caption))
		}
		p.SetY(y + high + 7)
	}
}

func (p *printer) picture(kind string, data []byte, x, y, wide, tall float64) {
	p.pictures++
	name := fmt.Sprintf("picture %d", p.pictures)
	o := fpdf.ImageOptions{ImageType: kind}
	p.RegisterImageOptionsReader(name, o, bytes.NewReader(data))
	p.ImageOptions(name, x, y, wide, tall, false, o, 0, "")
}

// plate draws a plate on a page of its own, in true millimetres.
func (p *printer) plate(d *drawing) {
	p.AddPage()
	for _, f := range d.pictures {
		p.picture("png", f.png, margin+f.at.x, margin+f.at.y, f.width, f.height)
	}
	p.SetLineJoinStyle("round")
	for _, l := range d.lines {
		p.stroke(l)
	}
	p.SetDashPattern(nil, 0)
	for _, w := range d.words {
		p.lettered(w)
	}
	p.SetY(bottom) // the plate fills its page
}

func (p *printer) stroke(l line) {
	p.SetLineWidth(max(l.width, 0.05))
	p.SetDashPattern(l.dashes, 0)
	for i, q := range l.through {
		if i == 0 {
			p.MoveTo(margin+q.x, margin+q.y)
			continue
		}
		p.LineTo(margin+q.x, margin+q.y)
	}
	if l.closed {
		p.ClosePath()
	}
	p.SetFillColor(17, 17, 17)
	switch {
	case l.filled && l.width > 0:
		p.DrawPath("FD")
	case l.filled:
		p.DrawPath("F")
	default:
		p.DrawPath("D")
	}
}

func (p *printer) lettered(w lettering) {
	style := ""
	if w.bold {
		style = "B"
	}
	p.letters("plain", style, w.size/inMM)
	text := p.clean(w.text)
	x, y := margin+w.at.x, margin+w.at.y
	left := x
	if !w.start {
		left -= p.GetStringWidth(text) / 2
	}
	if !w.upward {
		p.Text(left, y, text)
		return
	}
	p.TransformBegin()
	p.TransformRotate(90, x, y)
	p.Text(left, y, text)
	p.TransformEnd()
}
