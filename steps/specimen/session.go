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
//
// With Shared above 0 it is the work of somebody who walks round the child:
// each shot is taken from where it shares about that share of its points with
// the shot before it, and among such places where least was seen so far. The
// window stays the Scanner's, several centimetres as those of structured light
// are, so that forty shots see the skin of a hand many times over and every
// shot shares skin with many others, though each with the one before it only by
// a third. A shot's points are counted on an even sampling of the skin, without
// regard to what stands in the way; what the scans then truly share is up to a
// few points off (TestShared).
//
// With Shared 0 the shots are spread evenly over the skin in no order, and
// Overlap may shrink the window until it is only just a patch of the mosaic: a
// session at the edge of what can be put together at all.
type Session struct {
	Scanner Scanner
	Shots   int     // good and bad together
	Shared  float64 // share of a shot's points that the shot before it sees too, 0.05 to 0.9; 0 for shots in no order
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
	if s.Shared < 0 || s.Shared > 0.9 || s.Shared > 0 && s.Overlap > 0 {
		return fmt.Errorf("specimen: a session that shares %g from shot to shot and overlaps by %g: one of the two, 0.9 at most", s.Shared, s.Overlap)
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
