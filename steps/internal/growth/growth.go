// Package growth compares a size with published tables of newborns: how many
// standard deviations (z) it lies from the middle of children of the same age,
// sex and weeks of gestation. It checks a doll against its own stated age; it
// says nothing about a child, and nothing of it is a diagnosis.
//
// Where a table has no row the answer is "no reference": nothing is ever
// extrapolated, and nothing is interpolated across the joint at 33 weeks,
// where the two preterm standards do not meet.
package growth

import (
	"fmt"
	"math"
)

// Measure is what is compared.
type Measure int

// The measures that the tables know.
const (
	Length Measure = iota // crown to heel, lying, cm
	Head                  // greatest girth of the head with a tape, cm
	Weight                // kg
)

// Sex is the sex of the tables' children.
type Sex int

// The tables part boys and girls; a child of neither has no reference.
const (
	Boy Sex = iota
	Girl
)

// Source names the table an answer came from.
type Source string

// The tables.
const (
	WHO         Source = "WHO Child Growth Standards, 2006 (term-born, by age)"
	Birth       Source = "INTERGROWTH-21st newborn size at birth, Lancet 2014;384:857-68"
	VeryPreterm Source = "INTERGROWTH-21st very preterm size at birth, Lancet 2016;387:844-45"
)

// NoReference says why there is none.
type NoReference struct{ Why string }

func (e *NoReference) Error() string { return "no reference: " + e.Why }

// Reference is the distribution of a measure among children of one age.
type Reference struct {
	Source Source
	// at returns the size at z, and z the other way round.
	at func(z float64) float64
	z  func(size float64) float64
}

// Median returns the middle size, in the measure's unit.
func (r Reference) Median() float64 { return r.at(0) }

// At returns the size at z.
func (r Reference) At(z float64) float64 { return r.at(z) }

// Z returns how many standard deviations size lies from the middle.
func (r Reference) Z(size float64) float64 { return r.z(size) }

// AtAge returns WHO's reference for a term-born child of the given age in days,
// 0 to 91. Between the rows kept here L, M and S run straight, which
// differs from the daily table by less than 0.05 z (tested against it).
//
// Source: WHO, "WHO Child Growth Standards: Methods and development", 2006,
// chapter 7.
func AtAge(m Measure, sex Sex, days float64) (Reference, error) {
	if !(days >= 0 && days <= 91) {
		return Reference{}, &NoReference{fmt.Sprintf("the table kept here runs from birth to 91 days; the age stated is %g days", days)}
	}
	k := 0
	for k < len(knots)-2 && days >= knots[k+1] {
		k++
	}
	part := (days - knots[k]) / (knots[k+1] - knots[k])
	a, b := lms[m][sex][k], lms[m][sex][k+1]
	var v [3]float64
	for i := range v {
		v[i] = a[i] + float64(part*(b[i]-a[i]))
	}
	r := lmsReference{v[0], v[1], v[2], m == Weight}
	return Reference{WHO, r.at, r.z}, nil
}

// lmsReference is the LMS method: Box-Cox power L, median M, coefficient of
// variation S. Weight is restricted: beyond 3 SD its scale runs on straight
// with the distance from 2 to 3 SD (chapter 7).
type lmsReference struct {
	l, m, s    float64
	restricted bool
}

func (r lmsReference) plainAt(z float64) float64 {
	if r.l == 0 {
		return float64(r.m * math.Exp(float64(r.s*z)))
	}
	return float64(r.m * math.Pow(1+float64(float64(r.l*r.s)*z), 1/r.l))
}

func (r lmsReference) plainZ(y float64) float64 {
	if r.l == 0 {
		return math.Log(y/r.m) / r.s
	}
	return (math.Pow(y/r.m, r.l) - 1) / float64(r.l*r.s)
}

func (r lmsReference) at(z float64) float64 {
	switch {
	case r.restricted && z > 3:
		return r.plainAt(3) + float64((z-3)*(r.plainAt(3)-r.plainAt(2)))
	case r.restricted && z < -3:
		return r.plainAt(-3) + float64((z+3)*(r.plainAt(-2)-r.plainAt(-3)))
	}
	return r.plainAt(z)
}

func (r lmsReference) z(y float64) float64 {
	z := r.plainZ(y)
	switch {
	case r.restricted && z > 3:
		return 3 + (y-r.plainAt(3))/(r.plainAt(3)-r.plainAt(2))
	case r.restricted && z < -3:
		return -3 + (y-r.plainAt(-3))/(r.plainAt(-2)-r.plainAt(-3))
	}
	return z
}

// AtBirth returns the reference for a child measured at birth after the given
// days of gestation: 168 to 300 (24 weeks to 42 weeks and 6 days).
func AtBirth(m Measure, sex Sex, gestation float64) (Reference, error) {
	switch {
	case gestation >= 24*7 && gestation < 33*7:
		return veryPreterm(m, sex, gestation/7), nil
	case gestation >= 33*7 && gestation <= 42*7+6:
		return fromTable(m, sex, gestation), nil
	}
	return Reference{}, &NoReference{fmt.Sprintf("the tables of size at birth run from 24 weeks to 42 weeks and 6 days of gestation; stated are %g days", gestation)}
}

// veryPreterm evaluates the published equations (Villar et al., Lancet
// 2016;387:844-45): the middle and the variance by weeks and sex.
func veryPreterm(m Measure, sex Sex, weeks float64) Reference {
	boy := 0.0
	if sex == Boy {
		boy = 1
	}
	if m == Weight {
		mu := -7.00303 + float64(1.325911*math.Sqrt(weeks)) + float64(0.0571937*boy)
		sd := math.Sqrt(0.0373218)
		return Reference{VeryPreterm,
			func(z float64) float64 { return math.Exp(mu + float64(z*sd)) },
			func(y float64) float64 { return (math.Log(y) - mu) / sd }}
	}
	mu, sd := 1.307633+float64(1.270022*weeks)+float64(0.4263885*boy), math.Sqrt(6.757543)
	if m == Head {
		mu, sd = 0.7866522+float64(0.887638*weeks)+float64(0.2513385*boy), math.Sqrt(2.433481)
	}
	return Reference{VeryPreterm,
		func(z float64) float64 { return mu + float64(z*sd) },
		func(y float64) float64 { return (y - mu) / sd }}
}

// fromTable interpolates the printed z rows straight between weeks and between
// whole z; beyond 3 the outermost step runs on. The print is rounded to 0.1 cm
// and 0.01 kg, so z is good to about 0.1.
func fromTable(m Measure, sex Sex, days float64) Reference {
	week := min(int(days/7)-33, 9)
	part := (days - float64(7*(week+33))) / 7
	if week == 9 { // the last row is six days on, not seven
		part = (days - 42*7) / 6
	}
	a, b := atBirth[m][sex][week], atBirth[m][sex][week+1]
	var row [7]float64
	for i := range row {
		row[i] = a[i] + float64(part*(b[i]-a[i]))
	}
	return Reference{Birth, row2size(row), row2z(row)}
}

func row2size(row [7]float64) func(float64) float64 {
	return func(z float64) float64 {
		i := min(max(int(math.Floor(z))+3, 0), 5)
		return row[i] + float64((z-float64(i-3))*(row[i+1]-row[i]))
	}
}

func row2z(row [7]float64) func(float64) float64 {
	return func(y float64) float64 {
		i := 0
		for i < 5 && y > row[i+1] {
			i++
		}
		return float64(i-3) + (y-row[i])/(row[i+1]-row[i])
	}
}
