package trail

import (
	"strings"
	"testing"
)

// TestDay walks one model from its opening to its seal.
func TestDay(t *testing.T) {
	h := newHouse(t, "anna", "ben", "carla")
	arm := subject("hand/left-arm.stl")
	two := Policy{Role: "reviewer", People: 2, NotMaker: true}

	made := word(Made, arm)
	made.From = []File{file("out/merged.ply")}
	h.must("anna", made)
	h.wantState(h.open(), arm, two, Waiting)

	hold := h.must("ben", word(Hold, arm, "the thumb's web is too tight"))
	d := h.wantState(h.open(), arm, two, Held)
	if len(d.Open) != 1 || d.Open[0].ID != hold.ID || !strings.Contains(d.Reasons[0], "thumb") {
		t.Errorf("open holds %v, reasons %q", d.Open, d.Reasons)
	}

	arm2 := subject("hand/left-arm v2.stl")
	h.must("anna", word(Made, arm2))
	h.wantState(h.open(), arm2, two, Held) // Ben's hold is not answered yet
	h.must("ben", answering(word(Approve, arm2), hold.ID))
	d = h.wantState(h.open(), arm2, two, Waiting)
	if d.StillNeeded != 1 || len(d.By) != 1 || d.By[0].Printed != "Ben Okafor" {
		t.Errorf("one more reviewer is needed; got %d, by %v", d.StillNeeded, d.By)
	}
	h.must("carla", word(Approve, arm2))
	d = h.wantState(h.open(), arm2, two, Approved)
	for _, s := range d.By {
		if s.Printed == "" || s.Time.IsZero() || s.Meaning == "" {
			t.Errorf("a signature must show name, time and meaning: %+v", s)
		}
	}
	h.wantCodes(h.open(), "")
	h.wantCodes(h.plain(), "")
}
