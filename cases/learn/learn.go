// Package learn says what closed cases have to say about the numbers of a rulebase.
//
// Every number stands as a prior that is worth some cases. A row of a symptom with the
// chances p over its values is a Dirichlet distribution with the parameters m·p; so is the
// table of causes, with p what the rulebase expected of these very cases before anything was
// seen (their givens, their place). Cases add counts to the parameters (conjugate updates;
// Gelman et al., Bayesian Data Analysis, chapter 3, from memory). One number of a table is then a beta
// distribution, whose interval is stated, and a number of the rulebase that lies outside it
// disagrees with experience.
//
// What is counted for a row: what was seen before any work, in the world of the causes
// that were proven, in the row that counts there. A report with the sureness s shows a value of the
// chance p with s·p + (1-s)/K, where K is the number of values, as a diagnosis has it too. With
// reports that are all sure the update is the textbook's; with others it is integrated
// number by number. Which questions were asked
// depended on answers before them and not on the answer itself, so that the chances of answers are not
// bent by it. Rows of symptoms that combine independent rows, the chances that
// remedies help and the factors of more_likely are not learned.
//
// Nothing is ever applied: a patch is a layer to be laid over the rulebase by whoever has
// read it.
package learn

import (
	"context"
	"maps"
	"slices"
	"time"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/rulebase"
)

// Options say how much the rulebase's own numbers weigh.
type Options struct {
	Worth        float64 // how many cases a row of the rulebase is worth
	WorthWeights float64 // how many cases the table of causes is worth, all causes together
	Level        float64 // of intervals
}

// Usual are the options where nothing is said. A row is one question in one situation,
// and its number somebody's judgement: twenty cases outweigh it. The table of causes
// speaks of some hundred causes at once.
var Usual = Options{Worth: 20, WorthWeights: 200, Level: 0.95}

// An Experience is what one closed case says.
type Experience struct {
	ID      string
	Opened  time.Time
	Proven  []int     // causes that the rulebase knows
	Outside bool      // closed as something that is not listed
	Prior   []float64 // by cause its chance before anything was seen, then that of outside
	Seen    []Seen
}

// Seen is a value seen, in the row that counts where the proven causes are there.
type Seen struct {
	Symptom, Row, Value int
	Sure                float64
}

// Of reads a closed case; false where nothing was proven that the rulebase knows.
func Of(ctx context.Context, p *engine.Prepared, c *cases.Case) (Experience, bool, error) {
	base := p.Base()
	e := Experience{ID: c.ID, Opened: c.Opened}
	if c.Closing == nil {
		return e, false, nil
	}
	for _, id := range c.Closing.Causes {
		if ref, ok := base.Lookup(id); ok && ref.Kind == rulebase.KindCause && !slices.Contains(e.Proven, ref.Index) {
			e.Proven = append(e.Proven, ref.Index)
		}
	}
	slices.Sort(e.Proven)
	e.Outside = len(c.Closing.Causes) == 0 && c.Closing.Outcome == string(rulebase.OutsideList)
	if len(e.Proven) == 0 && !e.Outside {
		return e, false, nil
	}
	began := cases.Began(base, c)
	whole, err := engine.Diagnose(ctx, p, began, engine.Options{CausesOnly: true, OneCore: true})
	if err != nil {
		return e, false, err
	}
	world := make([]uint16, len(e.Proven))
	for i, cause := range e.Proven {
		world[i] = uint16(cause)
	}
	for _, r := range whole.Reports() {
		if row := whole.Row(r.Symptom, world); row >= 0 && len(world) > 0 {
			e.Seen = append(e.Seen, Seen{r.Symptom, row, r.Value, r.Sure})
		}
	}
	began.Findings = nil
	before, err := engine.Diagnose(ctx, p, began, engine.Options{CausesOnly: true, OneCore: true})
	if err != nil {
		return e, false, err
	}
	e.Prior = make([]float64, len(base.Causes)+1)
	for _, cause := range before.Causes {
		e.Prior[cause.Cause] = cause.Probability
	}
	e.Prior[len(base.Causes)] = before.Outside
	return e, true, nil
}

