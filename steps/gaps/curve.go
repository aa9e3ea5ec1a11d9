package gaps

import (
	"cmp"
	"slices"

	"layette/steps/internal/geom"
)

// marks are the shares of skin that the curves are given at.
var marks = []float64{0, 0.01, 0.05, 0.25, 0.5, 0.75, 1}

// quantile returns the value that share of the weight lies under or on.
func quantile(values, weights []float64, share float64) float64 {
	return quantiles(values, weights, []float64{share})[0]
}

// quantiles returns the values that these shares, rising, of the weight lie
// under or on; there must be values.
func quantiles(values, weights, shares []float64) []float64 {
	order := make([]int, len(values))
	for i := range order {
		order[i] = i
	}
	slices.SortFunc(order, func(a, b int) int { return cmp.Or(cmp.Compare(values[a], values[b]), cmp.Compare(a, b)) })
	var total, sum geom.Sum
	for _, w := range weights {
		total.Add(w)
	}
	out, at := make([]float64, len(shares)), 0
	for k, s := range shares {
		for at < len(order)-1 && sum.Total()+weights[order[at]] < float64(s*total.Total()) {
			sum.Add(weights[order[at]])
			at++
		}
		out[k] = values[order[at]]
	}
	return out
}

// curve returns the quantiles of the balls that are kept, weighted by skin;
// empty if none are.
func (l *look) curve(keep func(i int32) bool, value func(i int32) float64) []float64 {
	var values, weights []float64
	for i := range int32(len(l.air)) {
		if keep(i) {
			values = append(values, value(i))
			weights = append(weights, l.skin.Area[i])
		}
	}
	if len(values) == 0 {
		return []float64{}
	}
	return quantiles(values, weights, marks)
}
