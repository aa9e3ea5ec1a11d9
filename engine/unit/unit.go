// Package unit reads and prints quantities as recipes write them: a number, a
// blank and a unit, such as "1.2 mm", "15 deg" or "2 %". Inside the program a
// quantity is a float64 in the base unit of its type: mm, mm², mm³, degrees, a
// fraction of one, g, g/cm³, s, °C.
package unit

import (
	"fmt"
	"math"
	"slices"
	"strconv"
	"strings"

	"layette/engine/step"
)

// Quantity is a number in the base unit of its type.
type Quantity struct {
	Type  step.ValueType
	Value float64
}

// String returns the quantity as a recipe would write it.
func (q Quantity) String() string { return Format(q.Value, q.Type) }

// Error says what is wrong with a quantity's text and what to write instead.
type Error struct {
	Says string
	Hint string
}

// Error returns what is wrong, without the hint.
func (e *Error) Error() string { return e.Says }

// scale is a unit: a value in it times 10^Shift and Times is one in the base unit.
type scale struct {
	symbol string
	kind   step.ValueType
	shift  int     // power of ten, applied to the digits so that nothing is lost
	times  float64 // 0 means 1
}

// scales lists every unit. The first of a type is the one that Format prints.
// An inch is 25.4 mm exactly (international yard and pound agreement, 1959;
// from memory).
var scales = []scale{
	{symbol: "mm", kind: step.Length},
	{symbol: "um", kind: step.Length, shift: -3},
	{symbol: "cm", kind: step.Length, shift: 1},
	{symbol: "m", kind: step.Length, shift: 3},
	{symbol: "in", kind: step.Length, times: 25.4},
	{symbol: "deg", kind: step.Angle},
	{symbol: "mm2", kind: step.Area},
	{symbol: "cm2", kind: step.Area, shift: 2},
	{symbol: "in2", kind: step.Area, times: 645.16},
	{symbol: "mm3", kind: step.Volume},
	{symbol: "cm3", kind: step.Volume, shift: 3},
	{symbol: "ml", kind: step.Volume, shift: 3},
	{symbol: "%", kind: step.Share, shift: -2},
	{symbol: "g", kind: step.Mass},
	{symbol: "mg", kind: step.Mass, shift: -3},
	{symbol: "kg", kind: step.Mass, shift: 3},
	{symbol: "g/cm3", kind: step.Density},
	{symbol: "kg/m3", kind: step.Density, shift: -3},
	{symbol: "s", kind: step.Time},
	{symbol: "min", kind: step.Time, times: 60},
	{symbol: "h", kind: step.Time, times: 3600},
	{symbol: "d", kind: step.Time, times: 86400},
	{symbol: "degC", kind: step.Temperature},
}

// plain spells the signs people type as the letters the table has.
var plain = strings.NewReplacer("µ", "u", "μ", "u", "²", "2", "³", "3", "^", "", "°C", "degC", "°", "deg")

// Symbols returns the units of a type, the base unit first; none for Number.
func Symbols(kind step.ValueType) []string {
	var list []string
	for _, s := range scales {
		if s.kind == kind {
			list = append(list, s.symbol)
		}
	}
	return list
}

// Symbol returns the unit that Format prints after a value of the type; empty
// for a type that has none.
func Symbol(kind step.ValueType) string {
	for _, s := range scales {
		if s.kind == kind {
			return s.symbol
		}
	}
	return ""
}

// Is reports whether a type is a number with a unit.
func Is(kind step.ValueType) bool { return Symbol(kind) != "" }

func find(symbol string) (scale, bool) {
	symbol = plain.Replace(symbol)
	i := slices.IndexFunc(scales, func(s scale) bool { return s.symbol == symbol })
	if i < 0 {
		return scale{}, false
	}
	return scales[i], true
}

// longest is more digits than any quantity needs.
const longest = 64

// Parse reads a quantity with its unit.
func Parse(text string) (Quantity, error) {
	if len(text) > longest {
		return Quantity{}, &Error{Says: "too long for a quantity", Hint: `write a number, a blank and a unit: "1.2 mm"`}
	}
	number, symbol, ok := strings.Cut(text, " ")
	if ok && number == "" {
		return Quantity{}, &Error{Says: "a quantity must begin with its number", Hint: fmt.Sprintf("write %q", strings.TrimSpace(text))}
	}
	if !ok {
		return Quantity{}, withoutBlank(text)
	}
	s, known := find(symbol)
	if !known {
		return Quantity{}, strange(number, symbol)
	}
	value, err := s.read(number)
	if err != nil {
		return Quantity{}, err
	}
	return Quantity{s.kind, value}, nil
}

// read turns digits into a value in the base unit.
func (s scale) read(number string) (float64, error) {
	if err := decimal(number); err != nil {
		return 0, err
	}
	value, err := strconv.ParseFloat(shifted(number, s.shift), 64)
	if s.times != 0 {
		value *= s.times
	}
	if err != nil || math.IsInf(value, 0) {
		return 0, &Error{Says: fmt.Sprintf("%q is too large a number", number)}
	}
	return value + 0, nil // -0 becomes 0
}