// A Number is one number of the rulebase after experience.
type Number struct {
	Value     int     // its place in Symptom.Values; of a weight -1
	Rulebase  float64 // what the rulebase says: of a row its number, of a weight the share of cases that it expected
	Hits      float64 // reports of it, or cases
	Trials    float64 // of so many
	Mean      float64 // of what it is now known as
	Low, High float64 // the interval of Options.Level
	// Chance is how likely so few, or so many, would be were the rulebase's number right.
	Chance float64
	rare   bool // less likely than half of what the interval leaves out
}

// Disagrees says that the rulebase's number lies outside the interval, and that what was seen
// would be rare were it right. The second is asked for numbers near 0, whose distribution is so
// skewed that its own mean lies outside its interval: that nothing was seen where next to nothing
// was expected says nothing.
func (n *Number) Disagrees() bool { return n.rare && (n.Rulebase < n.Low || n.Rulebase > n.High) }

func (n *Number) judge(each []float64, level float64) {
	n.Chance = tail(each, int(n.Hits))
	n.rare = n.Chance < (1-level)/2
}

// A Weight is what experience says of a cause's per_thousand, or, where Cause is -1, of
// outside_per_thousand.
type Weight struct {
	Cause int
	Number
	PerThousand      float64 // in the rulebase
	AfterPerThousand float64 // what the patch makes of it; the same where it does not disagree
	Cases            []string
}

// A Row is what experience says of a row.
type Row struct {
	Symptom, Row int
	Numbers      []Number // by value
	After        []float64
	Cases        []string
}

// Disagrees says that some number of the row does.
func (r *Row) Disagrees() bool {
	return slices.ContainsFunc(r.Numbers, func(n Number) bool { return n.Disagrees() })
}

// Lessons are what closed cases say of a rulebase.
type Lessons struct {
	Base    *rulebase.Base
	Options Options
	Cases   int
	Weights []Weight // of causes that were proven or that disagree, in the order of the rulebase; outside last
	Rows    []Row    // in which something was seen, in the order of the rulebase
	// WeightsLookedAt and NumbersLookedAt count what was held against experience: all causes, and the numbers
	// of Rows.
	WeightsLookedAt, NumbersLookedAt int
	// From and To are when the first and the last case was opened, and PerDay how many a day are opened:
	// a gamma distribution that knew nothing before (Jeffreys). Days of 0 say nothing of it.
	From, To time.Time
	Days     float64
	PerDay   Gamma
}

// Learn adds experiences up. Their order makes no difference.
func Learn(base *rulebase.Base, all []Experience, o Options) *Lessons {
	l := &Lessons{Base: base, Options: o, Cases: len(all)}
	l.weights(all)
	l.rows(all)
	l.rate(all)
	return l
}

// rate counts the cases opened after the first one, in the days since then.
func (l *Lessons) rate(all []Experience) {
	for i := range all {
		at := all[i].Opened
		if l.From.IsZero() || at.Before(l.From) {
			l.From = at
		}
		if at.After(l.To) {
			l.To = at
		}
	}
	l.Days = l.To.Sub(l.From).Hours() / 24
	if l.Days > 0 {
		l.PerDay = Gamma{A: 0.5}.Add(float64(len(all)-1), l.Days)
	}
}

