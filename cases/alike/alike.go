// Package alike finds closed cases that are like one at hand, with what they turned out to be.
//
// Two cases are alike where what was seen says the same about causes, whatever the words. For
// every cause a diagnosis weighs how likely the findings made before any work are, were it alone there: a
// log-weight for each cause. Were every cause as likely as any other beforehand, the
// chances of the causes of a case would go as those likelihoods do; the chance that two cases have one and the
// same cause is then the sum of the products of their chances, and that is how alike they are. Priors do
// not enter: a frequent cause makes no two cases alike.
//
// A [Profile] keeps the likelihoods of a case beside its largest, in steps of 1/127, a byte for
// each cause; an [Index] the profiles of all closed cases of a store. It is worked out from the store and
// can be thrown away at any time; a change of the rulebase makes another one. Likeness is
// reckoned in whole numbers, so that the quick way and the plain one give the same.
package alike

import (
	"cmp"
	"context"
	"encoding/binary"
	"math"
	"slices"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/rulebase"
)

// Top is the step of the cause that a case's findings speak for most; causes that are less
// likely by a factor of 254 or more have step 0.
const Top = 127

// A Profile is what findings say of each cause, in the rulebase's order, padded with 0 to whole words.
type Profile []byte

// Reader makes profiles by one rulebase. It may be shared by goroutines.
type Reader struct {
	base     *rulebase.Base
	prepared *engine.Prepared // one cause at a time
}

// NewReader makes a Reader.
func NewReader(base *rulebase.Base) *Reader {
	alone := *base
	alone.FaultsAtMost = 1
	return &Reader{base: base, prepared: engine.Prepare(&alone)}
}

// stride is the length of a profile.
func stride(causes int) int { return (causes + 7) / 8 * 8 }

// Profile is what a case's findings say; nil where they say nothing, or exclude everything.
func (r *Reader) Profile(ctx context.Context, c *cases.Case) (Profile, error) {
	s := cases.Began(r.base, c)
	if len(s.Findings) == 0 {
		return nil, nil
	}
	after, err := r.chances(ctx, s)
	if err != nil || after == nil {
		return nil, err
	}
	s.Findings = nil
	before, err := r.chances(ctx, s)
	if err != nil || before == nil { // what was seen may lift a contradiction of rules that stands without it
		return nil, err
	}
	logs, most := make([]float64, len(after)), math.Inf(-1)
	for i := range after {
		logs[i] = math.Inf(-1)
		if before[i] > 0 && after[i] > 0 {
			logs[i] = math.Log(after[i] / before[i])
			most = max(most, logs[i])
		}
	}
	p, even := make(Profile, stride(len(after))), true
	for i, x := range logs {
		p[i] = byte(math.Round(Top * math.Exp(x-most)))
		even = even && p[i] == p[0]
	}
	if even {
		return nil, nil
	}
	return p, nil
}

// chances is, by cause, the chance that it alone is there; nil where nothing listed is possible.
func (r *Reader) chances(ctx context.Context, s rulebase.Situation) ([]float64, error) {
	d, err := engine.Diagnose(ctx, r.prepared, s, engine.Options{CausesOnly: true, OneCore: true, Last: true})
	if err != nil || !d.Possible {
		return nil, err
	}
	p := make([]float64, len(r.base.Causes))
	for _, c := range d.Causes {
		p[c.Cause] = c.Probability
	}
	return p, nil
}

func sumOf(p Profile) (sum uint32) {
	for _, x := range p {
		sum += uint32(x)
	}
	return sum
}

// Likeness is the chance, from 0 to 1, that two cases have the same cause, were any as likely
// beforehand.
func Likeness(a, b Profile) float64 {
	products := uint32(0)
	for i := range a {
		products += uint32(a[i]) * uint32(b[i])
	}
	return likeness(products, sumOf(a), sumOf(b))
}

func likeness(products, a, b uint32) float64 { return float64(products) / (float64(a) * float64(b)) }

// A Match is a case that is like the one asked about.
type Match struct {
	ID       string
	Likeness float64
	Causes   []int // those that both speak for, the most spoken for first: at most three
}

// bothAt is from which step on a cause counts as spoken for: within a factor of 5 of the first.
const bothAt = Top / 5

// both are the causes that two profiles speak for.
func both(a, b Profile) []int {
	var out []int
	for i := range a {
		if a[i] >= bothAt && b[i] >= bothAt {
			out = append(out, i)
		}
	}
	slices.SortStableFunc(out, func(i, j int) int { return cmp.Compare(int(a[j])*int(b[j]), int(a[i])*int(b[i])) })
	return out[:min(3, len(out))]
}

// A lane is eight bytes of a query, laid out for products of eight bytes at a time.
//
// Four bytes that are below 128 stand in the four quarters of a word, with a quarter's room for
// the sum of four products (4·127² < 2^16): of the product of two such words, one of them
// reversed, the highest quarter is the sum of the products byte by byte, and nothing is carried into it.
type lane struct{ even, odd uint64 }

const evenBytes = 0x00ff00ff00ff00ff

func laneOf(p []byte) lane {
	w := binary.LittleEndian.Uint64(p)
	return lane{reversed(w & evenBytes), reversed(w >> 8 & evenBytes)}
}

func reversed(w uint64) uint64 {
	return w<<48 | w>>48 | w&0xffff0000>>16<<32 | w>>32&0xffff<<16
}

// addTo adds to the sum of each case its products with the lane; column holds eight bytes a case.
func (l lane) addTo(sums []uint32, column []byte) {
	column = column[:8*len(sums)]
	for i := range sums {
		w := binary.LittleEndian.Uint64(column[8*i:])
		sums[i] += uint32(w&evenBytes*l.even>>48) + uint32(w>>8&evenBytes*l.odd>>48)
	}
}
