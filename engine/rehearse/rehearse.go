// Package rehearse plays simulated breakdowns against the engine, so that whoever
// keeps a rulebase sees how often its advice is right.
//
// # The breakdown
//
// A case stands at one place: by phone, in the field or on the bench. Its givens
// are drawn first (see drawGivens); then a set of causes, or something that is
// not listed, is drawn from what the rulebase itself believes once the givens and
// the complaint are known, before anything was looked at. For every remedy that
// helps a cause only by chance it is drawn beforehand whether it would.
//
// A symptom's true value is drawn once for every state of work, from the row that
// holds in that world; under something not listed every value is alike, but the
// complaint keeps, after work, the value it was reported with. What is reported is
// the true value to the extent that the symptom is sure at that place, else any of
// its values alike: just as belief weighs it. A symptom that no cause shapes is
// never reported. A remedy, or a test that puts something right, takes its causes
// away; then the complaint's symptom is watched, without error: well, or still down.
//
// By phone the person is an operator, elsewhere a technician, never alone, with the
// tools that the tests of that place and person ask for. Warnings are confirmed
// when asked for.
//
// # The variants
//
//   - own: all as above, from the rulebase's own numbers.
//   - disturbed: the world is drawn from other numbers than the engine's, drawn anew
//     for each case: in every row the odds of each value are multiplied by a factor
//     between 1/2.7 and 2.7, even in its logarithm, and the row is scaled to 1; the
//     odds of a remedy that helps by chance likewise; the weight of every cause, and
//     of what is not listed, by a factor between 1/2 and 2.
//   - wrong answers: one answer of a caller in ten, and of a technician three in a
//     hundred, is replaced by another value, and nobody tells the engine.
//
// # The course
//
// A [Policy] says, diagnosis after diagnosis, what to do next; that it is enough is
// the engine's own advice ([engine.Advice], by phone [engine.Disposition]), and ends
// the case. So does a drop that is well, or a policy that has nothing left to do.
// Every draw has its own source of chance (seed, place, number, purpose): a case can
// be replayed alone, answers do not depend on the order of the questions, and the
// number of cores changes nothing.
package rehearse

import (
	"context"
	"fmt"
	"runtime"
	"slices"
	"sync"
	"sync/atomic"

	"downdrop/engine"
	"downdrop/rulebase"
)

// A Variant says what differs between the world and the rulebase.
type Variant string

// The variants.
const (
	Own          Variant = "own"
	Disturbed    Variant = "disturbed"
	WrongAnswers Variant = "wrong_answers"
)

// Variants are all of them.
func Variants() []Variant { return []Variant{Own, Disturbed, WrongAnswers} }

// Places are where cases are played.
func Places() []rulebase.Place {
	return []rulebase.Place{rulebase.Phone, rulebase.Field, rulebase.Bench}
}

// Options say what is to be played.
type Options struct {
	Cases   int // of all places together; case i is played at place i modulo their number
	Seed    uint64
	Places  []rulebase.Place
	Variant Variant
	Policy  Policy             // nil: what the engine offers, in its order
	Cores   int                // 0: all
	Played  func(done, of int) // called after each case, from one goroutine at a time; nil: nobody is told
}

// Play plays all cases. The error is ctx's, or that of a case that cannot be played.
func Play(ctx context.Context, base *rulebase.Base, o Options) ([]Course, error) {
	all := make([]Course, o.Cases)
	err := onAllCores(ctx, base, o, len(all), func(t *Theatre, i int) error {
		course, err := t.Play(ctx, o.Places[i%len(o.Places)], i/len(o.Places))
		if err == nil {
			all[i] = *course
		}
		return err
	})
	return all, err
}

// onAllCores calls play with 0 to total-1, on every core with a theatre of its own. After
// an error, of which the first is returned, nothing more is begun.
func onAllCores(ctx context.Context, base *rulebase.Base, o Options, total int, play func(t *Theatre, i int) error) error {
	cores := o.Cores
	if cores <= 0 {
		cores = runtime.GOMAXPROCS(0)
	}
	ctx, stop := context.WithCancelCause(ctx)
	defer stop(nil)
	var next atomic.Int64
	var group sync.WaitGroup
	var telling sync.Mutex
	done := 0
	for range cores {
		group.Go(func() {
			t := NewTheatre(base, o)
			for i := int(next.Add(1)) - 1; i < total && ctx.Err() == nil; i = int(next.Add(1)) - 1 {
				if err := play(t, i); err != nil {
					stop(err)
					return
				}
				telling.Lock()
				done++
				if o.Played != nil {
					o.Played(done, total)
				}
				telling.Unlock()
			}
		})
	}
	group.Wait()
	return context.Cause(ctx)
}

// A Theatre plays cases of one variant, one after the other.
type Theatre struct {
	base     *rulebase.Base
	prepared *engine.Prepared
	o        Options
}

// NewTheatre makes a theatre.
func NewTheatre(base *rulebase.Base, o Options) *Theatre {
	if o.Policy == nil {
		o.Policy = Offered{}
	}
	return &Theatre{base, engine.Prepare(base), o}
}

// A Course is how one case went.
type Course struct {
	Place   rulebase.Place
	Number  int
	Givens  []rulebase.GivenValue
	Causes  []int // when the case began, rising
	Outside bool  // it was something not listed
	Turns   []Turn
	Minutes float64 // prices of all that was done, proofs included
	End     End
	Final   *engine.Diagnosis // the last one
	Verdict
}

// An End is why a case came to its end.
type End string

// The ends of a case.
const (
	Advised    End = "advised"     // the engine said that it is enough
	Restored   End = "restored"    // the drop is well after something was tried
	CannotTell End = "cannot_tell" // nothing left to do, and no advice
	RanOut     End = "ran_out"     // too many turns
)

