package unit

import (
	"math"
	"strings"
	"testing"

	"layette/engine/step"
)

func TestParse(t *testing.T) {
	tests := []struct {
		in   string
		want Quantity
		says string // substring of the complaint and its hint; empty means no error
	}{
		{in: "1.2 mm", want: Quantity{step.Length, 1.2}},
		{in: "0.05 in", want: Quantity{step.Length, 0.05 * 25.4}},
		{in: "1 in", want: Quantity{step.Length, 25.4}}, // exact by definition (1959; from memory)
		{in: "250 um", want: Quantity{step.Length, 0.25}},
		{in: "250 µm", want: Quantity{step.Length, 0.25}}, // micro sign
		{in: "250 μm", want: Quantity{step.Length, 0.25}}, // Greek mu
		{in: "3.4 m", want: Quantity{step.Length, 3400}},
		{in: "0.7 cm", want: Quantity{step.Length, 7}},
		{in: "-0 mm", want: Quantity{step.Length, 0}},
		{in: "1e2 mm", want: Quantity{step.Length, 100}},
		{in: "15 deg", want: Quantity{step.Angle, 15}},
		{in: "15 °", want: Quantity{step.Angle, 15}},
		{in: "2 %", want: Quantity{step.Share, 0.02}},
		{in: "7 %", want: Quantity{step.Share, 0.07}}, // 7/100 by division is the same; 100*0.07 is not 7
		{in: "24 h", want: Quantity{step.Time, 86400}},
		{in: "30 min", want: Quantity{step.Time, 1800}},
		{in: "120 g", want: Quantity{step.Mass, 120}},
		{in: "1.2 g/cm3", want: Quantity{step.Density, 1.2}},
		{in: "1200 kg/m3", want: Quantity{step.Density, 1.2}},
		{in: "1.2 g/cm³", want: Quantity{step.Density, 1.2}},
		{in: "20 degC", want: Quantity{step.Temperature, 20}},
		{in: "20 °C", want: Quantity{step.Temperature, 20}},
		{in: "25 mm2", want: Quantity{step.Area, 25}},
		{in: "3 ml", want: Quantity{step.Volume, 3000}},
		{in: "1,2 mm", says: `decimal comma; write "1.2"`},
		{in: "1.2mm", says: `lacks the blank before its unit; write "1.2 mm"`},
		{in: "3cm3", says: `write "3 cm3"`},
		{in: "1.2", says: "lacks its unit"},
		{in: "1.2  mm", says: `exactly one blank between number and unit; write "1.2 mm"`},
		{in: "1.2 mm ", says: "exactly one blank"},
		{in: " 1.2 mm", says: "must begin with its number"},
		{in: "1.2 MM", says: `did you mean "mm"?`},
		{in: "1.2 furlong", says: "unknown unit"},
		{in: "NaN mm", says: "not a finite"},
		{in: "inf mm", says: "not a finite"},
		{in: "0x1p4 mm", says: "not a finite"},
		{in: "1e999 mm", says: "out of any range"},
		{in: "1_000 mm", says: "not a finite"},
		{in: "", says: "is not a quantity"},
		{in: "mm", says: "is not a quantity"},
		{in: strings.Repeat("9", 70) + " mm", says: "too long"},
	}
	for _, tt := range tests {
		t.Run(tt.in, func(t *testing.T) {
			got, err := Parse(tt.in)
			if tt.says != "" {
				if err == nil || !strings.Contains(told(err), tt.says) {
					t.Fatalf("Parse = %v, %v; want %q", got, err, tt.says)
				}
				return
			}
			if err != nil || got != tt.want || math.Signbit(got.Value) {
				t.Fatalf("Parse = %v %v, %v; want %v %v", got.Type, got.Value, err, tt.want.Type, tt.want.Value)
			}
		})
	}
}

// told joins a complaint and its hint.
func told(err error) string {
	e := err.(*Error)
	return e.Says + "; " + e.Hint
}

func TestParseAs(t *testing.T) {
	if v, err := ParseAs("2.5", step.Number); v != 2.5 || err != nil {
		t.Errorf("a bare number: %v, %v", v, err)
	}
	if _, err := ParseAs("15 deg", step.Length); err == nil || !strings.Contains(err.Error(), "is an angle; a length is wanted") {
		t.Errorf("an angle for a length: %v", err)
	}
	for _, bad := range []string{"1e999", "inf", "nan", "1,5", "0x10", "", "2 mm"} {
		if v, err := ParseAs(bad, step.Number); err == nil {
			t.Errorf("number %q was read as %v", bad, v)
		}
	}
}

func TestFormat(t *testing.T) {
	tests := []struct {
		value float64
		kind  step.ValueType
		want  string
	}{
		{1.2, step.Length, "1.2 mm"},
		{0.07, step.Share, "7 %"},
		{0.0588, step.Share, "5.88 %"},
		{1e-9, step.Length, "1e-9 mm"},
		{120, step.Length, "120 mm"},
		{-0.5, step.Angle, "-0.5 deg"},
		{1.2, step.Density, "1.2 g/cm3"},
		{3, step.Number, "3"},
		{0, step.Share, "0 %"},
		{1e20, step.Number, "1e20"},
		{0.00125, step.Number, "0.00125"},
	}
	for _, tt := range tests {
		if got := Format(tt.value, tt.kind); got != tt.want {
			t.Errorf("Format(%v, %s) = %q, want %q", tt.value, tt.kind, got, tt.want)
		}
	}
}

// FuzzParse: what reads well prints and reads again as the very same value.
func FuzzParse(f *testing.F) {
	for _, s := range []string{"1.2 mm", "7 %", "1e-7 in", "0.1 um", "20 degC", "1e99 m", "1.2mm", "é mm", "-0 %"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, text string) {
		q, err := Parse(text)
		if err != nil {
			if err.Error() == "" {
				t.Fatal("an error that says nothing")
			}
			return
		}
		if math.IsNaN(q.Value) || math.IsInf(q.Value, 0) {
			t.Fatalf("%q is %v", text, q.Value)
		}
		if math.Abs(q.Value) < 1e-90 && q.Value != 0 || math.Abs(q.Value) > 1e90 {
			return // beyond the exponents that Parse takes
		}
		again, err := Parse(q.String())
		if err != nil || again != q {
			t.Fatalf("%q printed as %q reads as %v, %v; want %v", text, q, again, err, q)
		}
	})
}
