package geom

import (
	"math"
	"math/rand/v2"
	"testing"
)

// TestPointGrid: the grid answers as the tree does, ties and all, near the
// points, far from them and outside; strays make no grid.
func TestPointGrid(t *testing.T) {
	r := rand.New(rand.NewPCG(3, 1))
	c, err := Thinned(t.Context(), bumpy(120, 0.05, 1), 1, 1)
	if err != nil {
		t.Fatal(err)
	}
	square := &Cloud{Spacing: 2} // many equally near points
	for k := range 400 {
		square.Points = append(square.Points, Point{float32(2 * (k % 20)), float32(2 * (k / 20)), 0})
	}
	if err := square.Index(t.Context(), 1); err != nil {
		t.Fatal(err)
	}
	for _, c := range []*Cloud{c, square} {
		if c.grid == nil {
			t.Fatal("no grid")
		}
		box := EmptyBox()
		for _, p := range c.Points {
			box = box.Include(p.Vec())
		}
		for k := range 40000 {
			p := c.Points[r.IntN(len(c.Points))].Vec()
			q := p.Add(Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()}.Mul([]float64{0.1, 1, 5, 40}[k%4]))
			if k%8 == 0 {
				q = Vec{math.Round(q.X), math.Round(q.Y), math.Round(q.Z)}
			}
			limit := []float64{0.3, 1, 4, 12, 100, math.Inf(1)}[k%6]
			want := c.Tree.Nearest(q, limit)
			if got := c.Nearest(q, limit); got.ID != want.ID || got.ID >= 0 && got != want {
				t.Fatalf("near %v within %v: %v, want %v", q, limit, got, want)
			}
		}
	}
	square.Points = append(square.Points, Point{1e7, 0, 0})
	if err := square.Index(t.Context(), 1); err != nil || square.grid != nil || square.Nearest(Vec{9e6, 0, 0}, 2e6).ID != 400 {
		t.Errorf("a stray far away: grid %v, %v", square.grid != nil, err)
	}
}

// BenchmarkIndex makes the trees of a thinned scan.
func BenchmarkIndex(b *testing.B) {
	c, err := Thinned(b.Context(), bumpy(320, 0.05, 1), 1, 2)
	if err != nil {
		b.Fatal(err)
	}
	for b.Loop() {
		c.grid = newPointGrid(c.Points, thinnedSide*c.Spacing)
	}
	b.ReportMetric(float64(len(c.Points))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mpoints/s")
}

// BenchmarkNearestThinned asks a thinned scan for what is nearest to places
// near its skin.
func BenchmarkNearestThinned(b *testing.B) {
	c, err := Thinned(b.Context(), bumpy(320, 0.05, 1), 1, 2)
	if err != nil {
		b.Fatal(err)
	}
	r := rand.New(rand.NewPCG(3, 1))
	qs := make([]Vec, 5000)
	for k := range qs {
		qs[k] = c.Points[r.IntN(len(c.Points))].Vec().Add(Vec{r.NormFloat64(), r.NormFloat64(), r.NormFloat64()})
	}
	for b.Loop() {
		for _, q := range qs {
			c.Nearest(q, 3)
		}
	}
	b.ReportMetric(float64(len(qs))*float64(b.N)/b.Elapsed().Seconds()/1e6, "Mqueries/s")
}
