package specimen

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"layette/steps/internal/geom"
)

// What can be wrong with a whole scan.
const (
	Blurred   = "blurred"   // the child breathed: points smeared along the ray
	Sparse    = "sparse"    // hardly anything came back
	Elsewhere = "elsewhere" // not the part at all: the blanket
	Duplicate = "duplicate" // the same file again
)

// Session says how a part is scanned.
type Session struct {
	Scanner Scanner
	Shots   int     // good and bad together
	Overlap float64 // share of a window that its neighbours see too, 0.05 to 0.9; sets the window's size. 0 leaves the Scanner's
	Bad     float64 // share of bad shots: blurred, sparse, elsewhere in turn
	Twice   bool    // one good shot is filed twice
	Later   *Part   // what the shots from two thirds on see instead, if the child moved
	Seed    uint64
}

// A Scan is one shot's file and the truth about it.
type Scan struct {
	Name  string
	Mesh  *geom.Mesh // in the scanner's own frame
	Pose  geom.Pose  // takes it into the part's frame
	Fault string     // "" if the shot is good
	Of    int        // the shot it repeats, if it is a duplicate
	Moved bool       // sees Later
}

// Run takes the shots round a part and hands each to keep, in order, so that
// no more than one need be in memory. Sixty shots of 100,000 points take some
// ten seconds on two processors.
func (s Session) Run(ctx context.Context, p *Part, keep func(Scan) error) error {
	if s.Shots < 1 || s.Shots > 10_000 || s.Overlap < 0 || s.Overlap > 0.9 {
		return fmt.Errorf("specimen: a session of %d shots with an overlap of %g", s.Shots, s.Overlap)
	}
	scene, err := NewScene(ctx, p)
	if err != nil {
		return err
	}
	later := scene
	if s.Later != nil {
		if later, err = NewScene(ctx, s.Later); err != nil {
			return err
		}
	}
	shots, err := s.plan(ctx, p)
	if err != nil {
		return err
	}
	if s.Overlap > 0 {
		s.Scanner = s.window(shots)
	}
	faults := s.faults()
	var again Scan
	for i, shot := range shots {
		scan := Scan{Name: fmt.Sprintf("%s-%03d", p.Name, i+1), Pose: shot.Pose(), Fault: faults[i], Of: -1}
		from := scene
		if s.Later != nil && i >= 2*s.Shots/3 {
			from, scan.Moved = later, true
		}
		if scan.Fault == Duplicate {
			scan.Mesh, scan.Pose, scan.Of, scan.Moved = again.Mesh, again.Pose, again.Of, again.Moved
		} else if scan.Mesh, err = s.take(ctx, from, shot, scan.Fault); err != nil {
			return err
		}
		if scan.Fault == "" && again.Mesh == nil {
			again = scan
			again.Of = i
		}
		if err := keep(scan); err != nil {
			return err
		}
	}
	return nil
}

// take makes one shot, good or bad.
func (s Session) take(ctx context.Context, scene *Scene, shot Shot, fault string) (*geom.Mesh, error) {
	sc := s.Scanner.usual()
	switch fault {
	case Blurred:
		sc.Noise = 8 * max(sc.Noise, 0.05)
	case Sparse:
		sc.Steepest, sc.Clean = 12, false
	case Elsewhere:
		blanket, err := blanketScene(ctx, shot, sc.Distance)
		if err != nil {
			return nil, err
		}
		scene = blanket
	}
	return sc.Scan(ctx, scene, shot)
}

// blanketScene is a fold of cloth where the part should have been.
func blanketScene(ctx context.Context, shot Shot, distance float64) (*Scene, error) {
	f := shot.From.moved(0, 0, distance+30)
	r := rand.New(rand.NewPCG(shot.Seed, 7))
	folds := []Field{egg3(f.moved(0, 0, 20), v(160, 160, 22))}
	for range 4 {
		a := v(120*(r.Float64()-0.5), 120*(r.Float64()-0.5), -2)
		b := v(120*(r.Float64()-0.5), 120*(r.Float64()-0.5), -4)
		folds = append(folds, taper(f.World(a), f.World(b), 4*(r.Float64()+1.25), 4*(r.Float64()+1.25)))
	}
	cloth := join(12, folds...)
	return NewScene(ctx, &Part{Field: cloth})
}

// faults deals out what is wrong with which shot.
func (s Session) faults() []string {
	out := make([]string, s.Shots)
	r := rand.New(rand.NewPCG(s.Seed, 11))
	order := r.Perm(s.Shots)
	bad := int(math.Round(float64(s.Shots) * s.Bad))
	for i, n := range order {
		if i >= bad {
			break
		}
		out[n] = [...]string{Blurred, Sparse, Elsewhere}[i%3]
	}
	if s.Twice {
		for _, n := range order[bad:] {
			if n > s.Shots/2 { // later than the first good shot, which it repeats
				out[n] = Duplicate
				break
			}
		}
	}
	return out
}

// plan spreads the shots evenly over the skin: each aims at the place farthest
// from all aimed at before, from a little off the skin's normal.
func (s Session) plan(ctx context.Context, p *Part) ([]Shot, error) {
	size := p.Field.Bounds().Size().Len()
	m, err := Surface(ctx, p.Field, p.Cut, Sampling{Edge: size / 60, Open: true})
	if err != nil {
		return nil, err
	}
	r := rand.New(rand.NewPCG(s.Seed, 3))
	dist := make([]float64, len(m.Verts))
	for i := range dist {
		dist[i] = far
	}
	at := r.IntN(len(m.Verts))
	distance := s.Scanner.usual().Distance
	var out []Shot
	for range s.Shots {
		place := m.Verts[at].Vec()
		_, g := p.Field.At(place)
		dir := g.Unit().Add(v(r.Float64()-0.5, r.Float64()-0.5, r.Float64()-0.5).Mul(0.5))
		out = append(out, Aim(place, dir, distance+float64(20*(r.Float64()-0.5)), 360*r.Float64(), r.Uint64()))
		best := -1.0
		for i, q := range m.Verts {
			dist[i] = min(dist[i], q.Vec().Sub(place).Len2())
			if dist[i] > best {
				best, at = dist[i], i
			}
		}
	}
	return out, nil
}

// window returns the scanner with its window set so that the stated share of
// it is seen by the nearest neighbour too.
func (s Session) window(shots []Shot) Scanner {
	sc := s.Scanner.usual()
	var sum float64
	for i, a := range shots {
		least := far
		for j, b := range shots {
			if i != j {
				x, y := a.From.World(v(0, 0, sc.Distance)), b.From.World(v(0, 0, sc.Distance))
				least = min(least, x.Sub(y).Len())
			}
		}
		sum += least
	}
	spacing := sum / float64(len(shots))
	sc.Wide = spacing / (1 - s.Overlap)
	sc.High = sc.Wide
	return sc
}
