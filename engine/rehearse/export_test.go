package rehearse

import (
	"math/rand/v2"

	"downdrop/rulebase"
)

// DisturbedBase is for tests.
func DisturbedBase(b *rulebase.Base, r *rand.Rand) *rulebase.Base { return disturbed(b, r) }

// DrawGivens is for tests.
func DrawGivens(b *rulebase.Base, r *rand.Rand) []rulebase.GivenValue { return drawGivens(b, r) }
