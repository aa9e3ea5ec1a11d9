package gate

import (
	"fmt"
	"math"
	"slices"
	"strings"
	"testing"

	"layette/engine/step"
)

var scope = NewScope(NewScope(nil, Name{Name: "child.head-girth", Type: step.Length}),
	Name{Name: "air.least", Type: step.Length},
	Name{Name: "air.spots", Type: step.Count},
	Name{Name: "air.gaps", Type: step.Length, Many: true},
	Name{Name: "bend", Type: step.Angle},
	Name{Name: "closed", Type: step.Flag},
	Name{Name: "seen", Type: step.Share},
	Name{Name: "skin", Type: step.Number, Unit: "mm²"},
	Name{Name: "verdict", Type: step.OneWord},
	Name{Name: "tags", Type: step.String, Many: true},
	Name{Name: "tolerances.gap", Type: step.Length},
	Name{Name: "tolerances.bend", Type: step.Angle},
	Name{Name: "tolerances.patch", Type: step.Area},
	Name{Name: "tolerances.seen", Type: step.Share},
	Name{Name: "child.links", Type: step.Tree},
)

var sound = map[string]any{
	"air.least": 1.5, "air.spots": int64(2), "air.gaps": []float64{1.5, 2}, "bend": 12.0, "closed": true, "seen": 0.9,
	"skin": 40.0, "verdict": "good", "tags": []string{"a", "b"}, "tolerances.gap": 1.2, "tolerances.bend": 30.0,
	"tolerances.patch": 50.0, "tolerances.seen": 0.95, "child.head-girth": 350.0,
}

func TestJudge(t *testing.T) {
	tests := []struct {
		rule   string
		want   State
		names  string
		margin float64 // NaN: none
	}{
		{"air.least >= tolerances.gap", Passes, "air.least tolerances.gap", 1.5 - 1.2},
		{"tolerances.gap > air.least", Holds, "air.least tolerances.gap", 1.2 - 1.5},
		{"bend <= tolerances.bend", Passes, "bend tolerances.bend", 18},
		{"air.least >= tolerances.gap or air.spots == 0", Passes, "air.least air.spots tolerances.gap", math.NaN()},
		{"air.spots == 0", Holds, "air.spots", math.NaN()},
		{"not closed", Holds, "closed", math.NaN()},
		{"closed && air.least > 0", Passes, "air.least closed", math.NaN()},
		{"all(air.gaps, # >= tolerances.gap)", Passes, "air.gaps tolerances.gap", math.NaN()},
		{"count(air.gaps, # < tolerances.gap * 1.5) <= 1", Passes, "air.gaps tolerances.gap", 0},
		{"min(air.gaps) >= tolerances.gap", Passes, "air.gaps tolerances.gap", 1.5 - 1.2},
		{"max(air.least, tolerances.gap) == air.least", Passes, "air.least tolerances.gap", math.NaN()},
		{"len(air.gaps) + 1 < 4", Passes, "air.gaps", 1},
		{"skin <= tolerances.patch", Passes, "skin tolerances.patch", 10},
		{"air.least * air.least <= tolerances.patch", Passes, "air.least tolerances.patch", 50 - 2.25},
		{"seen >= tolerances.seen", Holds, "seen tolerances.seen", 0.9 - 0.95},
		{"1 - seen <= tolerances.seen", Passes, "seen tolerances.seen", 0.95 - (1 - 0.9)},
		{"verdict == 'good' or verdict == \"fair\"", Passes, "verdict", math.NaN()},
		{"any(tags, # == \"b\")", Passes, "tags", math.NaN()},
		{`verdict == "a\\" or child.head-girth > 0`, Passes, "child.head-girth verdict", math.NaN()},
		{`verdict == "a\"-b" or child.head-girth > 0`, Passes, "child.head-girth verdict", math.NaN()},
		{"verdict == 'x-y' or\r\n\tchild.head-girth > 0", Passes, "child.head-girth verdict", math.NaN()},
		{"verdict == `x\\` or child.head-girth > 0", Passes, "child.head-girth verdict", math.NaN()},
		{"child.head-girth - air.least > 0", Passes, "air.least child.head-girth", 348.5},
		{"abs(-air.least) > 0 and round(bend) > 0", Passes, "air.least bend", math.NaN()},
		{"air.least / (air.least - air.least) > 2", Unknown, "air.least", math.NaN()}, // divides by nought
		{"air.least\n  >= tolerances.gap", Passes, "air.least tolerances.gap", 1.5 - 1.2},
		{"2 > 1", Passes, "", 1},
	}
	for _, tt := range tests {
		t.Run(tt.rule, func(t *testing.T) {
			r, faults := Compile(tt.rule, scope)
			if faults != nil {
				t.Fatalf("faults: %+v", faults)
			}
			var names []string
			for _, n := range r.Names() {
				names = append(names, n.Name)
			}
			if got := strings.Join(names, " "); got != tt.names {
				t.Errorf("names are %q, want %q", got, tt.names)
			}
			v := r.Judge(sound)
			if v.State != tt.want || v.Rule != tt.rule || len(v.Saw) != len(names) {
				t.Errorf("verdict is %+v, want %s", v, tt.want)
			}
			switch {
			case v.Margin == nil:
				if !math.IsNaN(tt.margin) {
					t.Errorf("no margin, want %v", tt.margin)
				}
			case math.Abs(v.Margin.By-tt.margin) > 1e-12:
				t.Errorf("margin %v, want %v", v.Margin.By, tt.margin)
			}
		})
	}
}

