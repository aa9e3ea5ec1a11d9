// Package steps lists the steps that a recipe may name. A new step is one
// folder here and one line in All.
package steps

import (
	"layette/engine/step"
	"layette/steps/align"
	"layette/steps/archive"
	"layette/steps/assembly"
	"layette/steps/bag"
	"layette/steps/bends"
	"layette/steps/calibrate"
	"layette/steps/coverage"
	"layette/steps/cut"
	"layette/steps/deepen"
	"layette/steps/factorysheet"
	"layette/steps/gaps"
	"layette/steps/handwork"
	"layette/steps/hollow"
	"layette/steps/intake"
	"layette/steps/likeness"
	"layette/steps/merge"
	"layette/steps/printbed"
	"layette/steps/proportions"
	"layette/steps/relief"
	"layette/steps/seat"
	"layette/steps/session"
	"layette/steps/shrinkage"
	"layette/steps/signoff"
	"layette/steps/smallparts"
	"layette/steps/soundness"
	"layette/steps/stripping"
)

// All returns every step, in order of name.
func All() []step.Kind {
	return []step.Kind{
		align.Kind{},
		archive.Kind{},
		assembly.Kind{},
		bag.Kind{},
		bends.Kind{},
		calibrate.Kind{},
		coverage.Kind{},
		cut.Kind{},
		deepen.Kind{},
		factorysheet.Kind{},
		gaps.Kind{},
		handwork.Kind{},
		hollow.Kind{},
		intake.Kind{},
		likeness.Kind{},
		merge.Kind{},
		printbed.Kind{},
		proportions.Kind{},
		relief.Kind{},
		seat.Kind{},
		session.Kind{},
		shrinkage.Kind{},
		signoff.Kind{},
		smallparts.Kind{},
		soundness.Kind{},
		stripping.Kind{},
	}
}
