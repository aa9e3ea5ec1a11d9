package draw

import (
	"fmt"
	"html"
	"math"
	"slices"
	"strings"
)

// Bars are counts of values in steps of equal width, drawn as a histogram.
type Bars struct {
	Title  string
	Name   string // of the values, with their unit: "wall, mm"
	Low    float64
	Step   float64
	Counts []int
	Limits []float64 // marked by upright lines
}

// Count sorts values into n bars between low and high, both of which count;
// what lies beyond is put into the first or the last. Values that are not
// numbers are left out.
func Count(values []float64, low, high float64, n int) Bars {
	b := Bars{Low: low, Step: (high - low) / float64(max(n, 1)), Counts: make([]int, max(n, 1))}
	for _, v := range values {
		if v != v {
			continue
		}
		k := 0
		if b.Step > 0 {
			k = int(min(max(math.Floor((v-low)/b.Step), 0), float64(len(b.Counts)-1)))
		}
		b.Counts[k]++
	}
	return b
}

// A Curve is a line through points, x then y. Points whose y is not a number
// break it.
type Curve struct {
	Name   string
	Points [][2]float64
	Dashed bool
}

// Chart is a small line chart.
type Chart struct {
	Title, X, Y string // what it is about, and the axes with their units
	Curves      []Curve
	Limits      []float64 // marked by level lines
}

// Size of a chart in its own units; a page scales it.
const (
	chartWidth, chartHeight = 420.0, 220.0
	edgeLeft, edgeRight     = 46.0, 14.0
	edgeTop, edgeBottom     = 26.0, 40.0
)

// A graph is a chart being written.
type graph struct {
	strings.Builder
	x0, x1, y0, y1 float64 // the values at the edges
}

// px returns where a value falls, kept near the chart.
func (g *graph) px(x float64) float64 {
	return edgeLeft + float64((chartWidth-edgeLeft-edgeRight)*share(x, g.x0, g.x1))
}

func (g *graph) py(y float64) float64 {
	return chartHeight - edgeBottom - float64((chartHeight-edgeTop-edgeBottom)*share(y, g.y0, g.y1))
}

func share(v, low, high float64) float64 {
	if !(high > low) {
		return 0.5
	}
	return min(max((v-low)/(high-low), -0.05), 1.05)
}

// open writes the frame, the title and the axes.
func (g *graph) open(title, x, y string) {
	fmt.Fprintf(g, `<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 %g %g" role="img" aria-label="%s" font-family="sans-serif" font-size="11" fill="#2b2c30">`,
		chartWidth, chartHeight, html.EscapeString(title))
	fmt.Fprintf(g, `<text x="%g" y="15" font-size="12.5" font-weight="600">%s</text>`, edgeLeft, html.EscapeString(title))
	fmt.Fprintf(g, `<path d="M%g %gV%gH%g" fill="none" stroke="#5d5c59"/>`, edgeLeft, edgeTop, chartHeight-edgeBottom, chartWidth-edgeRight)
	for _, v := range steps(g.x0, g.x1) {
		fmt.Fprintf(g, `<path d="M%.1f %gv4" stroke="#5d5c59"/><text x="%.1f" y="%g" text-anchor="middle">%s</text>`,
			g.px(v), chartHeight-edgeBottom, g.px(v), chartHeight-edgeBottom+16, number(v))
	}
	for _, v := range steps(g.y0, g.y1) {
		fmt.Fprintf(g, `<path d="M%g %.1fh-4" stroke="#5d5c59"/><text x="%g" y="%.1f" text-anchor="end">%s</text>`,
			edgeLeft, g.py(v), edgeLeft-7, g.py(v)+4, number(v))
	}
	fmt.Fprintf(g, `<text x="%g" y="%g" text-anchor="end" fill="#5d5c59">%s</text>`, chartWidth-edgeRight, chartHeight-6, html.EscapeString(x))
	fmt.Fprintf(g, `<text x="%g" y="15" text-anchor="end" fill="#5d5c59">%s</text>`, chartWidth-edgeRight, html.EscapeString(y))
}

