package growth

import (
	"encoding/csv"
	"errors"
	"math"
	"os"
	"path/filepath"
	"strconv"
	"strings"
	"testing"
)

func age(t *testing.T, m Measure, sex Sex, days float64) Reference {
	t.Helper()
	r, err := AtAge(m, sex, days)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

func birth(t *testing.T, m Measure, sex Sex, days float64) Reference {
	t.Helper()
	r, err := AtBirth(m, sex, days)
	if err != nil {
		t.Fatal(err)
	}
	return r
}

// TestRestrictedRule: the weights that WHO prints at 4 SD (expanded
// weight-for-age tables) must come out as 4; the plain LMS formula gives 3.924
// and -4.128 for the first two and must not be what is returned.
func TestRestrictedRule(t *testing.T) {
	tests := []struct {
		sex   Sex
		days  float64
		kg, z float64
		plain float64
	}{
		{Boy, 0, 5.642, 4, 3.924},
		{Boy, 0, 1.701, -4, -4.128},
		{Girl, 0, 5.356, 4, 3.930},
		{Girl, 0, 1.671, -4, -4.117},
		{Boy, 91, 9.909, 4, 3.916},
		{Girl, 91, 3.443, -4, -4.141},
	}
	for _, tt := range tests {
		if z := age(t, Weight, tt.sex, tt.days).Z(tt.kg); !(math.Abs(z-tt.z) <= 0.002) {
			t.Errorf("sex %d day %g, %g kg: z = %.4f, want %g", tt.sex, tt.days, tt.kg, z, tt.z)
		}
		row := 0
		if tt.days == 91 {
			row = len(knots) - 1
		}
		v := lms[Weight][tt.sex][row]
		if z := (lmsReference{v[0], v[1], v[2], false}).z(tt.kg); !(math.Abs(z-tt.plain) <= 0.002) {
			t.Errorf("plain z of %g kg = %.4f, want %g: the trap is not set", tt.kg, z, tt.plain)
		}
	}
}

// TestPlainMeasures: head and length follow the plain normal distribution
// (WHO LMS of day 0; z computed from the published L, M, S).
func TestPlainMeasures(t *testing.T) {
	tests := []struct {
		m     Measure
		sex   Sex
		cm, z float64
	}{
		{Head, Boy, 33.0, -1.15079},
		{Head, Girl, 33.0, -0.74190},
		{Length, Boy, 46.0, -2.05176},
		{Length, Girl, 47.285, -1.00000},
	}
	for _, tt := range tests {
		if z := age(t, tt.m, tt.sex, 0).Z(tt.cm); !(math.Abs(z-tt.z) <= 5e-5) {
			t.Errorf("measure %d sex %d %g cm: z = %.5f, want %.5f", tt.m, tt.sex, tt.cm, z, tt.z)
		}
	}
}

// TestInverse: boys' weight at day 0 for z = -3..3 as WHO prints it.
func TestInverse(t *testing.T) {
	r := age(t, Weight, Boy, 0)
	for i, want := range []float64{2.0803, 2.4593, 2.8807, 3.3464, 3.8586, 4.4194, 5.0306} {
		if got := r.At(float64(i - 3)); !(math.Abs(got-want) <= 0.0005) {
			t.Errorf("weight at z = %d: %.4f, want %.4f", i-3, got, want)
		}
	}
}

// TestThirdParty: the worked case of E. Grellety's data note, 2016: a girl of
// 365 days and 9 kg.
func TestThirdParty(t *testing.T) {
	r := lmsReference{-0.2022, 8.9462, 0.12267, true}
	if z := r.z(9); !(math.Abs(z-0.048847178) <= 1e-8) {
		t.Errorf("z = %.9f, want 0.048847178", z)
	}
}

// TestVeryPreterm: a boy of 28 weeks, equations of Villar et al. 2016; the
// published tables print 37.3 cm, 25.9 cm and 1.07 kg.
func TestVeryPreterm(t *testing.T) {
	for _, tt := range []struct {
		m       Measure
		median  float64
		size, z float64
	}{{Length, 37.2946, 35.0, -0.8827}, {Head, 25.8919, 25.8919, 0}, {Weight, 1.0727, 0.9, -0.9089}} {
		r := birth(t, tt.m, Boy, 28*7)
		if got := r.Median(); !(math.Abs(got-tt.median) <= 5e-4) {
			t.Errorf("measure %d: median %.4f, want %.4f", tt.m, got, tt.median)
		}
		if got := r.Z(tt.size); !(math.Abs(got-tt.z) <= 5e-4) {
			t.Errorf("measure %d: z of %g = %.4f, want %.4f", tt.m, tt.size, got, tt.z)
		}
	}
}

// TestMuIsNotTheMedian: at 40 weeks the skew-t's mu of boys' weight is 3.338 kg,
// the published middle 3.38; taking mu for the middle must fail.
func TestMuIsNotTheMedian(t *testing.T) {
	if got := birth(t, Weight, Boy, 280).Median(); !(math.Abs(got-3.38) <= 1e-9) || math.Abs(got-3.33848) < 0.03 {
		t.Errorf("median %.4f, want 3.38", got)
	}
}

func TestNoReference(t *testing.T) {
	for _, days := range []float64{-1, 92, math.NaN()} {
		var none *NoReference
		if _, err := AtAge(Head, Girl, days); !errors.As(err, &none) {
			t.Errorf("age %g: %v, want no reference", days, err)
		}
	}
	for _, days := range []float64{167, 301, math.NaN()} {
		if _, err := AtBirth(Head, Girl, days); err == nil {
			t.Errorf("gestation %g: an answer, want no reference", days)
		}
	}
}

// TestThereAndBack: z of the size at z is z, over all tables.
func TestThereAndBack(t *testing.T) {
	for _, m := range []Measure{Length, Head, Weight} {
		for _, sex := range []Sex{Boy, Girl} {
			var all []Reference
			for d := 0.0; d <= 91; d += 3.5 {
				all = append(all, age(t, m, sex, d))
			}
			for d := 168.0; d <= 300; d += 5.5 {
				all = append(all, birth(t, m, sex, d))
			}
			for _, r := range all {
				for z := -5.0; z <= 5; z += 0.25 {
					if y := r.At(z); y > 0 && !(math.Abs(r.Z(y)-z) <= 1e-9) {
						t.Fatalf("%s measure %d sex %d: z %g -> %g -> %g", r.Source, m, sex, z, y, r.Z(y))
					}
				}
			}
		}
	}
}

// TestDailyTables compares with the daily tables: WHO's own (LMS of days 0-91)
// and INTERGROWTH-21st's printed z rows from 24+0 to 42+6.
func TestDailyTables(t *testing.T) {
	data := os.Getenv("LAYETTE_DATA")
	if data == "" {
		t.Skip("SKIPPED: LAYETTE_DATA is not set: the daily tables are not compared")
	}
	dir := filepath.Join(data, "..", "facts", "growth")
	worst, worstBirth := 0.0, 0.0
	for m, file := range map[Measure]string{Length: "lhfa_length_cm_day0-91.csv", Head: "hcfa_headcirc_cm_day0-91.csv", Weight: "wfa_weight_kg_day0-91.csv"} {
		for _, row := range table(t, filepath.Join(dir, file)) {
			day, l, mm, s := num(t, row[1]), num(t, row[2]), num(t, row[3]), num(t, row[4])
			daily := lmsReference{l, mm, s, m == Weight}
			r := age(t, m, sexOf(row[0] == "M"), day)
			for z := -3.0; z <= 3; z++ {
				worst = max(worst, math.Abs(r.Z(daily.at(z))-z))
			}
		}
	}
	for m, k := range map[Measure]string{Length: "len", Head: "hc", Weight: "weight"} {
		for _, sex := range []string{"male", "female"} {
			for _, row := range table(t, filepath.Join(dir, "intergrowth_birth_"+k+"_"+sex+"_zscores.csv")) {
				w, d, _ := strings.Cut(row[0], "+")
				r := birth(t, m, sexOf(sex == "male"), 7*num(t, w)+num(t, d))
				for z := -2; z <= 2; z++ {
					worstBirth = max(worstBirth, math.Abs(r.Z(num(t, row[4+z]))-float64(z)))
				}
			}
		}
	}
	t.Logf("largest difference from the daily tables: WHO %.3f z, at birth %.3f z", worst, worstBirth)
	if worst > 0.05 || worstBirth > 0.1 {
		t.Errorf("differs from the daily tables by %.3f and %.3f z, want at most 0.05 and 0.1", worst, worstBirth)
	}
}

func sexOf(boy bool) Sex {
	if boy {
		return Boy
	}
	return Girl
}

func table(t *testing.T, path string) [][]string {
	t.Helper()
	f, err := os.Open(path)
	if err != nil {
		t.Fatal(err)
	}
	defer f.Close()
	rows, err := csv.NewReader(f).ReadAll()
	if err != nil {
		t.Fatal(err)
	}
	return rows[1:]
}

func num(t *testing.T, s string) float64 {
	t.Helper()
	x, err := strconv.ParseFloat(s, 64)
	if err != nil {
		t.Fatal(err)
	}
	return x
}