// TestUnknown: what cannot be known holds, and says why.
func TestUnknown(t *testing.T) {
	tests := []struct {
		rule string
		set  map[string]any
		says string
	}{
		{"not (air.least < tolerances.gap)", map[string]any{"air.least": math.NaN()}, "air.least is not a finite number"},
		{"air.least >= tolerances.gap", map[string]any{"air.least": math.Inf(1)}, "not a finite"},
		{"air.least >= tolerances.gap", map[string]any{"air.least": nil}, "air.least was not found"},
		{"closed or air.least >= tolerances.gap", map[string]any{"air.least": nil}, "air.least was not found"},
		{"all(air.gaps, # > 0)", map[string]any{"air.gaps": []float64{}}, "empty list"},
		{"none(air.gaps, # > 0)", map[string]any{"air.gaps": []float64{1, math.NaN()}}, "not finite"},
		{"all(tags, # == \"a\")", map[string]any{"tags": []string{}}, "empty list"},
		{"closed", map[string]any{"closed": "yes"}, "closed is not a flag"},
		{"air.least > 0", map[string]any{"air.least": "wide"}, "air.least is not a length"},
		{"air.least > 0", map[string]any{"air.least": struct{}{}}, "of a sort no rule can judge"},
	}
	for _, tt := range tests {
		r, faults := Compile(tt.rule, scope)
		if faults != nil {
			t.Fatalf("%s: %+v", tt.rule, faults)
		}
		values := map[string]any{}
		for k, v := range sound {
			values[k] = v
		}
		for k, v := range tt.set {
			values[k] = v
		}
		if v := r.Judge(values); v.State != Unknown || !strings.Contains(v.Says, tt.says) {
			t.Errorf("%s with %v: %+v, want unknown, %q", tt.rule, tt.set, v, tt.says)
		}
	}
}