// steps returns round values between low and high.
func steps(low, high float64) []float64 {
	step := round125((high - low) / 3)
	if !(high > low) || math.IsInf(high-low, 0) || step <= 0 || (high-low)/step > 20 {
		return []float64{low}
	}
	var out []float64
	for v := float64(math.Ceil(low/step-1e-9) * step); v <= high+float64(step*1e-9); v += step {
		out = append(out, math.Round(v/step)*step)
	}
	return out
}

// SVG returns the histogram as the text of an SVG picture.
func (b Bars) SVG() string {
	g := &graph{x0: b.Low, x1: b.Low + float64(b.Step*float64(len(b.Counts))), y1: float64(slices.Max(append([]int{1}, b.Counts...)))}
	g.open(b.Title, b.Name, "")
	for i, n := range b.Counts {
		x := g.px(b.Low + float64(b.Step*float64(i)))
		w := (chartWidth - edgeLeft - edgeRight) / float64(len(b.Counts))
		y := g.py(float64(n))
		fmt.Fprintf(g, `<rect x="%.2f" y="%.2f" width="%.2f" height="%.2f" fill="#43748e"/>`, x, y, max(w-0.8, 0.3), chartHeight-edgeBottom-y)
	}
	for _, v := range b.Limits {
		g.limit(fmt.Sprintf(`M%.1f %gV%g`, g.px(v), edgeTop, chartHeight-edgeBottom), g.px(v)+4, edgeTop+9, v)
	}
	g.WriteString("</svg>")
	return g.String()
}

// limit marks a limit by a dashed line and its value.
func (g *graph) limit(path string, x, y, v float64) {
	fmt.Fprintf(g, `<path d="%s" stroke="#8e1f3c" stroke-width="1.5" stroke-dasharray="5 3"/><text x="%.1f" y="%.1f" fill="#8e1f3c">%s</text>`, path, x, y, number(v))
}

// SVG returns the chart as the text of an SVG picture.
func (c Chart) SVG() string {
	g := &graph{x0: math.Inf(1), x1: math.Inf(-1), y0: math.Inf(1), y1: math.Inf(-1)}
	for _, v := range c.Limits {
		g.y0, g.y1 = min(g.y0, v), max(g.y1, v)
	}
	for _, curve := range c.Curves {
		for _, p := range curve.Points {
			if s := p[0] + p[1]; s-s == 0 {
				g.x0, g.x1, g.y0, g.y1 = min(g.x0, p[0]), max(g.x1, p[0]), min(g.y0, p[1]), max(g.y1, p[1])
			}
		}
	}
	if !(g.x0 <= g.x1) {
		g.x0, g.x1 = 0, 1
	}
	if !(g.y0 <= g.y1) {
		g.y0, g.y1 = 0, 1
	}
	g.open(c.Title, c.X, c.Y)
	for i, curve := range c.Curves {
		g.curve(curve, i)
	}
	for _, v := range c.Limits {
		g.limit(fmt.Sprintf(`M%g %.1fH%g`, edgeLeft, g.py(v), chartWidth-edgeRight), edgeLeft+5, g.py(v)-4, v)
	}
	g.WriteString("</svg>")
	return g.String()
}

// curve writes the i-th curve and its name. Curves are told apart by darkness
// and dashes, not by hue alone.
func (g *graph) curve(c Curve, i int) {
	tone := [...]string{"#15285f", "#91590f", "#5d5c59", "#43748e"}[i%4]
	var path strings.Builder
	pen := "M"
	for _, p := range c.Points {
		if s := p[0] + p[1]; s-s != 0 {
			pen = "M"
			continue
		}
		fmt.Fprintf(&path, "%s%.2f %.2f", pen, g.px(p[0]), g.py(p[1]))
		pen = "L"
	}
	dash := ""
	if c.Dashed || i >= 4 {
		dash = ` stroke-dasharray="7 3"`
	}
	fmt.Fprintf(g, `<path d="%s" fill="none" stroke="%s" stroke-width="1.8" stroke-linejoin="round"%s/>`, path.String(), tone, dash)
	if c.Name != "" {
		fmt.Fprintf(g, `<text x="%g" y="%g" fill="%s">%s</text>`, edgeLeft+8, edgeTop+11+float64(14*float64(i)), tone, html.EscapeString(c.Name))
	}
}
