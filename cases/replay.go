package cases

import (
	"context"
	"math"
	"slices"
	"strings"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Replayed is how a closed case would go through a rulebase today: the ranking after
// each finding and each piece of work, held against what was proven.
type Replayed struct {
	ID     string
	Causes []string // proven, of those that the rulebase knows
	// Ranks is the rank of the best-placed proven cause, 1 the first, after each entry; the last is
	// what counts.
	Ranks []int
	// KnownFrom is after how many entries a proven cause was first for good; -1: never.
	KnownFrom int
	// First is the chance of what was ranked first at the end, and Right whether it was proven.
	First float64
	Right bool
	// True is the chance of the proven causes' best at the end; the log score is -ln of it.
	True float64
	// Unknown: nothing proven is in this rulebase; the case is not scored.
	Unknown bool
}

// Last is the rank at the end.
func (r *Replayed) Last() int {
	if len(r.Ranks) == 0 {
		return 0
	}
	return r.Ranks[len(r.Ranks)-1]
}

// Replay goes through a closed case as it happened: entry by entry in the order of its
// events, with the place, person and tools it had at the end.
func Replay(ctx context.Context, p *engine.Prepared, c *Case) (*Replayed, error) {
	r := &Replayed{ID: c.ID, KnownFrom: -1}
	if c.Closing == nil {
		r.Unknown = true
		return r, nil
	}
	base := p.Base()
	proven := map[int]bool{}
	for _, id := range c.Closing.Causes {
		if ref, ok := base.Lookup(id); ok && ref.Kind == rulebase.KindCause {
			proven[ref.Index] = true
			r.Causes = append(r.Causes, id)
		}
	}
	r.Unknown = len(proven) == 0
	var earlier *engine.Diagnosis
	for i, s := range courseOf(c) {
		d, err := engine.Diagnose(ctx, p, known(base, s), engine.Options{Earlier: earlier, BeliefOnly: true, OneCore: true})
		if err != nil {
			return nil, err
		}
		earlier = d
		rank, best := 0, 0.0
		for n, cause := range d.Causes {
			if proven[cause.Cause] {
				rank, best = n+1, cause.Probability
				break
			}
		}
		r.Ranks = append(r.Ranks, rank)
		switch {
		case rank != 1:
			r.KnownFrom = -1
		case r.KnownFrom < 0:
			r.KnownFrom = i
		}
		if r.True = best; len(d.Causes) > 0 {
			r.First, r.Right = d.Causes[0].Probability, proven[d.Causes[0].Cause]
		}
	}
	return r, nil
}

// courseOf gives the situations a case went through: the givens and circumstances from
// the end, the findings and the work one by one.
func courseOf(c *Case) []rulebase.Situation {
	whole := c.Situation
	now := whole.Clone()
	now.Findings, now.Done = nil, nil
	out := []rulebase.Situation{now}
	kept := func(ids []string, id string) int { return slices.Index(ids, id) }
	for i := range c.Events {
		next := now.Clone()
		if n := kept(c.findings, c.Events[i].ID); n >= 0 {
			next.Findings = append(next.Findings, whole.Findings[n])
		} else if n := kept(c.done, c.Events[i].ID); n >= 0 {
			next.Done = append(next.Done, whole.Done[n])
		} else {
			continue
		}
		now = next
		out = append(out, now)
	}
	return out
}

// known leaves out what another rulebase knew and this one does not.
func known(base *rulebase.Base, s rulebase.Situation) rulebase.Situation {
	s = s.Clone()
	of := func(id string, kinds ...rulebase.Kind) bool {
		ref, ok := base.Lookup(id)
		return ok && slices.Contains(kinds, ref.Kind)
	}
	s.Findings = slices.DeleteFunc(s.Findings, func(f rulebase.Finding) bool { return !of(f.Symptom, rulebase.KindSymptom) })
	s.Givens = slices.DeleteFunc(s.Givens, func(g rulebase.GivenValue) bool { return !of(g.ID, rulebase.KindGiven) })
	s.Done = slices.DeleteFunc(s.Done, func(d rulebase.Done) bool { return !of(d.ID, rulebase.KindTest, rulebase.KindRemedy) })
	return s
}

// A Bin of forecasts: those from From on, up to the next bin's.
type Bin struct {
	From     float64
	Cases    int
	Forecast float64 // mean
	Right    int
}

// A Score is how a rulebase fares over many closed cases.
type Score struct {
	Cases, Unknown       int
	First, InThree, Ever int // the proven cause is first at the end; among the first three; was first for good before the last entry
	Earlier              float64
	Brier, Log           float64 // of "what is ranked first is what it was"; -ln of the proven cause's chance, in nats (Brier 1950)
	Bins                 []Bin
	ECE                  float64 // expected calibration error over the bins
	ByCause              map[string]*CauseScore
}

// CauseScore is the score of the cases of one proven cause.
type CauseScore struct{ Cases, First, InThree int }

// bins of forecasts.
const bins = 10

// leastChance keeps the log score finite where a proven cause was held impossible.
const leastChance = 1e-6

// Sum adds replayed cases up.
func Sum(all []*Replayed) *Score {
	s := &Score{ByCause: map[string]*CauseScore{}}
	for i := range bins {
		s.Bins = append(s.Bins, Bin{From: float64(i) / bins})
	}
	for _, r := range all {
		if r.Unknown {
			s.Unknown++
			continue
		}
		s.Cases++
		right := 0.0
		if r.Right {
			right = 1
		}
		first, three := r.Last() == 1, r.Last() >= 1 && r.Last() <= 3
		key := strings.Join(r.Causes, " and ")
		if s.ByCause[key] == nil {
			s.ByCause[key] = &CauseScore{}
		}
		s.ByCause[key].Cases++
		if first {
			s.First++
			s.ByCause[key].First++
		}
		if three {
			s.InThree++
			s.ByCause[key].InThree++
		}
		if n := len(r.Ranks) - 1; r.KnownFrom >= 0 && r.KnownFrom < n {
			s.Ever++
			s.Earlier += float64(n - r.KnownFrom)
		}
		s.Brier += (r.First - right) * (r.First - right)
		s.Log -= math.Log(math.Max(r.True, leastChance))
		b := &s.Bins[min(int(r.First*bins), bins-1)]
		b.Cases++
		b.Forecast += r.First
		b.Right += int(right)
	}
	if s.Cases == 0 {
		return s
	}
	n := float64(s.Cases)
	s.Brier, s.Log, s.Earlier = s.Brier/n, s.Log/n, s.Earlier/n
	for i := range s.Bins {
		if b := &s.Bins[i]; b.Cases > 0 {
			b.Forecast /= float64(b.Cases)
			s.ECE += float64(b.Cases) / n * math.Abs(b.Forecast-float64(b.Right)/float64(b.Cases))
		}
	}
	return s
}