func TestFaults(t *testing.T) {
	deep := strings.Repeat("(", 200) + "closed" + strings.Repeat(")", 200)
	tests := []struct {
		rule, code string
		at         string // what is underlined
		says       string
	}{
		{"air.leest >= tolerances.gap", "unknown-name", "air.leest", `did you mean "air.least"?`},
		{"material.gap > 0", "unknown-name", "material.gap", "may speak of"},
		{"air > 2", "unknown-name", "air", "it has air.gaps, air.least, air.spots"},
		{"air.least > 2", "rule-units", "air.least > 2", "a length is compared with a number"},
		{"air.least > bend", "rule-units", "air.least > bend", "a length is compared with an angle"},
		{"air.least + bend > 0", "rule-units", "air.least + bend", "is added to"},
		{"seen > 0.02", "rule-units", "seen > 0.02", "a share is compared with a number"},
		{"air.least * 2 > tolerances.patch", "rule-units", "", "a length is compared with an area"},
		{"air.least", "not-yes-or-no", "air.least", "a length, not a yes or no"},
		{"closed and air.least", "rule-type", "air.least", "must be a yes or no"},
		{"verdict > \"a\"", "rule-type", "", "has no order"},
		{"closed == 1", "rule-type", "", "a yes or no is compared with a number"},
		{"air.gaps > 0", "rule-type", "", "a list is compared with a number"},
		{"air.gaps[0] > 0", "rule-not-allowed", "", "pick items"},
		{"all(air.gaps, all(air.gaps, # > 0))", "rule-not-allowed", "", "within another"},
		{"let a = 1; a > 0", "rule-not-allowed", "", "let"},
		{"closed ? closed : not closed", "rule-not-allowed", "", "if or ?:"},
		{"len(1..900) > 0", "rule-not-allowed", "", `".."`},
		{"verdict matches \"a+\"", "rule-not-allowed", "", `"matches"`},
		{"sum(air.gaps) > 0", "rule-not-allowed", "", "sum(...)"},
		{"now() > 0", "rule-not-allowed", "", "now(...)"},
		{"foo(air.least) > 0", "rule-not-allowed", "", "foo(...)"},
		{"# > 0", "rule", "", "#"},
		{"air?.least > 0", "rule-not-allowed", "", ""},
		{"child.links == 1", "rule-not-allowed", "child.links", "a table, which a rule cannot judge"},
		{"air.least >= ", "rule", "", "cannot be read"},
		{"bend-air.least > 0", "unknown-name", "", "blanks round the minus"},
		{"é > 0", "unknown-name", "é", ""},
		{"", "rule", "", "empty"},
		{strings.Repeat("closed and ", 60) + "closed", "rule-too-long", "", "500"},
		{deep, "", "", ""},
		{strings.Repeat("-", 250) + "1 > 0", "rule-too-long", "", "200 parts"},
	}
	for _, tt := range tests {
		t.Run(tt.rule, func(t *testing.T) {
			_, faults := Compile(tt.rule, scope)
			if tt.code == "" {
				if faults != nil {
					t.Fatalf("faults: %+v", faults)
				}
				return
			}
			if len(faults) == 0 {
				t.Fatal("no fault was found")
			}
			f := faults[0]
			if f.Code != tt.code || !strings.Contains(f.Says+"; "+f.Hint, tt.says) {
				t.Errorf("told %+v; want %s, %q", f, tt.code, tt.says)
			}
			if got := string([]rune(tt.rule)[f.From : f.From+f.Len]); tt.at != "" && got != tt.at {
				t.Errorf("underlined %q, want %q", got, tt.at)
			}
		})
	}
}

// TestAllFaults: two mistakes in one rule are both told.
func TestAllFaults(t *testing.T) {
	if _, faults := Compile("air.leest > 0 and bend > 30", scope); len(faults) != 2 {
		t.Errorf("told %+v, want two", faults)
	}
}

// FuzzRule: whatever the text, no panic; what compiles can be judged, says
// what it saw, and two judgings agree; taking a value away makes it unknown.
func FuzzRule(f *testing.F) {
	for _, s := range []string{"air.least >= tolerances.gap or air.spots == 0", "all(air.gaps, # > tolerances.gap)", "child.head-girth - 1 > 0",
		"min(1,2) == max(1,2)", "not (closed and verdict == 'x')", "1/0 > 2", "a-b", "((((", "\"\\", "none(tags, # == '')", "1 - seen > 0"} {
		f.Add(s)
	}
	f.Fuzz(func(t *testing.T, rule string) {
		r, faults := Compile(rule, scope)
		if (r == nil) != (len(faults) > 0) {
			t.Fatalf("rule %v, faults %v", r, faults)
		}
		for _, f := range faults {
			if f.Says == "" || f.Code == "" || f.From < 0 || f.Len < 0 {
				t.Fatalf("bad fault %+v", f)
			}
		}
		if r == nil {
			return
		}
		v := r.Judge(sound)
		if fmt.Sprint(v.State) != fmt.Sprint(r.Judge(sound).State) {
			t.Fatal("two judgings differ")
		}
		if !slices.Contains([]State{Passes, Holds, Unknown}, v.State) {
			t.Fatalf("state %q", v.State)
		}
		if v.State == Unknown && !strings.Contains(rule, "/") && !strings.Contains(rule, "*") && v.Says == "" {
			t.Fatalf("unknown without a word: %+v", v)
		}
		if len(r.Names()) > 0 && r.Judge(nil).State != Unknown {
			t.Fatal("known without values")
		}
	})
}