// A Turn is one step that was taken.
type Turn struct {
	Step    *rulebase.Step
	Answers []Answer
	Drop    rulebase.DropNow // after work
	Helped  bool             // it took something away
	Lead    engine.ToDo      // the likeliest outcome afterwards
	// Forbidden: it was not on offer, or nobody may be asked for it by phone.
	Forbidden bool
}

// An Answer is what a symptom was and what was reported of it; places in its Values.
type Answer struct {
	Symptom        int
	True, Reported int
}

// mostTurns ends a case that leads nowhere.
const mostTurns = 150

// Play plays one case.
func (t *Theatre) Play(ctx context.Context, place rulebase.Place, number int) (*Course, error) {
	c := &Course{Place: place, Number: number}
	s := t.opening(c)
	d, err := engine.Diagnose(ctx, t.prepared, s, engine.Options{OneCore: true, Lean: true})
	if err != nil {
		return nil, err
	}
	w, err := t.draw(ctx, c, d)
	if err != nil {
		return nil, err
	}
	for {
		c.Final = d
		if c.End = t.end(d, place); c.End != "" {
			break
		}
		if len(c.Turns) == mostTurns {
			c.End = RanOut
			break
		}
		move := t.o.Policy.Next(d)
		switch {
		case move.Step != nil:
			t.take(c, w, &s, d, move.Step)
		case len(move.Confirm) > 0:
			s.Confirmed = append(slices.Clone(s.Confirmed), move.Confirm...)
		default:
			c.End = CannotTell
		}
		if c.End != "" {
			break
		}
		if d, err = engine.Diagnose(ctx, t.prepared, s, engine.Options{Earlier: d, OneCore: true, Lean: true}); err != nil {
			return nil, err
		}
		if n := len(c.Turns); n > 0 && d.Possible {
			c.Turns[n-1].Lead = d.Advice.Lead
		}
	}
	c.Verdict = judge(c, w)
	return c, nil
}

// end says whether the engine's advice ends a case.
func (t *Theatre) end(d *engine.Diagnosis, place rulebase.Place) End {
	switch {
	case !d.Possible:
		return CannotTell
	case engine.IsWell(d):
		return Restored
	case place == rulebase.Phone && d.Disposition.Enough, place != rulebase.Phone && d.Advice.Enough:
		return Advised
	}
	return ""
}

// opening is what is known of a case before anything was looked at.
func (t *Theatre) opening(c *Course) rulebase.Situation {
	who := rulebase.Technician
	if c.Place == rulebase.Phone {
		who = rulebase.Operator
	}
	c.Givens = drawGivens(t.base, t.chance(c, purposeGivens, 0))
	return rulebase.Situation{
		Case: fmt.Sprintf("%s-%d", c.Place, c.Number), At: c.Place, Who: who,
		Tools: usualTools(t.base, c.Place, who), Givens: c.Givens,
	}
}

// usualTools are those that the tests of a place and person ask for.
func usualTools(base *rulebase.Base, place rulebase.Place, who rulebase.Who) []string {
	tools := []string{}
	for i := range base.Tests {
		if s := &base.Tests[i]; s.Who <= who && (len(s.At) == 0 || slices.Contains(s.At, place)) {
			tools = append(tools, s.Needs...)
		}
	}
	slices.Sort(tools)
	return slices.Compact(tools)
}

// take takes a step: what it shows is reported, what it puts right is gone.
func (t *Theatre) take(c *Course, w *world, s *rulebase.Situation, d *engine.Diagnosis, step *rulebase.Step) {
	turn := Turn{Step: step, Forbidden: forbidden(c.Place, d, step)}
	after := ""
	if n := len(s.Done); n > 0 {
		after = s.Done[n-1].ID
	}
	s.Findings = slices.Clone(s.Findings)
	for _, symptom := range step.Yields {
		a, ok := w.answer(symptom)
		if !ok {
			continue
		}
		turn.Answers = append(turn.Answers, a)
		sym := &t.base.Symptoms[symptom]
		s.Findings = append(s.Findings, rulebase.Finding{Symptom: sym.ID, Value: rulebase.Value{Word: sym.Values[a.Reported]}, After: after})
	}
	c.Minutes += price(d, step)
	if step.Kind == rulebase.KindRemedy || len(step.PutsRight) > 0 {
		turn.Helped = w.work(step)
		turn.Drop = w.watch()
		s.Done = append(slices.Clone(s.Done), rulebase.Done{ID: step.ID, Drop: turn.Drop})
	}
	c.Turns = append(c.Turns, turn)
}

// price is a step's, with a remedy's proof.
func price(d *engine.Diagnosis, step *rulebase.Step) float64 {
	minutes := step.Minutes
	for i := range d.Next {
		if d.Next[i].Step == step {
			minutes = d.Next[i].Price
		}
	}
	return minutes + step.ProofMinutes()
}

// forbidden looks a step over once more: it has to be on offer, and by phone neither
// a grave hazard nor a stop of the bus is asked for.
func forbidden(place rulebase.Place, d *engine.Diagnosis, step *rulebase.Step) bool {
	if !slices.ContainsFunc(d.Next, func(p engine.Proposal) bool { return p.Step == step }) {
		return true
	}
	return place == rulebase.Phone && (step.Hazard&grave != 0 || step.Stops == rulebase.StopsBus)
}

// grave are the hazards of the permission table's fifth line, stated here once more: a
// play looks the engine's permission over and does not ask the engine what is grave.
const grave = rulebase.HazardMotion | rulebase.HazardMains | rulebase.HazardSpark | rulebase.HazardStored | rulebase.HazardUnknown
