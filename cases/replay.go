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
	// Ranks is the rank of the best-placed proven cause, 1 the first, after each entry, the first before
	// any; the last is what counts.
	Ranks []int
	// KnownFrom is after how many entries a proven cause was first for good; -1: never.
	KnownFrom int
	// TestsEarlier counts the tests and the work among the entries after KnownFrom; what one test
	// showed at once is one.
	TestsEarlier int
	// Acted is the place in Ranks at which the last work was chosen; -1: there was none.
	Acted int
	// First is the chance of what was ranked first at the end, FirstCause which it was, and Right
	// whether it was proven.
	First      float64
	FirstCause string
	Right      bool
	// True is the chance of the proven causes' best at the end; the log score is -ln of it.
	True float64
	// Brier is the sum, over all causes, of (chance - proven)² at the end.
	Brier float64
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

// Earlier is how many entries before the last one a proven cause was first for good.
func (r *Replayed) Earlier() int {
	if r.KnownFrom < 0 {
		return 0
	}
	return len(r.Ranks) - 1 - r.KnownFrom
}

// Replay goes through a closed case as it happened: entry by entry in the order of its
// events, with the place, person and tools of that time.
func Replay(ctx context.Context, p *engine.Prepared, c *Case) (*Replayed, error) {
	r := &Replayed{ID: c.ID, KnownFrom: -1, Acted: -1}
	if c.Closing == nil {
		r.Unknown = true
		return r, nil
	}
	base := p.Base()
	proven := map[int]bool{}
	for _, id := range c.Closing.Causes {
		if ref, ok := base.Lookup(id); ok && ref.Kind == rulebase.KindCause && !proven[ref.Index] {
			proven[ref.Index] = true
			r.Causes = append(r.Causes, id)
		}
	}
	if r.Unknown = len(proven) == 0; r.Unknown {
		return r, nil
	}
	course := courseOf(c)
	var earlier *engine.Diagnosis
	for i := range course {
		d, err := engine.Diagnose(ctx, p, known(base, course[i]), engine.Options{Earlier: earlier, CausesOnly: true, OneCore: true})
		if err != nil {
			return nil, err
		}
		earlier = d
		if i > 0 && len(course[i].Done) > len(course[i-1].Done) {
			r.Acted = i - 1
		}
		r.rank(d, proven)
	}
	if r.KnownFrom >= 0 {
		r.TestsEarlier = tests(base, course[r.KnownFrom:])
	}
	return r, nil
}

// rank notes where the proven causes stand.
func (r *Replayed) rank(d *engine.Diagnosis, proven map[int]bool) {
	rank := 0
	r.True, r.Brier = 0, 0
	for n, cause := range d.Causes {
		p := cause.Probability
		if proven[cause.Cause] {
			if rank == 0 {
				rank, r.True = n+1, p
			}
			p--
		}
		r.Brier += p * p
	}
	r.Ranks = append(r.Ranks, rank)
	switch {
	case rank != 1:
		r.KnownFrom = -1
	case r.KnownFrom < 0:
		r.KnownFrom = len(r.Ranks) - 1
	}
	if len(d.Causes) > 0 {
		first := d.Causes[0]
		r.First, r.FirstCause, r.Right = first.Probability, d.Base.Causes[first.Cause].ID, proven[first.Cause]
	}
}

// tests counts the tests and the work by which the first situation became the last.
func tests(base *rulebase.Base, course []rulebase.Situation) int {
	n, last := 0, -1
	for i := 1; i < len(course); i++ {
		if len(course[i].Done) > len(course[i-1].Done) {
			n, last = n+1, -1
			continue
		}
		f := course[i].Findings[len(course[i].Findings)-1]
		test := testOf(base, f.Symptom)
		if test >= 0 && test != last {
			n++
		}
		last = test
	}
	return n
}

