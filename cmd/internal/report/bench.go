package report

import (
	"fmt"
	"io"
	"math"
	"slices"
	"strings"

	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// BenchStep writes what a run waits for: the whole step where it is a new one, with what can
// hurt first, then the question.
func BenchStep(w io.Writer, s *bench.State, before *bench.State, width int) error {
	p := newPage(width)
	if s.Wants.Step >= 0 && (before == nil || before.Wants.Step != s.Wants.Step) {
		p.line("")
		p.benchStep(s)
	}
	switch s.Wants.Kind {
	case bench.WantsAnswer:
		p.say(benchAsks[s.Wants.Ask])
	case bench.WantsConfirm:
		p.say(sayBenchRead)
	case bench.WantsTool:
		p.say(fmt.Sprintf(sayBenchTool, s.Wants.Ask))
	case bench.WantsRelease:
		p.say(fmt.Sprintf(sayBenchRelease, benchForce(s.InPlace[0])))
	case bench.WantsReading:
		p.say(sayBenchAsk(s))
	}
	return p.writeTo(w)
}

func (p *page) benchStep(s *bench.State) {
	v := NewBenchView(s)
	p.say(v.Step)
	for _, says := range v.InPlace {
		p.item("  ", says)
	}
	for _, w := range v.Warnings {
		p.item(fmt.Sprintf("  %-8s ", w.Lead), w.Says)
	}
	for _, x := range v.Lines {
		p.item(fmt.Sprintf("  %-8s ", x.Lead+":"), x.Says)
	}
}

// A BenchView is what a run waits for, for a screen that lays it out itself.
type BenchView struct {
	Step     string      // which one, and how long; "" before and behind the steps
	InPlace  []string    // what is in place, in one sentence
	Forces   []string    // each of it, until it is released
	Warnings []BenchPart // the signal word and what can hurt
	Lines    []BenchPart // connect, set, do, expect
	Ask      string
}

// A BenchPart is a sentence of a step with the word before it.
type BenchPart struct{ Lead, Says string }

// NewBenchView makes it. What is asked is in the words of a screen with buttons.
func NewBenchView(s *bench.State) BenchView {
	var v BenchView
	if len(s.InPlace) > 0 {
		var all []string
		for _, f := range s.InPlace {
			all = append(all, benchForce(f))
		}
		v.Forces = all
		v.InPlace = append(v.InPlace, fmt.Sprintf(sayBenchInPlace, strings.Join(all, "; ")))
	}
	if s.Wants.Step >= 0 {
		st := s.Steps[s.Wants.Step].Step
		v.Step = fmt.Sprintf(sayBenchStep, s.Wants.Step+1, len(s.Steps), st.Name, benchMinutes(st.Minutes), benchMinutes(s.MinutesLeft))
		for _, w := range s.Warnings(st) {
			v.Warnings = append(v.Warnings, BenchPart{signalWord(w.Level), w.Says})
		}
		for _, x := range []BenchPart{{sayBenchConnect, st.Connect}, {sayBenchSet, st.Set}, {sayBenchDo, st.Do}, {sayBenchExpect, st.Expect}} {
			if x.Says != "" {
				v.Lines = append(v.Lines, BenchPart{x.Lead, s.Tell(x.Says)})
			}
		}
	}
	switch s.Wants.Kind {
	case bench.WantsAnswer:
		v.Ask = benchAsks[s.Wants.Ask]
	case bench.WantsConfirm:
		v.Ask = sayBenchReadAsk
	case bench.WantsTool:
		v.Ask = fmt.Sprintf(sayBenchToolAsk, s.Wants.Ask)
	case bench.WantsRelease:
		v.Ask = fmt.Sprintf(sayBenchReleaseAsk, benchForce(s.InPlace[0]))
	case bench.WantsReading:
		v.Ask = sayBenchAsk(s)
	}
	return v
}

// sayBenchAsk is the question with its answers or limits.
func sayBenchAsk(s *bench.State) string {
	g := s.Wants.Reading
	if c := s.Counted(); c != nil {
		return fmt.Sprintf(sayBenchCountOn, benchShare(bench.Above(c.Wrong, c.Of)), c.MoreNeeded)
	}
	hint := ""
	switch g.Kind {
	case rulebase.ReadsWord, rulebase.ReadsYesNo:
		words := plainAll(g.OneOf)
		if len(words) > 2 { // their numbers can be typed, so they are seen
			for i := range words {
				words[i] = fmt.Sprintf(sayBenchNumbered, i+1, words[i])
			}
		}
		hint = strings.Join(words, ", ")
	case rulebase.ReadsPoints:
		hint = fmt.Sprintf(sayBenchPoints, s.Wants.Count)
	case rulebase.ReadsErrors:
		hint = fmt.Sprintf(sayBenchErrors, s.Wants.Count)
	case rulebase.ReadsNumber:
		if hint = benchLimits(g, s.Wants.Low, s.Wants.High); hint != "" {
			hint = fmt.Sprintf(sayBenchLimits, hint)
		}
	}
	return asked(g.Ask, hint)
}

// asked is a question with what helps to answer it.
func asked(ask, hint string) string {
	if hint != "" {
		hint = " (" + hint + ")"
	}
	if strings.HasSuffix(ask, "?") {
		return ask + hint
	}
	return strings.TrimSuffix(ask, ":") + hint + ":"
}

// benchLimits says the limits of a reading; "" where there are none.
func benchLimits(g *rulebase.BenchReading, low, high float64) string {
	number := func(x float64) string { return quantity.FormatRounded(x, g.Unit, 5) }
	switch {
	case g.Kind == rulebase.ReadsErrors && !math.IsNaN(high):
		return fmt.Sprintf(sayBenchShareBelow, benchShare(high))
	case g.Kind != rulebase.ReadsNumber:
		return ""
	case g.Equal != nil && !math.IsNaN(low):
		return fmt.Sprintf(sayBenchExactly, number(low))
	case !math.IsNaN(low) && !math.IsNaN(high):
		return fmt.Sprintf(sayBenchBetween, number(low), number(high))
	case !math.IsNaN(low):
		return fmt.Sprintf(sayBenchLeast, number(low))
	case !math.IsNaN(high):
		return fmt.Sprintf(sayBenchMost, number(high))
	case g.Least != nil || g.Most != nil || g.Equal != nil:
		return sayBenchNoLimit
	}
	return ""
}

// benchShare says a share of messages as people do: 1 in 10,014. It is rounded so that the
// share said is never below the one meant.
func benchShare(x float64) string {
	if x <= 0 {
		return "none"
	}
	if x > 0.2 {
		return fmt.Sprintf("%.0f %%", math.Ceil(100*x))
	}
	return "1 in " + grouped(int(math.Floor(1/x*(1+1e-12))))
}

// grouped writes a whole number with its thousands apart.
func grouped(n int) string {
	text := fmt.Sprint(n)
	for i := len(text) - 3; i > 0; i -= 3 {
		text = text[:i] + "," + text[i:]
	}
	return text
}

func benchMinutes(m float64) string { return fmt.Sprintf("%.0f min", m) }

// benchAnswer is what a reading came to, in one sentence.
func benchAnswer(r *bench.Result) string {
	g := r.Reading
	says := benchReads(r)
	if limits := benchLimits(g, r.Low, r.High); limits != "" && r.Lacks == "" && g.Kind == rulebase.ReadsNumber {
		says += "; " + fmt.Sprintf(sayBenchLimits, limits)
	}
	switch r.Outcome {
	case bench.Passed:
		return fmt.Sprintf(sayBenchPass, says)
	case bench.Failed:
		return fmt.Sprintf(sayBenchFail, says)
	case bench.NotShown:
		if r.Lacks != "" {
			return fmt.Sprintf(sayBenchLacks, says, strings.Replace(r.Lacks, "_", ".", 1))
		}
		return fmt.Sprintf(sayBenchNotShown, says)
	}
	return fmt.Sprintf(sayBenchRecorded, says)
}

// benchReads is a reading as it was taken.
func benchReads(r *bench.Result) string {
	switch r.Reading.Kind {
	case rulebase.ReadsWord, rulebase.ReadsYesNo:
		return plain(r.Word)
	case rulebase.ReadsPoints:
		if len(r.Points) == 0 {
			return fmt.Sprintf(sayBenchAllPoints, r.OutOf)
		}
		return fmt.Sprintf(sayBenchExceptions, r.OutOf-len(r.Points), r.OutOf, spans(r.Points))
	case rulebase.ReadsErrors:
		return fmt.Sprintf(sayBenchBound, r.Wrong, grouped(r.Of), benchShare(bench.Above(r.Wrong, r.Of)))
	}
	return r.Text
}

// spans writes rising numbers, neighbours as from-to.
func spans(all []int) string {
	var out []string
	for i := 0; i < len(all); {
		j := i
		for j+1 < len(all) && all[j+1] == all[j]+1 {
			j++
		}
		if j > i+1 {
			out = append(out, fmt.Sprintf("%d-%d", all[i], all[j]))
		} else {
			for _, n := range all[i : j+1] {
				out = append(out, fmt.Sprint(n))
			}
		}
		i = j + 1
	}
	return strings.Join(out, ", ")
}

// BenchTaken writes what became of an entry; a fail with what the diagnosis now says.
func BenchTaken(w io.Writer, s, before *bench.State, e bench.Event, d *engine.Diagnosis, width int) error {
	p := newPage(width)
	switch e.Kind {
	case bench.Answered:
		if r := s.Last(e.Seq); r != nil {
			p.say(benchAnswer(r))
			if d != nil && r.Outcome == bench.Failed {
				p.say(sayBenchDiagnosis(d))
			}
		}
	case bench.NotDone:
		p.say(fmt.Sprintf(sayBenchNotDone, e.Values["reason"]))
	case bench.Undone:
		p.say(sayBenchUndone)
	case bench.Noted:
		p.say(sayBenchNoted)
	case bench.Instrument:
		p.say(sayBenchInstrument(e.Values, e.Day()))
	}
	if s.StoppedBy != "" && before.StoppedBy == "" {
		p.say(sayBenchNoFurther)
	}
	for _, f := range s.InPlace {
		if !slices.ContainsFunc(before.InPlace, func(x bench.InPlace) bool { return x.Force.ID == f.Force.ID }) {
			says := sayBenchPutIn
			if f.Perhaps {
				says = sayBenchPutInPerhaps
			}
			p.say(fmt.Sprintf(says, f.Force.Says))
		}
	}
	for _, f := range before.InPlace {
		if !slices.ContainsFunc(s.InPlace, func(x bench.InPlace) bool { return x.Force.ID == f.Force.ID }) {
			p.say(fmt.Sprintf(sayBenchTakenOut, f.Force.Says))
		}
	}
	return p.writeTo(w)
}

func sayBenchInstrument(values map[string]string, today string) string {
	switch {
	case values["until"] == "":
		return fmt.Sprintf(sayBenchUncalibrated, values["name"])
	case values["until"] < today:
		return fmt.Sprintf(sayBenchLate, values["name"], values["until"])
	}
	return fmt.Sprintf(sayBenchCalibrated, values["name"], values["until"])
}

// sayBenchDiagnosis is what a diagnosis makes of a fail.
func sayBenchDiagnosis(d *engine.Diagnosis) string {
	if !d.Possible || len(d.Causes) == 0 {
		return sayBenchNoCause
	}
	var likely []string
	for _, c := range d.Causes[:min(2, len(d.Causes))] {
		if c.Probability >= 0.1 {
			likely = append(likely, fmt.Sprintf("%s (%s)", wording.LowerFirst(d.Base.Causes[c.Cause].Name), Chance(c.Probability)))
		}
	}
	says := fmt.Sprintf(sayBenchUnit, Chance(d.UnitOut))
	if len(likely) > 0 {
		says += " " + fmt.Sprintf(sayBenchLikely, andList(likely))
	}
	return says
}

// BenchEnd writes what a run has come to: verdict and basis, fails, what was not done.
func BenchEnd(w io.Writer, s *bench.State, width int) error {
	p := newPage(width)
	p.line("")
	if s.Verdict == bench.NoVerdict {
		p.say(fmt.Sprintf(sayBenchOpen, benchMinutes(s.MinutesLeft)))
	} else {
		p.say(benchVerdicts[s.Verdict])
	}
	for _, says := range s.Basis {
		p.item("  ", says)
	}
	p.benchInPlace(s)
	if s.Verdict != bench.NoVerdict && len(s.Procedure.NotTested) > 0 {
		p.say(sayBenchNotTested)
		for _, says := range s.Procedure.NotTested {
			p.item("  ", says)
		}
	}
	return p.writeTo(w)
}

// benchForce says what is in place, and where nobody knows that it is.
func benchForce(f bench.InPlace) string {
	if f.Perhaps {
		return fmt.Sprintf(sayBenchPerhaps, f.Force.Says)
	}
	return f.Force.Says
}

func (p *page) benchInPlace(s *bench.State) {
	if len(s.InPlace) == 0 {
		return
	}
	p.say(sayBenchStill)
	for _, f := range s.InPlace {
		p.item("  ", benchForce(f)+".")
	}
}

// BenchRun writes a run so far, step by step.
func BenchRun(w io.Writer, s *bench.State, width int) error {
	p := newPage(width)
	p.say(fmt.Sprintf(sayBenchHead, s.Procedure.Name, s.Procedure.Version, s.Unit.Type))
	if s.Serial != "" {
		p.say(fmt.Sprintf(sayBenchSerial, s.Serial))
	}
	for i := range s.Steps {
		st := &s.Steps[i]
		if st.Outcome == bench.Open && len(st.Results) == 0 {
			continue
		}
		p.item(fmt.Sprintf("%3d  ", i+1), fmt.Sprintf("%s: %s", st.Step.Name, benchOutcome(st)))
		for j := range st.Results {
			r := &st.Results[j]
			p.item("       ", strings.TrimRight(r.Reading.Ask, "?:")+": "+benchAnswer(r))
		}
	}
	for _, n := range s.Notes {
		p.item("     ", fmt.Sprintf(sayBenchNote, n.Text))
	}
	var b strings.Builder
	if err := BenchEnd(&b, s, width); err != nil {
		return err
	}
	p.out.WriteString(b.String())
	return p.writeTo(w)
}

func benchOutcome(st *bench.StepState) string {
	says := benchOutcomes[st.Outcome]
	switch {
	case st.Outcome == bench.Skipped:
		says += ", " + st.Reason
	case st.Outcome == bench.Failed && st.Reason != "":
		says += fmt.Sprintf(sayBenchRestNotDone, st.Reason)
	}
	return says
}

// ProcedureMinutes is how long all steps of a procedure take together.
func ProcedureMinutes(p *rulebase.Procedure) float64 {
	minutes := 0.0
	for i := range p.Steps {
		minutes += p.Steps[i].Minutes
	}
	return minutes
}

// BenchProcedure writes a procedure: what it proves, its steps with their warnings, and for a
// unit profile the limits worked out.
func BenchProcedure(w io.Writer, p *rulebase.Procedure, unit *rulebase.Profile, width int) error {
	out := newPage(width)
	out.say(fmt.Sprintf(sayBenchShow, p.Name, p.ID, p.Version, counted(len(p.Steps), "step"), benchMinutes(ProcedureMinutes(p))))
	if p.Proves != "" {
		out.say(fmt.Sprintf(sayBenchProves, p.Proves))
	}
	var s *bench.State
	if unit != nil {
		s, _ = bench.Run(p, unit, nil) // no events: nothing that could be wrong
		out.say(fmt.Sprintf(sayBenchForUnit, unit.Name, unit.Type))
	}
	for i := range p.Steps {
		st := &p.Steps[i]
		out.gap()
		out.say(fmt.Sprintf(sayBenchShowStep, i+1, st.Name, benchMinutes(st.Minutes)))
		if s != nil && !s.Applies(st) {
			out.item("     ", wording.UpperFirst(benchOutcomes[bench.NotMeant])+".")
			continue
		}
		if st.When != nil {
			out.item("     ", fmt.Sprintf(sayBenchWhen, st.When.Text))
		}
		warnings, tell := st.Warnings, func(text string) string { return text }
		if s != nil {
			warnings, tell = s.Warnings(st), s.Tell
		}
		for _, x := range warnings {
			out.item(fmt.Sprintf("     %-8s ", signalWord(x.Level)), x.Says)
		}
		for _, x := range []struct{ lead, says string }{{sayBenchConnect, st.Connect}, {sayBenchSet, st.Set}, {sayBenchDo, st.Do}, {sayBenchExpect, st.Expect}} {
			if x.says != "" {
				out.item(fmt.Sprintf("     %-8s ", x.lead+":"), tell(x.says))
			}
		}
		for j := range st.Readings {
			out.item("     - ", benchReadingSays(s, &st.Readings[j]))
		}
	}
	if len(p.NotTested) > 0 {
		out.gap()
		out.say(sayBenchNotTested)
		for _, says := range p.NotTested {
			out.item("  ", says)
		}
	}
	return out.writeTo(w)
}

func benchReadingSays(s *bench.State, g *rulebase.BenchReading) string {
	var hints []string
	switch {
	case len(g.OneOf) > 0:
		hints = append(hints, strings.Join(plainAll(g.OneOf), ", "))
	case s != nil:
		low, high := s.Limits(g)
		if limits := benchLimits(g, low, high); limits != "" {
			hints = append(hints, fmt.Sprintf(sayBenchLimits, limits))
		}
	}
	if g.With != "" {
		hints = append(hints, fmt.Sprintf(sayBenchWith, g.With))
	}
	return strings.TrimSuffix(asked(g.Ask, strings.Join(hints, "; ")), ":")
}

// BenchList lists procedures and unit profiles.
func BenchList(w io.Writer, procedures []*rulebase.Procedure, profiles []*rulebase.Profile, width int) error {
	p := newPage(width)
	p.say(sayBenchProcedures)
	for _, x := range procedures {
		p.item(fmt.Sprintf("  %-14s ", x.ID), fmt.Sprintf(sayBenchProcedureRow, x.Name, x.Version, counted(len(x.Steps), "step"), benchMinutes(ProcedureMinutes(x))))
	}
	p.gap()
	p.say(sayBenchProfiles)
	for _, x := range profiles {
		p.item(fmt.Sprintf("  %-14s ", x.Name), strings.TrimRight(x.Type+". "+x.Note, " "))
	}
	return p.writeTo(w)
}
