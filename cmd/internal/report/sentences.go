package report

import (
	"cmp"
	"encoding/json"
	"fmt"
	"maps"
	"math"
	"math/big"
	"slices"
	"strconv"
	"strings"
	"time"

	"downdrop/cases"
	"downdrop/cases/learn"
	"downdrop/cmd/internal/triage"
	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/engine/bench"
	"downdrop/engine/decide"
	"downdrop/engine/line"
	"downdrop/engine/rehearse"
	"downdrop/engine/review"
	"downdrop/engine/ruletest"
	"downdrop/engine/sheet"
	"downdrop/engine/waveform"
	"downdrop/engine/ways"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// This file is every sentence a person reads in a result. Read them aloud: they
// are said at a machine, over the phone and at a bench.

// Chances.

// Chance says a probability in words, rounded.
func Chance(p float64) string { return wording.Chance(p) }

// Minutes says a time in words, rounded to what a plan needs.
func Minutes(m float64) string { return wording.Minutes(m) }

// Is it the unit?

func sayUnit(p float64, well bool) string {
	verdict := wording.IsUnit(p)
	if well {
		return fmt.Sprintf("Was it the unit? %s: %s that it had to be repaired or exchanged.", verdict, Chance(p))
	}
	return fmt.Sprintf("Is it the unit? %s: %s that it has to be repaired or exchanged.", verdict, Chance(p))
}

const sayUnitOutside = "What is not on my list may be in the unit too."

// What is likely.

const (
	sayWell         = "The drop works."
	sayLikely       = "What is wrong, likeliest first:"
	sayLikelyStill  = "What is still wrong, likeliest first:"
	sayLikelyWas    = "What it was, likeliest first:"
	sayOutside      = "Something that is not on my list"
	sayNone         = "Nothing at all is wrong"
	sayWasNone      = "Nothing at all was wrong"
	sayNoneLikely   = "Nothing on my list is likely any more."
	sayPutRight     = "Put right by what was done, if it was there:"
	sayDoesNotFit   = "This does not fit together:"
	sayNotWeighed   = "Noted, but it moves nothing:"
	sayKeepInMind   = "Keep in mind:"
	sayNothingNext  = "There is nothing left that I could offer from here."
	sayElse         = "What else could be done, best first:"
	sayElseMarked   = "Where a signal word stands, read the warnings first: --detail shows them before each step."
	sayNotOffered   = "What I do not offer, and why:"
	sayImpossible   = "Nothing on my list allows these findings together, so there are no chances to give and no step to offer."
	sayImpossibleDo = "Check what was seen, who saw it and on which drop; or say how sure each finding is, and ask again."
	sayBringsBack   = "It may bring a silent drop back on line, and its outputs may act."
)

func sayMoreCauses(n int, likeliest float64) string {
	if n == 1 {
		return fmt.Sprintf("One more cause is on the list, %s.", Chance(likeliest))
	}
	return fmt.Sprintf("%d more causes are on the list, the likeliest of them %s.", n, Chance(likeliest))
}

func sayTogether(names []string, p float64) string {
	return fmt.Sprintf("The likeliest reading is more than one trouble at once, %s: %s.", Chance(p), strings.Join(names, "; and "))
}

func sayLeftOut(p float64) string {
	return fmt.Sprintf("There were too many sets of causes to look at all of them: of the chance, up to %s lies with those left out.", strings.TrimPrefix(Chance(p), "about "))
}

// sayMember says a finding or rule of a set that cannot go together.
func sayMember(b *rulebase.Base, id string) string {
	for i := range b.Symptoms {
		if b.Symptoms[i].ID == id {
			return fmt.Sprintf("what was found for %s: %s", plain(id), quoted(b.Symptoms[i].Ask))
		}
	}
	for i := range b.Rules {
		if b.Rules[i].ID == id && b.Rules[i].Because != "" {
			return fmt.Sprintf("the rule %s: %s", id, quoted(b.Rules[i].Because))
		}
	}
	return id
}

func sayOtherDrop(f *rulebase.Finding) string {
	return fmt.Sprintf("%s %s, of drop %d: another drop's findings are kept beside this case.", plain(f.Symptom), valueOf(f), f.Drop)
}

func sayWeighsNothing(f *rulebase.Finding) string {
	return fmt.Sprintf("%s %s: it tells no listed cause from another; only rules read it.", plain(f.Symptom), valueOf(f))
}

// Why.

const saySaidNothing = "Nothing was seen yet: these are the chances before anybody has looked."

func sayRestsOn(said []string) string { return "All this rests on: " + strings.Join(said, "; ") + "." }

func sayFinding(b *rulebase.Base, f *rulebase.Finding) string {
	here := b.SiteName(f.Symptom)
	says := plain(f.Symptom) + sayHere(here.Text()) + " " + valueOf(f) + sayHere(here.Values[f.Value.Word])
	if f.Sure != nil && *f.Sure < 1 {
		says += fmt.Sprintf(" (%.0f %% sure)", 100**f.Sure)
	}
	if f.After != "" {
		says += ", after " + plain(f.After)
	}
	if f.By != "" {
		says += ", says " + wording.Witness(f.By)
	}
	return says
}

func sayDone(d *rulebase.Done) string {
	says := plain(d.ID) + " was done"
	switch d.Drop {
	case rulebase.StillDown:
		says += " and the drop stayed down"
	case rulebase.Well:
		says += " and the drop works"
	}
	return says
}

func sayWhy(first, second string) string {
	return fmt.Sprintf("Why %s rather than %s:", quoted(first), quoted(second))
}

// sayWeight says how far a finding moved the first cause against the second.
func sayWeight(w *engine.Weight) string {
	name := plain(w.Finding) + " " + plain(w.Value)
	switch {
	case w.Finding == "":
		name = "what the rule " + w.Rule + " concludes"
	case w.Rule != "":
		name += ", by the rule " + w.Rule
	}
	return name + ": " + weightWords(w.Factor) + "."
}

func sayWeighed(first, second string) string {
	return fmt.Sprintf("What speaks for the first against the second (factor on the odds; above 1 for the first). First: %s. Second: %s.", inSentence(first), inSentence(second))
}

const (
	sayRuledOutSoNot = "One of them is ruled out by what is known, so there is nothing to weigh."
	sayNothingWeighs = "Nothing is known yet that could tell them apart."
)

func weightWords(factor float64) string {
	switch {
	case math.IsNaN(factor):
		return "it cannot be said how far this moves the one against the other"
	case math.IsInf(factor, 1):
		return "this alone rules the second out"
	case factor == 0:
		return "this alone would rule the first out"
	case factor >= 10:
		return "speaks strongly for it"
	case factor >= 3:
		return "speaks for it"
	case factor >= 1.1:
		return "speaks a little for it"
	case factor > 1/1.1:
		return "speaks neither way"
	case factor > 1.0/3:
		return "speaks a little against it"
	case factor > 0.1:
		return "speaks against it"
	}
	return "speaks strongly against it"
}

// What the site calls things, after the plain words.

func sayHere(name string) string {
	if name == "" {
		return ""
	}
	return " (here: " + name + ")"
}

// causeHere is a cause by its name, and by the site's.
func causeHere(b *rulebase.Base, cause int) string {
	c := &b.Causes[cause]
	return c.Name + sayHere(b.SiteName(c.ID).Text())
}

// sayOnSite is what the site calls a step, what it shows and the values of that.
func sayOnSite(b *rulebase.Base, s *rulebase.Step) []string {
	var all []string
	if here := b.SiteName(s.ID).Text(); here != "" && !s.Implied {
		all = append(all, "Here: "+sentence(here))
	}
	for _, y := range s.Yields {
		sy := &b.Symptoms[y]
		here := b.SiteName(sy.ID)
		parts := []string{}
		if text := here.Text(); text != "" {
			parts = append(parts, text)
		}
		for _, v := range sy.Values {
			if name := here.Values[v]; name != "" {
				parts = append(parts, plain(v)+" is "+quoted(name))
			}
		}
		if len(parts) == 0 {
			continue
		}
		lead := "Here: "
		if !s.Implied {
			lead = "Here, " + plain(sy.ID) + ": "
		}
		all = append(all, lead+sentence(strings.Join(parts, "; ")))
	}
	return all
}

// The next step.

const sayOutsideLikely = "Most likely it is nothing on my list. Check the findings again, on the right drop and the right terminals, and get somebody who knows this installation. What follows is only the best of what I know."

func sayNextHead(b *rulebase.Base, s *rulebase.Step, warned bool) string {
	what := "Do this next"
	if s.Implied && len(s.Yields) > 0 {
		what = "Ask this next"
		if b.Symptoms[s.Yields[0]].By == rulebase.ByLooking {
			what = "Look at this next"
		}
	}
	if warned {
		return what + ". First what can hurt:"
	}
	return what + ":"
}

func sayWarning(w *rulebase.Warning) string {
	if w.Because == "" {
		return w.Says
	}
	return w.Says + " Why: " + w.Because
}

// sayPrice says how long a step takes, what it needs and what it stops.
func sayPrice(s *rulebase.Step) string {
	says := capital(Minutes(s.Minutes)) + "."
	var needed []string
	if s.Who > rulebase.Operator {
		needed = append(needed, "at least "+aPerson(s.Who.String()))
	}
	for _, tool := range s.Needs {
		needed = append(needed, plain(tool))
	}
	if len(needed) > 0 {
		says += " Needed: " + strings.Join(needed, ", ") + "."
	}
	if stops := wording.Stops(s.Stops); stops != "" {
		says += " " + stops
	}
	if s.BringsBack {
		says += " " + sayBringsBack
	}
	return says
}

// sayGain says what a test is worth. One bit halves what is still to be told apart.
func sayGain(bits float64) string {
	switch {
	case bits >= 1.5:
		return "It should leave a third of the list or less."
	case bits >= 0.75:
		return "It should about halve the list."
	case bits >= 0.35:
		return "It should narrow the list down."
	case bits >= 0.1:
		return "It should help a little."
	}
	return "It will hardly change anything."
}

// gainWords are sayGain's for a line of a list.
func gainWords(bits float64) string {
	switch {
	case bits >= 1.5:
		return "leaves a third or less"
	case bits >= 0.75:
		return "about halves the list"
	case bits >= 0.35:
		return "narrows the list down"
	case bits >= 0.1:
		return "helps a little"
	}
	return "hardly changes anything"
}

func sayFor(name string, p float64) string {
	return fmt.Sprintf("It is for: %s (%s).", name, Chance(p))
}

func sayMayPutRight(names []string) string {
	return "Doing it may itself put this right: " + strings.Join(names, "; ") + "."
}

// sayProof says what to watch, under what load and how long; of a fault that comes and
// goes, how long quiet has to last and why, with its arithmetic.
func sayProof(b *rulebase.Base, p *engine.Proof) []string {
	under := ""
	if p.Under != "" {
		under = ", " + p.Under
	}
	lines := []string{fmt.Sprintf("To see that it held, watch for %s%s: %s", strings.TrimPrefix(Minutes(p.Minutes), "about "), under, quoted(b.Symptoms[p.Watch].Ask))}
	plainly := func(m float64) string { return strings.TrimPrefix(Minutes(m), "about ") }
	switch {
	case p.Every > 0:
		lines = append(lines, wording.Quiet(p.Times, engine.QuietByChance, plainly(p.Every), plainly(p.Quiet)))
	case p.Comes:
		lines = append(lines, wording.Quiet(p.Times, engine.QuietByChance, "", ""))
	}
	return lines
}

func sayAnswers(s *rulebase.Symptom) string {
	if s.Banded() {
		return fmt.Sprintf("Answer: a reading in %s.", unitName(s.Unit))
	}
	return "Answer: " + orList(plainAll(s.Values)) + "."
}

func unitName(unit string) string {
	if unit == "" {
		return "its own unit"
	}
	return unit
}

func sayAskFirst(g *rulebase.Given) string {
	return "Find out first, since the answer may forbid it: " + g.Ask
}

// What to type next on the command line.

func hintSee(s *rulebase.Symptom) string {
	if s.Banded() {
		return fmt.Sprintf("Then ask again with: --see %s=READING in %s, or one of %s", s.ID, unitName(s.Unit), strings.Join(s.Values, ", "))
	}
	return fmt.Sprintf("Then ask again with: --see %s=VALUE, one of %s", s.ID, strings.Join(s.Values, ", "))
}

const hintSeeEach = "Then ask again with --see ID=VALUE for each of:"

func hintEach(s *rulebase.Symptom) string {
	if s.Banded() {
		return fmt.Sprintf("%s: a reading in %s, or %s", s.ID, unitName(s.Unit), orList(s.Values))
	}
	return s.ID + ": " + orList(s.Values)
}

func hintGiven(g *rulebase.Given) string {
	switch g.Type {
	case rulebase.Flag:
		return fmt.Sprintf("Answer with: --given %s=true or --given %s=false", g.ID, g.ID)
	case rulebase.Choice:
		return fmt.Sprintf("Answer with: --given %s=VALUE, one of %s", g.ID, strings.Join(g.OneOf, ", "))
	}
	return fmt.Sprintf("Answer with: --given %s=NUMBER in %s", g.ID, unitName(g.Unit))
}

func hintDone(s *rulebase.Step) string {
	return fmt.Sprintf("Then write into the case file: done: [{id: %s, drop: well}] (or still_down), and ask again.", s.ID)
}

// Other steps.

func sayElseStep(d *engine.Diagnosis, p *engine.Proposal) string {
	s := p.Step
	says := nameOf(d.Base, s) + sayHere(d.Base.SiteName(s.ID).Text()) + " (" + Minutes(s.Minutes)
	switch {
	case s.Kind == rulebase.KindTest:
		says += ", " + gainWords(p.GainBits)
	case s.Temporary:
		says += ", only a stopgap"
	default:
		if name, chance := serves(d, s); name != "" {
			says += ", for: " + name + ", " + Chance(chance)
		}
	}
	switch s.Stops {
	case rulebase.StopsDrop:
		says += ", stops this drop"
	case rulebase.StopsBus:
		says += ", stops every drop on the line"
	}
	return says + ")"
}

func sayMoreSteps(n int) string {
	if n == 1 {
		return "And one more; --detail shows it."
	}
	return fmt.Sprintf("And %d more; --detail shows them.", n)
}

func sayLittleElse(n int) string {
	if n == 1 {
		return "One more step could be done, but it would hardly change anything; --detail shows it."
	}
	return fmt.Sprintf("%d more steps could be done, but they would hardly change anything; --detail shows them.", n)
}

func sayMoreReasons(n int) string {
	if n == 1 {
		return "And for one more reason; --detail gives it."
	}
	return fmt.Sprintf("And for %d more reasons; --detail gives them.", n)
}

// conditionText is an expression as it is read aloud.
func conditionText(expression string) string { return wording.Condition(expression) }

func sayAndMore(n int) string { return fmt.Sprintf("and %d more", n) }

// What is not offered.

// sayWithheld says why n steps are not offered, as the head of their list.
func sayWithheld(b *rulebase.Base, w *engine.Withheld, n int) string {
	it, is, needs := "These", "are", "need"
	if n == 1 {
		it, is, needs = "This", "is", "needs"
	}
	switch w.Why {
	case engine.WhyKnown:
		return fmt.Sprintf("%s would tell nothing new, all of it is known for sure:", it)
	case engine.WhyDone:
		return fmt.Sprintf("%s %s done already:", it, is)
	case engine.WhyPlace:
		return fmt.Sprintf("%s %s not for where you are, only %s:", it, is, placesOf(w.Detail))
	case engine.WhyTools:
		return fmt.Sprintf("%s %s a tool that is not at hand (%s):", it, needs, plain(w.Detail))
	case engine.WhyPerson:
		return fmt.Sprintf("%s %s at least %s:", it, needs, aPerson(w.Detail))
	case engine.WhyPhone:
		return fmt.Sprintf("%s %s too dangerous to ask for by phone%s:", it, is, hazardsOf(w.Detail))
	case engine.WhyPhoneStops:
		return fmt.Sprintf("%s would stop every drop on the line, which I do not ask for by phone:", it)
	case engine.WhyAlone:
		return fmt.Sprintf("%s %s not for somebody who works alone%s:", it, is, hazardsOf(w.Detail))
	case engine.WhyLossOfBus:
		return fmt.Sprintf("%s would stop something, and nobody has said yet what the outputs do then (%s):", it, w.Detail)
	case engine.WhyOnlyIf:
		return fmt.Sprintf("%s %s only right if %s:", it, is, conditionText(w.Detail))
	case engine.WhyUnconfirmed:
		return fmt.Sprintf("%s %s this confirmed first (%s): %s", it, needs, w.Detail, warningText(b, w.Detail))
	case engine.WhyHarmless:
		return fmt.Sprintf("%s can hurt, and a harmless step may still change what to do (%s):", it, stepText(b, w.Detail))
	case engine.WhyWell:
		return fmt.Sprintf("%s %s not needed, the drop works:", it, is)
	case engine.WhyImpossible:
		return fmt.Sprintf("%s cannot be judged, nothing on my list allows what was found:", it)
	}
	return fmt.Sprintf("%s %s not offered (%s):", it, is, w.Why)
}

// sayTogetherWithheld counts the steps that lack a tool, or are for another place,
// those first that would tell most.
func sayTogetherWithheld(b *rulebase.Base, why engine.Why, steps []*engine.Withheld) string {
	var lacking []string
	count := map[string]int{}
	for _, w := range steps {
		if count[w.Detail]++; count[w.Detail] == 1 {
			lacking = append(lacking, w.Detail)
		}
	}
	words := make([]string, len(lacking))
	for i, l := range lacking {
		if why == engine.WhyTools {
			words[i] = fmt.Sprintf("%s (%s)", plain(l), countOf(count[l], "step"))
		} else {
			words[i] = fmt.Sprintf("%s only %s", countOf(count[l], "step"), placesOf(l))
		}
	}
	if more := len(words) - shownTools; more > 1 {
		words = append(words[:shownTools], countOf(more, "more tool"))
	}
	best := nameOf(b, steps[0].Step)
	if why == engine.WhyTools {
		return "For want of a tool: " + andList(words) + ". First of them: " + sentence(best)
	}
	return "For another place than yours: " + andList(words) + ". First of them: " + sentence(best)
}

// sayQuiet counts the steps that are withheld for reasons that ask for nothing.
func sayQuiet(known, done, well int) string {
	switch {
	case well > 0:
		return "Nothing more is asked for: the drop works."
	case known > 0 && done > 0:
		return fmt.Sprintf("Not repeated: %s of which all is known for sure, and %s.", countOf(known, "step"), countOf(done, "step")+" already done")
	case known > 0:
		return fmt.Sprintf("Not repeated: %s of which all is known for sure.", countOf(known, "step"))
	}
	return fmt.Sprintf("Not repeated: %s.", countOf(done, "step")+" already done")
}

func placesOf(detail string) string {
	var names []string
	for _, p := range strings.Split(detail, " or ") {
		if name, ok := wording.PlaceNames[rulebase.Place(p)]; ok {
			p = name
		}
		names = append(names, p)
	}
	return orList(names)
}

func hazardsOf(detail string) string {
	if detail == "" {
		return ""
	}
	var names []string
	for _, h := range strings.Split(detail, " and ") {
		if name, ok := wording.HazardNames[h]; ok {
			h = name
		} else if h == "unknown" {
			h = "hazards that are not known"
		}
		names = append(names, h)
	}
	return " (" + andList(names) + ")"
}

func warningText(b *rulebase.Base, id string) string {
	for i := range b.Warnings {
		if b.Warnings[i].ID == id {
			return b.Warnings[i].Says
		}
	}
	return ""
}

func stepText(b *rulebase.Base, id string) string {
	for i := range b.Tests {
		if b.Tests[i].ID == id {
			return nameOf(b, &b.Tests[i])
		}
	}
	return plain(id)
}

// The closing line.

func sayCase(name string, b *rulebase.Base) string {
	says := fmt.Sprintf("Rulebase %s, version %d.", b.Name, b.Version)
	if name != "" {
		says = fmt.Sprintf("Case %s. %s", name, says)
	}
	return says
}

// Details.

const (
	headCauses       = "All causes (chance that it was there when the case began; that it is there now):"
	headConditions   = "What is true of the drop now, by chance:"
	headExplanations = "The likeliest sets of causes when the case began:"
	headWeights      = "What moved the first cause against the second (factor on the odds; above 1 for the first):"
	headFacts        = "What is known, and from where:"
	headSteps        = "Every step on offer, in full:"
	headNumbers      = "The numbers behind it:"
	sayEmptySet      = "nothing wrong"
	sayItsRemedy     = "; remedy %s"
	sayStepNumbers   = "%s: price %s minutes, gain %s bit, %s minutes expected to a working drop"
	sayWorkDone      = "%d visits to rules, %d sets of causes, %d nodes of search"
	sayOrderedBy     = "steps ordered by %s; rulebase digest %s"
	numberNone       = "nothing wrong when the case began"
	numberOutside    = "something not listed"
	numberUnitOut    = "the unit has to be repaired or exchanged, at least"
	numberEvidence   = "chance of all that was found, before it was known"
	numberLeftOut    = "chance left out, at most"
)

var becauseWords = map[string]string{"said": "said", "default": "taken as usual, nobody said so", "filled": "known from the case itself"}

func sayBecause(because []string) string {
	var words []string
	for _, b := range because {
		if w, ok := becauseWords[b]; ok {
			words = append(words, w)
			continue
		}
		words = append(words, "by the rule "+b)
	}
	return andList(words)
}

// The problems of a rulebase.

func sayClean(name string, version int) string {
	return fmt.Sprintf("Rulebase %s, version %d: nothing to report.", name, version)
}

func sayCount(errors, remarks int, loads bool) string {
	switch {
	case errors > 0 && remarks > 0:
		return fmt.Sprintf("%s and %s.", capital(countOf(errors, "error")), countOf(remarks, "remark"))
	case errors > 0 && loads:
		return fmt.Sprintf("%s. The rulebase loads; its rule tests do not.", capital(countOf(errors, "error")))
	case errors > 0:
		return fmt.Sprintf("%s. The rulebase does not load.", capital(countOf(errors, "error")))
	}
	return fmt.Sprintf("%s. The rulebase loads.", capital(countOf(remarks, "remark")))
}

func sayExplains(kind string) string {
	return fmt.Sprintf("The word in brackets is the kind: \"downdrop check --explain %s\" says what it means and how it is cured.", kind)
}

func sayAccepted(n int) string {
	if n == 1 {
		return "One more is accepted by a comment that gives a reason; --accepted tells it."
	}
	return fmt.Sprintf("%d more are accepted by comments that give a reason; --accepted tells them.", n)
}

const (
	sayTooMuchWork = "looking the rulebase over to its end would be too much work for one from elsewhere; what was found until then is told"
	sayUntold      = "%d more findings of the kind %s are not told; mend those that are first"
)

func sayAcceptedBecause(reason string) string { return "accepted: " + reason }

func sayBelow(n int) string {
	them := "them"
	if n == 1 {
		them = "it"
	}
	return fmt.Sprintf("%s more in the rulebase below; --all tells %s.", capital(countOf(n, "remark")), them)
}

const (
	sayExplainOne     = "\"downdrop check --explain KIND\" says what one of them means, with samples."
	sayErrorKind      = "It is an error, which keeps the file from being read: there is nothing to accept. What it stands beside says where it is and what to do."
	sayKindMeans      = "What it means:"
	sayKindWhy        = "Why it matters:"
	sayKindCure       = "How to cure it:"
	sayBadSample      = "A sample that has it, in invented words:"
	sayBadTests       = "with these rule tests beside it:"
	sayGoodSample     = "The good sample says:"
	sayInsteadOf      = "instead of:"
	sayWithout        = "The good sample is without:"
	sayLoadingRefuses = "What keeps a rulebase from loading."
)

func sayHowToAccept(kind string) string {
	return fmt.Sprintf("Where it is no mistake, say so in the file, on the line or above the entry, with the reason: # accept %s: REASON", kind)
}

// The rule tests of a rulebase.

const (
	sayNoCases      = "There are no rule tests here: no case in a file that ends in _test.yaml."
	sayNoCoverage   = "Not all cases were run, so nothing is said of what they cover."
	sayCovered      = "Covered both ways, in one case speaking and in another silent:"
	sayNeverFirst   = "In no case first: "
	sayNeverSilent  = "In no case held below a half: "
	sayNeverFires   = "Fires in no case: "
	sayAlwaysFires  = "Silent in no case: "
	sayUncoveredAll = "--uncovered lists every row."
)

func sayCases(passed, differed int, b *rulebase.Base) string {
	of := fmt.Sprintf("Rulebase %s, version %d: ", b.Name, b.Version)
	switch {
	case differed == 0 && passed == 1:
		return of + "the one case comes out as expected."
	case differed == 0 && passed == 2:
		return of + "both cases come out as expected."
	case differed == 0:
		return of + fmt.Sprintf("all %d cases come out as expected.", passed)
	}
	if passed+differed == 1 {
		return of + "the one case differs from what was expected."
	}
	if differed == 1 {
		return of + fmt.Sprintf("of %d cases one differs from what was expected.", passed+1)
	}
	return of + fmt.Sprintf("of %d cases %d differ from what was expected.", passed+differed, differed)
}

func sayCaseWithoutName(line int) string {
	return fmt.Sprintf("the case of line %d, which has no name", line)
}

// sayAgainst heads the weights of a case that differs.
func sayAgainst(first, other string) string {
	return fmt.Sprintf("What speaks for %s and against %s:", first, other)
}

func sayOdds(w *engine.Weight) string {
	says := w.Finding + " " + w.Value
	switch {
	case w.Finding == "":
		says = "what the rule " + w.Rule + " concludes"
	case w.Rule != "":
		says += ", by the rule " + w.Rule
	}
	switch {
	case math.IsNaN(w.Factor):
		return says + ": nobody can say how far."
	case math.IsInf(w.Factor, 1):
		return says + ": this alone rules the other out."
	case w.Factor >= 1:
		return fmt.Sprintf("%s: odds times %.3g.", says, w.Factor)
	case w.Factor == 0:
		return says + ": this alone would rule the first out."
	}
	return fmt.Sprintf("%s: odds divided by %.3g.", says, 1/w.Factor)
}

func sayCovers(what string, n ruletest.Count) string {
	return fmt.Sprintf("%s: %d of %d.", what, n.Covered, n.Entries)
}

// sayGap says what a row lacks.
func sayGap(g *ruletest.Gap) string {
	when := "without a condition"
	if g.When != "" {
		when = "when " + g.When
	}
	return fmt.Sprintf("%s, row %d, %s: %s.", g.ID, g.Row, when, gapWords(g))
}

func gapWords(g *ruletest.Gap) string {
	speaks, silent := "taken in no case", "taken in every case that has a finding of it"
	if g.Kind == ruletest.GapMoreLikely {
		speaks, silent = "holds in no case", "holds in every case"
	}
	if !g.Speaks {
		return speaks
	}
	return silent
}

func sayFileGaps(file string, gaps []*ruletest.Gap) string {
	var lines []string
	for _, g := range gaps {
		lines = append(lines, strconv.Itoa(g.Pos.Line))
	}
	if lines = slices.Compact(lines); len(lines) > 5 {
		lines = append(lines[:4], "...")
	}
	word := "line"
	if len(lines) > 1 {
		word = "lines"
	}
	return fmt.Sprintf("%s lacks %d (%s %s).", file, len(gaps), word, strings.Join(lines, ", "))
}

// How well a rulebase tells things apart.

func sayDistinguish(x *review.Distinction) string {
	where := ""
	if x.Situation.At != "" {
		where = " " + wording.PlaceNames[x.Situation.At]
	}
	if x.Situation.Who != rulebase.Anybody {
		where += ", with the hands of " + aPerson(x.Situation.Who.String())
	}
	return fmt.Sprintf("How well rulebase %s, version %d, tells %d causes apart%s, each there alone. %s on offer. A test tells two apart if what it shows is right about which of the two it is at least %.3g times in 100.",
		x.Base.Name, x.Base.Version, len(x.Base.Causes), where, capital(countAre(len(x.Tests), "test")), 100*x.Right)
}

func countAre(n int, what string) string {
	switch n {
	case 0:
		return "no " + what + " is"
	case 1:
		return countOf(n, what) + " is"
	}
	return countOf(n, what) + " are"
}

const (
	figToKnow  = "To know"
	figSeen    = "Seen by some test"
	figOne     = "Of those, singled out"
	figTwo     = "  in groups of up to 2"
	figThree   = "  in groups of up to 3"
	figSize    = "Mean size of the group"
	figMinutes = "Mean minutes of tests"

	sayWeightAndNumber = "By weight a cause counts as often as it happens, by number once. A group is causes of which each is linked to the next by a pair that no test on offer tells apart; for what to do, its size is the number of different lists of remedies. The minutes are those of a good order of tests, down to the group; where <= stands, a better order may take less."
	sayUnseenCauses    = "No test on offer tells these from nothing wrong:"
	sayNotApart        = "Not told apart by any test on offer:"
	sayRightedAlike    = " (all put right alike)"
	sayNothingSplits   = "No test in this rulebase would split it: it takes a new one."
	sayWouldSplit      = "What is not on offer here and would split it:"
)

func sayLargest(causes, remedies int, first string) string {
	return fmt.Sprintf("The largest group to act on has %d causes, with %d different lists of remedies. The likeliest of them is %s.", causes, remedies, quoted(first))
}

func sayMoreOfGroup(n int) string { return fmt.Sprintf("and %d more, which --json lists", n) }

func saySplit(s *review.Split, of int) string {
	return fmt.Sprintf("%s (%s), %s: it would leave %.1f of the %d on the mean.", s.Step.Do, s.Step.ID, sayNeeds(&s.Withheld), s.Left, of)
}

// sayFigure is a line of the table where there is no room for one.
func sayFigure(what string, cause, do [2]string) string {
	if cause[1] == "" {
		return fmt.Sprintf("%s: for the cause %s, for what to do %s.", what, cause[0], do[0])
	}
	return fmt.Sprintf("%s: for the cause %s by weight and %s by number, for what to do %s and %s.", what, cause[0], cause[1], do[0], do[1])
}

func sayTellNothing(ids []string) string {
	return fmt.Sprintf("%s nothing as sure as that by %s: %s.", map[bool]string{true: "This test tells", false: "These tests tell"}[len(ids) == 1], map[bool]string{true: "itself", false: "themselves"}[len(ids) == 1], strings.Join(ids, ", "))
}

// Words.

func countOf(n int, what string) string {
	if n == 1 {
		return "one " + what
	}
	return fmt.Sprintf("%d %ss", n, what)
}

// plain is an id as words.
func plain(id string) string { return wording.Plain(id) }

func plainAll(ids []string) []string { return wording.PlainAll(ids) }

func andList(words []string) string { return wording.List("and", words) }
func orList(words []string) string  { return wording.List("or", words) }

// quoted sets a text apart inside a sentence.
func quoted(s string) string { return `"` + s + `"` }

func aPerson(who string) string { return wording.Person(who) }

func capital(s string) string { return wording.UpperFirst(s) }

// valueOf is a finding's value: a reading as it was typed, with its unit, else the word.
func valueOf(f *rulebase.Finding) string {
	switch {
	case !f.Value.IsNumber:
		return plain(f.Value.Word)
	case f.Read != "":
		return f.Read
	case f.Value.Word != "":
		return f.Value.Word
	}
	return strconv.FormatFloat(f.Value.Number, 'g', -1, 64)
}

// The line on paper.

const (
	titleFails    = "Does not go:"
	titleMarginal = "Goes, with nothing to spare:"
	titleOpen     = "Not reckoned, for want of an entry:"
	titlePasses   = "In order:"

	saySheetWarning = "WARNING: these are sums on what the sheet says, and no leave to work. Isolate by the site's rules and prove dead at each terminal. Measure volts before ohms, and ohms on a dead line only. No insulation tester on a cable with electronics connected. No earth clip of a scope on a wire of the pair. Look at jack, range and fuse of the meter before amps."
	sayOhmsWarning  = "WARNING: ohms on a dead line only. Switch everything on the pair off by the site's rules, measure volts first, and know what the outputs do on loss of bus: this stops every drop on the line."
	sayOhmsNothing  = "Nothing on this sheet reads like that. Check that every supply is off, that the leads touch bare metal, and that the sheet is right."
)

func saySheet(s *rulebase.Sheet) string {
	return fmt.Sprintf("%s: %s of trunk, %s.", s.Name, metres(s.TrunkM()), counted(len(s.Drops), "drop"))
}

func sayReckoned(sum string) string { return "Reckoned: " + sum + "." }

func sayLimitFrom(source string) string { return "(Limit: " + source + ".)" }

func saySheetCount(results []sheet.Result) string {
	n := map[sheet.Verdict]int{}
	for _, r := range results {
		n[r.Verdict]++
	}
	return fmt.Sprintf("%s: %d not in order, %d with nothing to spare, %d in order, %d not reckoned.", counted(len(results), "rule"), n[sheet.Fail], n[sheet.Marginal], n[sheet.Pass], n[sheet.Open])
}

func sayOhmsRead(o *Ohms) string {
	reads := quantity.FormatRounded(o.Reading, "ohm", 4)
	if o.Open {
		reads = "Over-range"
	}
	return fmt.Sprintf("%s at %s, the pair dead. What it can be:", reads, placeAlong(o.Sheet, o.Where, o.AtM))
}

func placeAlong(s *rulebase.Sheet, where string, atM float64) string {
	switch where {
	case "host":
		return "the host's end"
	case "end":
		return "the far end"
	}
	for _, d := range s.Drops {
		if strings.EqualFold(d.Name, where) {
			return "drop " + d.Name
		}
	}
	return metres(atM) + " from the host"
}

const sayExpectedUnknown = "The sheet does not give the conductor of every stretch: what is missing counts as nothing."

// sayExpected begins what should be read at a place.
func sayExpected(e *Expected) string {
	supposed := ""
	for _, m := range e.Cuts {
		supposed += ", were it open at " + metres(m)
	}
	for _, m := range e.Shorts {
		supposed += ", were it shorted at " + metres(m)
	}
	return fmt.Sprintf("At %s a meter should read across the dead pair%s:", placeAlong(e.Sheet, e.Where, e.AtM), supposed)
}

func sayExpectedWay(w sheet.Way) string {
	reads := "over-range"
	if !math.IsInf(w.Low, 1) {
		reads = quantity.FormatRounded(w.Low, "ohm", 4)
	}
	return reads + " " + leftConnected[[2]bool{w.Units, w.Bias}] + "."
}

// stateSays says what a state is, in the words of somebody at the cable.
func stateSays(s *rulebase.Sheet, st sheet.State) string {
	switch st.Kind {
	case sheet.AsDrawn:
		return "All as drawn"
	case sheet.NearMissing:
		return "The terminator at the host's end is missing"
	case sheet.FarMissing:
		return "The terminator at the far end is missing"
	case sheet.BothMissing:
		return "Both terminators are missing"
	case sheet.OneMore:
		return "One terminator too many, about " + metres(st.AtM) + " from the host"
	case sheet.TwoMore:
		return "Two terminators too many, about " + metres(st.AtM) + " from the host"
	case sheet.WrongValue:
		return "Both terminators are of another value"
	case sheet.CutAt:
		return "The pair is open " + behind(s, st)
	case sheet.ShortAt:
		return "The pair is shorted about " + metres(st.AtM) + " from the host"
	case sheet.ShortNearLifted:
		return "The pair is shorted about " + metres(st.AtM) + " from the host, and the host's terminator is off"
	}
	return string(st.Kind)
}

// behind says between which drops a cut lies.
func behind(s *rulebase.Sheet, st sheet.State) string {
	switch n := len(s.Drops) - len(st.Lost); {
	case len(st.Lost) == 0:
		return "beyond the last drop"
	case n == 0:
		return "before the first drop, " + s.Drops[0].Name + "; it takes every drop away"
	default:
		return fmt.Sprintf("between %s and %s; it takes away %s", s.Drops[n-1].Name, s.Drops[n].Name, strings.Join(st.Lost, ", "))
	}
}

func sayState(s *rulebase.Sheet, st sheet.State) string {
	low, high := quantity.FormatRounded(st.Low, "ohm", 3), quantity.FormatRounded(st.High, "ohm", 3)
	reads := "it would read " + low
	switch {
	case math.IsInf(st.High, 1) || st.High > 1e5:
		reads = "it would read next to nothing across the pair: over-range, or thousands of ohms"
	case sayWays(st) != "":
		reads = "it would read " + sayWays(st)
	case low != high:
		reads += " to " + high + ", by where it is"
	}
	return stateSays(s, st) + ": " + Chance(st.Probability) + "; " + reads + "."
}

// sayLocate answers a question about a fault along the trunk.
func sayLocate(l *Locate) string {
	switch {
	case l.Kind == LocateBreak && len(l.Lost) == 0:
		return fmt.Sprintf("A break at %s takes no drop away; the far end loses its terminator.", metres(l.AtM))
	case l.Kind == LocateBreak:
		return fmt.Sprintf("A break at %s takes away %s: %s. What is left has lost the terminator at the far end.", metres(l.AtM), counted(len(l.Lost), "drop"), strings.Join(l.Lost, ", "))
	case l.Kind == LocateShort && !l.Found:
		return fmt.Sprintf("%s is more than the cable that this meter sees has, or the sheet does not give its conductors. With the terminator at this end still on, or a unit plugged in, no distance can be told.", quantity.FormatRounded(l.Reading, "ohm", 4))
	case l.Kind == LocateShort:
		end := "host's"
		away := l.AtM
		if l.FromEnd {
			end, away = "far", l.Sheet.TrunkM()-l.AtM
		}
		return fmt.Sprintf("%s of both wires are %s of this cable: the short lies about %s from the %s end%s. It is right only with the terminator at this end off and every unit unplugged, and the leads' own ohms taken off.",
			quantity.FormatRounded(l.Reading, "ohm", 4), metres(away), metres(away), end, betweenDrops(l.Sheet, l.AtM))
	case !l.Found:
		return fmt.Sprintf("No drop lies between %s and %s: look along the cable itself.", metres(min(l.GoodM, l.BadM)), metres(max(l.GoodM, l.BadM)))
	}
	return fmt.Sprintf("Measure next at %s, %s from the host, towards the host and away from it in turn: that halves the %s of cable in doubt as well as a drop can.", l.Drop, metres(l.AtM), metres(math.Abs(l.BadM-l.GoodM)))
}

// betweenDrops says between which drops a place lies.
func betweenDrops(s *rulebase.Sheet, atM float64) string {
	before, after := "", ""
	for _, d := range s.Drops {
		if d.AtM <= atM {
			before = d.Name
		} else if after == "" {
			after = d.Name
		}
	}
	switch {
	case before != "" && after != "":
		return fmt.Sprintf(", between %s and %s", before, after)
	case before != "":
		return ", beyond " + before
	case after != "":
		return ", before " + after
	}
	return ""
}

// sayWays says what a state reads by what was left connected; "" where nothing
// tells the ways apart.
func sayWays(st sheet.State) string {
	var parts []string
	for _, w := range st.Ways {
		low, high := quantity.FormatRounded(w.Low, "ohm", 3), quantity.FormatRounded(w.High, "ohm", 3)
		if low != high {
			return "" // where it is tells more than what was left on
		}
		parts = append(parts, low+" "+leftConnected[[2]bool{w.Units, w.Bias}])
	}
	if len(parts) < 2 {
		return ""
	}
	return strings.Join(parts, ", ")
}

// leftConnected by units and bias.
var leftConnected = map[[2]bool]string{{false, false}: "with everything off the pair", {true, false}: "with the units left on", {false, true}: "with the bias left on", {true, true}: "with units and bias left on"}

// sayNextCut says where to measure next when the pair may be open in more than one place.
func sayNextCut(o *Ohms) string {
	from, to, n := o.Sheet.TrunkM(), 0.0, 0
	for _, st := range o.States {
		if st.Kind == sheet.CutAt && st.Probability >= 0.02 {
			from, to, n = min(from, st.AtM), max(to, st.AtM), n+1
		}
	}
	if n < 2 {
		return ""
	}
	drop, at, ok := sheet.Halve(o.Sheet, from, to)
	if !ok {
		return ""
	}
	return fmt.Sprintf("Measure next at %s, %s from the host: towards the host and away from it in turn. That halves the cable in doubt.", drop, metres(at))
}

// Whether enough is known.

// sayToDo says an outcome as the end of a sentence.
func sayToDo(b *rulebase.Base, t engine.ToDo) string {
	var parts []string
	for _, r := range t.Remedies {
		parts = append(parts, sayRemedy(b, r))
	}
	for _, c := range t.Bare {
		parts = append(parts, "nothing on my list is left to do about this: "+inSentence(b.Causes[c].Name))
	}
	if t.Elsewhere {
		parts = append(parts, "look for the trouble where the unit came from")
	}
	switch {
	case t.Outside:
		return "look for something that is not on my list"
	case len(parts) == 0:
		return "leave it as it is, nothing is wrong"
	}
	return strings.Join(parts, "; and ")
}

// sayRemedy names a remedy, with its gravest signal word before it.
func sayRemedy(b *rulebase.Base, remedy int) string {
	step := &b.Remedies[remedy]
	if w := warningsOf(b, step); len(w) > 0 {
		return signalWord(w[0].Level) + ": " + inSentence(step.Do)
	}
	return inSentence(step.Do)
}

func inSentence(text string) string { return wording.InSentence(text) }

const sayEnoughHurts = "Enough is known for somebody to act. First what can hurt:"

func sayEnoughBelow(p float64) string {
	return fmt.Sprintf("Enough is known, %s that the step below is all there is to do.", Chance(p))
}

func sayEnough(b *rulebase.Base, lead engine.ToDo) string {
	return fmt.Sprintf("Enough is known, %s that this is all there is to do: %s.", Chance(lead.Probability), sayToDo(b, lead))
}

func sayCannotTell(b *rulebase.Base, a *engine.Advice) string {
	says := fmt.Sprintf("Nothing more can be told apart from here. Left over, %s: %s", Chance(a.Lead.Probability), sayToDo(b, a.Lead))
	for _, o := range a.Others {
		if o.Probability >= 0.05 {
			says += fmt.Sprintf("; or, %s: %s", Chance(o.Probability), sayToDo(b, o))
		}
	}
	says += "."
	if strings.Contains(says, ": DANGER") || strings.Contains(says, ": WARNING") || strings.Contains(says, ": CAUTION") || strings.Contains(says, ": NOTICE") {
		says += " " + sayElseMarked
	}
	if len(a.Elsewhere) > 0 {
		w := &a.Elsewhere[0]
		says += fmt.Sprintf(" What would tell most: %s (%s).", inSentence(w.Step.Do), sayNeeds(w))
	}
	return says
}

// sayIfWrong says what it costs to follow an advice that is wrong, and why no more is
// asked.
func sayIfWrong(d *engine.Diagnosis, wrong, inVain float64) string {
	says := "Nothing more that is on offer would tell."
	if p := d.Further(); p != nil {
		says = fmt.Sprintf("What would help most to know (%s, %s) is not worth its time.", strings.TrimRight(inSentence(nameOf(d.Base, p.Step)), "?"), Minutes(p.Price))
	}
	switch mean := wrong * inVain; {
	case mean >= 1:
		return fmt.Sprintf("If that is wrong, %s, it costs %s more; on the mean %s. ", Chance(wrong), Minutes(inVain), Minutes(mean)) + says
	case wrong >= 0.005 && inVain >= 1:
		return fmt.Sprintf("If that is wrong, %s, it costs %s more. ", Chance(wrong), Minutes(inVain)) + says
	}
	return says
}

func saySure(b *rulebase.Base, remedies []int) string {
	var do []string
	for _, r := range remedies {
		do = append(do, sayRemedy(b, r))
	}
	return "Whatever else is wrong, this is to be done: " + strings.Join(do, "; and ") + "."
}

const (
	sayWellByItself    = "Nothing was put right, so what was wrong may come back."
	sayUnexplainedHead = "What was put right does not explain this. Look at it again before the case is closed:"
)

// sayNotExplained gives a line for each finding that is not explained.
func sayNotExplained(d *engine.Diagnosis) []string {
	var lines []string
	for i := range d.Situation.Findings {
		f := &d.Situation.Findings[i]
		if slices.Contains(d.NotExplained, f.Symptom) && (f.Drop == 0 || f.Drop == d.Situation.Drop) {
			lines = append(lines, sayFinding(d.Base, f)+".")
		}
	}
	return lines
}

// sayNeeds says what a step waits for: a place, a person, a tool.
func sayNeeds(w *engine.Withheld) string {
	switch w.Why {
	case engine.WhyPlace:
		return "elsewhere: " + placesOf(w.Detail)
	case engine.WhyPerson:
		return "by " + aPerson(w.Detail)
	case engine.WhyTools:
		return "with " + plain(w.Detail)
	case engine.WhyAlone:
		return "with a second person there"
	}
	return "by somebody who is there"
}

func sayDisposition(b *rulebase.Base, x *engine.Disposition, below bool) string {
	var do []string
	for _, r := range x.Remedies {
		do = append(do, sayRemedy(b, r))
	}
	switch {
	case x.Kind == engine.SolveNow && below:
		return fmt.Sprintf("This can be put right by phone, %s, with the step below.", Chance(x.Probability))
	case x.Kind == engine.SolveNow && len(do) == 0:
		return fmt.Sprintf("Nobody needs to come, %s: nothing is wrong any more.", Chance(x.Probability))
	case x.Kind == engine.SolveNow:
		return fmt.Sprintf("This can be put right by phone, %s: %s.", Chance(x.Probability), strings.Join(do, "; or "))
	}
	says := "Send somebody"
	if x.Who > rulebase.Operator {
		says = "Send " + aPerson(x.Who.String())
	}
	if x.Kind == engine.SendUnit {
		says += " with a unit to exchange"
	}
	says += fmt.Sprintf(": %s that this is the cheapest visit that ends it.", Chance(x.Probability))
	if len(x.Tools) > 0 {
		tools := make([]string, len(x.Tools))
		for i, t := range x.Tools {
			tools[i] = plain(t)
		}
		says += " To bring: " + strings.Join(tools, ", ") + "."
	}
	return says
}

// Rehearsals.

func sayRehearsal(b *rulebase.Base, cases int, seed uint64) string {
	return fmt.Sprintf("Rehearsal of rulebase %s, version %d: %d simulated cases of each variant, seed %d.", b.Name, b.Version, cases, seed)
}

var variantSays = map[rehearse.Variant]string{
	rehearse.Own:          "The world has the rulebase's own numbers",
	rehearse.Disturbed:    "Every number of the world is disturbed",
	rehearse.WrongAnswers: "Some answers are wrong",
}

const (
	sayConfused     = "What was confused most (what there was to do => what was advised; cases):"
	sayNothingWrong = "No advice was wrong."
	sayNoWorldCause = "Truly wrong: something that is not on the list."
	sayNoCourse     = "Truly wrong: nothing."
	sayInterval     = "Right is the set of remedies advised; by phone how the call ends (solve now, send somebody with what it takes, send a unit). In brackets: the interval of 95 percent."
)

// rowSays are the rows of the table, in order.
var rowSays = []string{
	rowCases:      "cases",
	rowAdvice:     "advice to stop given",
	rowRight:      "right, of those",
	rowStated:     "  as sure as it said",
	rowPart:       "  wrong, but part of it",
	rowRestored:   "well after a try",
	rowCannotTell: "could not tell",
	rowCondemned:  "good units pulled, calls",
	rowOfPulled:   "  of all pulled",
	rowGood:       "bad declared good",
	rowNeedless:   "needless visits",
	rowSecond:     "second visits",
	rowCertain:    "falsely certain",
	rowTries:      "tries for nothing, mean",
	rowTests:      "tests, mean",
	rowMinutes:    "minutes, mean",
}

func sayCourseHead(v rehearse.Variant, c *rehearse.Course) string {
	return fmt.Sprintf("%s case %d. %s.", capital(string(c.Place)), c.Number, variantSays[v])
}

func sayTrulyWrong(names []string) string {
	return "Truly wrong: " + strings.Join(names, "; and ") + "."
}

func sayKnown(givens []string) string {
	return "Known from the start: " + strings.Join(givens, ", ") + "."
}

func sayTurn(id string, answers []string) string {
	if len(answers) == 0 {
		return id
	}
	return id + ": " + strings.Join(answers, ", ")
}

func sayAnswered(id, value, truly string) string {
	if truly != "" {
		return fmt.Sprintf("%s %s (truly %s)", id, value, truly)
	}
	return id + " " + value
}

func sayDropAfter(d rulebase.DropNow) string {
	if d == rulebase.Well {
		return "The drop is well."
	}
	return "The drop is still down."
}

func sayLead(named string, p float64) string {
	return fmt.Sprintf("likeliest now: %s, %.1f %%", named, 100*p)
}

var endSays = map[rehearse.End]string{
	rehearse.Advised:    "The advice is that enough is known.",
	rehearse.Restored:   "The drop is well.",
	rehearse.CannotTell: "Nothing is left that tells, and no advice is given.",
	rehearse.RanOut:     "The case was broken off: it led nowhere.",
}

func sayJudged(right bool, advised, truly string) string {
	verdict := "That is wrong"
	if right {
		verdict = "That is right"
	}
	return fmt.Sprintf("%s: advised %s, truly %s.", verdict, advised, truly)
}

// The layers of a rulebase.

const (
	sayHeaderChanges  = "Its header sets anew:"
	sayAdds           = "It adds:"
	sayNothingDiffers = "It says what the lower one says."
	sayNewKey         = " (new)"
	sayKeyGone        = " (no longer)"
)

// sayLayer heads a layer with what it does.
func sayLayer(b *rulebase.Base, layer int, name string, entries []rulebase.Entry) string {
	adds, replaces, changes := 0, 0, 0
	for i := range entries {
		switch {
		case entries[i].Over == nil:
			adds++
		case entries[i].Over.Whole:
			replaces++
		default:
			changes++
		}
	}
	head := fmt.Sprintf("Layer %d, %s", layer+1, name)
	if folder := b.FolderOf(layer); folder != name {
		head += ", in " + folder
	} else if layer == 0 && b.OnShipped() {
		head += ", the shipped rulebase"
	}
	if layer == 0 {
		return fmt.Sprintf("%s: it lies at the bottom and holds %s.", head, entriesOf(adds))
	}
	return fmt.Sprintf("%s: it adds %s, changes %d and replaces %d.", head, entriesOf(adds), changes, replaces)
}

func entriesOf(n int) string { return counted(n, "entry") }

func sayHolds(section string, n int) string { return fmt.Sprintf("%s: %d", section, n) }

// sayOverlaid heads what an entry does to a lower one.
func sayOverlaid(b *rulebase.Base, e *rulebase.Entry) string {
	does := "changes the one of"
	if e.Over.Whole {
		does = "replaces the whole one of"
	}
	return fmt.Sprintf("%s in %s (%s) %s %s (%s):", e.ID, e.Section, place(e.Pos), does, b.Layers[e.Over.Layer], place(e.Over.Pos))
}

// sayRepeats says that an entry no longer follows the lower one where it could.
func sayRepeats(keys []string) string {
	return fmt.Sprintf("It repeats %s as below, which it no longer follows; with changes: true only what differs need be written.", andList(keys))
}

// sayOverlays closes a check of a rulebase that is laid over another.
func sayOverlays(n int) string {
	stands := " stand"
	if n == 1 {
		stands = " stands"
	}
	return counted(n, "entry") + stands + " for one of a rulebase below; \"downdrop rulebase layers\" shows what differs."
}

// sayDrawing is the drawing of a trunk for somebody who does not see it.
func sayDrawing(s *rulebase.Sheet) string {
	parts := make([]string, len(s.Drops))
	for i, d := range s.Drops {
		parts[i] = fmt.Sprintf("%s at %s", d.Name, metres(d.AtM))
	}
	return fmt.Sprintf("The trunk to scale, %s long, from the host: %s.", metres(s.TrunkM()), strings.Join(parts, ", "))
}

// An instrument's capture of the pair.

const (
	titleTroubles = "Not as it should be:"
	titleMeasured = "Measured:"
	titleUnseen   = "Cannot be seen with this capture:"
	titleToPaste  = "For a diagnosis:"
	sayToPaste    = "Paste these behind: downdrop diagnose"
	sayNoTrouble  = "Nothing in this capture is out of order, as far as it can show."

	plotTime      = "time"
	plotVolts     = "across the pair"
	plotAfterEdge = "time from the edge"
	plotShare     = "of the settled swing"
	plotEcho      = "first echo"
)

// waveformWarnings stand before all else: whoever reads on may go and measure again.
var waveformWarnings = []string{
	"DANGER: no live work and no instrument that is not rated for it in a classified or unclear area. Ask the person responsible for the area.",
	"WARNING: this is a live measurement, for people who are allowed to make it here, with probes rated for the place. The earth clip of a scope never goes on a wire of the pair: use a differential probe or an isolated instrument. An earth clip there shorts the wire to earth and can stop the bus, and outputs may act.",
}

func sayCapture(w *Waveform) string {
	r := w.Reading
	what := "one channel across the pair"
	if r.Legs {
		what = "each leg against common"
	}
	return fmt.Sprintf("%s: %d points in %s, one every %s; %s.", w.File, r.Points, seconds(r.Length), seconds(r.Step), what)
}

func seconds(x float64) string { return quantity.FormatRounded(x, "s", 3) }
func volts(x float64) string   { return quantity.FormatRounded(x, "V", 3) }
func bitRate(x float64) string { return quantity.FormatRounded(x, "bit/s", 4) }

// within writes a figure with its uncertainty, as many digits as that allows.
func within(f waveform.Figure, unit string) string {
	digits := 3
	if f.Plus > 0 && f.Value != 0 {
		digits = min(5, max(2, int(math.Ceil(math.Log10(math.Abs(f.Value)/f.Plus)))+1))
	}
	return quantity.FormatRounded(f.Value, unit, digits) + " (± " + quantity.FormatRounded(f.Plus, unit, 1) + ")"
}

func percent(x float64) string {
	return strconv.FormatFloat(math.Round(1000*x)/10, 'f', -1, 64) + " percent"
}

func sayFigures(r *waveform.Reading, idleOfSheet string) []string {
	var all []string
	if r.Rate.Seen() {
		all = append(all, fmt.Sprintf("Bit time %s, rate %s. %s", within(r.Bit, "s"), within(r.Rate, "bit/s"), sayNearest(r.Nearest)))
	}
	if r.Idle.Seen() {
		all = append(all, fmt.Sprintf("While nobody sends: %s across the pair.%s", within(r.Idle, "V"), idleOfSheet))
	}
	if r.Noise.Seen() {
		says := fmt.Sprintf("Noise: %s effective", quantity.FormatRounded(r.Noise.Value, "V", 2))
		if r.Hum.Seen() && r.Hum.Value > 3*r.Hum.Plus {
			says += fmt.Sprintf("; hum of %.0f Hz: %s at its peak", r.HumHz, quantity.FormatRounded(r.Hum.Value, "V", 2))
		}
		if r.Quantum > 0 {
			says += fmt.Sprintf("; the instrument's smallest step is %s", volts(r.Quantum))
		}
		all = append(all, says+".")
	}
	if r.Common.Seen() {
		all = append(all, fmt.Sprintf("Both legs together lie up to %s from common.", volts(r.Common.Value)))
	}
	return all
}

func sayNearest(n waveform.Nearest) string {
	var kinds []string
	for _, k := range n.Kinds {
		kinds = append(kinds, k.Name)
	}
	off := "the same"
	if d := math.Round(1000*math.Abs(n.Differs)) / 10; d >= 0.1 {
		more := "lower"
		if n.Differs < 0 {
			more = "higher"
		}
		off = percent(math.Abs(n.Differs)) + " " + more
	}
	return fmt.Sprintf("The standard rate next to it is %s, %s (%s).", bitRate(float64(n.Rate)), off, strings.Join(kinds, "; "))
}

func saySender(r *waveform.Reading, i int) string {
	t := &r.Talkers[i]
	says := fmt.Sprintf("Sender %s, %s", letter(i), counted(t.Bursts, "burst"))
	if t.Bits > 0 {
		says += fmt.Sprintf(" of %s", counted(t.Bits, "bit"))
	}
	if t.Bursts > 1 && t.Bits > 0 {
		says += " together"
	}
	if t.Height.Seen() {
		says += fmt.Sprintf(": height %s, from %s to %s", within(t.Height, "V"), volts(t.Low.Value), volts(t.High.Value))
	}
	if t.Rate.Seen() && len(r.Talkers) > 1 {
		says += fmt.Sprintf("; rate %s", within(t.Rate, "bit/s"))
	}
	if t.Rise.Seen() {
		how := ", the instrument's own share taken off"
		if r.Bandwidth == 0 {
			how = ", the instrument's own share in it"
		}
		says += fmt.Sprintf("; edges %s%s", within(t.Rise, "s"), how)
	}
	if t.Overshoot.Seen() && t.Overshoot.Value > 0.02 {
		says += fmt.Sprintf("; goes beyond its level by %.0f percent", 100*t.Overshoot.Value)
	}
	return says + "."
}

func sayTrouble(r *waveform.Reading, t waveform.Trouble) string {
	weakest := math.Inf(1)
	for _, s := range r.Talkers {
		if s.Rate.Seen() {
			weakest = min(weakest, s.Height.Value)
		}
	}
	switch t {
	case waveform.Silent:
		if r.Noise.Seen() && r.Noise.Value > 0.1 || len(r.Talkers) > 0 {
			return "No messages: something moves on the pair, but it is no message."
		}
		return "No messages: nothing moves on the pair."
	case waveform.HeldAtLevel:
		return fmt.Sprintf("No messages, and %s stand across the pair all the time: one sender holds it.", volts(r.Idle.Value))
	case waveform.RatesDiffer:
		return sayRates(r)
	case waveform.RateNotSet:
		return fmt.Sprintf("The bus is set to %s and %s are sent.", bitRate(float64(r.Set)), bitRate(r.Rate.Value))
	case waveform.RateUnusual:
		return fmt.Sprintf("%s is no rate of any kind of line. Look whether the time base is right, and what the bus is set to.", bitRate(r.Rate.Value))
	case waveform.EndOpen:
		return "An end without its terminator, or a break: the echo has the sign of the wave. " + sayEchoFrom(r.Echo) + " Measure the ohms across the pair, line dead, volts first."
	case waveform.EndLow:
		return "A terminator too many or too low, or a leak across the pair: the echo has the other sign, and stays. " + sayEchoFrom(r.Echo) + " Measure the ohms across the pair, line dead, volts first."
	case waveform.LongStub:
		return fmt.Sprintf("A long stub: the echo has the other sign and then comes back. There and back takes %s, which is about %s of branch (± %s).", within(r.Echo.Round, "s"), about(r.Echo.Distance.Value), about(r.Echo.Distance.Plus))
	case waveform.EchoOfSome:
		return fmt.Sprintf("An echo comes %s after the edge, and more than one cause fits it: an end without terminator, one too many, a stub. Catch it again at another place along the trunk.", seconds(r.Echo.Delay.Value))
	case waveform.Weak:
		return fmt.Sprintf("Messages are weak: %s, and a sender gives 1.5 V into a loaded pair.", volts(weakest))
	case waveform.Unusable:
		return fmt.Sprintf("Messages are too weak for any receiver: %s; it needs 0.2 V.", volts(weakest))
	case waveform.IdleTooWeak:
		return fmt.Sprintf("While nobody sends, %s stand across the pair; a receiver needs 0.2 V to know a level.", volts(r.Idle.Value))
	case waveform.LegsTooFar:
		return fmt.Sprintf("The legs lie %s from common; receivers bear -7 V to 12 V.", volts(r.Common.Value))
	case waveform.NoiseBetween:
		return "Something moves between the messages that is no message."
	}
	return string(t)
}

func about(x float64) string { return quantity.FormatRounded(x, "m", 2) }

func sayEchoFrom(e waveform.Echo) string {
	return fmt.Sprintf("It is %s there and back, about %s of cable (± %s) beyond the sender or the probe, whichever is nearer to it.", within(e.Round, "s"), about(e.Distance.Value), about(e.Distance.Plus))
}

// slackOf is how far off a measured distance can be: twice its uncertainty, and what
// a drawing is off by.
func slackOf(f waveform.Figure) float64 { return 2*f.Plus + 2 + 0.02*f.Value }

// sayPlace says where on the trunk of the sheet what sends an echo back can be; ""
// where it says nothing of a place.
func (w *Waveform) sayPlace(t waveform.Trouble) string {
	e := w.Reading.Echo
	if w.Sheet == nil || !e.Distance.Seen() {
		return ""
	}
	switch t {
	case waveform.EndOpen, waveform.EndLow:
		var all []string
		for _, spot := range sheet.Spots(w.Sheet, w.ProbeM, e.Distance.Value, slackOf(e.Distance)) {
			all = append(all, saySpot(w.Sheet, spot, t))
		}
		if all == nil {
			return "On the sheet no place of this pair lies so far from the probe: look at the sheet, at the cable's delay and at where the probe was."
		}
		return "By the sheet: " + strings.Join(all, "; or ") + "."
	case waveform.LongStub:
		stubs, fits := sheet.StubsOf(w.Sheet, e.Distance.Value, slackOf(e.Distance))
		if !fits {
			return "No stub of the sheet is as long: a branch that was not drawn, or a spare end left hanging."
		}
		var all []string
		for _, x := range stubs {
			all = append(all, fmt.Sprintf("%s at %s from the host%s", about(x.LengthM), metres(x.AtM), betweenDrops(w.Sheet, x.AtM)))
		}
		return "By the sheet the stub of " + strings.Join(all, ", or of ") + "."
	}
	return ""
}

func saySpot(s *rulebase.Sheet, spot sheet.Spot, t waveform.Trouble) string {
	closed := "the sheet has no terminator"
	if spot.Terminated {
		closed = "the sheet has a terminator"
	}
	switch {
	case spot.End == "host" && spot.AtM == 0:
		return "the host's end, where " + closed
	case spot.End == "end" && spot.AtM == s.TrunkM():
		return fmt.Sprintf("the far end at %s, where %s", metres(spot.AtM), closed)
	case spot.End != "":
		return fmt.Sprintf("the device in the line at %s, where %s", metres(spot.AtM), closed)
	case t == waveform.EndLow:
		return fmt.Sprintf("about %s from the host%s", metres(spot.AtM), betweenDrops(s, spot.AtM))
	}
	return fmt.Sprintf("a break about %s from the host%s", metres(spot.AtM), betweenDrops(s, spot.AtM))
}

// sayIdleOfSheet holds the level while nobody sends against the sheet's sums.
func (w *Waveform) sayIdleOfSheet() string {
	if w.Sheet == nil || !w.Reading.Idle.Seen() {
		return ""
	}
	expected, ok := sheet.Idle(w.Sheet, w.ProbeM)
	if !ok {
		return ""
	}
	return fmt.Sprintf(" By the sums of the sheet it should be %s.", volts(float64(expected)))
}

func sayRates(r *waveform.Reading) string {
	var all []string
	for i, t := range r.Talkers {
		if t.Rate.Seen() {
			all = append(all, fmt.Sprintf("%s %s", letter(i), bitRate(t.Rate.Value)))
		}
	}
	return "Senders have different rates: " + strings.Join(all, ", ") + ". Units set to one rate cannot read the other."
}

func sayStepOf(talker int) string {
	return "Sender " + letter(talker) + ": one clean edge, from all its edges together"
}

// unseenWhy says why a capture cannot show something.
func unseenWhy(r *waveform.Reading, why waveform.Unseen) string {
	switch why {
	case waveform.NothingMoves:
		return "nobody sends in it"
	case waveform.FewEdges:
		return "there are too few changes of the bit; catch a whole message"
	case waveform.FewSamples:
		return fmt.Sprintf("there are fewer than four points in a bit, one every %s; catch a shorter stretch", seconds(r.Step))
	case waveform.NoGrid:
		return "the edges lie on no grid of bits; several send at once, or it is no message"
	case waveform.NoSilence:
		return "somebody sends from its beginning to its end; catch a stretch with a pause"
	case waveform.TooShort:
		return fmt.Sprintf("it is %s long and a cycle of the mains takes 20 ms", seconds(r.Length))
	case waveform.FasterThanScope:
		return "the edge is as fast as the instrument lets through"
	case waveform.FasterThanStep:
		return fmt.Sprintf("the edge is over within two points, one every %s; catch a shorter stretch", seconds(r.Step))
	case waveform.OneChannel:
		return "it has one channel across the pair; catch each leg against common"
	case waveform.NoEcho, waveform.EchoTooClose:
		return "none is seen beyond the edge"
	case waveform.EchoUnsettled:
		return "one sender's bits are too few, or too noisy, to tell an edge from what follows it"
	case waveform.EchoAmbiguous:
		return "more than one cause fits what follows the edge"
	case waveform.LeftTheScreen:
		return "the trace ran against the end of the instrument's range; catch it with more volts to the screen"
	}
	return string(why)
}

func sayUnseen(r *waveform.Reading) []string {
	var all []string
	add := func(what string, why waveform.Unseen) {
		if why != "" {
			all = append(all, what+": "+unseenWhy(r, why)+".")
		}
	}
	add("The rate", r.Rate.Why)
	add("The level while nobody sends", r.Idle.Why)
	add("Hum", r.Hum.Why)
	add("The legs against common", r.Common.Why)
	for i, t := range r.Talkers {
		who := " of sender " + letter(i)
		if t.Rate.Why != r.Rate.Why {
			add("The rate"+who, t.Rate.Why)
		}
		add("The height"+who, t.Height.Why)
		add("The edges"+who, t.Rise.Why)
	}
	switch {
	case r.Echo.Kind != "" || len(r.Talkers) == 0:
	case r.Echo.Why == waveform.NoEcho || r.Echo.Why == waveform.EchoTooClose:
		all = append(all, fmt.Sprintf("Echoes: none is seen; one from nearer than %s would lie within the edge or two points, and be hidden. A shorter stretch shows nearer ones.", about(float64(r.Echo.Nearer))))
	default:
		add("What sends an echo back", r.Echo.Why)
	}
	return all
}

// findingSays is the value of a finding as --see takes it.
func findingSays(f waveform.Finding) string {
	if f.Word != "" {
		return f.Word
	}
	return quantity.Format(f.Number, "V")
}

func seeFlag(f waveform.Finding) string {
	says := f.Symptom + "=" + findingSays(f)
	if strings.Contains(says, " ") {
		says = `"` + says + `"`
	}
	return "--see " + says
}

// What becomes of a unit.

// wayNames say a way as something to do.
var wayNames = map[ways.Kind]string{
	ways.PutBack:      "put the unit back as it is",
	ways.Adjust:       "put the site right and leave the unit",
	ways.TestFirst:    "test at the drop first, then act",
	ways.OrderAndTest: "order the exchange and test meanwhile",
	ways.Repair:       "have the unit repaired",
	ways.RepairFast:   "have the unit repaired, ahead of the queue",
	ways.Exchange:     "exchange the unit",
	ways.Spare:        "fit the spare from the shelf, then see to the old unit",
	ways.New:          "buy a new unit",
	ways.Redesign:     "build the drop anew with something else",
}

// partNames are the parts of a cost, in their order.
var partNames = [...]string{"goods and work", "fees", "credit kept back", "freight", "visits", "downtime", "what comes back"}

// inputNames say an amount of a price sheet, with "now" or a limit to follow.
var inputNames = map[string]string{
	ways.Badness:                "the chance that the unit is bad",
	"bad_units.beyond_repair":   "the share of the bad units that is beyond repair",
	"bad_units.intermittent":    "the share of the bad units whose fault comes and goes",
	"downtime.per_hour":         "an hour of downtime",
	"visit.price":               "a visit",
	"site.test_hours":           "the hours to test at the drop",
	"site.remedy_hours":         "the hours to put the site right",
	"site.swap_hours":           "the hours to change the unit",
	"site.intermittent_hours":   "the hours lost to a fault that comes and goes",
	"site.finds_bad":            "the chance that the test at the drop finds a bad unit",
	"site.finds_intermittent":   "the chance that the test at the drop finds a fault that comes and goes",
	"site.clears_good":          "the chance that the test at the drop clears a good unit",
	"shipping.one_way":          "the freight one way",
	"shipping.hours":            "the hours of the way back",
	"evaluation.price":          "the evaluation",
	"no_fault.fee":              "the fee for a unit that proves good",
	"repair.price":              "the repair",
	"repair.hours":              "the hours of a repair",
	"repair.works":              "the chance that the repair works",
	"repair.works_intermittent": "the chance that the repair works where the fault comes and goes",
	"repair.comes_back":         "the chance that a repaired unit comes back",
	"repair.expedite_price":     "what it costs to jump the queue",
	"repair.expedite_hours":     "the hours of a repair ahead of the queue",
	"exchange.price":            "the exchange",
	"exchange.core_credit":      "the credit for the old unit",
	"exchange.hours":            "the hours of an exchange",
	"exchange.restocking":       "the restocking share",
	"exchange.comes_back":       "the chance that an exchange unit comes back",
	"new.price":                 "a new unit",
	"new.hours":                 "the hours until a new unit is there",
	"new.comes_back":            "the chance that a new unit comes back",
	"redesign.price":            "building the drop anew",
	"redesign.hours":            "the hours of building the drop anew",
	"bench.per_hour":            "an hour at the bench",
}

const (
	titleWays        = "What each way costs on the mean, cheapest first:"
	titleTurns       = "What would change the answer, nearest first; each alone, all else as it is:"
	titleStretches   = "By the chance that the unit is bad:"
	titleWorth       = "What it is worth to know more:"
	titleWithheld    = "Not to be had:"
	titleNotes       = "Keep in mind:"
	titlePriceKeys   = "What a price sheet can say, by section and key:"
	sayMoreTurns     = "%d more, which --detail lists."
	sayNoTurn        = "No amount on the sheet changes the answer by itself."
	sayMoneyAlone    = "This weighs money alone. What can hurt somebody is not in it: local codes, lockout rules and licensed people come first."
	sayNoDowntime    = "Nobody has said what an hour of downtime costs: it is reckoned without. Published averages are of other plants; ask yours."
	sayAskRevision   = "Ask before an exchange is ordered: the exchange units have revision %s, and which one this drop needs is not known."
	sayAskModules    = "Ask before an exchange is ordered: which modules it has to work with is not known; the exchange units work with %s."
	sayAtLeast       = "The chance that the unit is bad is an \"at least\": %s lies with things that are not on my list, and they may be the unit too. %s"
	saySteady        = "Even if all of them were, the answer would stay the same."
	sayUnsteady      = "If all of them were, the answer would be another: see from which chance on."
	sayLimitUnknown  = "With no exchange and no new unit to be had, no share says what a repair may cost."
	plotBad          = "chance that the unit is bad"
	plotMeanCost     = "mean cost"
	plotHere         = "here"
	sayPlotTooCostly = "Above the drawing all along: "
)

func sayDecision(d *ways.Decision) string {
	return fmt.Sprintf("%s. The chance that the unit is bad: %s (%s).", d.Prices.Name, Chance(float(d.Bad)), threePlaces(d.Bad))
}

// float is for words and drawings only.
func float(x *big.Rat) float64 { f, _ := x.Float64(); return f }

// threePlaces writes a chance with three decimals and no idle zeros.
func threePlaces(x *big.Rat) string {
	text := strings.TrimRight(x.FloatString(3), "0")
	return strings.TrimSuffix(text, ".")
}

// percentOf writes a share as a percentage with at most one decimal.
func percentOf(x *big.Rat) string {
	return strings.TrimSuffix(new(big.Rat).Mul(x, big.NewRat(100, 1)).FloatString(1), ".0") + " %"
}

// money is an amount with its currency.
func money(p *rulebase.Prices, x *big.Rat) string { return p.Money(x) + " " + p.Currency }

func sayBestWay(d *ways.Decision) string {
	best := d.Ways[0]
	switch {
	case d.Tied > 1:
		var names []string
		for _, w := range d.Ways[:d.Tied] {
			names = append(names, wayNames[w.Kind])
		}
		return fmt.Sprintf("A tie: these cost exactly the same, %s on the mean: %s. Let what has no price decide.", money(d.Prices, best.Mean), strings.Join(names, "; "))
	case len(d.Ways) == 1:
		return fmt.Sprintf("There is one way only: %s, %s on the mean.", wayNames[best.Kind], money(d.Prices, best.Mean))
	}
	return fmt.Sprintf("Cheapest: %s, %s on the mean.", wayNames[best.Kind], money(d.Prices, best.Mean))
}

func sayNearlyTied(d *ways.Decision) string {
	if d.Near <= d.Tied {
		return ""
	}
	var names []string
	for _, w := range d.Ways[d.Tied:d.Near] {
		names = append(names, fmt.Sprintf("%s (%s more)", wayNames[w.Kind], money(d.Prices, new(big.Rat).Sub(w.Mean, d.Ways[0].Mean))))
	}
	return fmt.Sprintf("Nearly the same: %s. So small a difference is within what prices and chances are known to.", strings.Join(names, "; "))
}

func sayParts(p *rulebase.Prices, c ways.Cost) string {
	var all []string
	for i, x := range c {
		if x != nil && x.Sign() != 0 {
			all = append(all, partNames[i]+" "+p.Money(x))
		}
	}
	return strings.Join(all, ", ")
}

// inputValue writes the value of an input in its form.
func inputValue(p *rulebase.Prices, form rulebase.PriceForm, x *big.Rat) string {
	switch form {
	case rulebase.MoneyAmount:
		return money(p, x)
	case rulebase.HoursAmount:
		return threePlaces(x) + " h"
	}
	return threePlaces(x)
}

func sayTurnOf(p *rulebase.Prices, t ways.Turn) string {
	side := "above"
	if t.At.Cmp(t.Now) < 0 {
		side = "below"
	}
	now := inputValue(p, t.Form, t.Now)
	if t.Name == "downtime.per_hour" && !p.Has(t.Name) {
		now = "not known"
	}
	return fmt.Sprintf("%s, now %s: %s %s it is cheaper to %s", inputNames[t.Name], now, side, inputValue(p, t.Form, t.At), wayNames[t.Way])
}

func sayStretch(s ways.Stretch) string {
	var names []string
	for _, k := range s.Ways {
		names = append(names, wayNames[k])
	}
	return fmt.Sprintf("%s to %s: %s", threePlaces(s.From), threePlaces(s.To), strings.Join(names, ", or at the same cost "))
}

func sayKnowing(d *ways.Decision) []string {
	p := d.Prices
	if d.Perfect.Sign() == 0 {
		return []string{"Nothing: whatever turned out to be wrong, the same would be done."}
	}
	all := []string{fmt.Sprintf("To be told for sure what is wrong: worth up to %s.", money(p, d.Perfect))}
	if d.Known.Cmp(d.Perfect) == 0 {
		return []string{fmt.Sprintf("To be told for sure whether it is the unit, and how bad: worth up to %s.", money(p, d.Perfect))}
	}
	if d.Known.Sign() == 0 {
		return append(all, "To be told no more than whether it is the unit: nothing, it would not change what is done.")
	}
	return append(all, fmt.Sprintf("To be told no more than whether it is the unit: worth up to %s.", money(p, d.Known)))
}

// sayTested says what one bench test is worth, and what would be done after it.
func sayTested(d *ways.Decision, i int) string {
	p, t := d.Prices, d.Tests[i]
	says := fmt.Sprintf("%s (%s min): costs %s, ", t.Test.Name, threePlaces(t.Test.Minutes), money(p, t.Cost))
	switch {
	case t.Worth.Sign() == 0:
		return says + "worth nothing: whatever it shows, the same is done."
	case t.Net.Sign() < 0:
		return says + fmt.Sprintf("worth up to %s to know: not worth its time.", money(p, t.Worth))
	case t.Net.Sign() == 0:
		return says + "worth exactly that: a tie, do it or leave it."
	}
	says += fmt.Sprintf("worth up to %s to know: worth its time.", money(p, t.Worth))
	for _, r := range []struct {
		word   string
		result decide.Result
	}{{"bad", t.Bad}, {"good", t.Good}} {
		if r.result.Belief == nil {
			continue
		}
		bad := new(big.Rat).Sub(big.NewRat(1, 1), r.result.Belief[ways.Good])
		says += fmt.Sprintf(" Where it calls the unit %s (%s), it is bad with a chance of %s: %s.", r.word, Chance(float(r.result.Chance)), threePlaces(bad), wayNames[d.Kind(r.result.Choice.Ways[0])])
	}
	return says
}

// sayFirst says which test to begin with, once all are looked at together.
func sayFirst(d *ways.Decision) string {
	if len(d.First) == 0 {
		if len(d.Tests) > 0 {
			return "No test on the sheet is worth doing first, not even with another behind it."
		}
		return ""
	}
	var names []string
	for _, i := range d.First {
		names = append(names, d.Tests[i].Test.Name)
	}
	if d.Planned.Cmp(d.Ways[0].Mean) == 0 {
		return fmt.Sprintf("Begin with %s, or leave it: both cost the same on the mean.", strings.Join(names, " or "))
	}
	return fmt.Sprintf("Begin with %s: with what it shows, and further tests where they pay, all costs %s on the mean.", strings.Join(names, " or "), money(d.Prices, d.Planned))
}

func sayShelf(d *ways.Decision) string {
	if d.Failures == 0 {
		return ""
	}
	return fmt.Sprintf("While this unit is away, %s more failures are to be expected, with %s on the shelf: the chance of standing without a spare is %s.",
		strconv.FormatFloat(d.Failures, 'g', 2, 64), threePlaces(d.Prices.Get("spare.on_shelf")), Chance(d.Short))
}

// sayLimit says how a repair stands to the cheapest unit to be had.
func sayLimit(d *ways.Decision) string {
	if d.RepairIs == nil {
		return ""
	}
	says := fmt.Sprintf("A repair comes to %s of the cheapest unit to be had, its chance to work included; ", percentOf(d.RepairIs))
	if d.RepairIs.Cmp(d.RepairMay) > 0 {
		return says + fmt.Sprintf("that is beyond the %s that it should cost at most.", percentOf(d.RepairMay))
	}
	return says + fmt.Sprintf("up to %s is held to be economical.", percentOf(d.RepairMay))
}

func sayHistory(d *ways.Decision) string {
	if d.Bad.Cmp(d.Case.Bad) == 0 {
		if d.Case.SerialReturns+d.Case.LocationReturns == 0 {
			return ""
		}
		return fmt.Sprintf("Earlier returns: %d of this serial, %d from this location. By the odds of the sheet they do not move the chance.", d.Case.SerialReturns, d.Case.LocationReturns)
	}
	return fmt.Sprintf("Earlier returns: %d of this serial, %d from this location. They move the chance that the unit is bad from %s to %s, by the odds of the sheet.", d.Case.SerialReturns, d.Case.LocationReturns, threePlaces(d.Case.Bad), threePlaces(d.Bad))
}

func sayNotToBeHad(w ways.Withheld) string {
	return wayNames[w.Kind] + ": " + map[ways.Why]string{
		ways.NotOnSheet: "the sheet has no price for it",
		ways.InShop:     "the unit is in the shop",
		ways.AtDrop:     "the unit is still at the drop",
		ways.NoSiteTest: "the sheet does not say how good the test at the drop is",
		ways.NoExchange: "there is no exchange unit to be had",
		ways.NoSpare:    "the shelf is empty",
		ways.NotMade:    "it is no longer made",
		ways.NoRevision: "the exchange units are not of revision " + w.Detail,
		ways.NoModule:   "the exchange units do not work with " + w.Detail,
	}[w.Why]
}

// SayNoReplacement says that nothing on a sheet can take the place of a unit, and why.
func SayNoReplacement(p *rulebase.Prices, e ways.NoReplacement) string {
	parts := make([]string, len(e.Withheld))
	for i, w := range e.Withheld {
		parts[i] = sayNotToBeHad(w)
	}
	return fmt.Sprintf("The sheet %s has nothing that can take the unit's place if it is beyond repair, so that nothing can be decided (%s). Write what there is into the sheet.", p.Name, strings.Join(parts, "; "))
}

// Where the cases are kept.

// Text says where the cases are.
func (s *Store) Text() string {
	if !s.There {
		return fmt.Sprintf("The cases will be kept in %s.\nIt is not there yet, and is made when the first one is opened.\n", s.Where)
	}
	says := fmt.Sprintf("The cases are kept in %s.\nIt writes as site %s and holds %s of %s.\n", s.Where, s.Site, counted(int(s.Events), "event"), counted(len(s.Heads), "site"))
	if s.ReadOnly != "" {
		says += s.ReadOnly + " Nothing can be added.\n"
	}
	return says
}

func counted(n int, what string) string { return wording.Counted(n, what) }

// countedText counts by a number as it was written.
func countedText(n, one, many string) string {
	if n == "1" {
		many = one
	}
	return n + " " + many
}

// VerifiedText says what the check of a store found.
func VerifiedText(where string, v *cases.Verified) string {
	var b strings.Builder
	looked := fmt.Sprintf("%s, %s and %s", counted(v.Events, "event"), counted(v.Cases, "case"), counted(v.Files, "file"))
	if len(v.Damage) == 0 {
		fmt.Fprintf(&b, "%s is whole: %s.\n", where, looked)
		for _, site := range slices.Sorted(maps.Keys(v.Heads)) {
			fmt.Fprintf(&b, "Site %s ends with event %d, hash\n  %s.\n", site, v.Heads[site].Seq, v.Heads[site].Hash)
		}
		return b.String()
	}
	fmt.Fprintf(&b, "%s is damaged. Looked over: %s.\n", where, looked)
	touched := map[string]bool{}
	unknown := false
	for _, d := range v.Damage {
		fmt.Fprintf(&b, "- %s\n", d.What)
		for _, id := range d.Cases {
			touched[id] = true
		}
		unknown = unknown || len(d.Cases) == 0
	}
	if len(touched) > 0 {
		fmt.Fprintf(&b, "Touched: %s.\n", strings.Join(slices.Sorted(maps.Keys(touched)), ", "))
	}
	if unknown {
		b.WriteString("Of some of it no case can be named.\n")
	}
	b.WriteString("Other cases can be read and exported as ever. \"downdrop store backup --salvage FILE\" saves all that can be read; \"downdrop store restore\" brings a copy back into a new store.\n")
	return b.String()
}

// Salvaged is said of each thing that could not be read while saving the rest.
const Salvaged = "Left out: %v.\n"

// BackedUp says what a copy holds.
func BackedUp(file string, m *cases.Manifest) string {
	return fmt.Sprintf("%s holds %s, %s and %s.\n", file, counted(m.Events, "event"), counted(m.Files, "file"), counted(m.Names, "name"))
}

// Restored says what was brought back, and where.
func Restored(file, where string, r *cases.ImportReport) string {
	return fmt.Sprintf("%s now holds what was in %s: %s, %s and %s. It goes on as site %s; the store that the copy was made of must not be written any more.\n",
		where, file, counted(r.Added+r.Known, "event"), counted(r.Files, "file"), counted(r.Names, "name"), r.Manifest.Site)
}

// Moved says what was moved, and what to do about it.
func Moved(from, to string, r *cases.ImportReport) string {
	return fmt.Sprintf("%s now holds all of %s: %s, %s and %s, and an export of it is the same, byte for byte.\nName it from now on with --store or DOWNDROP_STORE. The old store stays where it is and can only be read.\n",
		to, from, counted(r.Manifest.Events, "event"), counted(r.Manifest.Files, "file"), counted(r.Manifest.Names, "name"))
}

// A list of returns.

// triageTitles head the rows of one call.
var triageTitles = map[triage.Call]string{
	triage.ProbablyGood: "Probably good: ask before anything is shipped.",
	triage.Open:         "Open: the answers may settle it.",
	triage.ProbablyBad:  "Probably bad: ship it, and plan the bench.",
	triage.AskBack:      "To be asked back: something in the row is not sound, so it was not matched.",
}

// outcomeNames say how a case most likely ends.
var outcomeNames = map[rulebase.Outcome]string{
	rulebase.Adjusted: "adjusted on site", rulebase.Rewired: "wiring put right on site", rulebase.PartReplaced: "a part replaced on site", rulebase.ModuleOut: "a module exchanged",
	rulebase.UnitOut: "unit repaired or exchanged", rulebase.NotAFault: "no fault", rulebase.Escalate: "handed on to somebody else",
	rulebase.NothingFound: "nothing found", rulebase.OutsideList: "something that is not listed",
}

const (
	sayNothingHeard = "Nothing of the complaint was understood: this is what is true of any unit that comes in."
	leadBefore      = "before"
	leadAsk         = "ask"
)

func sayTriageRow(r *triage.Row) string {
	says := fmt.Sprintf("line %d", r.Line)
	if r.Serial != "" {
		says += ", serial " + r.Serial
	}
	if r.Place != "" {
		says += ", " + r.Place
	}
	if r.Complaint != "" {
		says += ": " + quoted(r.Complaint)
	}
	return says
}

func sayTriageOpinion(r *triage.Row) string {
	says := fmt.Sprintf("The chance that the unit is good: %s", Chance(r.Good))
	if r.LikelySays != "" {
		says += "; likeliest: " + r.LikelySays
	}
	if r.Outcome != "" {
		says += "; most likely ends as: " + outcomeNames[rulebase.Outcome(r.Outcome)]
	}
	return says + fmt.Sprintf("; bench: %s.", Minutes(r.BenchMin))
}

func sayTriageSum(s *triage.Summary) string {
	return fmt.Sprintf("%s: %d probably good, %d open, %d probably bad, %d to be asked back; %d rejected. Bench time to plan: %s.",
		counted(s.Rows+s.Rejected, "row"), s.Calls[triage.ProbablyGood], s.Calls[triage.Open], s.Calls[triage.ProbablyBad], s.Calls[triage.AskBack], s.Rejected, counted(int(math.Round(s.BenchMin/60)), "hour"))
}

// saySerialTwice names the rows of a serial that stands in several: a row entered twice, or a unit that came twice.
func saySerialTwice(t triage.Twice) string {
	var lines []string
	for _, n := range t.Lines {
		lines = append(lines, strconv.Itoa(n))
	}
	if t.More > 0 {
		lines = append(lines, fmt.Sprintf("%d more", t.More))
	}
	return fmt.Sprintf("Serial %s stands in lines %s.", wording.OneLine(t.Serial), wording.List("and", lines))
}

// TriageNotes say how a list was read.
func TriageNotes(s *triage.Summary) []string {
	var all []string
	if s.Windows1252 {
		all = append(all, "The list is not UTF-8; its letters were read as Windows-1252.")
	}
	if s.Separator != ',' {
		all = append(all, fmt.Sprintf("Its cells are parted by %q.", s.Separator))
	}
	if s.Heading > 0 {
		all = append(all, fmt.Sprintf("Its headings are in line %d; what stands above them is not read.", s.Heading))
	}
	for _, t := range s.Twice {
		all = append(all, saySerialTwice(t))
	}
	if s.MoreTwice > 0 {
		all = append(all, fmt.Sprintf("Serials that stand in several lines, beyond these: %d.", s.MoreTwice))
	}
	if len(s.Unused) > 0 {
		all = append(all, fmt.Sprintf("Columns not read: %s. --column HEADING=ROLE gives one a role.", strings.Join(s.Unused, ", ")))
	}
	return all
}

// Cases.

const (
	saySameUnit       = "This unit was here before, by type and serial:"
	sayOtherType      = "The same serial, but another type or none was said. Ask whether it is the same unit:"
	sayLooksLike      = "Another serial that is easily taken for this one. Have it read out again, sign by sign:"
	sayForLocation    = "Two units exchanged here within 90 days, and the first was found good: this counts for the location, not for the unit. Look at supply, line, terminators and settings here."
	saySameLocation   = "At this location before, whatever the unit:"
	sayStillInPlace   = "Still in place, put in for a test or for the time being:"
	sayNoCaseFound    = "No case."
	sayIsKnown        = "What is known:"
	sayWasDone        = "What was done:"
	sayAsFound        = "as found"
	sayAsLeft         = "as left"
	sayNotRead        = "not read"
	saySettingsKept   = "Settings of the unit, as they were read:"
	saySettingDiffers = "differs: say why in a note, or put it back"
)

func sayCaseName(c *cases.Case) string {
	name := c.Code
	if c.Opening.Location != "" {
		name += ", " + c.Opening.Location
	}
	if c.Opening.Drop != 0 {
		name += fmt.Sprintf(", drop %d", c.Opening.Drop)
	}
	return name
}

func sayCaseOpened(c *cases.Case) string {
	text := "Case " + sayCaseName(c)
	if u := c.Opening.Unit; u.Type != "" || u.Serial != "" {
		text += fmt.Sprintf("; unit %s, serial %s", cmp.Or(u.Type, "of a type not said"), cmp.Or(u.Serial, "not read"))
		if u.Revision != "" {
			text += ", revision " + u.Revision
		}
	}
	return text + "."
}

func sayCaseLine(c *cases.Case) string {
	return fmt.Sprintf("Case %s: %s, %s kept.", sayCaseName(c), sayStateOf(c.State, c.Waiting.For), counted(len(c.Events), "entry"))
}

func sayStateOf(s cases.State, waiting string) string {
	switch s {
	case cases.StateWaiting:
		return "waiting for " + cmp.Or(waiting, "something")
	case cases.StateWatching:
		return "being watched"
	}
	return string(s)
}

func sayCaseState(b *rulebase.Base, c *cases.Case) string {
	text := fmt.Sprintf("Opened %s; %s", c.Opened.Format("2 January 2006 15:04"), sayStateOf(c.State, c.Waiting.For))
	if until := cmp.Or(c.Waiting.Until, c.Watching.Until); until != "" {
		text += " until " + wording.Day(until)
	}
	if c.State == cases.StateWatching && c.Watching.What != "" {
		text += ": " + c.Watching.What
	}
	if c.Closing != nil {
		text += ". Found: " + sayProven(b, c.Closing.Causes)
		if c.Closing.How != "" {
			text += ", proven so: " + inSentence(c.Closing.How)
		}
		if c.Closing.UnitVerdict != "" {
			text += ". The unit: " + plain(c.Closing.UnitVerdict)
		}
	}
	for _, j := range c.Joined {
		text += ". One of several with one origin"
		if j.Name != "" {
			text += ": " + j.Name
		}
	}
	return text + "."
}

func sayProven(b *rulebase.Base, causes []string) string {
	var names []string
	for _, id := range causes {
		if ref, ok := b.Lookup(id); ok && ref.Kind == rulebase.KindCause {
			names = append(names, inSentence(b.Causes[ref.Index].Name))
		} else {
			names = append(names, id)
		}
	}
	if len(names) == 0 {
		return "nothing"
	}
	return strings.Join(names, " and ")
}

func sayCallBack(id string) string { return "Call back: " + id + "." }

func sayComplaint(text string) string { return "The caller: \"" + text + "\"" }

func sayEarlier(b *rulebase.Base, s *cases.Summary) string {
	text := fmt.Sprintf("%s, %s", s.Code, s.Opened.Format("2 January 2006"))
	if s.Location != "" {
		text += ", " + s.Location
	}
	if s.Serial != "" {
		text += fmt.Sprintf(", %s serial %s", cmp.Or(s.Type, "unit"), s.Serial)
	}
	if s.State != cases.StateClosed {
		return text + ": " + sayStateOf(s.State, s.WaitingFor)
	}
	text += ", found: " + sayProven(b, s.Causes)
	if s.UnitVerdict != "" {
		text += "; the unit was " + plain(s.UnitVerdict)
	}
	return text
}

func sayFoundGood(s *cases.Summary) string {
	return fmt.Sprintf("A unit was exchanged here on %s and then found good (case %s): before a second one goes, look at the location.", s.Opened.Format("2 January 2006"), s.Code)
}

func sayEarlierMore(n int) string { return fmt.Sprintf("and %s.", counted(n, "more case")) }

func sayPutIn(p cases.PutIn, accepted bool) string { return wording.PutIn(p, accepted) }

func sayCaseSummary(b *rulebase.Base, s *cases.Summary, now time.Time) string {
	text := cmp.Or(s.Location, "location not said")
	if s.Drop != 0 {
		text += fmt.Sprintf(", drop %d", s.Drop)
	}
	switch age := sayAge(now.Sub(s.Opened)); s.State {
	case cases.StateClosed:
		text += "; closed, found: " + sayProven(b, s.Causes)
	case cases.StateOpen:
		text += "; " + age
	default:
		text += "; " + sayStateOf(s.State, s.WaitingFor) + ", " + age
	}
	if s.InPlace > 0 {
		text += fmt.Sprintf("; %d still in place", s.InPlace)
	}
	if s.Complaint != "" {
		text += ": " + s.Complaint
	}
	return text
}

// sayAge says how long a case has been open; a clock that went back says nothing.
func sayAge(d time.Duration) string {
	switch {
	case d < time.Hour:
		return "opened within the hour"
	case d < 48*time.Hour:
		return fmt.Sprintf("open for %s", counted(int(d.Hours()), "hour"))
	}
	return fmt.Sprintf("open for %s", counted(int(d.Hours()/24), "day"))
}

func sayReferenceLine(r cases.Reference) string {
	return plain(r.Kind) + ": " + r.Text
}

func sayNoteLine(at time.Time, text string) string {
	return at.Format("2 Jan 15:04") + ": " + text
}

func sayFileLine(a cases.Attachment) string {
	return fmt.Sprintf("%s, %s, %d bytes (show --fetch %s)", a.Name, a.Media, a.Bytes, a.Name)
}

func sayFileByHash(a cases.Attachment) string {
	return fmt.Sprintf("%s, %s, %d bytes, SHA-256 %s", a.Name, a.Media, a.Bytes, a.Digest)
}

func sayNotHereYet(c *cases.Case) string {
	return "Not here yet: the case names these, and they did not come with it. Have them sent, and take each in with \"downdrop case attach " + c.Code + " FILE\"; they are known by their hashes."
}

// SheetStays is said where a hand-over as text goes without the installation sheet of its line.
const SheetStays = "The installation sheet of the line does not go with the text or the codes, because it is too long for them or is not here: what the case was weighed with goes, and the trunk as configured (lengths, taps, terminators, addresses, rates, supplies) cannot be drawn at the other place."

const sayBringSheet = " Take the case along as one file, which holds the sheet too (\"downdrop case take-along %s --out FILE.html\"), or give the sheet there once more (\"downdrop case sheet %s SHEET.yaml\")."

func sayTravelApart(c *cases.Case) string {
	return "These do not go with the text or the codes. Send the case as a file instead (\"downdrop case hand-over " + c.Code + " --to PLACE --file FILE\"), or send each by itself as \"downdrop case show " + c.Code +
		" --fetch NAME\" writes it; the other place takes it in with \"downdrop case attach " + c.Code + " FILE\":"
}

func saySettingsUnread(c *cases.Case, unread []string) string {
	return "Nobody has read these settings of the unit as found: " + strings.Join(unread, ", ") + ". Read them before it is pulled, cycled or changed, and note each with \"downdrop case setting " + c.Code + " NAME=VALUE\"."
}

func sayMoneyLine(m cases.Money) string {
	return fmt.Sprintf("%s: %s %s", plain(m.For), m.Amount, m.Currency)
}

func sayDoneProven(d *rulebase.Done, proof string) string {
	if proof == "" {
		return sayDone(d)
	}
	return sayDone(d) + "; watched: " + proof
}

func sayMoneySum(m cases.Money) string { return fmt.Sprintf("in all %s %s", m.Amount, m.Currency) }

func sayDisposed(d *cases.Disposed) string {
	text := "To be done: " + plain(d.What)
	if d.Why != "" {
		text += ", because " + inSentence(d.Why)
	}
	return text + "."
}

// The unit in the shop.

// shopStateNames say a state after "is" and before "since".
var shopStateNames = map[cases.ShopState]string{
	cases.ShopReceived: "received", cases.ShopQuarantined: "in quarantine", cases.ShopEvaluated: "evaluated", cases.ShopAwaiting: "awaiting the customer",
	cases.ShopInRepair: "in repair", cases.ShopInTest: "in test", cases.ShopReleased: "released", cases.ShopReturned: "returned unrepaired", cases.ShopScrapped: "scrapped",
	cases.CoreAccepted: "accepted as a core", cases.CoreRefused: "refused as a core",
}

// verdictNames say a verdict after "the unit".
var verdictNames = map[string]string{
	cases.UnitGood: "good: no fault found", cases.UnitBad: "bad", cases.UnitNotProven: "neither proven good nor bad",
}

var contaminationNames = map[string]string{
	cases.NotExposed:     "it was not exposed to anything that harms people",
	cases.Decontaminated: "it was exposed, and was cleaned",
	cases.Contaminated:   "it may still be contaminated: do not open it",
}

var workNames = map[string]string{
	"rework":       "rework, again as its drawings say",
	"repair":       "repair, it works but is not wholly as drawn",
	"modification": "modification, something else by a document",
}

const (
	sayNoUnits        = "No unit is in the shop."
	sayNoUnitsInState = "No unit is in this state."
	sayUnstated       = "Nobody has said whether it is contaminated: it is not opened until the sender has, \"downdrop unit statement\"."
	titleCourse       = "Its way through the shop:"
	titleRepairLog    = "Repair log:"
	titleEarlierStays = "It was here before:"
	titleUnfit        = "These changes do not fit where they stand, and do not count. Look at them with whoever made them:"
	sayGone           = "It has left."
	sayCasesOf        = "Cases: %s."
	sayAllTypes       = "all types"
	sayNothingInMonth = "Nothing came in, went out or was in the house."
	sayMonthNotes     = "No fault found: the unit as it came in was good. Back within 90 days: it came in again within 90 days after it was released. Days in the house and days of waiting for the customer are medians of the stays that ended."
	sayMoneyOffered   = "Prices are those of the sheet, without freight. What a way comes to is an expected cost: with freight, visits, standstill and what comes back, each with its chance."
)

func sayUnitName(u cases.Unit) string {
	text := cmp.Or(u.Type, "unit of a type that is not known,")
	if u.Serial != "" {
		text += " serial " + u.Serial
	}
	if u.Revision != "" {
		text += " revision " + u.Revision
	}
	return text
}

// UnitBefore says in a sentence that a unit was here before, or is.
func UnitBefore(c *cases.Card) string {
	s := c.Stay()
	if s == nil {
		return ""
	}
	text := fmt.Sprintf("%s came in on %s", sayUnitName(c.Unit), s.Came.Format("2 January 2006"))
	if s.State.InShop() {
		text += ", and is " + shopStateNames[s.State]
	} else {
		text += fmt.Sprintf(", and was %s on %s", shopStateNames[s.State], s.Since.Format("2 January 2006"))
	}
	if s.Verdict != "" {
		text += "; then it was " + verdictNames[s.Verdict]
	}
	if n := len(c.Stays); n > 1 {
		text += fmt.Sprintf("; that was stay %d", n)
	}
	return text + "."
}

// CaseBefore says in a sentence that a case was about a unit of this serial.
func CaseBefore(b *rulebase.Base, s *cases.Summary) string { return "Case " + sayEarlier(b, s) + "." }

// UnitLike says that a serial is easily taken for that of a unit that was here.
func UnitLike(name string) string {
	return "Easily taken for " + name + ", which was here: have the plate read out."
}

func sayDays(d time.Duration) string {
	switch {
	case d < time.Hour:
		return "under an hour"
	case d < 48*time.Hour:
		return counted(int(d.Hours()), "hour")
	}
	return counted(int(d.Hours()/24), "day")
}

func sayUnitLine(c *cases.Card, now time.Time) string {
	s := c.Stay()
	if s == nil {
		return sayUnitName(c.Unit) + " is not in the shop."
	}
	name, state := sayUnitName(c.Unit), shopStateNames[s.State]
	if s.State.InShop() && s.Came.Equal(s.Since) { // all that time in one state: it is said once
		return fmt.Sprintf("%s is %s, since %s (%s).", name, state, s.Since.Format("2 January 2006 15:04"), sayDays(now.Sub(s.Since)))
	}
	if s.State.InShop() {
		return fmt.Sprintf("%s is %s, since %s (%s); in the house for %s.", name, state, s.Since.Format("2 January 2006 15:04"), sayDays(now.Sub(s.Since)), sayDays(now.Sub(s.Came)))
	}
	return fmt.Sprintf("%s was %s on %s; it was in the house for %s.", name, state, s.Since.Format("2 January 2006"), sayDays(s.Since.Sub(s.Came)))
}

func sayReceipt(s *cases.Stay) string {
	return "It came in on " + s.Came.Format("2 January 2006 15:04") + sayReceived(&s.Receipt.Body)
}

// sayReceived is what a receipt says beside when.
func sayReceived(b *cases.Receipt) string {
	text := ""
	if b.From != "" {
		text += ", from " + b.From
	}
	if b.Core {
		text += ", as a core for an exchange unit"
	}
	text += "."
	if b.Complaint != "" {
		text += " The sender says: " + quoted(strings.TrimRight(b.Complaint, ".")) + "."
	}
	if b.Condition != "" {
		text += " Its condition: " + strings.TrimRight(b.Condition, ".") + "."
	}
	return text
}

func sayStatement(b *cases.Contamination) string {
	text := "The sender states: " + cmp.Or(contaminationNames[b.State], plain(b.State))
	if b.With != "" {
		text += "; exposed to " + b.With
	}
	if b.How != "" {
		text += "; cleaned so: " + b.How
	}
	if b.From != "" {
		text += " (" + b.From + ")"
	}
	return text + "."
}

func sayVerdict(v string) string {
	return "As it came in, the unit is " + cmp.Or(verdictNames[v], plain(v)) + "."
}

// sayStep is a line of a unit's way: what, by whom, why. When stands before it.
func sayStep(s *cases.Step) string {
	text := shopStateNames[s.Move.To]
	if s.Event.By != "" {
		text += ", by " + s.Event.By
	}
	if s.Move.Why != "" {
		text += ": " + s.Move.Why
	}
	if s.Move.Record != "" {
		text += "; record " + s.Move.Record
	}
	if s.Move.Consent != "" {
		text += "; agreed by " + s.Move.Consent
	}
	return text
}

func sayWork(w *cases.Said[cases.Work]) string {
	b := w.Body
	text := fmt.Sprintf("%s: %s (%s)", plain(b.Section), b.Did, cmp.Or(workNames[b.As], plain(b.As)))
	if w.Event.By != "" {
		text += ", by " + w.Event.By
	}
	for _, p := range b.Parts {
		text += fmt.Sprintf("; renewed %d x %s", p.Number, p.Name)
		if p.Trace != "" {
			text += ", from " + p.Trace
		}
	}
	if b.Solder != "" {
		text += "; " + plain(b.Solder) + " solder"
	}
	if b.Cause != "" {
		text += "; cause " + b.Cause
	}
	if b.Minutes > 0 {
		text += "; " + Minutes(b.Minutes)
	}
	return text + "."
}

const titleRecords = "Bench records:"

func sayRecordOf(r *cases.Record) string {
	text := fmt.Sprintf("%s, issue %d", r.Number, r.Issue)
	if r.Verdict != "" {
		text += ": the unit is " + cmp.Or(verdictNames[r.Verdict], plain(r.Verdict))
	}
	if r.Why != "" {
		text += "; issued anew: " + r.Why
	}
	return text + "."
}

func sayOffered(o *cases.Offered) string {
	text := fmt.Sprintf("An offer was made on %s and holds up to %s.", o.Event.At.Format("2 January 2006"), wording.Day(o.Offer.Until))
	a := o.Answer
	switch {
	case a == nil:
		return text + " There is no answer yet."
	case a.Body.Way == "":
		text += " The customer has declined it"
	default:
		text += " The customer has chosen to " + cmp.Or(wayNames[ways.Kind(a.Body.Way)], plain(a.Body.Way))
	}
	text += ", " + a.Event.At.Format("2 January 2006")
	if a.Body.How != "" {
		text += ", " + a.Body.How
	}
	if a.Body.Order != "" {
		text += ", order " + a.Body.Order
	}
	if o.Late {
		text += ". That is after its last day, so it no longer counts: make a new offer, which may say the same"
	}
	return text + "."
}

func sayOfferedWay(o *cases.Offer, w *cases.OfferedWay) string {
	text := fmt.Sprintf("%s: %s %s", cmp.Or(wayNames[ways.Kind(w.Way)], plain(w.Way)), w.Price, o.Currency)
	if w.Hours != "" {
		text += fmt.Sprintf("; %s until the drop has its unit", countedText(w.Hours, "hour", "hours"))
	}
	if w.Warranty != "" && w.Warranty != "0" {
		text += fmt.Sprintf("; %s warranty", countedText(w.Warranty, "month's", "months'"))
	}
	return text + fmt.Sprintf("; comes to %s %s in all on the mean", w.Expected, o.Currency)
}

func sayMayGo(s cases.ShopState) string {
	var names []string
	for _, next := range s.MayFollow() {
		names = append(names, wording.Plain(string(next)))
	}
	return "It may go on to " + strings.Join(names, ", ") + "."
}

func sayStay(s *cases.Stay) string {
	text := s.Came.Format("2 January 2006")
	if s.Ended.IsZero() {
		return text + ": " + shopStateNames[s.State]
	}
	text += fmt.Sprintf(": %s on %s", shopStateNames[s.EndedAs], s.Ended.Format("2 January 2006"))
	if s.Verdict != "" {
		text += "; the unit was " + verdictNames[s.Verdict]
	}
	return text
}

func sayUnitOfList(c *cases.Card, now time.Time) string {
	s := c.Stay()
	text := fmt.Sprintf("%s: %s", sayUnitName(c.Unit), sayDays(now.Sub(s.Since)))
	if s.State.InShop() && !s.Came.Equal(s.Since) {
		text += fmt.Sprintf("; %s in the house", sayDays(now.Sub(s.Came)))
	}
	if s.Verdict != "" {
		text += "; " + verdictNames[s.Verdict]
	}
	if o := s.Offer(); o != nil && s.State == cases.ShopAwaiting {
		switch {
		case o.Answer != nil && o.Answer.Body.Way == "":
			text += "; the offer was declined"
		case o.Answer != nil:
			text += "; the answer is there"
		case o.Offer.LateOn(now, zoneOf(now)):
			text += "; the offer ended on " + wording.Day(o.Offer.Until) + " without an answer"
		default:
			text += "; the offer holds up to " + wording.Day(o.Offer.Until)
		}
	}
	if s.Statement == nil && s.State == cases.ShopReceived {
		text += "; no statement on contamination"
	}
	if len(c.Unfit) > 0 {
		text += "; some changes do not fit"
	}
	return text
}

func zoneOf(t time.Time) int { _, east := t.Zone(); return east / 60 }

func sayMonth(m *cases.Month) string {
	return fmt.Sprintf("The shop from %s to the end of %s.", m.From.Format("2 January 2006"), m.To.Add(-time.Nanosecond).Format("2 January 2006"))
}

// monthRows are the lines of the monthly table: what they count, and how.
var monthRows = []struct {
	id, says string
	value    func(*cases.MonthRow) string
}{
	{"received", "received", func(r *cases.MonthRow) string { return strconv.Itoa(r.Received) }},
	{"repeats", "of them back within 90 days", func(r *cases.MonthRow) string { return strconv.Itoa(r.Repeats) }},
	{"finished", "stays that ended", func(r *cases.MonthRow) string { return strconv.Itoa(r.Finished) }},
	{"no_fault_found", "no fault found", func(r *cases.MonthRow) string { return ofAll(r.Good, r.Finished) }},
	{"bad", "bad", func(r *cases.MonthRow) string { return ofAll(r.Bad, r.Finished) }},
	{cases.UnitNotProven, "not proven", func(r *cases.MonthRow) string { return ofAll(r.Unproven, r.Finished) }},
	{"not_judged", "no verdict", func(r *cases.MonthRow) string { return ofAll(r.Unjudged, r.Finished) }},
	{"released", "released", func(r *cases.MonthRow) string { return strconv.Itoa(r.Released) }},
	{"returned_unrepaired", "returned unrepaired", func(r *cases.MonthRow) string { return strconv.Itoa(r.Returned) }},
	{"scrapped", "scrapped", func(r *cases.MonthRow) string { return strconv.Itoa(r.Scrapped) }},
	{"core_accepted", "cores accepted", func(r *cases.MonthRow) string { return strconv.Itoa(r.Core) }},
	{"core_refused", "cores refused", func(r *cases.MonthRow) string { return strconv.Itoa(r.Refused) }},
	{"turnaround_days", "days in the house", func(r *cases.MonthRow) string { return tenths(r.Turnaround, r.Finished) }},
	{"customer_days", "days waiting for the customer", func(r *cases.MonthRow) string { return tenths(r.Asked, r.Finished) }},
	{"in_shop", "in the house at the end", func(r *cases.MonthRow) string { return strconv.Itoa(r.InShop) }},
	{"waiting", "of them awaiting the customer", func(r *cases.MonthRow) string { return strconv.Itoa(r.Waiting) }},
	{"longest_wait_days", "days that the longest has waited", func(r *cases.MonthRow) string { return tenths(r.Longest, r.Waiting) }},
}

// sayStory says an entry of a unit in words, after when and by whom.
func sayStory(c *cases.Card, e *cases.Event) string {
	text := sayStoryOf(e)
	if e.Corrects != "" {
		if i := slices.IndexFunc(c.Events, func(x cases.Event) bool { return x.ID == e.Corrects }); i >= 0 && e.Kind == cases.KindTakenBack {
			text = fmt.Sprintf("took back entry %d%s", i+1, text)
		} else if i >= 0 {
			text = fmt.Sprintf("in place of entry %d: %s", i+1, text)
		}
	}
	return text
}

// sayStoryOf says what an entry of a unit holds. What is not known here is given as it is kept.
func sayStoryOf(e *cases.Event) string {
	switch e.Kind {
	case cases.KindReceived:
		return storied(e, func(b cases.Receipt) string { return "came in" + sayReceived(&b) })
	case cases.KindMoved:
		return storied(e, func(b cases.Move) string { return sayStep(&cases.Step{Move: b}) })
	case cases.KindContamination:
		return storied(e, func(b cases.Contamination) string { return sayStatement(&b) })
	case cases.KindWork:
		return storied(e, func(b cases.Work) string { return "repair: " + sayWork(&cases.Said[cases.Work]{Body: b}) })
	case cases.KindOffer:
		return storied(e, func(b cases.Offer) string {
			text := "an offer was made, which holds up to " + wording.Day(b.Until)
			for i := range b.Ways {
				text += "; " + sayOfferedWay(&b, &b.Ways[i])
			}
			return text
		})
	case cases.KindAnswer:
		return storied(e, func(b cases.Answer) string {
			text := "the customer has declined"
			if b.Way != "" {
				text = "the customer has chosen to " + cmp.Or(wayNames[ways.Kind(b.Way)], plain(b.Way))
			}
			return strings.TrimRight(text+", "+b.How, ", ")
		})
	case cases.KindNote:
		return storied(e, func(b cases.Note) string { return "note: " + b.Text })
	case cases.KindReference:
		return storied(e, sayReferenceLine)
	case cases.KindRecord:
		return storied(e, func(b cases.Record) string { return "record " + sayRecordOf(&b) })
	case cases.KindTakenBack:
		return storied(e, func(b cases.Reason) string { return strings.TrimRight(": "+b.Why, ": ") })
	}
	return plain(string(e.Kind)) + " " + string(e.Body)
}

// storied says a body that can be read.
func storied[T any](e *cases.Event, say func(T) string) string {
	var b T
	if json.Unmarshal(e.Body, &b) != nil {
		return plain(string(e.Kind)) + " " + string(e.Body)
	}
	return say(b)
}

// ofAll is a count with its percentage of so many.
func ofAll(n, of int) string {
	if of == 0 {
		return "0"
	}
	return fmt.Sprintf("%d (%.0f%%)", n, 100*float64(n)/float64(of))
}

// tenths are days of n things, with a decimal; of none there is no figure.
func tenths(d time.Duration, n int) string {
	if n == 0 {
		return "-"
	}
	return strconv.FormatFloat(d.Hours()/24, 'f', 1, 64)
}

// Papers that go with a unit.

const (
	sayPaperBlank   = "............................................................"
	sayTickOne      = "Tick one and sign:"
	sayNoneOfThese  = "None of these."
	titlePaperUnit  = "The unit"
	titlePaperSays  = "What is wrong with it"
	titlePaperSet   = "Settings as found"
	titlePaperClean = "Contamination statement"
	titlePaperPack  = "Packing"
	titlePaperStays = "Still in place at the drop"
	titlePaperWays  = "What you can choose"
	titlePaperSign  = "Signed"
)

// contaminationBlanks are filled in by hand beside what is ticked.
var contaminationBlanks = map[string]string{
	cases.Decontaminated: " To what: .............................. How it was cleaned: ..............................",
	cases.Contaminated:   " With what: ..............................",
}

// returnWarnings stand above a return note: before the unit is taken out.
var returnWarnings = []string{
	"Isolate and prove dead by the site's rules before the unit is taken out; the field side can still feed a drop without its own supply. Lockout rules and licensed people first.",
	"Do not send a unit that may be contaminated with anything that harms people, unless the shop has agreed to it in writing.",
}

// packingAdvice is common practice, without a source.
var packingAdvice = []string{
	"In a closed antistatic bag, its connectors covered; at least five centimetres of padding on all sides, in a rigid box.",
	"Say on the box whether the unit holds a lithium cell, and ask the carrier for its rules; a swollen or leaking cell is not sent.",
	"Leave out what is not meant: modules, plugs and terminators stay at the drop unless they are listed here.",
}

func sayReturnNote(c *cases.Case) string { return "Return note, case " + cmp.Or(c.Code, c.ID) }

func sayReturnLead(c *cases.Case) string {
	return fmt.Sprintf("This paper goes into the box with the unit. The whole case goes by \"downdrop case hand-over %s --to bench\", so that the shop asks nothing again.", cmp.Or(c.Code, c.ID))
}

func sayOfferTitle(c *cases.Card) string { return "Offer for " + sayUnitName(c.Unit) }

func sayOfferLead(c *cases.Card, o *cases.Offered) string {
	text := fmt.Sprintf("Made on %s; it holds up to %s, that day included.", o.Event.At.Format("2 January 2006"), wording.Day(o.Offer.Until))
	if v := c.Stay().Verdict; v != "" {
		text += " " + sayVerdict(v)
	}
	return text
}

func sayUnknownEntries(n int) string {
	kept := "they are kept and go"
	if n == 1 {
		kept = "it is kept and goes"
	}
	return fmt.Sprintf("%s of a kind that this version of downdrop does not know; %s with the case.", counted(n, "entry"), kept)
}

func sayEntry(c *cases.Case, e *cases.Event, name string) string {
	return sayEntryAmong(c.Events, e, name)
}

func sayUnitEntry(c *cases.Card, e *cases.Event) string {
	if c.Void[e.ID] {
		return sayEntryAmong(c.Events, e, "") + " (no longer counts)"
	}
	return sayEntryAmong(c.Events, e, "")
}

// foldable is a body with a space behind each comma and colon between its parts, so that a line
// can be folded there.
func foldable(body []byte) string {
	var b strings.Builder
	quoted, escaped := false, false
	for _, c := range body {
		b.WriteByte(c)
		switch {
		case escaped:
			escaped = false
		case c == '\\':
			escaped = true
		case c == '"':
			quoted = !quoted
		case (c == ',' || c == ':') && !quoted:
			b.WriteByte(' ')
		}
	}
	return b.String()
}

func sayEntryAmong(events []cases.Event, e *cases.Event, name string) string {
	text := fmt.Sprintf("%s  %s", e.At.Format("2006-01-02 15:04:05"), plain(string(e.Kind)))
	if e.By != "" {
		text += " by " + e.By
		if name != "" {
			text += " (" + name + ")"
		}
	}
	if e.Place != "" {
		text += ", " + string(e.Place)
	}
	if e.Corrects != "" {
		if i := slices.IndexFunc(events, func(x cases.Event) bool { return x.ID == e.Corrects }); i >= 0 {
			text += fmt.Sprintf(", for entry %d", i+1)
		}
	}
	return text + "  " + foldable(e.Body)
}

func saySettingsOf(c *cases.Case) string {
	return "Settings of the unit, " + inSentence(sayCaseOpened(c)) + ". Fill in by hand what is not read; send it with the unit."
}

func sayHandOver(c *cases.Case) string {
	return sayCaseOpened(c) + " Handed over; paste all of the capital letters below into \"downdrop case receive\", or scan them as codes (--qr)."
}

func sayCannotClose(code string) string { return "Case " + code + " cannot be closed yet:" }

func sayUnexplained(b *rulebase.Base, c *cases.Case, symptom string) string {
	value := ""
	for _, f := range c.Situation.Findings {
		if f.Symptom == symptom {
			value = " = " + cmp.Or(f.Read, valueText(f.Value))
		}
	}
	return fmt.Sprintf("  %s%s is not explained by what was proven. Name its cause as well, or accept it: downdrop case accept %s %s --why \"...\"", symptom, value, c.Code, symptom)
}

func sayStands(c *cases.Case, n int, p cases.PutIn) string {
	return fmt.Sprintf("  %s is still in place. Take it out and say so: downdrop case take-out %s %d; or accept it: downdrop case accept %s %d --why \"...\"", sayPutIn(p, false), c.Code, n, c.Code, n)
}

// Charts.

const (
	sayDropWell        = "the drop is well"
	sayDropStillDown   = "it is still down"
	sayEndWell         = "done; watch it as long as the proof says"
	sayEndNothingWrong = "nothing is wrong; leave it as it is"
	sayEndImpossible   = "this does not fit together: begin again, and look at everything once more"
)

func sayChartTitle(s rulebase.Situation) string {
	title := "Fault-finding chart"
	switch s.At {
	case rulebase.Phone:
		title += ", to be asked by phone"
	case rulebase.Field:
		title += ", at the drop"
	case rulebase.Bench:
		title += ", on the bench"
	}
	switch {
	case s.Who != rulebase.Anybody:
		title += ", for " + aPerson(s.Who.String())
	case s.Alone:
		title += ", for somebody"
	}
	if s.Alone {
		title += " alone"
	}
	return title + "."
}

func sayChartBegins(known []string) string {
	return "It begins where this is known: " + strings.Join(known, "; ") + "."
}

func sayChartStill(what string) string { return "STILL IN PLACE: " + what + "." }

func sayOfHundred(share float64) string {
	switch {
	case share >= 0.995:
		return "all"
	case share >= 0.0095:
		return fmt.Sprintf("%.0f in 100", share*100)
	}
	return fmt.Sprintf("%.0f in 1,000", max(share*1000, 1))
}

func sayChartShare(share string) string {
	if share == "all" {
		return "Begin here."
	}
	return share + " come here."
}

func sayChartSettles(t *engine.ChartTree) string {
	const least = 0.001 // of all cases: fewer are not told
	settled := sayOfHundred(t.Settled) + " cases"
	switch {
	case t.Settled < least:
		settled = "no case"
	case settled == "all cases" && 1-t.Settled >= least:
		settled = "nearly all cases"
	}
	says := "It settles " + settled
	if t.Sent >= least {
		says += fmt.Sprintf("; %s end the call with somebody sent", sayOfHundred(t.Sent))
	}
	if rest := 1 - t.Settled - t.Sent; rest >= least {
		says += fmt.Sprintf("; %s end in handing over, with what is likeliest then", sayOfHundred(rest))
	}
	return says + "."
}

func sayChartRoot(t *engine.ChartTree, kind ChartKind) string {
	says := fmt.Sprintf("Expected along it: %s", Minutes(t.Root.Minutes))
	if kind.Identify {
		says += " of tests"
	}
	switch {
	case t.Root.Proven:
		says += "; no order of steps takes less (proven)"
	case kind.Optimal && t.Root.Bound > 0:
		says += fmt.Sprintf("; not proven to be the least, which is at least %s minutes: a gap of %s", figure(t.Root.Bound), figure(t.Root.Minutes-t.Root.Bound))
	case kind.Optimal:
		says += "; not proven to be the least, and no bound was found"
	}
	return says + "."
}

func sayChartFoot(b *rulebase.Base) string {
	return fmt.Sprintf("Made from rulebase %s, version %d, %.8s. A chart knows less than downdrop itself: where it hands over, go on there.", b.Name, b.Version, b.Digest)
}

func sayChartFurther(read string) string { return "Of the same: " + read }

func sayChartConfirm(says string) string { return "Confirm first, word for word: " + says }

func sayGoTo(n int) string { return fmt.Sprintf("go to %d", n) }

func sayAnythingBut(not []string) string {
	if len(not) == 0 {
		return "whatever it is"
	}
	return "anything but " + orList(not)
}

func sayBand(limits []float64, band int, unit string) string {
	number := func(x float64) string { return strings.TrimSpace(figure(x) + " " + unit) }
	switch {
	case band == 0:
		return "below " + number(limits[0])
	case band == len(limits):
		return number(limits[len(limits)-1]) + " or more"
	}
	return number(limits[band-1]) + " to " + number(limits[band])
}

func sayEndHandOver(likely []string) string {
	if len(likely) == 0 {
		return "hand over; nothing stands out"
	}
	return "hand over, and say what is likeliest: " + strings.Join(likely, "; then ")
}

func sayTakesElsewhere(w engine.Withheld) string {
	switch w.Why {
	case engine.WhyPerson:
		return "for " + aPerson(w.Detail)
	case engine.WhyTools:
		return "lacking here: " + plain(w.Detail)
	case engine.WhyPlace:
		switch rulebase.Place(w.Detail) {
		case rulebase.Field:
			return "to be done at the drop"
		case rulebase.Bench:
			return "to be done on the bench"
		}
	}
	return ""
}

func sayEndShort(end engine.ChartEnd) string {
	switch end {
	case engine.ChartWell:
		return "done"
	case engine.ChartEnough, engine.ChartNothingWrong:
		return "enough"
	case engine.ChartDisposition:
		return "the call ends"
	case engine.ChartImpossible:
		return "begin again"
	}
	return "hand over"
}

func sayDoorProof(minutes float64) string {
	return fmt.Sprintf("Watch it for %s.", strings.TrimPrefix(Minutes(minutes), "about "))
}

const sayChartReadOn = "Read on"

// sayDrawnFrom is what stands below a number: those that lead there.
func sayDrawnFrom(numbers []string) string { return "from " + strings.Join(numbers, ", ") }

const sayDoorLegend = "The whole of what a step says with a letter:"

const sayDoorBlank = "Cabinet ____________________ Drop ____________ Put up by ____________________ Date ______________"

// sayDoorConfirm asks for words to be confirmed; "" are those that stand above.
func sayDoorConfirm(says string) string {
	if says == "" {
		return "Have the warning confirmed word for word first."
	}
	return sayChartConfirm(says)
}

// sayDoorNeeds is what has to be known of a step even where room is short and its
// warnings stand above: who may do it, what it stops.
func sayDoorNeeds(s *rulebase.Step) string {
	short := *s
	short.Needs, short.BringsBack = nil, false
	_, says, _ := strings.Cut(sayPrice(&short), ". ")
	return says
}

func sayDoorHandOver(likely []string) string {
	if len(likely) == 0 {
		return "hand over"
	}
	return "hand over; likeliest then: " + strings.Join(likely, "; ")
}

// Contests.

const (
	rowPlusOrMinus = "    plus or minus"
	rowAgainst     = "against permissions"
	rowUnitsInVain = "units in vain, of those out"
	rowAnswers     = "answers, at the median"
	rowAllMinutes  = "minutes, with what follows"
	rowEndedRight  = "ended rightly, of 100"
)

var contestShort = map[string]string{"swap_unit_first": "swap", "checklist": "checklist", "good_technician": "technic.", "greedy": "greedy", "optimal": "optimal", "default": "default"}

func sayContest(b *rulebase.Base, cases int, seed uint64) string {
	return fmt.Sprintf("Rulebase %s, version %d: rivals against the same %d simulated breakdowns, seed %d.", b.Name, b.Version, cases, seed)
}

func sayContestOf(x *rehearse.Comparison) string {
	where := map[rulebase.Place]string{rulebase.Phone: "By phone, up to how the call ends", rulebase.Field: "At the drop, up to a working drop", rulebase.Bench: "On the bench"}[x.Place]
	return where + ". " + variantSays[x.Variant] + "."
}

func saySaves(x *rehearse.Comparison, r int) string {
	m := x.Saves(r, len(x.Rivals)-1)
	return fmt.Sprintf("Against %s the default saves %.0f %% of its minutes (95 %% interval %.0f to %.0f).", plain(x.Rivals[r].Name), 100*m.Value, 100*m.Low, 100*m.High)
}

// sayContestFoot says what the rivals are.
func sayContestFoot(x *rehearse.Comparison) string {
	for i := range x.Rivals {
		if x.Rivals[i].Optimal > 0 {
			return sayRivals + " optimal: the best there is, by search, at the drop; by phone as the default."
		}
	}
	return sayRivals + " The best order there is cannot be worked out for so many causes; rulebases of a few causes have it among the rivals."
}

const sayRivals = "swap: the unit is exchanged first, then the checklist. checklist: power, lights, handheld, rate and address, wiring and termination, controller, module, unit. technic.: extent, lights, what changed, supply, halving the line, swap last. greedy: what tells most for each minute. All have the same permissions, proof and word for enough."

// Replay.

const (
	sayReplayByCause = "By what it turned out to be, what was first the least often on top (the mean chance it was given at the end, and how many entries earlier it was first for good):"
	sayByCauseHead   = "  cases  first  in three  chance  earlier  turned out to be"
	sayBinsHead      = "  chance of the first   it was that in   by chance alone      cases"
	sayFloorFirst    = "first"
	sayFloorInThree  = "among the first three"
	sayWorseHead     = "What got worse:"
	sayBetterHead    = "What got better:"
	plotSaid         = "chance given to what was first"
	plotRightIn      = "it was that"
	sayPlotBars      = "Bars: 95 of 100 times chance alone leaves right forecasts within them."
	sayPlotPoints    = "Points: what was seen; the number beside a point is that of its cases. Broken line: chances that come true."
)

func sayReplay(b *rulebase.Base, s *cases.Score) string {
	says := fmt.Sprintf("Rulebase %s, version %d, over %s.", b.Name, b.Version, counted(s.Cases, "closed case"))
	if s.Cases == 0 {
		says += " There is nothing to try it on yet: close cases with the cause that was proven."
	}
	if s.Unknown > 0 {
		says += fmt.Sprintf(" In %d more nothing was proven that this rulebase knows.", s.Unknown)
	}
	return says
}

func sayReplayRanks(s *cases.Score) string {
	says := fmt.Sprintf("What it turned out to be stands first in %d of %d, among the first three in %d.", s.First, s.Cases, s.InThree)
	if s.Acted > 0 {
		says += fmt.Sprintf(" When the last work was chosen it stood first in %d of %d.", s.ActedFirst, s.Acted)
	}
	return says + fmt.Sprintf(" It could have been known %.1f entries earlier on the mean, %.1f of them tests or work.", s.Earlier, s.TestsEarlier)
}

func sayReplayScores(s *cases.Score) string {
	says := fmt.Sprintf("How good the chances are: log score %.3f nats, Brier score over all causes %.3f, mean reciprocal rank %.3f; of what is ranked first, Brier score %.3f and calibration error %.3f.",
		s.Log, s.Brier, s.ReciprocalRank, s.Calibration.Brier, s.Calibration.ECE)
	if s.Clamped > 0 {
		says += fmt.Sprintf(" In %s what was proven had been held impossible; it counts as a chance of one in a million.", counted(s.Clamped, "case"))
	}
	return says
}

func sayByChance(c *cases.Calibration) string {
	verdict := "That is within what chance alone does"
	if c.ECE > c.ByChanceHigh {
		verdict = "That is more than chance alone does"
	}
	return fmt.Sprintf("%s: over %s, chances that are right as they stand err by %.3f on the mean, and by less than %.3f in 95 of 100.", verdict, counted(c.Cases, "case"), c.ByChance, c.ByChanceHigh)
}

func sayPlotChance(c *cases.Calibration) string {
	return fmt.Sprintf("Calibration error %.3f; by chance alone %.3f on the mean, and less than %.3f in 95 of 100.", c.ECE, c.ByChance, c.ByChanceHigh)
}

func sayBin(b *cases.Bin) string {
	says := fmt.Sprintf("  %17.0f %%   %12.0f %%   %4.0f to %3.0f %%   %8d", 100*b.Forecast, 100*b.Frequency, 100*b.Low, 100*b.High, b.Cases)
	if b.Frequency < b.Low || b.Frequency > b.High {
		says += "  outside"
	}
	return says
}

func sayByCauseRow(c *cases.CauseScore) string {
	return fmt.Sprintf("  %5d  %5d  %8d  %4.0f %%  %7.1f  ", c.Cases, c.First, c.InThree, 100*c.True, c.Earlier)
}

func sayInstead(other string, n int) string { return fmt.Sprintf("%s was first in %d", other, n) }

func sayFloor(what string, share, least float64) string {
	return fmt.Sprintf("What it turned out to be is %s in %s of the cases; at least %s were asked for.", what, percent(share), percent(least))
}

func sayWorse(c *cases.Compared) string {
	return fmt.Sprintf("%s (%s): place %s, was %s; first for good from %s, was %s.", c.After.ID, strings.Join(c.After.Causes, " and "),
		sayPlace(c.After), sayPlace(c.Before), sayKnownFrom(c.After), sayKnownFrom(c.Before))
}

func sayPlace(r *cases.Replayed) string {
	if r.Last() < 1 {
		return "none"
	}
	return strconv.Itoa(r.Last())
}

func sayKnownFrom(r *cases.Replayed) string {
	if r.KnownFrom < 0 {
		return "never"
	}
	return fmt.Sprintf("entry %d", r.KnownFrom)
}

func sayNotInThree(r *cases.Replayed) string {
	return fmt.Sprintf("%s (%s) stands at place %s; %s is first.", r.ID, strings.Join(r.Causes, " and "), sayPlace(r), r.FirstCause)
}

func sayReplayAgainst(what string, v *cases.Versus) string {
	if v.Cases == 0 {
		return fmt.Sprintf("Against %s: no case is known to both.", what)
	}
	mean, around := v.Gain()
	return fmt.Sprintf("Against %s, over %s: %d got worse, %d got better. The chance of what was proven rose by a factor of %.2f on the (geometric) mean, 95 %% interval %.2f to %.2f.",
		what, counted(v.Cases, "case"), len(v.Worse), len(v.Better), math.Exp(mean), math.Exp(mean-around), math.Exp(mean+around))
}

// At the bench.

const (
	sayBenchStep         = "Step %d of %d: %s (%s; %s left)"
	sayBenchRestNotDone  = ", the rest not done: %s"
	sayBenchInPlace      = "Still in place: %s."
	sayBenchConnect      = "Connect"
	sayBenchSet          = "Set"
	sayBenchDo           = "Do"
	sayBenchExpect       = "Expect"
	sayBenchReadAsk      = "Read the warning. Can you keep to it?"
	sayBenchToolAsk      = "Which %s is it read with, and until when is it calibrated?"
	sayBenchReleaseAsk   = "%s. Take it out; the run does not end before."
	sayBenchRead         = `Type "read" when you have read the warning and keep to it.`
	sayBenchTool         = "Which %s, and until when is it calibrated? As in: meter 3 until 2027-03-01"
	sayBenchRelease      = `%s. Take it out, then type "out".`
	sayBenchPoints       = "%d points; all pass, or exceptions: 7, 9-11"
	sayBenchErrors       = "as in: 0 of %d"
	sayBenchCountOn      = `Shown so far: under %s. With no further error, %d messages in all are enough. Type the whole count then, or "enough".`
	sayBenchNumbered     = "%d %s"
	sayBenchLimits       = "wanted: %s"
	sayBenchShareBelow   = "under %s at 95 %%"
	sayBenchBetween      = "%s to %s"
	sayBenchExactly      = "exactly %s"
	sayBenchLeast        = "at least %s"
	sayBenchMost         = "at most %s"
	sayBenchNoLimit      = "not in the unit profile"
	sayBenchPass         = "Pass: %s."
	sayBenchFail         = "FAIL: %s."
	sayBenchNotShown     = "Not shown: %s."
	sayBenchRecorded     = "Noted: %s."
	sayBenchLacks        = "Not shown: %s; the unit profile gives no %s to hold it against."
	sayBenchAllPoints    = "all %d points pass"
	sayBenchExceptions   = "%d of %d points pass; exceptions: %s"
	sayBenchBound        = "%d wrong of %s, which shows under %s at 95 %%"
	sayBenchNotDone      = "Not done: %s."
	sayBenchUndone       = "Taken back; both stay in the run."
	sayBenchNoted        = "Noted."
	sayBenchUncalibrated = "%s, not calibrated: the record will say so."
	sayBenchLate         = "%s, whose calibration ended on %s: the record will say so."
	sayBenchCalibrated   = "%s, calibrated until %s."
	sayBenchNoFurther    = "After this nothing more is done but to take out what was put in."
	sayBenchPutIn        = "In place now: %s."
	sayBenchPerhaps      = "%s (perhaps: its step was left out)"
	sayBenchPutInPerhaps = "Perhaps in place now, and to be taken out before the run ends: %s."
	sayBenchTakenOut     = "No longer so: %s."
	sayBenchNoCause      = "The diagnosis has no cause for this that goes with the rest."
	sayBenchUnit         = "The diagnosis: that it is the unit is %s."
	sayBenchLikely       = "Likely: %s."
	sayBenchOpen         = "The run is not at its end; about %s are left."
	sayBenchNotTested    = "What this check does not test:"
	sayBenchStill        = "Still in place, and to be taken out before the unit leaves the bench:"
	sayBenchHead         = "%s, version %d, on %s."
	sayBenchSerial       = "Serial number %s."
	sayBenchNote         = "Note: %s"
	sayBenchShow         = "%s (%s, version %d): %s, %s."
	sayBenchProves       = "It shows: %s"
	sayBenchForUnit      = "With the limits of %s (%s)."
	sayBenchShowStep     = "%d. %s (%s)"
	sayBenchWhen         = "Only when %s."
	sayBenchWith         = "with the %s"
	sayBenchProcedures   = "Procedures:"
	sayBenchProfiles     = "Unit profiles:"
	sayBenchProcedureRow = "%s; version %d, %s, %s"
)

// benchAsks are the questions before the first step.
var benchAsks = map[string]string{
	"by":              "Who is at the bench? Your id in the store, never a name.",
	"intermittent":    "Does the complaint come and go? (yes, no)",
	"returned_before": "Was this unit in the shop before? (yes, no)",
}

var benchVerdicts = map[rulebase.Verdict]string{
	bench.Good:      "Verdict: good.",
	bench.Bad:       "Verdict: bad.",
	bench.NotProven: "Verdict: not proven good, and not shown bad.",
}

var benchOutcomes = map[bench.Outcome]string{
	bench.Open: "not finished", bench.Passed: "pass", bench.Failed: "FAIL", bench.Recorded: "noted", bench.NotShown: "not shown",
	bench.Skipped: "not done", bench.NotReached: "not reached", bench.NotMeant: "does not apply to this unit",
}

// Lessons.

const (
	sayWeightsHead    = "  rulebase  proposed  proven  expected  cause"
	sayNothingLearned = "No number disagrees with experience: there is nothing to propose."
	sayPatchAsk       = "Nothing was applied. --patch FILE writes the proposal as a layer of YAML, with the cases behind each change, to be read and laid over the rulebase."
	sayRulebaseAsIs   = "the rulebase as it is"
	sayHeldNothing    = "On cases that were not learned from nothing could be tried: no part of them proposes a change."
)

func sayLessons(l *learn.Lessons) string {
	if l.Cases == 0 {
		return fmt.Sprintf("Rulebase %s, version %d: there is no closed case yet to learn from. Close cases with the cause that was proven.", l.Base.Name, l.Base.Version)
	}
	says := fmt.Sprintf("Rulebase %s, version %d, and what %s say of its numbers. A row of the rulebase is worth %s, its table of causes %s; intervals hold %s. A number disagrees where it lies outside its interval and what was seen would be rare were it right.",
		l.Base.Name, l.Base.Version, counted(l.Cases, "closed case"), counted(int(l.Options.Worth), "case"), counted(int(l.Options.WorthWeights), "case"), percent(l.Options.Level))
	if l.Days > 0 {
		low, high := l.PerDay.Interval(l.Options.Level)
		says += fmt.Sprintf(" Opened from %s to %s: %.1f cases in 30 days, interval %.1f to %.1f.", l.From.Format(time.DateOnly), l.To.Format(time.DateOnly), 30*l.PerDay.Mean(), 30*low, 30*high)
	}
	return says
}

func sayPatched(file string) string {
	return fmt.Sprintf("Nothing was applied. The proposal is in %s: once somebody has read it, put it into a folder of its own and lay that over the rulebase with --rulebase.", file)
}

func sayWeights(l *learn.Lessons, disagree int) string {
	return fmt.Sprintf("Weights, per thousand: %d looked at, %d disagree with experience.", l.WeightsLookedAt, disagree)
}

func sayLearnedWeight(l *learn.Lessons, w *learn.Weight) string {
	id := "outside"
	if w.Cause >= 0 {
		id = l.Base.Causes[w.Cause].ID
	}
	return fmt.Sprintf("  %8.4g  %8.4g  %6.4g  %8.1f  %s", w.PerThousand, w.AfterPerThousand, w.Hits, w.Rulebase*w.Trials, id)
}

func sayRows(l *learn.Lessons, disagree int) string {
	return fmt.Sprintf("Rows: of %s numbers in %s something was seen, and %d disagree with experience. Of numbers that are right, less than %s would by chance alone.",
		strconv.Itoa(l.NumbersLookedAt), counted(len(l.Rows), "row"), disagree, percent(1-l.Options.Level))
}

func sayLearnedRow(l *learn.Lessons, r *learn.Row) string {
	s := &l.Base.Symptoms[r.Symptom]
	if when := s.Shows[r.Row].When; when != nil {
		return fmt.Sprintf("%s, row %d (%s), in %s:", s.ID, r.Row+1, when.Text, counted(len(r.Cases), "case"))
	}
	return fmt.Sprintf("%s, row %d (otherwise), in %s:", s.ID, r.Row+1, counted(len(r.Cases), "case"))
}

func sayLearnedNumber(l *learn.Lessons, r *learn.Row, n *learn.Number) string {
	return fmt.Sprintf("%s: %.3g in the rulebase, seen in %.4g of %.4g; now %.3g, interval %.2g to %.2g", l.Base.Symptoms[r.Symptom].Values[n.Value], n.Rulebase, n.Hits, n.Trials, r.After[n.Value], n.Low, n.High)
}

func sayHeld(h *learn.Held, before, after *cases.Score) string {
	return fmt.Sprintf("On cases that were not learned from (%d parts, each learned from all others; %d of them propose changes): what it turned out to be was first in %d of %d and would be in %d, among the first three in %d and would be in %d; log score %.3f, would be %.3f nats; Brier score %.3f, would be %.3f.",
		h.Folds, h.Patched, before.First, before.Cases, after.First, before.InThree, after.InThree, before.Log, after.Log, before.Brier, after.Brier) + sayWorthIt(before, after)
}

func sayWorthIt(before, after *cases.Score) string {
	if after.Log >= before.Log {
		return " That is no gain: these cases are too few to outweigh what the rulebase says; a larger --worth holds on to more of it."
	}
	return " That is a gain on cases that were not learned from."
}

// Bench records.

const (
	sayRecordTitle        = "Bench record"
	sayRecordNumber       = "%s, issue %d"
	sayRecordReissue      = "This issue stands for issue %d, whose digest was %s. Why: %s."
	sayRecordNotSaid      = "not said"
	sayRecordThen         = ", then "
	sayRecordOnly         = "These results concern the unit named here only, in the state in which it was tested."
	sayRecordRule         = "A reading is held against its limit as it was read; the instrument's own error is neither added nor taken off. A count of errors is reported as the share that it proves not to be reached, at 95 % (Clopper and Pearson, exact)."
	sayRecordSafety       = "Nothing here says that something is safe. Local codes, lockout rules and licensed people come first."
	sayRecordSign         = "%s: %s"
	sayRecordChain        = "Chain of site %s at event %d: %s"
	sayRecordChainNew     = "Chain of site %s, before its first event"
	sayRecordUncalibrated = "not calibrated"
	sayRecordLate         = "calibration ended on %s, before it was used"
	sayRecordCalibrated   = "calibrated until %s"
	sayRecordRestNotDone  = "Step %d, %s: failed, and the rest of it not done. %s."
	sayRecordSkipped      = "Step %d, %s: not done. %s."
	sayRecordNotReached   = "Step %d, %s: not reached, since a step before it failed."
	sayRecordNotMeant     = "Step %d, %s: does not apply to this unit by its profile and what was said of it."
	sayRecordTakenBack    = "Entries taken back at the bench: %d. They stand in the run's file with what replaced them."
	sayRecordNone         = "None."
	sayRecordDeviations   = "Deviations and remarks"
	sayRecordShows        = "What this check shows where it is passed"
	sayRecordNotTested    = "What was not tested"
	sayRecordSite         = "What this leaves open"
	sayRecordSiteCauses   = "That the unit passed does not say why the drop was down: supply, wiring, terminators, settings and configuration of the site are not excluded."
	sayRecordCode         = "Number and digest of this record as a code for cameras"
	sayRecordEnd          = "End of record %s"
	sayRecordPage         = "page %d of {pages}"
	sayRecordDigest       = "Digest %s"
	headComplaint         = "The complaint, in the sender's words"
	headReadings          = "Steps and readings"
	headInstruments       = "Instruments"
	headNumber            = "No."
)

// recordColumns head the columns of steps and readings.
var recordColumns = []string{"Step, reading", "Wanted", "Read", "With", "Came to"}

// Cases that are alike.

const (
	sayNothingToCompare = "Nothing was seen of it yet that speaks for one cause more than for another: there is nothing to compare."
	sayNoneAlike        = "No closed case is like it: none whose findings speak for the same causes."
	sayTurnedOut        = "What these turned out to be:"
)

func sayAlike(of, n int) string {
	return fmt.Sprintf("Of %s the %d most like it, by the causes that their findings speak for. The percentage is the chance that both have the same cause, were all causes as likely to begin with.", counted(of, "closed case"), n)
}

func sayBoth(b *rulebase.Base, causes []int) string {
	var names []string
	for _, c := range causes {
		names = append(names, b.Causes[c].ID)
	}
	return "Both speak for " + strings.Join(names, ", ") + "."
}

func sayEcho(s *rulebase.Sheet, e *sheet.Echo) string {
	return fmt.Sprintf("%s: a step of %s from a driver of about 60 ohm, on a cable of %s, is at %s after %s.", s.Name, "3 V", quantity.FormatRounded(float64(e.ImpedanceOhm), "ohm", 3), echoEnd(e), quantity.FormatRounded(float64(e.Step.Transit), "s", 4))
}

// shareBack is what an end sends back, in %.
func shareBack(ohm line.Ohm, e *sheet.Echo) string {
	percent := math.Round(100 * line.Reflection(ohm, e.ImpedanceOhm))
	if percent == 0 {
		return "nothing"
	}
	return fmt.Sprintf("%+.0f %%", percent)
}

// echoEnd is what the step runs to.
func echoEnd(e *sheet.Echo) string {
	if e.Device {
		return "the device in the line"
	}
	return "the far end"
}

func sayEchoMeans(e *sheet.Echo) string {
	over := e.Overshoot()
	says := fmt.Sprintf("At the far end it swings %.0f %% past where it rests.", 100*over)
	switch {
	case over > 0.25:
		says += " Ringing like that is felt: look at the terminators."
	case over > 0.1:
		says += " That is borne."
	default:
		says = "The far end goes straight to where it rests."
		if math.Abs(line.Reflection(e.Step.Load, e.ImpedanceOhm)) > 0.15 {
			says = "The far end climbs in steps to where it rests: something of a lower resistance than the cable closes it."
		}
	}
	return says
}
