package shrinkage

import (
	"fmt"
	"strings"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/process"
)

// table writes the chain as CSV, in the order in which things are made: from
// the child over what was scanned to the master, and on to the finished part,
// which is as large as the child. The running size follows the reference
// length, or the longest side of the surface if none is given; a link that
// differs by direction has its mean factor there.
func (c chain) table(values step.Values, m *geom.Mesh) string {
	var b strings.Builder
	b.WriteString("link,share_x_percent,share_y_percent,share_z_percent,frame,factor,running_factor,running_size_mm,origin\n")
	wanted, running := 0.0, 1.0
	if values.Has("reference") {
		wanted = values.Float("reference")
	} else {
		wanted = float64(longest(m) * total(process.Scale(c.source)))
	}
	row := func(name string, l process.Link, factor float64) {
		running = float64(running * factor)
		fmt.Fprintf(&b, "%s,%.6g,%.6g,%.6g,%s,%.9f,%.9f,%.4f,%s\n", quoted(name), 100*l.Share[0], 100*l.Share[1], 100*l.Share[2], quoted(l.Frame), factor, running, wanted*running, quoted(l.Origin))
	}
	row("as it is to be", process.Link{}, 1)
	for _, l := range c.source {
		row(l.Name, l, l.Mean())
	}
	row("master", process.Link{}, total(c.master()))
	for _, l := range c.links {
		row(l.Name, l, l.Mean())
	}
	return b.String()
}

// quoted writes a CSV field (RFC 4180).
func quoted(s string) string {
	if strings.ContainsAny(s, ",\"\r\n") {
		return `"` + strings.ReplaceAll(s, `"`, `""`) + `"`
	}
	return s
}
