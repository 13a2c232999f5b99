package rehearse

import (
	"context"
	"math"
	"slices"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Rival is a way to go about a drop that is down. All rivals are held to the same
// permissions, the same proof after work and the same word for "enough"
// ([engine.Advice], by phone [engine.Disposition]); they differ in what they do before.
type Rival struct {
	Name  string
	Order *Order // nil: Pick decides
	// Pick is the next test or remedy on offer; nil where there is none.
	Pick func(d *engine.Diagnosis) *rulebase.Step
	// Optimal does what the planner proves to be best, looking at so many places at
	// most; its word for the end is the planner's, too. 0: not this rival. By phone it
	// does what Pick does.
	Optimal int
}

// How small a rulebase has to be for the best order to be had: what a search of so many
// places proves nearly always.
const (
	smallCauses, smallSteps = 8, 10
	placesOptimal           = 300
)

// Rivals are those that are compared over a rulebase, the engine's own last. The best
// there is is among them where the rulebase is small enough for it.
func Rivals(base *rulebase.Base) []Rival {
	swap, list, good := SwapUnitFirst(), Checklist(), GoodTechnician()
	offered := func(d *engine.Diagnosis) *rulebase.Step { return Offered{}.Next(d).Step }
	all := []Rival{
		{Name: swap.Name, Order: &swap}, {Name: list.Name, Order: &list}, {Name: good.Name, Order: &good},
		{Name: "greedy", Pick: greedy},
	}
	if len(base.Causes) <= smallCauses && len(base.Tests)+len(base.Remedies) <= smallSteps {
		all = append(all, Rival{Name: "optimal", Pick: offered, Optimal: placesOptimal})
	}
	return append(all, Rival{Name: "default", Pick: offered})
}

// greedy is the test that tells most for each minute.
func greedy(d *engine.Diagnosis) *rulebase.Step {
	var best *rulebase.Step
	most := 0.0
	for i := range d.Next {
		p := &d.Next[i]
		if !d.WorthAsking(p) {
			continue
		}
		if rate := p.GainBits / math.Max(p.Price, 0.1); rate > most {
			best, most = p.Step, rate
		}
	}
	return best
}

// next is the next test in an order.
func (o *Order) next(d *engine.Diagnosis, places map[*rulebase.Step]int) *rulebase.Step {
	var best *rulebase.Step
	for i := range d.Next {
		if p := &d.Next[i]; d.WorthAsking(p) && (best == nil || places[p.Step] < places[best]) {
			best = p.Step
		}
	}
	return best
}

// A Run is how one rival fared with one breakdown, up to a working drop, or by phone
// up to a disposition.
type Run struct {
	Minutes    float64 // all that was done, with proof; handing over at the rulebase's price
	Tests      int
	Answers    int     // questions answered and looks read out
	Remedies   int     // tried
	Vain       int     // of them, those that took nothing away
	Removals   int     // units and parts taken out: what ends as unit_out, module_out or part_replaced
	Needless   int     // of them, those that took nothing away
	Units      int     // units taken out
	UnitsVain  int     // of them, those that took nothing away
	Hazardous  int     // steps of motion, mains, spark, stored or unknown danger
	BusMinutes float64 // minutes in which the bus was stopped
	Forbidden  int     // steps that were not on offer, or that nobody may be asked for by phone; never any
	TooSoon    int     // grave steps while a harmless one on offer could still change what to do; never any
	End        End
	After      float64 // by phone: minutes that the end of the call costs then
	Right      bool    // by phone: the call ended as it had to
}

// All are a run's minutes with what its end costs.
func (r *Run) All() float64 { return r.Minutes + r.After }

// HandedOver is the end of a run that found no more to do.
const HandedOver End = "handed_over"

// Contest plays every rival against the same breakdowns: Runs[r][i] is how rival r
// fared with breakdown i. The error is as that of Play.
func Contest(ctx context.Context, base *rulebase.Base, o Options, rivals []Rival) (*Comparison, error) {
	place := rulebase.Field
	if len(o.Places) > 0 {
		place = o.Places[0]
	}
	all := &Comparison{Place: place, Variant: o.Variant, Rivals: rivals, Runs: make([][]Run, len(rivals))}
	for r := range rivals {
		all.Runs[r] = make([]Run, o.Cases)
	}
	err := onAllCores(ctx, base, o, o.Cases*len(rivals), func(t *Theatre, i int) error {
		r, number := i%len(rivals), i/len(rivals)
		run, err := t.PlayOut(ctx, place, number, &rivals[r])
		if err == nil {
			all.Runs[r][number] = *run
		}
		return err
	})
	return all, err
}

// PlayOut plays one breakdown by a rival until the drop works, by phone until it is
// known how the call ends, or until there is nothing left but to hand over.
func (t *Theatre) PlayOut(ctx context.Context, place rulebase.Place, number int, rival *Rival) (*Run, error) {
	c := &Course{Place: place, Number: number}
	s := t.opening(c)
	options := engine.Options{OneCore: true, Lean: true}
	if rival.Optimal > 0 && place != rulebase.Phone {
		options = engine.Options{OneCore: true, Optimal: rival.Optimal}
	}
	d, err := engine.Diagnose(ctx, t.prepared, s, options)
	if err != nil {
		return nil, err
	}
	w, err := t.draw(ctx, c, d)
	if err != nil {
		return nil, err
	}
	p := &playing{t: t, c: c, w: w, rival: rival, run: &Run{}}
	if rival.Order != nil {
		p.places = rival.Order.places(t.base)
	}
	for p.run.End == "" {
		c.Final = d
		step, confirm := p.move(d)
		switch {
		case p.run.End != "":
		case step != nil:
			p.note(d, step)
			t.take(c, w, &s, d, step)
			p.count(&c.Turns[len(c.Turns)-1])
		case len(confirm) > 0:
			s.Confirmed = append(slices.Clone(s.Confirmed), confirm...)
		default:
			p.end(HandedOver)
		}
		if p.run.End != "" {
			break
		}
		options.Earlier = d
		if d, err = engine.Diagnose(ctx, t.prepared, s, options); err != nil {
			return nil, err
		}
	}
	p.run.Minutes += c.Minutes
	if place == rulebase.Phone {
		c.End = map[End]End{Advised: Advised}[p.run.End]
		v := judge(c, w)
		p.run.Right = p.run.End == Restored || v.Right
		p.ending(d, &v)
	}
	return p.run, nil
}

type playing struct {
	t       *Theatre
	c       *Course
	w       *world
	rival   *Rival
	places  map[*rulebase.Step]int
	swapped bool
	run     *Run
}

func (p *playing) end(end End) {
	p.run.End = end
	if end == HandedOver {
		p.run.Minutes += p.t.base.GiveUp
	}
}

// ending counts what the end of a call leads to: a visit, a second one, a unit that
// comes out.
func (p *playing) ending(d *engine.Diagnosis, v *Verdict) {
	if p.run.End == Restored || !d.Possible {
		return
	}
	needless := d.Disposition.Kind == engine.SendUnit && v.Cheapest != engine.SendUnit
	p.run.After = engine.CallCosts(d.Disposition.Kind, v.Ends, needless, p.t.base.Effort.Visit)
	if d.Disposition.Kind == engine.SendUnit {
		p.run.Units++
		p.run.Removals++
	}
	if needless {
		p.run.UnitsVain++
		p.run.Needless++
	}
}

// move is what the rival does: what is known to be enough is done; else its own next
// step; else whatever helps likeliest; else warnings that stand before something useful.
func (p *playing) move(d *engine.Diagnosis) (*rulebase.Step, []string) {
	phone := p.c.Place == rulebase.Phone
	switch {
	case engine.IsWell(d):
		p.end(Restored)
		return nil, nil
	case !d.Possible || len(p.c.Turns) >= mostTurns:
		p.end(HandedOver)
		return nil, nil
	case phone && d.Disposition.Enough && (d.Disposition.Kind != engine.SolveNow || len(d.Disposition.Remedies) == 0):
		p.end(Advised)
		return nil, nil
	case phone && d.Disposition.Enough:
		if step, confirm := p.doing(d, d.Disposition.Remedies); step != nil || confirm != nil {
			return step, confirm
		}
		p.end(Advised)
		return nil, nil
	case p.rival.Order != nil && p.rival.Order.SwapFirst && !p.swapped && !phone:
		if step, confirm := p.swap(d); step != nil || confirm != nil {
			p.swapped = step != nil
			return step, confirm
		}
		p.swapped = true // it may not be done here: the same permissions for all
	}
	if !phone && p.rival.Optimal > 0 {
		return p.best(d)
	}
	if !phone && d.Advice.Enough {
		if step, confirm := p.doing(d, d.Advice.Lead.Remedies); step != nil || confirm != nil {
			return step, confirm
		}
	}
	step := p.pick(d)
	if step != nil {
		return step, nil
	}
	if m := unlock(d); len(m.Confirm) > 0 {
		return nil, m.Confirm
	}
	if phone {
		p.end(Advised) // nothing left to ask: the call ends as it stands
		return nil, nil
	}
	return p.likeliest(d)
}

// best is what the planner finds best; it hands over where that is cheapest, and where
// all that is left waits for warnings they are confirmed.
func (p *playing) best(d *engine.Diagnosis) (*rulebase.Step, []string) {
	if len(d.Next) > 0 && !d.Plan.Stop {
		return d.Next[0].Step, nil
	}
	return nil, unlock(d).Confirm
}

func (p *playing) pick(d *engine.Diagnosis) *rulebase.Step {
	if p.rival.Order != nil {
		return p.rival.Order.next(d, p.places)
	}
	return p.rival.Pick(d)
}

// doing is the first of these remedies that is on offer, or the warnings before it.
func (p *playing) doing(d *engine.Diagnosis, remedies []int) (*rulebase.Step, []string) {
	for _, r := range remedies {
		if step, confirm := offeredOrWaiting(d, &d.Base.Remedies[r]); step != nil || confirm != nil {
			return step, confirm
		}
	}
	return nil, nil
}

// offeredOrWaiting is a step where it is on offer, or the warnings that it alone waits for.
func offeredOrWaiting(d *engine.Diagnosis, step *rulebase.Step) (*rulebase.Step, []string) {
	if slices.ContainsFunc(d.Next, func(x engine.Proposal) bool { return x.Step == step }) {
		return step, nil
	}
	for _, w := range d.NotOffered {
		if w.Step == step && w.Why == engine.WhyUnconfirmed {
			return nil, d.Unconfirmed(step)
		}
	}
	return nil, nil
}

// swap is the exchange of the unit: of the remedies that end so, the one that may be done.
func (p *playing) swap(d *engine.Diagnosis) (*rulebase.Step, []string) {
	var all []int
	for r := range d.Base.Remedies {
		if x := &d.Base.Remedies[r]; x.EndsAs == rulebase.UnitOut && !x.Temporary {
			all = append(all, r)
		}
	}
	slices.SortStableFunc(all, func(a, b int) int { // what helps most causes is what "swap the unit" means
		return p.helpedBy(b) - p.helpedBy(a)
	})
	return p.doing(d, all[:min(1, len(all))])
}

func (p *playing) helpedBy(remedy int) int {
	n := 0
	for i := range p.t.base.Causes {
		for _, h := range p.t.base.Causes[i].Remedies {
			if h.Remedy == remedy {
				n++
			}
		}
	}
	return n
}

// likeliest tries, when nothing tells any more, what helps likeliest and costs less
// than handing over saves; units and modules included: swap it and see.
func (p *playing) likeliest(d *engine.Diagnosis) (*rulebase.Step, []string) {
	var all []int
	for r := range d.Base.Remedies {
		x := &d.Base.Remedies[r]
		if x.Temporary || slices.ContainsFunc(d.Situation.Done, func(done rulebase.Done) bool { return done.ID == x.ID }) {
			continue
		}
		if takes(d, x)*d.Base.GiveUp > x.Minutes+x.ProofMinutes() {
			all = append(all, r)
		}
	}
	slices.SortStableFunc(all, func(a, b int) int {
		x, y := takes(d, &d.Base.Remedies[a]), takes(d, &d.Base.Remedies[b])
		switch {
		case x > y:
			return -1
		case x < y:
			return 1
		}
		return a - b
	})
	return p.doing(d, all)
}

// note looks a step over before it is taken.
func (p *playing) note(d *engine.Diagnosis, step *rulebase.Step) {
	if step.Hazard&grave != 0 {
		p.run.Hazardous++
	}
	if step.Stops == rulebase.StopsBus {
		p.run.BusMinutes += step.Minutes
	}
	if forbidden(p.c.Place, d, step) || step.Who > d.Situation.Who {
		p.run.Forbidden++
	}
	if step.Hazard&grave != 0 && p.harmlessDecides(d) {
		p.run.TooSoon++
	}
}

// harmlessDecides says whether a harmless test on offer can still change which remedy
// is likeliest: worked out by diagnosing every one of its results, apart from the table of permissions.
func (p *playing) harmlessDecides(d *engine.Diagnosis) bool {
	first := leading(d)
	for i := range d.Next {
		x := d.Next[i].Step
		if x.Kind != rulebase.KindTest || x.Hazard != 0 || x.Stops != rulebase.StopsNothing || !d.Fresh(x) || d.Next[i].GainBits < engine.Idle {
			continue
		}
		for _, symptom := range x.Yields {
			for _, value := range d.Base.Symptoms[symptom].Values {
				s := d.Situation.Clone()
				f := rulebase.Finding{Symptom: d.Base.Symptoms[symptom].ID, Value: rulebase.Value{Word: value}}
				if n := len(s.Done); n > 0 {
					f.After = s.Done[n-1].ID
				}
				s.Findings = append(s.Findings, f)
				after, err := engine.Diagnose(context.Background(), p.t.prepared, s, engine.Options{BeliefOnly: true, OneCore: true})
				if err == nil && after.Possible && leading(after) != first {
					return true
				}
			}
		}
	}
	return false
}

// leading is the remedy that the likeliest causes ask for; -1: none.
func leading(d *engine.Diagnosis) int {
	weight := make([]float64, len(d.Base.Remedies)+1)
	for _, c := range d.Causes {
		weight[c.Remedy+1] += c.Now
	}
	best := 0
	for r := range weight {
		if weight[r] > weight[best] {
			best = r
		}
	}
	return best - 1
}

func (p *playing) count(turn *Turn) {
	r := p.run
	r.Answers += len(turn.Answers)
	if turn.Step.Kind == rulebase.KindTest {
		r.Tests++
		return
	}
	r.Remedies++
	vain := 0
	if !turn.Helped {
		vain = 1
	}
	r.Vain += vain
	switch turn.Step.EndsAs {
	case rulebase.UnitOut:
		r.Units++
		r.UnitsVain += vain
		fallthrough
	case rulebase.ModuleOut, rulebase.PartReplaced:
		r.Removals++
		r.Needless += vain
	}
}

// A Comparison is how rivals fared with the same breakdowns.
type Comparison struct {
	Place   rulebase.Place
	Variant Variant
	Rivals  []Rival
	Runs    [][]Run // by rival, by breakdown
}

// A Mean is a mean with its 95 % interval (normal, from the spread over breakdowns).
type Mean struct{ Value, Low, High float64 }

func meanOf(xs []float64) Mean {
	n := float64(len(xs))
	if n == 0 {
		return Mean{}
	}
	sum := 0.0
	for _, x := range xs {
		sum += x
	}
	m := sum / n
	spread := 0.0
	for _, x := range xs {
		spread += (x - m) * (x - m)
	}
	half := 0.0
	if n > 1 {
		half = 1.96 * math.Sqrt(spread/(n-1)/n)
	}
	return Mean{m, m - half, m + half}
}

// Of is the mean of a figure of a rival's runs.
func (c *Comparison) Of(rival int, figure func(*Run) float64) Mean {
	xs := make([]float64, len(c.Runs[rival]))
	for i := range xs {
		xs[i] = figure(&c.Runs[rival][i])
	}
	return meanOf(xs)
}

// Saves is which part of all of a rival's minutes the other rival saves, breakdown by
// breakdown, with the interval of that difference over the mean.
func (c *Comparison) Saves(of, by int) Mean {
	diff := make([]float64, len(c.Runs[of]))
	for i := range diff {
		diff[i] = c.Runs[of][i].All() - c.Runs[by][i].All()
	}
	m, base := meanOf(diff), c.Of(of, (*Run).All).Value
	if base == 0 {
		return Mean{}
	}
	return Mean{m.Value / base, m.Low / base, m.High / base}
}

// Median is the middle of a figure over a rival's runs.
func (c *Comparison) Median(rival int, figure func(*Run) float64) float64 {
	xs := make([]float64, len(c.Runs[rival]))
	for i := range xs {
		xs[i] = figure(&c.Runs[rival][i])
	}
	slices.Sort(xs)
	if len(xs) == 0 {
		return 0
	}
	return (xs[(len(xs)-1)/2] + xs[len(xs)/2]) / 2
}
