package trail

import (
	"context"
	"crypto/sha256"
	"fmt"
	"os"
	"testing"
)

// fill appends n approvals to a trail without going through the disk.
func (h *house) fill(name string, n int) {
	h.t.Helper()
	t := h.open()
	data := t.data
	for i := range n {
		h.now = h.now.Add(1e9)
		r := &Record{Draft: word(Approve, subject(fmt.Sprintf("hand/part-%d.stl", i%150))), Tag: newTag(), Time: h.now, Key: Fingerprint(h.key(name).PublicKey())}
		r.Stage = fmt.Sprintf("stage-%d/left-arm", i%150)
		if err := t.place(r); err != nil {
			h.t.Fatal(err)
		}
		r.lines = r.signed()
		r.ID = sha256.Sum256(r.lines)
		var err error
		if r.sig, err = sign(r.Tag, r.lines, h.key(name)); err != nil {
			h.t.Fatal(err)
		}
		t.add(r)
		data = append(append(data, r.lines...), r.sig...)
		t.judge.latest = append(t.judge.latest, r.Time)
	}
	h.write(data)
}

// BenchmarkOpen reads a trail of 2,000 records, about ten models' worth.
func BenchmarkOpen(b *testing.B) {
	h := newHouse(b, "anna")
	h.fill("anna", 2000)
	info, err := os.Stat(h.path)
	if err != nil {
		b.Fatal(err)
	}
	for _, bb := range []struct {
		name string
		o    Options
	}{
		{"remembered", h.o},
		{"afresh", Options{Now: h.o.Now}},
	} {
		b.Run(bb.name, func(b *testing.B) {
			b.SetBytes(info.Size())
			for b.Loop() {
				t, err := Open(h.path, bb.o)
				if err != nil || len(t.list) != 2002 || t.damaged {
					b.Fatal(err, len(t.list), t.Err())
				}
			}
			b.ReportMetric(2002*float64(b.N)/b.Elapsed().Seconds(), "records/s")
		})
	}
}

// BenchmarkVerify checks one record's signature, on one processor.
func BenchmarkVerify(b *testing.B) {
	h := newHouse(b, "anna")
	r := h.open().list[1]
	for b.Loop() {
		if err := r.verify(); err != nil {
			b.Fatal(err)
		}
	}
	b.ReportMetric(float64(b.N)/b.Elapsed().Seconds(), "records/s")
}

// BenchmarkDecide asks for 150 stages' states over 2,000 records.
func BenchmarkDecide(b *testing.B) {
	h := newHouse(b, "anna")
	h.fill("anna", 2000)
	t := h.open()
	for b.Loop() {
		for i := range 150 {
			s := subject(fmt.Sprintf("hand/part-%d.stl", i))
			s.Stage = fmt.Sprintf("stage-%d/left-arm", i)
			if d := t.Decide(s, Policy{NotMaker: true}); d.State != Approved {
				b.Fatal(d)
			}
		}
	}
}

// BenchmarkAppend adds one record to a trail of 2,000.
func BenchmarkAppend(b *testing.B) {
	h := newHouse(b, "anna")
	h.fill("anna", 2000)
	t := h.open()
	for b.Loop() {
		if _, err := t.Append(context.Background(), word(Approve, subject("a")), h.key("anna")); err != nil {
			b.Fatal(err)
		}
	}
}
