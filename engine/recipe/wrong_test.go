package recipe

import (
	"flag"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"layette/engine/diag"
)

var update = flag.Bool("update", false, "rewrite the screens in testdata")

// screen shows every problem of a recipe, as people see it.
func screen(t *testing.T, name string) string {
	data, err := os.ReadFile(filepath.Join("testdata", "wrong", name))
	if err != nil {
		t.Fatal(err)
	}
	src := Sources{Find: testdata, Names: []string{"base", "good"}}
	if text := (Text{name, data}); strings.HasSuffix(name, ".model.toml") {
		src.Sheet = text
	} else {
		src.Recipe = text
		src.Find = func(want string) (Text, error) {
			if want+".toml" == name {
				return text, nil
			}
			return testdata(want)
		}
	}
	_, err = Read(src, fakes)
	if err == nil {
		t.Fatalf("%s was read", name)
	}
	var b strings.Builder
	for _, p := range diag.Of(err) {
		diag.Render(&b, p)
		b.WriteByte('\n')
	}
	return b.String()
}

func hints(err error) string {
	var b strings.Builder
	for _, p := range diag.Of(err) {
		b.WriteString(p.Hint)
	}
	return b.String()
}

// TestWrongRecipes: recipes with many mistakes at once, and all that is told of
// them. With -update the screens are rewritten: read the difference.
func TestWrongRecipes(t *testing.T) {
	names, err := filepath.Glob(filepath.Join("testdata", "wrong", "*.toml"))
	if err != nil || len(names) < 8 {
		t.Fatalf("%d recipes, %v", len(names), err)
	}
	for _, path := range names {
		name := filepath.Base(path)
		t.Run(name, func(t *testing.T) {
			got := screen(t, name)
			file := strings.TrimSuffix(path, ".toml") + ".want"
			if *update {
				if err := os.WriteFile(file, []byte(got), 0o666); err != nil {
					t.Fatal(err)
				}
			}
			want, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if got != string(want) {
				t.Errorf("shown:\n%s\nwant:\n%s", got, want)
			}
		})
	}
}
