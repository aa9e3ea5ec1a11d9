package gaps

import (
	"fmt"
	"math"
	"math/rand/v2"
	"os"
	"testing"

	"layette/steps/internal/geom"
)

// A hand of limbs: a palm, four fingers side by side and a thumb across the
// palm, with what is wrong with it chosen at random and known.
type hand struct {
	shape    solid
	gaps     [3]float64 // between fingers; below zero where they are joined
	thumb    float64    // between thumb and palm; below zero where they are joined
	places   [3]geom.Vec
	thumbAt  geom.Vec
	line     [2]float64 // width and depth of a line across the back, 0 for none
	lineAt   geom.Vec
	fold     [2]float64 // width and depth of a fold at the wrist, 0 for none
	foldAt   geom.Vec
	lo, hi   geom.Vec
	describe string
}

func newHand(seed uint64) hand {
	rng := rand.New(rand.NewPCG(seed, 99))
	var h hand
	pick := func() float64 {
		switch rng.IntN(4) {
		case 0:
			return 0.4 + 0.7*rng.Float64() // too close
		case 1:
			return -1.5 // joined
		default:
			return 1.35 + 1.2*rng.Float64() // sound
		}
	}
	const r = 3.3
	x := 0.0
	parts := []solid{}
	for i := range h.gaps {
		h.gaps[i] = pick()
	}
	lean := 0.1 * (rng.Float64() - 0.5) // all fingers lean alike, so that they are parallel
	slope := geom.Vec{X: lean, Y: 1}.Unit()
	for i := range 4 {
		long := 13 + 4*rng.Float64()
		foot := geom.Vec{X: x}.Sub(slope.Mul(3))
		parts = append(parts, limb(foot, geom.Vec{X: x}.Add(slope.Mul(long)), r, r))
		if i < 3 {
			step := (2*r + h.gaps[i]) / slope.Y
			h.places[i] = geom.Vec{X: x + step/2}.Add(slope.Mul(6))
			x += step
		}
	}
	palm := slab(geom.Vec{X: x / 2, Y: -14, Z: 0}, geom.Vec{X: x/2 + r, Y: 13.5, Z: 6}, 3)
	h.thumb = pick()
	ground := 6.0 // the palm's face
	thumbFoot := geom.Vec{X: x + r + 2, Y: -16, Z: ground - 1}
	knuckle := geom.Vec{X: x - 2, Y: -14, Z: ground + r + max(h.thumb, -1.5)}
	tip := geom.Vec{X: x - 12, Y: -12, Z: ground + r + max(h.thumb, -1.5)}
	h.thumbAt = geom.Vec{X: x - 8, Y: -13, Z: ground}
	bend := knuckle.Add(geom.Vec{X: 7, Z: 3})
	parts = append(parts, blend(palm, limb(thumbFoot, bend, r, r), 2.5), limb(bend, knuckle, r, r))
	if h.thumb > 0 {
		parts = append(parts, limb(knuckle, tip, r, r))
	} else {
		parts = append(parts, blend(palm, limb(bend, tip, r, r), 2.5))
	}
	h.shape = join(parts...)
	if rng.IntN(2) == 0 {
		h.line = [2]float64{0.8 + rng.Float64(), 0.4 + 0.3*rng.Float64()}
		h.lineAt = geom.Vec{X: x / 2, Y: -8, Z: -6}
		turned := trench(geom.Vec{X: x / 2, Y: 8, Z: 6}, h.line[0]/2, h.line[1])
		h.shape = cut(h.shape, func(p geom.Vec) float64 { return turned(geom.Vec{X: p.X, Y: -p.Y, Z: -p.Z}) })
	}
	if rng.IntN(2) == 0 {
		w := 0.7 + 0.3*rng.Float64()
		h.fold = [2]float64{w, w * (2.6 + 0.6*rng.Float64())}
		h.foldAt = geom.Vec{X: x / 2, Y: -20, Z: -6}
		h.shape = cut(h.shape, slab(h.foldAt, geom.Vec{X: x, Y: w / 2, Z: h.fold[1]}, w/4))
	}
	h.lo, h.hi = geom.Vec{X: -r - 3, Y: -29, Z: -8}, geom.Vec{X: x + r + 10, Y: 22, Z: 20}
	h.describe = fmt.Sprintf("seed %d: gaps %.2f, thumb %.2f, line %.2f, fold %.2f", seed, h.gaps, h.thumb, h.line, h.fold)
	return h
}

