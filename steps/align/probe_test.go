package align

import (
	"math"

	"layette/steps/internal/geom"
)

func apartPose(p, q geom.Pose, at geom.Vec) (deg, mm float64) {
	r := geom.Pose{Rot: p.Rot.Transposed().Mul(q.Rot)}
	return r.Turn() * 180 / math.Pi, p.Apply(at).Sub(q.Apply(at)).Len()
}
