package word

import (
	"errors"
	"slices"
	"strings"
	"testing"

	"layette/engine"
	"layette/engine/recipe"
	"layette/engine/step"
	"layette/engine/trail"
)

// subject is a look at a stage with two files; more changes it.
func subject(more func(*engine.Subject, *engine.Status)) (*engine.Subject, *engine.Status) {
	files := []engine.File{{Role: "surface", Path: "sculpt/head.stl", SHA256: strings.Repeat("a", 64), Size: 7}, {Role: "map", Path: "out/map.ply", SHA256: strings.Repeat("b", 64), Size: 8}}
	n := engine.Node{Stage: "gaps", Part: "head"}
	s := &engine.Subject{Node: n, Files: files, Saw: []string{"air.least = 2 mm"}, State: strings.Repeat("c", 64)}
	st := &engine.Status{Node: n, State: engine.Unsigned, Spots: []step.Spot{{Number: 4, At: [3]float64{1, 2, 3}, Radius: 0.5, Says: "near", Surface: "map"}}}
	if more != nil {
		more(s, st)
	}
	return s, st
}

func asked(s *engine.Subject, _ *engine.Status) {
	s.Sign = &recipe.Sign{Role: "sculptor", Meaning: "I looked at every spot", Questions: []string{"one?", "two?"}}
}

func handwork(s *engine.Subject, _ *engine.Status) {
	s.From = []engine.File{{Path: "out/base.ply", SHA256: strings.Repeat("d", 64), Size: 9}}
}

func both(a, b func(*engine.Subject, *engine.Status)) func(*engine.Subject, *engine.Status) {
	return func(s *engine.Subject, st *engine.Status) { a(s, st); b(s, st) }
}

func held(s *engine.Subject, st *engine.Status) {
	s.Gates = []string{"no-webs"}
	st.Gates = []engine.Verdict{{Gate: "no-webs", Numbers: "air.least = 1 mm", Concede: "owner"}}
	st.Gates[0].Rule = "air.least >= 2 mm"
}

func TestWordDraft(t *testing.T) {
	tests := []struct {
		name    string
		of      func(*engine.Subject, *engine.Status)
		word    Word
		verdict trail.Verdict
		meaning string
		refused string
	}{
		{name: "an approval nobody asked for", verdict: trail.Approve, meaning: Meanings[trail.Approve]},
		{name: "her own meaning where the recipe has none", word: Word{Meaning: "I trust it"}, verdict: trail.Approve, meaning: "I trust it"},
		{name: "the recipe's meaning", of: asked, word: Word{Meaning: "I trust it"}, verdict: trail.Approve, meaning: "I looked at every spot"},
		{name: "handwork that nobody signed yet", of: both(asked, handwork), verdict: trail.Made, meaning: Meanings[trail.Made]},
		{name: "handwork whose maker is known", of: both(handwork, func(_ *engine.Subject, st *engine.Status) { st.Sign = &engine.SignOff{Made: &trail.Record{}} }), verdict: trail.Approve, meaning: Meanings[trail.Approve]},
		{name: "handwork to be looked at again", of: both(handwork, func(_ *engine.Subject, st *engine.Status) {
			st.State, st.Sign = engine.Handwork, &engine.SignOff{Made: &trail.Record{}}
		}), verdict: trail.Made, meaning: Meanings[trail.Made]},
		{name: "a hold", of: asked, word: Word{Verdict: trail.Hold}, verdict: trail.Hold, meaning: Meanings[trail.Hold]},
		{name: "a hold although a gate holds", of: held, word: Word{Verdict: trail.Hold}, verdict: trail.Hold, meaning: Meanings[trail.Hold]},
		{name: "an approval although a gate holds", of: held, refused: "no-webs does not hold"},
	}
	for _, tt := range tests {
		t.Run(tt.name, func(t *testing.T) {
			s, st := subject(tt.of)
			d, err := tt.word.Draft(s, st, "layette test")
			if tt.refused != "" {
				if r, ok := errors.AsType[*Refusal](err); !ok || !strings.Contains(r.Says, tt.refused) || r.Hint == "" {
					t.Errorf("%v, want a refusal: %s", err, tt.refused)
				}
				return
			}
			if err != nil || d.Verdict != tt.verdict || d.Meaning != tt.meaning || d.Stage != "gaps/head" || d.State != s.State || !slices.Equal(d.Files, s.Trail().Files) || !slices.Equal(d.Saw, s.Saw) {
				t.Errorf("%+v, %v; want %s: %s", d, err, tt.verdict, tt.meaning)
			}
			if got := len(d.From) > 0; got != (tt.verdict == trail.Made) {
				t.Errorf("it says what it was made from: %v", got)
			}
		})
	}
}