// shifted moves the decimal point by n places in the text, which loses nothing.
func shifted(number string, n int) string {
	mantissa, exponent, _ := strings.Cut(strings.ToLower(number), "e")
	e, _ := strconv.Atoi(exponent)
	return mantissa + "e" + strconv.Itoa(e+n)
}

// decimal complains of anything but digits with a point and an exponent.
func decimal(number string) error {
	switch {
	case strings.Contains(number, ","):
		return &Error{Says: fmt.Sprintf("%q has a decimal comma", number),
			Hint: fmt.Sprintf("write %q: recipes have a decimal point and no marks between thousands", strings.Replace(number, ",", ".", 1))}
	case strings.ContainsAny(number, "_xXpPiInN"):
		return &Error{Says: fmt.Sprintf("%q is not a finite decimal number", number)}
	}
	if _, exponent, ok := strings.Cut(strings.ToLower(number), "e"); ok {
		if e, err := strconv.Atoi(exponent); err == nil && (e > 99 || e < -99) {
			return &Error{Says: fmt.Sprintf("%q is out of any range", number)}
		}
	}
	if _, err := strconv.ParseFloat(number, 64); err != nil {
		return &Error{Says: fmt.Sprintf("%q is not a number", number), Hint: `write a number, a blank and a unit: "1.2 mm"`}
	}
	return nil
}

// withoutBlank says what a quantity without a blank lacks.
func withoutBlank(text string) error {
	cut := strings.LastIndexAny(text, "0123456789.") + 1
	for _, s := range scales { // "1.2 cm3" ends in a digit
		if head, ok := strings.CutSuffix(plain.Replace(text), s.symbol); ok && decimal(head) == nil {
			return &Error{Says: fmt.Sprintf("%q lacks the blank before its unit", text), Hint: fmt.Sprintf(`write "%s %s"`, head, s.symbol)}
		}
	}
	if cut == len(text) && decimal(text) == nil {
		return &Error{Says: fmt.Sprintf("%q lacks its unit", text), Hint: fmt.Sprintf(`say of what: "%s mm", say`, text)}
	}
	if err := decimal(text); err != nil && strings.Contains(text, ",") {
		return err
	}
	return &Error{Says: fmt.Sprintf("%q is not a quantity", text), Hint: `write a number, a blank and a unit: "1.2 mm"`}
}

func strange(number, symbol string) error {
	if strings.TrimSpace(symbol) != symbol || symbol == "" {
		return &Error{Says: "there must be exactly one blank between number and unit", Hint: fmt.Sprintf("write %q", strings.TrimSpace(number+" "+strings.TrimSpace(symbol)))}
	}
	var all []string
	for _, s := range scales {
		if strings.EqualFold(s.symbol, symbol) {
			return &Error{Says: fmt.Sprintf("unknown unit %q", symbol), Hint: fmt.Sprintf("did you mean %q?", s.symbol)}
		}
		all = append(all, s.symbol)
	}
	return &Error{Says: fmt.Sprintf("unknown unit %q", symbol), Hint: "units are " + strings.Join(all, ", ")}
}

// ParseAs reads a quantity that must be of one type. A Number has no unit.
func ParseAs(text string, kind step.ValueType) (float64, error) {
	if !Is(kind) {
		if len(text) > longest {
			return 0, &Error{Says: "too long for a number"}
		}
		return scale{}.read(text)
	}
	q, err := Parse(text)
	if err != nil {
		return 0, err
	}
	if q.Type != kind {
		return 0, &Error{Says: fmt.Sprintf("%q is %s; %s is wanted", text, a(q.Type), a(kind)),
			Hint: "write it in " + strings.Join(Symbols(kind), ", ")}
	}
	return q.Value, nil
}

// a puts the article before a type's name.
func a(kind step.ValueType) string {
	if strings.ContainsRune("aeiou", rune(kind[0])) {
		return "an " + string(kind)
	}
	return "a " + string(kind)
}

// Format prints a value in the base unit of its type as a recipe would write
// it: the shortest text that Parse reads back as the same value.
func Format(value float64, kind step.ValueType) string {
	symbol := Symbol(kind)
	if symbol == "" {
		return Digits(value, 0)
	}
	s, _ := find(symbol)
	return Digits(value, -s.shift) + " " + symbol
}

// Digits prints value times 10^shift with the fewest digits that give value
// back, and no exponent where the number is of everyday size.
func Digits(value float64, shift int) string {
	if value == 0 || math.IsNaN(value) || math.IsInf(value, 0) {
		return strconv.FormatFloat(value+0, 'g', -1, 64)
	}
	text := strconv.FormatFloat(value, 'e', -1, 64)
	sign := ""
	if text[0] == '-' {
		sign, text = "-", text[1:]
	}
	mantissa, exponent, _ := strings.Cut(text, "e")
	e, _ := strconv.Atoi(exponent)
	e += shift
	digits := strings.Replace(mantissa, ".", "", 1)
	switch {
	case e < -6 || e > 15:
		return sign + mantissa + "e" + strconv.Itoa(e)
	case e < 0:
		return sign + "0." + strings.Repeat("0", -e-1) + digits
	case len(digits) <= e+1:
		return sign + digits + strings.Repeat("0", e+1-len(digits))
	}
	return sign + digits[:e+1] + "." + digits[e+1:]
}
