package specimen

import (
	"context"
	"fmt"
	"math"
	"math/rand/v2"

	"layette/steps/internal/geom"
)

// A Scanner is a hand-held projector and camera that sees a window of skin at
// a time. The zero value of a field stands for the usual in brackets.
type Scanner struct {
	Distance float64 // from the camera to where it is sharp, mm [220]
	Depth    float64 // sharp that much before and behind, mm [70]
	Wide     float64 // window at that distance, mm [70]
	High     float64 // [56]
	Pitch    float64 // of points at that distance, mm [0.25]
	Baseline float64 // from camera to projector, mm: what either does not see has no points [60]
	Noise    float64 // standard deviation along the ray, square on, mm [0.08; negative: none]
	Steepest float64 // angle of skin to the ray's normal beyond which nothing comes back, degrees [68]
	Stray    float64 // share of rays that return nonsense [0.0005; negative: none]
	Stretch  float64 // neighbours this far apart in depth are still joined by a face, mm [8 pitches]
	Clean    bool    // wet skin and grazing skin are seen like any other; no noise, no strays
}

func (s Scanner) usual() Scanner {
	s.Distance, s.Depth = or(s.Distance, 220), or(s.Depth, 70)
	s.Wide, s.High, s.Pitch = or(s.Wide, 70), or(s.High, 56), or(s.Pitch, 0.25)
	s.Baseline, s.Steepest = or(s.Baseline, 60), or(s.Steepest, 68)
	s.Noise, s.Stray = max(0, or(s.Noise, 0.08)), max(0, or(s.Stray, 0.0005))
	s.Stretch = or(s.Stretch, 8*s.Pitch)
	if s.Clean {
		s.Noise, s.Stray = 0, 0
	}
	return s
}

// A Spot is a ball of skin: wet, or otherwise not to be seen.
type Spot struct {
	At     geom.Vec
	Radius float64 // mm
}

// A Shot says where the scanner stands: its frame in the part's, the window's
// middle along z.
type Shot struct {
	From Frame
	Seed uint64 // of noise and strays
}

// Aim returns the shot from distance mm that looks at a place from along the
// direction out, turned by roll degrees about the line of sight.
func Aim(place, out geom.Vec, distance, roll float64, seed uint64) Shot {
	f := looking(place.Add(out.Unit().Mul(distance)), out.Mul(-1))
	return Shot{From: f.turned(2, roll), Seed: seed}
}

// A Scene is what a scanner can be pointed at: a field made quick.
type Scene struct {
	quick *quick
	wet   []Spot
	floor float64 // nothing below this z is seen
}

// NewScene readies a part for any number of shots: about half a second.
func NewScene(ctx context.Context, p *Part) (*Scene, error) {
	floor := math.Inf(-1)
	box := grow(p.Field.Bounds(), 1)
	if p.Cut {
		floor, box.Min.Z = 0, max(box.Min.Z, -2)
	}
	q, err := quicken(ctx, p.Field, box)
	if err != nil {
		return nil, err
	}
	return &Scene{quick: q, wet: p.Wet, floor: floor}, nil
}

// point is one ray's answer.
type point struct {
	at  geom.Vec // in the scanner's frame
	hit bool
}

// Scan returns what the scanner sees from there: an open patch of surface in
// the scanner's own frame, rows and columns joined where neighbours lie close
// enough. The true pose of the patch in the part's frame is shot.Pose().
//
// 100,000 rays take some 0.1 s on one processor.
func (s Scanner) Scan(ctx context.Context, scene *Scene, shot Shot) (*geom.Mesh, error) {
	s = s.usual()
	nx, ny := int(s.Wide/s.Pitch), int(s.High/s.Pitch)
	if nx < 2 || ny < 2 || nx > 5000 || ny > 5000 {
		return nil, fmt.Errorf("specimen: a window of %g by %g mm at %g mm is no scan", s.Wide, s.High, s.Pitch)
	}
	rows := make([][]point, ny)
	err := each(ctx, 0, ny, func(y int) {
		r := rand.New(rand.NewPCG(shot.Seed, uint64(y)))
		rows[y] = make([]point, nx)
		for x := range rows[y] {
			dir := v(float64((float64(x)+0.5)*s.Pitch)-s.Wide/2, float64((float64(y)+0.5)*s.Pitch)-s.High/2, s.Distance).Unit()
			rows[y][x] = s.look(scene, shot.From, dir, r)
		}
	})
	if err != nil {
		return nil, err
	}
	return s.patch(rows), nil
}

