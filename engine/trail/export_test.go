package trail

import (
	"bytes"
	"encoding/csv"
	"encoding/json"
	"os"
	"os/exec"
	"path/filepath"
	"strings"
	"testing"
)

// aDay is a trail with every kind of record and every kind of verdict in it.
func aDay(t testing.TB) (*house, map[string]Record) {
	h := newHouse(t, "anna", "ben", "carla", "dov")
	arm, arm2 := subject("hand/left-arm.stl"), subject("hand/left-arm v2.stl")
	made := word(Made, arm)
	made.From = []File{file("out/merged.ply")}
	h.must("anna", made)
	hold := word(Hold, arm)
	hold.Pins = []Pin{{File: 1, At: [3]float64{12.4, -3.1, 88}, Radius: 2, Words: "thumb web"}}
	rs := map[string]Record{"hold": h.must("ben", hold)}
	rs["reject"] = h.must("carla", word(Reject, arm, "fingers joined"))
	h.must("anna", word(Made, arm2))
	rs["approve"] = h.must("ben", answering(word(Approve, arm2, "seam by the thumb is fine now"), rs["hold"].ID))
	rs["withdraw"] = h.must("carla", answering(word(Withdraw, arm), rs["reject"].ID))
	rs["concession"] = h.must("dov", concession(arm2))
	rs["retire"] = h.must("wren", Draft{Kind: Retire, Name: "carla", Printed: "Carla Søby", Keys: []string{Fingerprint(h.key("carla").PublicKey())},
		Reason: "left the studio", Meaning: "I end this key"})
	rs["seal"] = h.must("ben", Draft{Kind: Seal, Meaning: SealMeaning})
	return h, rs
}

func concession(s Subject) Draft {
	return Draft{Kind: Concession, Stage: s.Stage, Files: s.Files, State: s.State, Gates: []string{"no-webs"}, Fault: "air gap 1.1 mm at the thumb, 1.2 mm asked",
		Action: "the factory is told where to look", Reason: "the first sample will show it", Authority: "release", Meaning: "I allow this to go on although the gate does not hold"}
}

func needKeygen(t testing.TB) string {
	t.Helper()
	tool, err := exec.LookPath("ssh-keygen")
	if err != nil {
		t.Skip("NOT CHECKED against ssh-keygen: it is not installed here")
	}
	return tool
}

// TestExportChecks runs check.sh as an auditor would, on a true trail and on
// one with a word changed.
func TestExportChecks(t *testing.T) {
	needKeygen(t)
	h, _ := aDay(t)
	dir := filepath.Join(t.TempDir(), "audit")
	if err := h.open().Export(dir, ""); err != nil {
		t.Fatal(err)
	}
	out, err := exec.Command("sh", filepath.Join(dir, "check.sh")).CombinedOutput()
	if err != nil || !strings.Contains(string(out), "14 signatures hold, 0 do not") {
		t.Errorf("check.sh: %v\n%s", err, out)
	}
	name := filepath.Join(dir, FileName)
	data, _ := os.ReadFile(name)
	os.WriteFile(name, bytes.Replace(data, []byte("thumb is fine"), []byte("thumb is mine"), 1), 0o644)
	out, err = exec.Command("sh", filepath.Join(dir, "check.sh")).CombinedOutput()
	if err == nil || !strings.Contains(string(out), "13 signatures hold, 1 do not") {
		t.Errorf("check.sh let a changed word pass: %v\n%s", err, out)
	}
	if err := h.open().Export(dir, ""); err == nil {
		t.Error("exported over a folder that was not empty")
	}
}

// TestReport: the report says first what it does not prove, shows name, time
// and meaning of every signature (21 CFR 11.50(b)), and never claims more.
func TestReport(t *testing.T) {
	h, rs := aDay(t)
	tr := h.open()
	text := tr.Report([]string{"hand/left-arm v2.stl is another file today"})
	for _, r := range tr.Records() {
		for _, want := range []string{r.ID.Short(), "name     " + r.ByPrinted, "time     " + r.Time.Format(clockForm), "meaning  " + r.Meaning} {
			if !strings.Contains(text, want) {
				t.Errorf("record %s lacks %q in the report", r.Tag, want)
			}
		}
	}
	if strings.Index(text, "does not prove") > 100 {
		t.Error("what is not proven must stand first")
	}
	for _, want := range []string{"is another file today", "retired: left the studio", "not yet by Wren Hollis, Anna Berg, Dov Arnaud", "at       1 mm 12.4 -3.1 88 r 2 thumb web", "authority release"} {
		if !strings.Contains(text, want) {
			t.Errorf("the report lacks %q\n%s", want, text)
		}
	}
	if strings.Contains(strings.ToLower(text), "complian") {
		t.Error("the report claims too much")
	}
	if open := tr.OpenHolds(); len(open) != 0 {
		t.Errorf("all holds are answered, yet %v", open)
	}
	again := h.must("dov", word(Hold, subject("hand/left-arm v3.stl"), "look once more"))
	if open := h.open().OpenHolds(); len(open) != 1 || open[0].ID != again.ID {
		t.Errorf("one hold is open; got %v", open)
	}
	_ = rs
}

// TestTables: JSON and CSV hold every record; a cell never becomes a formula.
func TestTables(t *testing.T) {
	h, _ := aDay(t)
	h.must("ben", word(Hold, subject("a"), "=1+1"))
	tr := h.open()
	var b bytes.Buffer
	if err := tr.WriteJSON(&b); err != nil {
		t.Fatal(err)
	}
	var got struct {
		Trail   string
		Records []Record
	}
	if err := json.Unmarshal(b.Bytes(), &got); err != nil || len(got.Records) != len(tr.list) || got.Trail != "luna-2026-03" {
		t.Errorf("JSON: %v, %d records", err, len(got.Records))
	}
	b.Reset()
	if err := tr.WriteCSV(&b); err != nil {
		t.Fatal(err)
	}
	rows, err := csv.NewReader(&b).ReadAll()
	if err != nil || len(rows) != len(tr.list)+1 || rows[len(rows)-1][11] != "'=1+1" {
		t.Errorf("CSV: %v, %d rows, last %q", err, len(rows), rows[len(rows)-1])
	}
}

// TestChanged: the report's list of files that differ today.
func TestChanged(t *testing.T) {
	h := newHouse(t, "anna")
	root := filepath.Dir(h.path)
	for name, text := range map[string]string{"same.stl": "a", "other.stl": "b", "gone.stl": "c"} {
		os.WriteFile(filepath.Join(root, name), []byte(text), 0o644)
	}
	dir, err := os.OpenRoot(root)
	if err != nil {
		t.Fatal(err)
	}
	defer dir.Close()
	s := Subject{Stage: "soundness/head"}
	for _, name := range []string{"same.stl", "other.stl", "gone.stl"} {
		f, err := Look(dir, name)
		if err != nil {
			t.Fatal(err)
		}
		s.Files = append(s.Files, f)
	}
	h.must("anna", word(Approve, s))
	if list, err := h.open().Changed(root); err != nil || len(list) != 0 {
		t.Errorf("nothing differs yet: %q, %v", list, err)
	}
	os.WriteFile(filepath.Join(root, "other.stl"), []byte("B"), 0o644)
	os.Remove(filepath.Join(root, "gone.stl"))
	list, err := h.open().Changed(root)
	if err != nil || len(list) != 2 || !strings.Contains(list[0], "gone.stl is not there") || !strings.Contains(list[1], "other.stl is another file") {
		t.Errorf("two files differ: %q, %v", list, err)
	}
}
