package growth

// A Band is a published range of a share or a length: what most newborns have,
// not what one must have.
type Band struct {
	Least, Most float64
	Mean        float64 // 0 where none is published
	Source      string
}

// Holds reports whether x lies in the band.
func (b Band) Holds(x float64) bool { return x >= b.Least && x <= b.Most }

// Shares that do not depend on how large a doll is made.
var (
	// HeadToLength is head girth over length: the range of the medians from 24
	// weeks of gestation to 13 weeks of age, a little wider.
	HeadToLength = Band{0.659, 0.71, 0.69, "medians of the WHO Child Growth Standards, 2006, and INTERGROWTH-21st; the band is derived from them"}
	// ArmToHead is mid-arm girth over head girth: mean and two standard deviations.
	ArmToHead = Band{0.27, 0.35, 0.31, "C. Figueira, C. Segre, Sao Paulo Medical Journal 2004;122: mid-arm over head circumference 0.31, SD 0.02, 131 term newborns"}
	// FingerToHand is the middle finger over the hand; the abstract prints the
	// lengths of finger and palm the other way round, the indices are right.
	FingerToHand = Band{0.37, 0.48, 0.425, "Halder, Dharap, Than, Anthropologischer Anzeiger 1999;57:69-75: finger index 0.425, SD 0.03, 509 newborns"}
	// PalmToHand is what is left of the hand.
	PalmToHand = Band{0.52, 0.63, 0.58, "Halder, Dharap, Than, Anthropologischer Anzeiger 1999;57:69-75: palm index 0.58, SD 0.03, 509 newborns"}
	// FootToHand is foot over hand.
	FootToHand = Band{1.05, 1.35, 1.18, "means of Sajjan et al., International Journal of Research in Medical Sciences 2022, foot 71 mm and hand 60 mm; the band is common practice"}
	// HeadIndex is breadth over length of the head.
	HeadIndex = Band{0.74, 0.90, 0.82, "INTERGROWTH-21st fetal standards, 0.80 to 0.82; the band, for heads moulded by birth, is common practice"}
	// CanthusIndex is the distance of the inner corners of the eyes over the outer.
	CanthusIndex = Band{0.284, 0.38, 0.351, "normal canthus index 28.4 to 38 %, entokey.com, milestones and normative data"}
	// InnerCanthi and OuterCanthi are those distances of term newborns, mm: mean
	// and two standard deviations.
	InnerCanthi = Band{18.7, 27.1, 22.9, "Moon et al., Journal of the Korean Ophthalmological Society 2012;53:1385: 22.9 mm, SD 2.1, 69 term newborns"}
	OuterCanthi = Band{53.7, 76.9, 65.3, "Moon et al., Journal of the Korean Ophthalmological Society 2012;53:1385: 65.3 mm, SD 5.8, 69 term newborns"}
)

// HeadFromRump returns the head girth that goes with a length from crown to
// rump, cm: 0.9 CR + 2.5; a difference over HeadFromRumpMost is significant
// ("Correlation of head circumference and crown-rump length in newborn infants",
// 305 autopsies and 102 living newborns; abstract).
func HeadFromRump(crownRump float64) float64 { return float64(0.9*crownRump) + 2.5 }

// HeadFromRumpMost is the difference in cm that is still usual.
const HeadFromRumpMost = 2.5
