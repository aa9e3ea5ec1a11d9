package diag

import (
	"fmt"
	"slices"
	"strings"
)

// DidYouMean returns a hint naming the known word nearest to word, if one is
// at most two edits away; otherwise the words there are, if they are few.
func DidYouMean(word string, known []string) string {
	best, least := "", 3
	for _, k := range slices.Sorted(slices.Values(known)) {
		if d := edits(word, k); d < least && d < len(word) {
			best, least = k, d
		}
	}
	if best != "" {
		return fmt.Sprintf("did you mean %q?", best)
	}
	return ""
}

// edits returns how many letters must be put in, taken out, changed or swapped
// with a neighbour to turn a into b; anything over 2 is told as 3. (Optimal
// string alignment: Damerau 1964 and Levenshtein 1966, from memory.)
func edits(a, b string) int {
	x, y := []rune(a), []rune(b)
	if len(x)-len(y) > 2 || len(y)-len(x) > 2 || len(x) > 100 {
		return 3
	}
	before, last, row := make([]int, len(y)+1), make([]int, len(y)+1), make([]int, len(y)+1)
	for j := range last {
		last[j] = j
	}
	for i := range x {
		row[0] = i + 1
		for j := range y {
			row[j+1] = min(last[j+1]+1, row[j]+1, last[j]+one(x[i] != y[j]))
			if i > 0 && j > 0 && x[i] == y[j-1] && x[i-1] == y[j] {
				row[j+1] = min(row[j+1], before[j-1]+1)
			}
		}
		before, last, row = last, row, before
	}
	return min(last[len(y)], 3)
}

func one(yes bool) int {
	if yes {
		return 1
	}
	return 0
}

// A puts the article before a noun: "a length", "an angle".
func A(noun string) string {
	if noun != "" && strings.ContainsRune("aeiou", rune(noun[0])) {
		return "an " + noun
	}
	return "a " + noun
}