func TestUnticked(t *testing.T) {
	s, st := subject(asked)
	for _, tt := range []struct {
		word Word
		want string
	}{
		{Word{}, "one? two?"}, {Word{Ticks: []string{"two?"}}, "one?"}, {Word{Ticks: []string{"two?", "one?"}}, ""},
		{Word{Ticks: []string{"three?"}}, "one? two?"}, {Word{Verdict: trail.Hold}, ""},
	} {
		d, err := tt.word.Draft(s, st, "")
		if got := strings.Join(Unticked(d, s), " "); err != nil || got != tt.want {
			t.Errorf("%+v: %q, %v; want %q", tt.word, got, err, tt.want)
		}
	}
}

func TestLeaveDraft(t *testing.T) {
	owner, anna := trail.Member{Printed: "Wren Hollis", Roles: []string{"owner"}}, trail.Member{Printed: "Anna Berg", Roles: []string{"sculptor"}}
	s, st := subject(held)
	d, err := Leave{Gate: "no-webs", Reason: "it will do"}.Draft(s, st, owner, "")
	if err != nil || d.Kind != trail.Concession || d.Fault != "air.least = 1 mm, but the rule is air.least >= 2 mm" || d.Authority != "owner" || d.Meaning != LeaveMeaning {
		t.Errorf("%+v, %v", d, err)
	}
	for _, tt := range []struct {
		leave Leave
		who   trail.Member
		says  string
		wrong bool
	}{
		{Leave{Gate: "no-webs", Reason: "r"}, anna, "has not the authority", false},
		{Leave{Gate: "other", Reason: "r"}, owner, `gate "other" does not hold`, true},
	} {
		_, err := tt.leave.Draft(s, st, tt.who, "")
		if r, ok := errors.AsType[*Refusal](err); !ok || !strings.Contains(r.Says, tt.says) || r.Wrong != tt.wrong {
			t.Errorf("%+v by %s: %v", tt.leave, tt.who.Printed, err)
		}
	}
}

func TestSpotPin(t *testing.T) {
	s, st := subject(nil)
	if p, err := SpotPin(4, "", st, s.Files); err != nil || p != (trail.Pin{File: 2, At: [3]float64{1, 2, 3}, Radius: 0.5, Words: "near"}) {
		t.Errorf("%+v, %v", p, err)
	}
	if p, err := SpotPin(4, "soften", st, s.Files); err != nil || p.Words != "soften" {
		t.Errorf("%+v, %v", p, err)
	}
	if _, err := SpotPin(5, "", st, s.Files); err == nil {
		t.Error("a spot that is not there")
	}
}

// TestMindAndUnanswered: an approver is told what will not count and what
// stands against it.
func TestMindAndUnanswered(t *testing.T) {
	s, st := subject(asked)
	hold := trail.Record{ID: trail.ID{1}}
	st.Sign = &engine.SignOff{Open: []trail.Record{hold}}
	d, _ := Word{}.Draft(s, st, "")
	if mind := Mind(d, s, trail.Member{Printed: "Ben Okafor", Roles: []string{"reviewer"}}); !strings.Contains(mind, "will not count") {
		t.Errorf("mind %q", mind)
	}
	if mind := Mind(d, s, trail.Member{Roles: []string{"sculptor"}}); mind != "" {
		t.Errorf("mind %q", mind)
	}
	if open := Unanswered(d, st); len(open) != 1 {
		t.Errorf("%d unanswered", len(open))
	}
	d.Answers = []trail.ID{hold.ID}
	if open := Unanswered(d, st); len(open) != 0 {
		t.Errorf("%d unanswered", len(open))
	}
}

func TestSame(t *testing.T) {
	a, _ := subject(handwork)
	for name, change := range map[string]func(*engine.Subject, *engine.Status){
		"a digest": func(s *engine.Subject, _ *engine.Status) { s.Files[0].SHA256 = "e" }, "a size": func(s *engine.Subject, _ *engine.Status) { s.Files[1].Size = 1 },
		"what was shown": func(s *engine.Subject, _ *engine.Status) { s.State = "f" }, "what it was made from": func(s *engine.Subject, _ *engine.Status) { s.From[0].SHA256 = "e" },
		"the stage": func(s *engine.Subject, _ *engine.Status) { s.Node.Part = "arm" },
	} {
		if b, _ := subject(both(handwork, change)); Same(a, b) {
			t.Errorf("%s changed unseen", name)
		}
	}
	if b, _ := subject(handwork); !Same(a, b) {
		t.Error("the same is not the same")
	}
}