// tally counts what was planted, found, missed and invented.
type tally struct{ planted, hit, wrong, invented, hands int }

func (n *tally) judge(t *testing.T, h hand, spots []found) {
	n.hands++
	used := make([]bool, len(spots))
	want := func(what string, at geom.Vec, value, within float64) {
		n.planted++
		best := -1
		for i, s := range spots {
			if s.what == what && !used[i] && s.near(at) && (best < 0 || math.Abs(s.at.X-at.X) < math.Abs(spots[best].at.X-at.X)) {
				best = i
			}
		}
		if best < 0 {
			t.Logf("%s: %s of %.3f at %v was missed", h.describe, what, value, at)
			return
		}
		used[best] = true
		if math.Abs(spots[best].value-value) <= within {
			n.hit++
			return
		}
		n.wrong++
		t.Logf("%s: %s at %v is %.3f, want %.3f", h.describe, what, at, spots[best].value, value)
	}
	for i, g := range h.gaps {
		if g > 0 && g < 1.2 {
			want(fingerGap, h.places[i], g, max(0.02, 0.02*g))
		}
	}
	if h.thumb > 0 && h.thumb < 1.2 {
		want(curledFinger, h.thumbAt, h.thumb, max(0.02, 0.02*h.thumb))
	}
	if h.fold[0] > 0 {
		want(fold, h.foldAt, h.fold[0], 0.05)
	}
	for i, s := range spots {
		if !used[i] && (s.what == fingerGap || s.what == curledFinger || s.what == limbGap || s.what == pieceGap || s.what == fold) {
			n.invented++
			t.Logf("%s: invented %s of %.3f at %v", h.describe, s.what, s.value, s.at)
		}
	}
}

type found struct {
	what   string
	at, to geom.Vec
	value  float64
	reach  float64
}

// near: fingers are 7 mm apart and a gap may be least anywhere along them; a
// thumb and a fold lie alone.
func (f found) near(at geom.Vec) bool {
	if f.what == fingerGap {
		return math.Abs(f.at.X-at.X) < 3.5 && math.Abs(f.at.Z-at.Z) < 4
	}
	return f.at.Sub(at).Len() < f.reach+4
}

func (n *tally) hand(t *testing.T, seed uint64, cell float64) {
	h := newHand(seed)
	l, finds := looked(t, grid(h.shape, h.lo, h.hi, cell))
	_ = l
	var spots []found
	for _, f := range finds {
		if f.fault {
			spots = append(spots, found{f.what, f.pinch.at, f.pinch.to, f.pinch.wide, f.reach})
		}
	}
	n.judge(t, h, spots)
}

// TestHands plants faults in random hands. LAYETTE_HANDS sets how many (and has
// the other tests take all their cases); all are
// known exactly from the shapes they are made of.
func TestHands(t *testing.T) {
	many := 2
	if s := os.Getenv("LAYETTE_HANDS"); s != "" {
		fmt.Sscan(s, &many)
	}
	var n tally
	for seed := range uint64(many) {
		n.hand(t, seed, 0.35)
	}
	t.Logf("%d hands: %d planted, %d found, %d of a wrong size, %d missed, %d invented", n.hands, n.planted, n.hit, n.wrong, n.planted-n.hit-n.wrong, n.invented)
	if n.hit < n.planted || n.invented*100 > n.planted {
		t.Errorf("want all found and at most 1 %% invented")
	}
}