// weights compares how often causes were proven with how often the rulebase expected them in
// these very cases.
func (l *Lessons) weights(all []Experience) {
	n := len(l.Base.Causes) + 1
	l.WeightsLookedAt = n
	if len(all) == 0 {
		return
	}
	expected, counts, who := make([]float64, n), make([]float64, n), make([][]string, n)
	for i := range all {
		for c, p := range all[i].Prior {
			expected[c] += p
		}
		hits := all[i].Proven
		if all[i].Outside {
			hits = []int{n - 1}
		}
		for _, c := range hits {
			counts[c]++
			who[c] = append(who[c], all[i].ID)
		}
	}
	total := 0.0
	for _, x := range expected {
		total += x
	}
	for i := range expected {
		expected[i] /= total
	}
	prior := Prior(expected, l.Options.WorthWeights)
	after := prior.Add(counts)
	trials := Dirichlet(counts).Total()
	for c := range expected {
		w := Weight{Cause: c, Number: l.number(-1, expected[c], counts[c], trials, after.Of(c)), Cases: who[c]}
		if c == n-1 {
			w.Cause, w.PerThousand = -1, 1000*l.Base.Outside
		} else {
			w.PerThousand = 1000 * l.Base.Causes[c].Prior
		}
		each := make([]float64, len(all))
		for i := range all {
			each[i] = min(1, all[i].Prior[c])
		}
		w.judge(each, l.Options.Level)
		w.AfterPerThousand = w.PerThousand
		if w.Disagrees() && w.Rulebase > 0 {
			// Givens and place move a weight by factors on its odds: so does experience.
			w.AfterPerThousand = movedPerThousand(w.PerThousand, w.Mean/w.Rulebase)
		}
		if counts[c] > 0 || w.Disagrees() {
			l.Weights = append(l.Weights, w)
		}
	}
}

// movedPerThousand multiplies the odds of a weight.
func movedPerThousand(x, times float64) float64 {
	odds := x / (1000 - x) * times
	return 1000 * odds / (1 + odds)
}

func (l *Lessons) number(value int, rulebase, hits, trials float64, d Beta) Number {
	low, high := d.Interval(l.Options.Level)
	return Number{Value: value, Rulebase: rulebase, Hits: hits, Trials: trials, Mean: d.Mean(), Low: low, High: high}
}

// A report of a row, and whose.
type report struct {
	value int
	sure  float64
	who   string
}

func (l *Lessons) rows(all []Experience) {
	seen := map[[2]int][]report{}
	for i := range all {
		for _, s := range all[i].Seen {
			key := [2]int{s.Symptom, s.Row}
			seen[key] = append(seen[key], report{s.Value, s.Sure, all[i].ID})
		}
	}
	for symptom := range l.Base.Symptoms {
		for row := range l.Base.Symptoms[symptom].Shows {
			if reports := seen[[2]int{symptom, row}]; len(reports) > 0 {
				l.Rows = append(l.Rows, l.row(symptom, row, reports))
			}
		}
	}
}

func (l *Lessons) row(symptom, row int, reports []report) Row {
	p := l.Base.Symptoms[symptom].Shows[row].P
	r := Row{Symptom: symptom, Row: row, After: make([]float64, len(p))}
	total := 0.0
	for v := range p {
		r.Numbers = append(r.Numbers, l.value(v, p, reports))
		total += r.Numbers[v].Mean
	}
	for v := range p {
		r.After[v] = r.Numbers[v].Mean / total // with reports that are not sure the means do not quite sum to 1
	}
	l.NumbersLookedAt += len(p)
	for _, x := range reports {
		r.Cases = append(r.Cases, x.who)
	}
	slices.Sort(r.Cases)
	r.Cases = slices.Compact(r.Cases)
	return r
}

// value is one number of a row: was it this value that was reported, or another one.
func (l *Lessons) value(v int, p []float64, reports []report) Number {
	prior := Prior(p, l.Options.Worth).Of(v)
	hits := 0.0
	bySure := map[float64]*trials{}
	for _, r := range reports {
		if bySure[r.sure] == nil {
			bySure[r.sure] = &trials{sure: r.sure}
		}
		if r.value == v {
			bySure[r.sure].hits++
			hits++
		} else {
			bySure[r.sure].misses++
		}
	}
	each := make([]float64, len(reports))
	for i, r := range reports {
		each[i] = r.sure*p[v] + (1-r.sure)/float64(len(p))
	}
	var n Number
	if t := bySure[1]; t != nil && len(bySure) == 1 {
		n = l.number(v, p[v], hits, float64(len(reports)), prior.Add(hits, float64(len(reports))))
	} else {
		var all []trials
		for _, sure := range slices.Sorted(maps.Keys(bySure)) {
			all = append(all, *bySure[sure])
		}
		n = Number{Value: v, Rulebase: p[v], Hits: hits, Trials: float64(len(reports))}
		n.Mean, n.Low, n.High = unsure(prior, all, len(p), l.Options.Level)
	}
	n.judge(each, l.Options.Level)
	return n
}