// look follows one ray, with everything that goes wrong on its way.
func (s Scanner) look(scene *Scene, from Frame, dir geom.Vec, r *rand.Rand) point {
	near, deep := s.Distance-s.Depth, s.Distance+s.Depth
	if s.Stray > 0 && r.Float64() < s.Stray {
		return point{dir.Mul(near + float64(r.Float64()*(deep-near))), true}
	}
	ray := from.Turn(dir)
	t, g, ok := scene.quick.ray(from.O, ray, deep*1.2)
	at := from.O.Add(ray.Mul(t))
	if !ok || at.Z < scene.floor || t*dir.Z < near || t*dir.Z > deep {
		return point{}
	}
	n := g.Unit()
	cos := -n.Dot(ray)
	if !s.Clean && !s.returns(cos, r) {
		return point{}
	}
	if s.Baseline > 0 && scene.shaded(at.Add(n.Mul(0.3)), from.World(v(s.Baseline, 0, 0))) {
		return point{}
	}
	if !s.Clean && scene.isWet(at) {
		if r.Float64() < 0.75 {
			return point{}
		}
		t += float64(1.5 * r.NormFloat64())
	}
	if s.Noise > 0 {
		t += s.Noise * r.NormFloat64() / max(cos, 0.3)
	}
	return point{dir.Mul(t), true}
}

// returns decides whether skin at that cosine to the ray answers: always when
// square on, less and less over the last eight degrees before the steepest.
func (s Scanner) returns(cos float64, r *rand.Rand) bool {
	sure, _ := cosSin(s.Steepest - 8)
	never, _ := cosSin(s.Steepest)
	return cos >= sure || cos > never && r.Float64() < (cos-never)/(sure-never)
}

func (c *Scene) shaded(at, lamp geom.Vec) bool {
	d := lamp.Sub(at)
	_, _, hit := c.quick.ray(at, d.Unit(), d.Len())
	return hit
}

func (c *Scene) isWet(p geom.Vec) bool {
	for _, w := range c.wet {
		if p.Sub(w.At).Len2() < float64(w.Radius*w.Radius) {
			return true
		}
	}
	return false
}

// patch joins neighbouring points by faces.
func (s Scanner) patch(rows [][]point) *geom.Mesh {
	m := &geom.Mesh{}
	number := make([][]int32, len(rows))
	for y, row := range rows {
		number[y] = make([]int32, len(row))
		for x, p := range row {
			number[y][x] = -1
			if p.hit {
				number[y][x] = int32(len(m.Verts))
				m.Verts = append(m.Verts, p.at.Point())
			}
		}
	}
	face := func(a, b, c [2]int) {
		i, j, k := number[a[1]][a[0]], number[b[1]][b[0]], number[c[1]][c[0]]
		if i < 0 || j < 0 || k < 0 {
			return
		}
		p, q, r := rows[a[1]][a[0]].at.Z, rows[b[1]][b[0]].at.Z, rows[c[1]][c[0]].at.Z
		if max(p, q, r)-min(p, q, r) <= s.Stretch {
			m.Tris = append(m.Tris, geom.Tri{i, j, k})
		}
	}
	for y := 1; y < len(rows); y++ {
		for x := 1; x < len(rows[y]); x++ {
			a, b, c, d := [2]int{x - 1, y - 1}, [2]int{x, y - 1}, [2]int{x, y}, [2]int{x - 1, y}
			face(a, c, b) // seen from the scanner, which looks along z
			face(a, d, c)
		}
	}
	return m
}

// Pose returns the truth: where the scan's own frame lies in the part's.
func (s Shot) Pose() geom.Pose {
	f := s.From
	return geom.Pose{Rot: geom.Mat{
		{f.X.X, f.Y.X, f.Z.X}, {f.X.Y, f.Y.Y, f.Z.Y}, {f.X.Z, f.Y.Z, f.Z.Z},
	}, Move: f.O}
}
