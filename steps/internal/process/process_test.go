package process

import (
	"math"
	"strings"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
)

func table(kind step.ValueType, pairs ...any) step.Table {
	var t step.Table
	for i := 0; i < len(pairs); i += 2 {
		t.Names, t.Values = append(t.Names, pairs[i].(string)), append(t.Values, pairs[i+1])
		k := kind
		if strings.HasPrefix(pairs[i].(string), "detail") {
			k = step.Length
		}
		t.Kinds = append(t.Kinds, k)
	}
	return t
}

// TestDetail: Gaussian filters one after the other are one with the root of the
// sum of squares, 0.3 and 0.4 mm are 0.5 mm; a length on a copy shrinks with it.
func TestDetail(t *testing.T) {
	links, wrong := Read(table(step.Share,
		"wax", table(step.Share, "detail", 0.3, "origin", "ask your factory"),
		"vinyl", table(step.Share, "shrinks", 0.0, "detail", 0.4)), nil)
	if len(wrong) > 0 || !(math.Abs(Detail(links)-0.5) <= 1e-12) || links[0].Origin != "ask your factory" {
		t.Errorf("detail %v, links %+v, %q", Detail(links), links, wrong)
	}
	links, _ = Read(table(step.Share, "wax", table(step.Share, "shrinks", 0.02, "detail", 1.0), "vinyl", 0.05), nil)
	if got := Detail(links); !(math.Abs(got-0.95) <= 1e-12) {
		t.Errorf("1 mm on the wax is %v mm on the part, want 0.95", got)
	}
	// Three links of 2 % make a master 1.062482 times the part.
	links, _ = Read(table(step.Share, "wax", 0.02, "mould", table(step.Share, "shrinks", 0.02, "shrinks-from", 0.019, "shrinks-to", 0.021), "season", 0.02), nil)
	if got := Scale(links)[1][1]; !(math.Abs(got-1.062482) <= 1e-6) {
		t.Errorf("scale %v, want 1.062482", got)
	}
	if links[1].ShareTo != 0.021 {
		t.Errorf("interval %+v", links[1])
	}
}

func TestBadLinks(t *testing.T) {
	for want, link := range map[string]any{
		"detail is a length":       table(step.Share, "shrinks", 0.02, "detail", -1.0),
		"detail-to is a length":    table(step.Share, "detail-to", "much"),
		"shrinks-from is a share":  table(step.Share, "shrinks", 0.02, "shrinks-from", "2"),
		"such as \"60 % at 2 mm\"": table(step.Share, "kept", []string{"12 % of 1 mm"}),
		"from short waves":         table(step.Share, "kept", []string{"12 % at 2 mm", "14 % at 1 mm"}),
		"no less survives":         table(step.Share, "kept", []string{"12 % at 1 mm", "11 % at 2 mm"}),
		"kept is a list":           table(step.Share, "kept", 0.3),
		"not both":                 table(step.Share, "detail", 0.5, "kept", []string{"12 % at 1 mm"}),
		"a share from 0 to 100 %":  table(step.Share, "kept", []string{"120 % at 1 mm"}),
		"a link's table holds":     table(step.Share, "shrinks", 0.02, "grows", 0.01),
	} {
		if _, err := One("wax", link, nil); err == nil || !strings.Contains(err.Error(), want) {
			t.Errorf("%v, want %q", err, want)
		}
	}
	if _, err := One("wax", step.Table{Names: []string{"detail"}, Kinds: []step.ValueType{step.Share}, Values: []any{0.5}}, nil); err == nil {
		t.Error("a detail of 50 % is no length")
	}
}

// TestKept: a curve that is a Gaussian filter's is one; one that is not gives
// back what was measured, and a chain the product of its links' curves.
func TestKept(t *testing.T) {
	curve := func(texts ...string) step.Table { return table(step.Share, "kept", texts) }
	links, wrong := Read(table(step.Share, "vinyl", curve("6.25 % at 0.5 mm", "50 % at 1 mm", "84.0896 % at 2 mm")), nil)
	if len(wrong) > 0 {
		t.Fatal(wrong)
	}
	if d := Detail(links); !(math.Abs(d-1) <= 1e-5) {
		t.Errorf("half survives at %v, want 1 mm", d)
	}
	survives := func(links []Link, length float64) float64 {
		d := DetailAt(links)(length) / length
		return math.Exp2(-d * d)
	}
	for _, length := range []float64{0.3, 0.7, 1.3, 5} {
		if got, want := survives(links, length), math.Exp2(-1/length/length); !(math.Abs(got-want) <= 1e-5) {
			t.Errorf("of %v mm %v survives, want %v", length, got, want)
		}
	}
	// 40 % of 2 mm on the wax, which shrinks by 10 % to 1.8 mm of vinyl, of
	// which half survives: 20 %.
	wax := curve("20 % at 1 mm", "40 % at 2 mm", "80 % at 8 mm")
	links, wrong = Read(table(step.Share, "wax", wax, "vinyl", table(step.Share, "shrinks", 0.1, "detail", 1.8)), nil)
	if got := survives(links, 1.8); len(wrong) > 0 || !(math.Abs(got-0.2) <= 1e-9) {
		t.Errorf("%v survives both, want 0.2 (%v)", got, wrong)
	}
	if got := survives(links, Detail(links)); !(math.Abs(got-0.5) <= 1e-6) {
		t.Errorf("at its detail of %v mm the chain keeps %v", Detail(links), got)
	}
}

// TestCopied: what the master is scaled up by, the copies take off again, also
// along the axes of a turned frame.
func TestCopied(t *testing.T) {
	frames, wrong := Frames(table(step.Tree, "mould", table(step.Point, "x", []float64{0.6, 0.8, 0}, "y", []float64{-0.8, 0.6, 0})))
	links, more := Read(table(step.Share, "wax", 0.02, "vinyl", step.Table{Names: []string{"x", "y", "z", "frame"}, Values: []any{0.01, 0.03, 0.05, "mould"}}), frames)
	if len(wrong)+len(more) > 0 {
		t.Fatal(wrong, more)
	}
	p := geom.Vec{X: 10, Y: -20, Z: 30}
	if back := Copied(links).Apply(Scale(links).Apply(p)); back.Sub(p).Len() > 1e-12 {
		t.Errorf("%v came back as %v", p, back)
	}
	if z := Copied(links).Apply(geom.Vec{Z: 100}).Z; !(math.Abs(z-100*0.98*0.95) <= 1e-12) {
		t.Errorf("100 mm became %v", z)
	}
}