// testOf is the first test that shows a symptom; -1 for what is had by asking or looking.
func testOf(base *rulebase.Base, symptom string) int {
	ref, ok := base.Lookup(symptom)
	if !ok || ref.Kind != rulebase.KindSymptom || base.Symptoms[ref.Index].By != rulebase.ByNothing {
		return -1
	}
	return slices.IndexFunc(base.Tests, func(t rulebase.Step) bool { return slices.Contains(t.Yields, ref.Index) })
}

// courseOf gives the situations a case went through: one before anything was seen, then one
// after each finding and each piece of work that was not taken back, with the givens and circumstances
// (place, person, tools) as they were said by then.
func courseOf(c *Case) []rulebase.Situation {
	var now rulebase.Situation
	out := []rulebase.Situation{{}}
	for i := range c.Events {
		e := &c.Events[i]
		if e.Kind == KindSituation && e.Version == 1 {
			next := now.Clone()
			if read(e, func(b Circumstances) { b.into(&next) }) == nil {
				now = next
			}
		}
		if n := slices.Index(c.givens, e.ID); n >= 0 {
			now = now.Clone()
			now.Givens = append(now.Givens, c.Situation.Givens[n])
		}
		next := now.Clone()
		if n := slices.Index(c.findings, e.ID); n >= 0 {
			next.Findings = append(next.Findings, c.Situation.Findings[n])
		} else if n := slices.Index(c.done, e.ID); n >= 0 {
			next.Done = append(next.Done, c.Situation.Done[n])
		} else {
			continue
		}
		if len(out) == 1 { // what was known when the first thing was seen
			out[0] = now
		}
		now = next
		out = append(out, now)
	}
	if len(out) == 1 {
		out[0] = now
	}
	return out
}

