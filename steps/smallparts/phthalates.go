package smallparts

import (
	"fmt"
	"slices"
	"strings"

	"layette/engine/step"
)

// The substances of the published limits.
var (
	us   = []string{"DEHP", "DBP", "BBP", "DINP", "DIBP", "DPENP", "DHEXP", "DCHP"} // 16 CFR 1307.3
	eu51 = []string{"DEHP", "DBP", "BBP", "DIBP"}                                   // REACH XVII entry 51
	eu52 = []string{"DINP", "DIDP", "DNOP"}                                         // REACH XVII entry 52
)

// limit is 0.1 % by weight; shares are compared in millionths so that 0.04 %
// three times over is 0.12 % and not a rounding less.
const limit = 1000

func millionths(share float64) int64 { return int64(share*1e6 + 0.5) }

// declared says what is wrong with a supplier's figures.
func declared(t step.Table) []step.Complaint {
	var wrong []step.Complaint
	known := slices.Concat(us, eu52)
	for i, name := range t.Names {
		share, number := t.Values[i].(float64)
		switch {
		case !slices.Contains(known, name):
			wrong = append(wrong, step.Complaint{Value: "phthalates", Says: fmt.Sprintf("no limit kept here names %q", name), Hint: "known are " + strings.Join(known, ", ")})
		case !number || t.Kinds[i] != step.Share:
			wrong = append(wrong, step.Complaint{Value: "phthalates", Says: name + " needs a share", Hint: `write it as "0.01 %"`})
		case share < 0 || share > 1:
			wrong = append(wrong, step.Complaint{Value: "phthalates", Says: name + " lies outside 0 % to 100 %"})
		}
	}
	return wrong
}

// sums is what the limits ask of declared figures, in millionths.
type sums struct {
	over       int64 // substances above the limit each
	eu51, eu52 int64
}

func add(t step.Table) sums {
	var s sums
	for i, name := range t.Names {
		m := millionths(t.Values[i].(float64))
		if slices.Contains(us, name) && m > limit {
			s.over++
		}
		if slices.Contains(eu51, name) {
			s.eu51 += m
		}
		if slices.Contains(eu52, name) {
			s.eu52 += m
		}
	}
	return s
}

// declare measures the declared figures; without any the numbers are unknown.
func declare(values step.Values, out *step.Outcome) {
	m := out.Measures
	m["phthalates.declared"] = values.Has("phthalates")
	if !values.Has("phthalates") {
		out.Notes = append(out.Notes, "The supplier's figures for phthalates are not here: ask for a laboratory's report on this very lot.")
		return
	}
	s := add(values.Table("phthalates"))
	m["phthalates.us.over"] = s.over
	m["phthalates.eu51"], m["phthalates.eu51.reached"] = float64(s.eu51)/1e6, s.eu51 >= limit
	m["phthalates.eu52"], m["phthalates.eu52.over"] = float64(s.eu52)/1e6, s.eu52 > limit
	out.Notes = append(out.Notes, "The figures are the supplier's word, for this material only; paint and glue count as well.")
}
