package growth

import (
	"math"
	"testing"
)

// TestBands holds the worked cases of the published shares: mid-arm against
// head (Figueira and Segre), finger and palm against hand (Halder; the labels
// swapped as the abstract prints them must fail), canthi against each other.
// Each share is what the source's own numbers make, to a thousandth.
func TestBands(t *testing.T) {
	for _, tt := range []struct {
		what     string
		band     Band
		x, share float64
		want     bool
	}{
		{"mid-arm 10.68 at head 34.46", ArmToHead, 10.68 / 34.46, 0.310, true},
		{"mid-arm 12.5 at head 34.46", ArmToHead, 12.5 / 34.46, 0.363, false},
		{"finger 27.4 of 64.4", FingerToHand, 27.4 / 64.4, 0.425, true},
		{"palm 37.1 of 64.4", PalmToHand, 37.1 / 64.4, 0.576, true},
		{"labels swapped: finger", FingerToHand, 37.1 / 64.4, 0.576, false},
		{"labels swapped: palm", PalmToHand, 27.4 / 64.4, 0.425, false},
		{"foot 71, hand 60", FootToHand, 71.0 / 60, 1.183, true},
		{"canthi 22.9, 65.3", CanthusIndex, 22.9 / 65.3, 0.351, true},
		{"canthi 20, 69", CanthusIndex, 20.0 / 69, 0.290, true},
		{"canthi 28, 65", CanthusIndex, 28.0 / 65, 0.431, false},
	} {
		if got := tt.band.Holds(tt.x); got != tt.want || !(math.Abs(tt.x-tt.share) <= 0.001) {
			t.Errorf("%s: %.4f, want %.3f; in %v is %t", tt.what, tt.x, tt.share, tt.band, got)
		}
	}
	for _, b := range []Band{ArmToHead, FingerToHand, PalmToHand} { // the published means lie in the middle of their bands
		if !b.Holds(b.Mean) || b.Source == "" {
			t.Errorf("%v", b)
		}
	}
}

// TestHeadToLength: every median row of the tables lies in the band, and
// scaling a doll does not move it.
func TestHeadToLength(t *testing.T) {
	least, most := 1.0, 0.0 // of all medians: 0.659 to 0.706
	defer func() {
		if !(math.Abs(least-0.659) <= 0.001) || !(math.Abs(most-0.706) <= 0.001) {
			t.Errorf("head over length of the medians goes from %.4f to %.4f", least, most)
		}
	}()
	check := func(what string, head, length Reference) {
		share := head.Median() / length.Median()
		least, most = min(least, share), max(most, share)
		if !HeadToLength.Holds(share) {
			t.Errorf("%s: %.4f", what, share)
		}
		if scaled := (head.Median() * 1.0625) / (length.Median() * 1.0625); !(math.Abs(scaled-share) <= 1e-12) {
			t.Errorf("%s: scaling moves it by %g", what, scaled-share)
		}
	}
	for _, sex := range []Sex{Boy, Girl} {
		for days := 0.0; days <= 91; days += 7 {
			h, err1 := AtAge(Head, sex, days)
			l, err2 := AtAge(Length, sex, days)
			if err1 != nil || err2 != nil {
				t.Fatal(err1, err2)
			}
			check("WHO", h, l)
		}
		for week := 24.0; week <= 42; week++ {
			h, err1 := AtBirth(Head, sex, week*7)
			l, err2 := AtBirth(Length, sex, week*7)
			if err1 != nil || err2 != nil {
				t.Fatal(err1, err2)
			}
			check("INTERGROWTH", h, l)
		}
	}
}

// TestHeadFromRump: 35 cm goes with 34.0; 38 beside it differs by 4.0, which
// is significant.
func TestHeadFromRump(t *testing.T) {
	if got := HeadFromRump(35); !(math.Abs(got-34) <= 0.005) {
		t.Errorf("head %.3f", got)
	}
	if d := math.Abs(38 - HeadFromRump(35)); d <= HeadFromRumpMost || !(math.Abs(34-HeadFromRump(35)) <= HeadFromRumpMost) {
		t.Errorf("a difference of %.2f is judged the wrong way", d)
	}
}