// Began is the situation of a case before any work, with what this rulebase knows of it: all
// givens, all findings that belong to no work, and the circumstances in which the first was made.
func Began(base *rulebase.Base, c *Case) rulebase.Situation {
	s := courseOf(c)[0].Clone()
	s.Findings, s.Givens = c.Situation.Findings, c.Situation.Givens
	worked := len(c.Situation.Done) > 0
	s = known(base, s)
	s.Findings = slices.DeleteFunc(s.Findings, func(f rulebase.Finding) bool { return f.After != "" || f.Now && worked })
	return s
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

// A Score is how a rulebase fares over many closed cases.
type Score struct {
	Cases, Unknown int
	First, InThree int // the proven cause is first at the end; among the first three
	ActedFirst     int // was first when the last work was chosen, of Acted
	Acted          int // cases with work
	Ever           int // was first for good before the last entry
	// Earlier is how many entries before the last one a proven cause was first for good, the mean over
	// all cases; TestsEarlier counts of those the tests and the work.
	Earlier, TestsEarlier float64
	Brier                 float64      // over all causes of the ranking, summed (Brier 1950)
	Log                   float64      // -ln of the proven cause's chance, in nats
	Clamped               int          // proven causes that were held impossible; see LeastChance
	ReciprocalRank        float64      // mean
	Calibration           *Calibration // of "what is ranked first is what it was"
	ByCause               map[string]*CauseScore
}

// CauseScore is the score of the cases of one proven cause.
type CauseScore struct {
	Cases, First, InThree int
	True                  float64        // the mean chance given to it at the end
	Earlier               float64        // entries, the mean
	Instead               map[string]int // what was first where it was not
}

// bins of forecasts.
const bins = 10

// A Tally adds replayed cases up one at a time, so that no case need be kept: sums, and of each case the
// chance of what was first with whether it was right, which calibration asks for. Its zero value is empty; the
// last digits of the sums are those of the order in which cases were added.
type Tally struct {
	score     Score
	forecasts []Forecast
}

// Add adds a case.
func (t *Tally) Add(r *Replayed) {
	if r.Unknown {
		t.score.Unknown++
		return
	}
	t.score.add(r)
	t.forecasts = append(t.forecasts, Forecast{r.First, r.Right})
}

// Score is what was added; the tally is used up.
func (t *Tally) Score() *Score {
	s := &t.score
	s.Calibration = Calibrate(t.forecasts, bins)
	if s.Cases == 0 {
		s.ByCause = map[string]*CauseScore{}
		return s
	}
	n := float64(s.Cases)
	for _, x := range []*float64{&s.Brier, &s.Log, &s.Earlier, &s.TestsEarlier, &s.ReciprocalRank} {
		*x /= n
	}
	for _, c := range s.ByCause {
		c.True /= float64(c.Cases)
		c.Earlier /= float64(c.Cases)
	}
	return s
}

func (s *Score) add(r *Replayed) {
	s.Cases++
	if s.ByCause == nil {
		s.ByCause = map[string]*CauseScore{}
	}
	key := strings.Join(r.Causes, " and ")
	if s.ByCause[key] == nil {
		s.ByCause[key] = &CauseScore{Instead: map[string]int{}}
	}
	c := s.ByCause[key]
	c.Cases++
	last := r.Last()
	if last == 1 {
		s.First++
		c.First++
	} else {
		c.Instead[r.FirstCause]++
	}
	if last >= 1 && last <= 3 {
		s.InThree++
		c.InThree++
	}
	if last >= 1 {
		s.ReciprocalRank += 1 / float64(last)
	}
	if r.Acted >= 0 {
		s.Acted++
		if r.Ranks[r.Acted] == 1 {
			s.ActedFirst++
		}
	}
	if early := r.Earlier(); early > 0 {
		s.Ever++
		s.Earlier += float64(early)
		s.TestsEarlier += float64(r.TestsEarlier)
		c.Earlier += float64(early)
	}
	c.True += r.True
	s.Brier += r.Brier
	if r.True < LeastChance {
		s.Clamped++
	}
	s.Log -= math.Log(max(r.True, LeastChance))
}

// A Compared is one case through two rulebases.
type Compared struct{ Before, After *Replayed }

// Worse says that the proven cause stands lower at the end than it did, or is first for good only later.
func (c *Compared) Worse() bool { return c.compare() < 0 }

// Better is the opposite.
func (c *Compared) Better() bool { return c.compare() > 0 }

func (c *Compared) compare() int {
	before, after := placeOf(c.Before.Last()), placeOf(c.After.Last())
	if before != after {
		return before - after
	}
	if before > 1 {
		return 0
	}
	return c.Before.KnownFrom - c.After.KnownFrom
}

// placeOf makes a cause that stands nowhere stand last.
func placeOf(rank int) int {
	if rank < 1 {
		return math.MaxInt32
	}
	return rank
}

// A Versus is how closed cases fare through one rulebase against another, case by case; only what got
// worse or better is kept.
type Versus struct {
	Cases         int // that both know something proven of
	Worse, Better []Compared

	mean, squares float64 // of the gains: by Welford's way of summing
}

// Add adds a case that both have gone through. Only what both score can be better or worse.
func (v *Versus) Add(before, after *Replayed) {
	if before == nil || before.Unknown || after.Unknown {
		return
	}
	v.Cases++
	gain := math.Log(max(after.True, LeastChance)) - math.Log(max(before.True, LeastChance))
	off := gain - v.mean
	v.mean += off / float64(v.Cases)
	v.squares += off * (gain - v.mean)
	switch c := (Compared{before, after}); {
	case c.Worse():
		v.Worse = append(v.Worse, c)
	case c.Better():
		v.Better = append(v.Better, c)
	}
}

// Gain is by how much the logarithm of the chance of what was proven rose: the mean over all cases, and half the
// width of its 95 % interval, by the normal approximation.
func (v *Versus) Gain() (mean, half float64) {
	if v.Cases < 2 {
		return v.mean, 0
	}
	n := float64(v.Cases)
	return v.mean, 1.96 * math.Sqrt(v.squares/(n-1)/n)
}

// ByID are replayed cases by their ids.
func ByID(all []*Replayed) map[string]*Replayed {
	out := make(map[string]*Replayed, len(all))
	for _, r := range all {
		out[r.ID] = r
	}
	return out
}
