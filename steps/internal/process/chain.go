package process

import (
	"math"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

// Scale returns the map from the finished part to the master: every link
// undone, the last copy first.
func Scale(links []Link) geom.Mat {
	m := geom.Identity
	for _, l := range links {
		m = m.Mul(l.Undo())
	}
	return m
}

// Copied returns the map from the master to the finished part: Scale undone,
// one copy after the other.
func Copied(links []Link) geom.Mat {
	m := geom.Identity
	for _, l := range links {
		m = l.do().Mul(m)
	}
	return m
}

// Mean returns the cube root of the link's volume factor.
func (l Link) Mean() float64 {
	if l.Even() {
		return l.Factor[0]
	}
	return CubeRoot(float64(float64(l.Factor[0]*l.Factor[1]) * l.Factor[2]))
}

// Detail returns the wavelength of which half the depth survives the whole
// chain, mm on the finished part. Each link's own is a length on its copy and
// shrinks with all that follow. Gaussian filters one after the other are one
// whose squared cut-off is the sum of theirs.
func Detail(links []Link) float64 {
	at := DetailAt(links)
	if at == nil {
		return detailAt(links, 0)
	}
	lo, hi := 1e-3, 1e3 // the shorter a wave, the more it loses
	for hi/lo > 1+1e-9 {
		if l := math.Sqrt(float64(lo * hi)); at(l) > l {
			lo = l
		} else {
			hi = l
		}
	}
	return hi
}

// DetailAt returns the detail d that the chain holds for waves of each length l,
// mm on the finished part: of such a wave 2^-(d/l)² survives. It is nil where
// every link is a Gaussian filter and d is Detail at every length.
func DetailAt(links []Link) func(length float64) float64 {
	for _, l := range links {
		if l.Waves != nil {
			return func(length float64) float64 { return detailAt(links, length) }
		}
	}
	return nil
}

func detailAt(links []Link, length float64) float64 {
	squares, after := 0.0, 1.0
	for i := len(links) - 1; i >= 0; i-- {
		d := float64(links[i].at(length/after) * after)
		squares += float64(d * d)
		after *= links[i].Mean()
	}
	return math.Sqrt(squares)
}

// Chain reads the values links and frames of a stage, both of which may be
// left out.
func Chain(values step.Values) (links []Link, complaints []step.Complaint) {
	complain := func(value string, wrong []string) {
		for _, says := range wrong {
			complaints = append(complaints, step.Complaint{Value: value, Says: says})
		}
	}
	frames, wrong := map[string]geom.Mat(nil), []string(nil)
	if values.Has("frames") {
		frames, wrong = Frames(values.Table("frames"))
		complain("frames", wrong)
	}
	if values.Has("links") {
		links, wrong = Read(values.Table("links"), frames)
		complain("links", wrong)
	}
	return links, complaints
}
