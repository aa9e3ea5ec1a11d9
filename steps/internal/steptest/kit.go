package steptest

import (
	"bytes"
	"context"
	"errors"
	"fmt"
	"math/rand/v2"
	"strconv"
	"strings"
	"sync/atomic"
	"testing"

	"layette/engine/step"
	"layette/steps/internal/geom"
	"layette/steps/internal/meshio"
	"layette/steps/specimen"
)

// Surface returns a surface as the file of a part.
func Surface(t testing.TB, part string, m *geom.Mesh) step.File {
	t.Helper()
	var b bytes.Buffer
	if err := meshio.WritePLY(&b, m); err != nil {
		t.Fatal(err)
	}
	f := File(part+".ply", b.Bytes(), "mm")
	f.Part = part
	return f
}

// Part returns a part of an invented child.
func Part(t testing.TB, o specimen.Options, name string) *specimen.Part {
	t.Helper()
	kit, err := specimen.NewKit(o)
	if err != nil {
		t.Fatal(err)
	}
	p, err := kit.Part(name)
	if err != nil {
		t.Fatal(err)
	}
	return p
}

// Mesh returns the surface of such a part, of about so many triangles.
func Mesh(t testing.TB, o specimen.Options, name string, triangles int) *geom.Mesh {
	t.Helper()
	m, err := Part(t, o, name).Mesh(t.Context(), specimen.Sampling{Triangles: triangles})
	if err != nil {
		t.Fatal(err)
	}
	return m
}

// Child makes parts of invented children, and keeps what it has made.
type Child map[string]*geom.Mesh

// Part returns a part as it is known.
func (Child) Part(t testing.TB, o specimen.Options, name string) *specimen.Part {
	t.Helper()
	o.Plain = true
	return Part(t, o, name)
}

// Mesh returns a part's surface. Faults of other parts do not matter to it.
func (c Child) Mesh(t testing.TB, o specimen.Options, name string, triangles int) *geom.Mesh {
	t.Helper()
	var own []specimen.Fault
	for _, f := range o.Faults {
		if f.Part == name {
			own = append(own, f)
		}
	}
	o.Faults = own
	key := fmt.Sprint(o, name, triangles)
	if c[key] == nil {
		o.Plain = true
		c[key] = Mesh(t, o, name, triangles)
	}
	return c[key]
}

// Moved returns a surface turned and moved at random, and how it was turned:
// parts come in frames of their own.
func Moved(r *rand.Rand, m *geom.Mesh) (*geom.Mesh, geom.Mat) {
	turn := geom.Quaternion{W: r.NormFloat64(), X: r.NormFloat64(), Y: r.NormFloat64(), Z: r.NormFloat64()}.Rot()
	by := geom.Vec{X: 200 * r.Float64(), Y: -90 * r.Float64(), Z: 50 * r.Float64()}
	out := &geom.Mesh{Tris: m.Tris}
	for _, p := range m.Verts {
		out.Verts = append(out.Verts, turn.Apply(p.Vec()).Add(by).Point())
	}
	return out, turn
}

// Seeds returns which seeds the text of LAYETTE_SEEDS asks for: "200" for the
// first 200, "50-100" for a share of them; without it the first few.
func Seeds(t testing.TB, text string, few int) (from, to int) {
	t.Helper()
	if text == "" {
		return 0, few
	}
	first, last, share := strings.Cut(text, "-")
	if !share {
		first, last = "0", text
	}
	from, err := strconv.Atoi(first)
	to, err2 := strconv.Atoi(last)
	if err != nil || err2 != nil {
		t.Fatalf("LAYETTE_SEEDS=%q: a number, or a share such as 50-100", text)
	}
	return from, to
}

// glances is a context that is cancelled when it has been looked at so often.
type glances struct {
	context.Context
	left *atomic.Int64
	stop func()
}

func (g glances) Err() error {
	if g.left.Add(-1) == 0 {
		g.stop()
	}
	return g.Context.Err()
}

// Stops cancels a run of kind at one look after another at whether to go on, of
// the looks that a whole run takes, which must be least or more: it must stop
// with the cause, soon after.
func Stops(t *testing.T, kind step.Kind, given Given, least int64) {
	t.Helper()
	given.Workers = 1
	stop := errors.New("stop")
	run := func(after int64) (int64, error) {
		ctx, cancel := context.WithCancelCause(t.Context())
		defer cancel(nil)
		g := glances{ctx, new(atomic.Int64), func() { cancel(stop) }}
		g.left.Store(after)
		_, err := try(g, t, kind, given)
		return after - g.left.Load(), err
	}
	all, err := run(1 << 40)
	if err != nil || all < least {
		t.Fatalf("%d looks at whether to stop, want %d or more; %v", all, least, err)
	}
	for k := range int64(7) {
		at := 1 + k*(all-1)/7
		if looks, err := run(at); !errors.Is(err, stop) || looks > at+8 {
			t.Errorf("cancelled at look %d of %d: %d looks, %v", at, all, looks, err)
		}
	}
}

// Web joins the vertices that a scanner saw at places of its grid, -n to n either
// way, where all four corners of a square were seen.
func Web(m *geom.Mesh, at map[[2]int]int32, n int) {
	for j := -n; j < n; j++ {
		for i := -n; i < n; i++ {
			a, oka := at[[2]int{i, j}]
			b, okb := at[[2]int{i + 1, j}]
			c, okc := at[[2]int{i + 1, j + 1}]
			d, okd := at[[2]int{i, j + 1}]
			if oka && okb && okc && okd {
				m.Tris = append(m.Tris, geom.Tri{a, c, b}, geom.Tri{a, d, c})
			}
		}
	}
}
