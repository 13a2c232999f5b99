package conversation

import (
	"fmt"
	"maps"
	"math"
	"slices"
	"sort"
	"strconv"
	"strings"

	"downdrop/cmd/internal/wording"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// This file is every sentence the conversation says, so that they can be read,
// checked and changed in one place. Commands and ids stand in quotes.

var sayOpening = []string{
	"Who is there, and what is known already? Say it in one go, in your own words:",
	"  who and where: operator, electrician, technician or engineer; on the phone, at the drop or at a bench; alone or not; tools at hand",
	`  what was seen: "power light dark, run light dark, 23.8 V at the drop"`,
	`  how every drop is: "1-4 good, 5 dead, 6-7 come and go"`,
	`An empty line starts the questions; "help" says what else can be said.`,
}

var sayHelp = []string{
	`An answer     its number, its first letters, or any other finding: "run light dark", "pair_ohms=148 ohm"`,
	`A reading     as the instrument shows it, with its unit: "23.8 V", "4k7", "OL", "below 5 ohm", "jumps 3 to 40 ohm"`,
	`How sure      "I think ...", "not sure"; who saw it: "he says ...", "the operator says ..."`,
	`Other drops   "1-4 good, 5 dead", "order 3 1 5 2", "supply 1 3", "this is drop 5", "drop 4: power light lit"`,
	`Who is there  "technician, at the drop, alone", "I have a meter", "an electrician is here"`,
	`A relief      "somebody else takes over, technician, not alone": what was confirmed before a step is asked anew`,
	`A step        "done", "done and 12.1 V", "done, still down", "done, works now", "skip", "do" and its name`,
	`A warning     "confirm" and its name, once what it says is so`,
	`Passing over  "don't know"; taking back: "undo"`,
	`Asking back   "why", "why not" and a cause or step, "what else", "what would you need", "details", "known", "list" and a word`,
	`Stopping      "save" and a name stops and saves the case; "quit" only stops`,
}

const (
	sayDontKnow       = "don't know"
	sayNoneOfThese    = "none of these"
	sayAskPlace       = "Where are you?"
	sayAskWho         = "Whose hands are on the equipment?"
	sayAskAlone       = "Is somebody with you?"
	sayIsAlone        = "no, alone"
	sayIsNotAlone     = "yes, not alone"
	sayAskThisDrop    = "Which of the drops is this about?"
	sayAskDropNow     = "What does the drop do now?"
	sayWorksNow       = "it works now"
	sayStillDown      = "it is still down"
	sayNotLooked      = "nobody has looked"
	sayStaysWell      = "it stays well"
	sayDownAgain      = "it is down again"
	sayNotAll         = "it does not work, or not all of it"
	sayNotWatched     = "nobody can watch it"
	sayNotNow         = "not now"
	sayDoneAnswer     = "done"
	sayDoneWorks      = "done, works now"
	sayDoneDown       = "done, still down"
	sayCannotDo       = "cannot be done now"
	sayWhatElse       = "what else is there?"
	sayWhatNeed       = "what would be needed for more?"
	saySaveAnswer     = "stop and save as a case file"
	sayQuitAnswer     = "stop without saving"
	sayBackTo         = "back to what was asked"
	sayWhichElse      = "Also on offer; a number takes it up:"
	sayHedgeNext      = "what follows is not sure"
	sayGivenCertain   = " (taken as certain: how sure can only be said of what was seen)"
	sayDoneAgain      = "; it was done before, so what was seen after the first time now counts as seen after this time"
	sayNoComplaint    = "this rulebase does not say when a drop is well"
	sayBadOrder       = "an order names each drop once, from the host outwards: \"order 3 1 5 2\""
	sayBadAddress     = "a drop's address is a whole number from 1 to 9999, and a list holds at most 300 of them"
	saySameAsWhat     = "the same as what? Say how it is now"
	sayWhichOthers    = "which drops are they? Name them: \"6-9 good\", \"2 and 3 dead\""
	sayEntryTooLong   = "longer than one entry can be; say it in parts"
	sayHowSure        = "how sure somebody is stands behind @ as a number above 0 and up to 1, as in @0.8; what is not so at all, say as it is"
	sayNothingToSkip  = "there is nothing here to pass over"
	sayNothingToUndo  = "There is nothing to take back."
	sayUndone         = "Taken back."
	sayResultWanted   = "it was done already, and what it showed is asked for here."
	sayOnlyIfSeen     = "Only if it was looked at or measured before: touch and open nothing for this question. A step for it comes with its warnings."
	sayNamedInEntry   = "An entry named it, without saying how it is."
	sayWhatFor        = `it fits nothing asked here; "list" and a word shows what is`
	sayAQuestion      = "that is a question; say what is seen or known, or \"don't know\""
	sayEachByItself   = "what is left out of it may be meant otherwise; say each by itself"
	sayWhichDropNot   = "which drop was not meant? Say how each is: \"5 good, 6 dead\""
	sayNotAllWell     = "not put down: beside it something is said not to work, or not always"
	sayWasBefore      = "that was before; say what it does now"
	sayNoStepCalled   = "no one step here is called that; \"what else\" gives those on offer"
	sayDoneWhat       = "no step is in hand; name what was done: \"done\" and its id"
	sayNotCounted     = "not taken in"
	sayLeftOut        = "left out, since something else was said"
	sayQuit           = "Stopped. Nothing was saved."
	sayImpossible     = "Nothing in this rulebase allows all that was said; \"details\" names what cannot go together."
	sayNeedNothing    = "Nothing: no step that could still tell anything is withheld."
	sayOtherDropTail  = "kept beside, not weighed"
	sayNothingAgainst = "Nothing said so far, taken by itself, speaks against it: it is rarer than the others, or several findings together do."
)

var sayAskDrops = []string{`How are the drops on this line? In one entry: "1-4 good, 5 dead, 6-7 come and go".`,
	`If known, add the order along the cable ("order 3 1 5 2") and who shares a supply ("supply 1 3").`}

var placeNames = map[rulebase.Place]string{rulebase.Phone: "on the phone", rulebase.Field: "at the drop", rulebase.Bench: "at the bench"}

// placeEntries are entries that say where one is.
var placeEntries = placeNames

var whoNames = map[rulebase.Who]string{rulebase.Operator: "operator", rulebase.Electrician: "electrician", rulebase.Technician: "technician", rulebase.Engineer: "engineer"}

// minutes says the minutes written in a rulebase, which are what they are.
func minutes(m float64) string {
	if m == 1 {
		return "1 minute"
	}
	return strconv.FormatFloat(m, 'g', -1, 64) + " minutes"
}

func lower(s string) string { return strings.ToLower(s) }

func listOf(numbers []int) string {
	words := make([]string, len(numbers))
	for i, n := range numbers {
		words[i] = strconv.Itoa(n)
	}
	return strings.Join(words, ", ")
}

// What was heard.

// SaysUnderstood heads what was understood; each line below it is set in.
const SaysUnderstood = "Understood:"

// addHeard writes what became of each part of the entry.
func (r *Reply) addHeard() {
	var good, bad []string
	for _, h := range r.Heard {
		switch {
		case h.Outcome == Understood:
			good = append(good, "  "+h.Means)
		case h.Outcome == Unclear && h.Means == firstOf(r.Question.Says): // the question says it
		case h.Outcome == Unclear && h.Means != "":
			bad = append(bad, fmt.Sprintf("Not clear: %q: %s", shorten(h.Text), h.Means))
		default:
			bad = append(bad, fmt.Sprintf("Not understood: %q: %s.", shorten(h.Text), strings.TrimRight(h.Means, ".")))
		}
	}
	if len(good) > 0 {
		r.add(PartHeard, append([]string{SaysUnderstood}, good...)...)
	}
	r.add(PartNotHeard, bad...)
}

// shorten keeps an echo of a long text readable.
func shorten(s string) string {
	if r := []rune(s); len(r) > 100 {
		return string(r[:100]) + " ..."
	}
	return s
}

func saySpeaker(by string) string {
	if by == "" {
		return "seen by yourself, from here on"
	}
	return "from here on as the " + by + " says"
}

func saySurer(what string, sure *float64) string {
	return what + ": " + saySure(sure)
}

func saySure(sure *float64) string { return fmt.Sprintf("%.0f %% sure", 100**sure) }

// sayFinding echoes a finding in plain words.
func sayFinding(th *thing, f rulebase.Finding, old string) string {
	s := th.name + sayHere(th.here) + ": " + sayValue(th, f.Value)
	if v := th.value(f.Value.Word); v >= 0 {
		s += sayHere(th.values[v].here)
	}
	if f.Drop != 0 {
		s = fmt.Sprintf("drop %d, %s (%s)", f.Drop, s, sayOtherDropTail)
	}
	if f.Read != "" && th.reads() && !f.Value.IsNumber {
		s += fmt.Sprintf(" (read as %q)", f.Read)
	}
	if f.Sure != nil {
		s += ", " + saySure(f.Sure)
	}
	if f.By != "" {
		s += ", says " + wording.Witness(f.By)
	}
	if f.After != "" {
		s += ", after " + plain(f.After)
	}
	if old != "" {
		s += ", instead of " + plain(old)
	}
	return s
}

func sayGiven(th *thing, v rulebase.Value, old string) string {
	s := th.name + ": " + sayValue(th, v)
	if th.extent && extentNames[v.Word] != "" {
		s = "down: " + extentNames[v.Word]
	}
	if old != "" {
		s += ", instead of " + yesFor(old)
	}
	return s
}

func yesFor(word string) string {
	switch word {
	case "true":
		return "yes"
	case "false":
		return "no"
	}
	return plain(word)
}

func sayPlace(p rulebase.Place) string { return "you are " + placeNames[p] }

func sayWho(w rulebase.Who) string {
	return wording.Person(whoNames[w]) + " has hands on the equipment"
}

func sayAlone(alone bool) string {
	if alone {
		return "alone"
	}
	return "not alone"
}

// sayTools says what is at hand of all tools that any step needs, or the few that are not.
func sayTools(tools []string, all []thing) string {
	switch {
	case tools == nil:
		return "any tool is at hand"
	case len(tools) == 0:
		return "no tools at hand"
	}
	var here, lacking []string
	for _, t := range tools {
		here = append(here, plain(t))
	}
	for _, t := range all {
		if !slices.Contains(tools, t.id) {
			lacking = append(lacking, plain(t.id))
		}
	}
	switch {
	case lacking == nil:
		return "at hand: " + strings.Join(here, ", ")
	case len(lacking) < 4 && len(lacking) < len(here):
		return "not at hand: " + strings.Join(lacking, ", ") + "; any other may be"
	}
	return "at hand: " + strings.Join(here, ", ") + "; other tools are not"
}

// sayToolHere and sayToolNotHere tell a tool from the part of a line that is called the same.
func sayToolHere(tool string) string {
	return plain(tool) + ": a spare one, or one to work with, is at hand"
}
func sayToolNotHere(tool string) string { return plain(tool) + ": none is at hand to work with" }

var stateNames = map[string]string{rulebase.DropGood: "good", rulebase.DropDead: "dead", rulebase.DropComesAndGoes: "coming and going"}

func sayDrops(addresses []int, state string) string {
	if len(addresses) == 1 {
		return fmt.Sprintf("drop %d: %s", addresses[0], stateNames[state])
	}
	return fmt.Sprintf("drops %s: %s", listOf(addresses), stateNames[state])
}

func sayOrder(order []int) string {
	return "order along the cable, from the host: " + listOf(order)
}

func saySupply(group []int) string {
	if len(group) == 1 {
		return fmt.Sprintf("drop %d has a supply of its own", group[0])
	}
	return "on one supply: drops " + listOf(group)
}

func sayThisDrop(a int) string { return fmt.Sprintf("this is about drop %d", a) }

func sayCorrected(a, was int) string { return fmt.Sprintf("meant was drop %d, not drop %d", a, was) }

func sayOtherAlready(a, this int) string {
	return fmt.Sprintf("this is about drop %d, and what was seen at drop %d was taken for another drop's; take that back first", this, a)
}

var extentNames = map[string]string{
	rulebase.ExtentOne: "this drop alone", rulebase.ExtentSome: "several drops, in no pattern", rulebase.ExtentSupply: "the drops on one supply",
	rulebase.ExtentBeyond: "all drops beyond one point of the cable", rulebase.ExtentAll: "every drop", rulebase.ExtentComesAndGoes: "a drop that comes and goes",
}

func sayExtent(word, because string) string {
	if word == "" {
		return "How much is down cannot be said yet. " + because
	}
	return "Down: " + extentNames[word] + ". " + because
}

func sayDropNow(now rulebase.DropNow, id string) string {
	if now == rulebase.Well {
		return "after \"" + plain(id) + "\" the drop works"
	}
	return "after \"" + plain(id) + "\" the drop is still down"
}

func sayDone(st *rulebase.Step) string { return "done: " + st.Do }

func sayPassedOver(q Question) string {
	switch q.Kind {
	case AskStep:
		return "not now; \"what else\" keeps it on the list"
	case AskConfirm:
		return "not confirmed; " + plain(q.For) + " is left alone"
	case AskWhich:
		return "left out: " + q.ID
	case AskElse, AskOpening, AskMore:
		return "going on"
	case AskPlace:
		return "not known where you are"
	case AskWho:
		return "not known whose hands are on the equipment"
	case AskAlone:
		return "not known whether somebody is with you"
	case AskDrops:
		return "not known how the other drops are"
	case AskThisDrop:
		return "not known which drop it is"
	case AskDropNow:
		return "not known what the drop does after " + plain(q.ID)
	case AskProof:
		return "not watched after " + plain(q.ID)
	case AskFound, AskLeft:
		return plain(q.ID) + ": not read"
	case AskOut:
		return "it stays in; the case lists it until it is out"
	}
	return plain(q.ID) + ": not known"
}

func sayTakenUp(st *rulebase.Step) string { return "taken up: " + st.Do }

func sayAskAbout(th *thing) string { return "about " + th.name }

// What was not.

func sayNoSuchID(id string) string {
	return fmt.Sprintf("nothing here is called %q; \"list\" shows what is", id)
}

func sayTooLong(n int) string {
	if n == 0 {
		return "there is no word in it"
	}
	return "too long for one piece; put commas between what belongs apart"
}

func sayNoValue(th *thing, value string) string {
	if th.reads() {
		return fmt.Sprintf("%q is no reading for %s, which is in %s", value, th.name, unitOr(th.unit))
	}
	return fmt.Sprintf("%q says nothing of %s, which is %s", value, th.name, orList(th.values))
}

func sayNoValueSaid(th *thing) string { return "what about " + th.name + "?" }

// sayValue says a value in words, with its unit.
func sayValue(th *thing, v rulebase.Value) string {
	if !v.IsNumber {
		return yesFor(v.Word)
	}
	return strings.TrimSuffix(quantity.Format(v.Number, th.unit), " number") // an address has no unit
}

func sayOneNumber(th *thing) string {
	return fmt.Sprintf("one number is wanted for %s, in %s", th.name, unitOr(th.unit))
}

// sayBand names a band with its limits.
func sayBand(th *thing, i int, limits []float64) string {
	name := plain(th.values[i].text)
	switch {
	case limits == nil:
		return name
	case i == 0:
		return fmt.Sprintf("%s (below %s)", name, quantity.Format(limits[0], th.unit))
	case i == len(limits):
		return fmt.Sprintf("%s (%s and above)", name, quantity.Format(limits[i-1], th.unit))
	}
	return fmt.Sprintf("%s (%s to %s)", name, quantity.Format(limits[i-1], th.unit), quantity.Format(limits[i], th.unit))
}

func saySpans(th *thing, reading string, known bool) string {
	if !known {
		return fmt.Sprintf("%s, %s: the limits between its bands are not known here. Which is it?", wording.UpperFirst(th.name), reading)
	}
	return fmt.Sprintf("%s, %s: that is not in one band. Which is to count?", wording.UpperFirst(th.name), reading)
}

func unitOr(unit string) string {
	if unit == "" {
		return "plain numbers"
	}
	return unit
}

func orList(values []word) string {
	words := make([]string, len(values))
	for i, v := range values {
		words[i] = plain(v.text)
	}
	return wording.List("or", words)
}

func sayNoSuchAnswer(q Question) string {
	return fmt.Sprintf("there are answers from %s to %s here", q.Answers[0].Key, q.Answers[len(q.Answers)-1].Key)
}

func sayDropHow(number string, q Question) string {
	return fmt.Sprintf("if it is a drop, say how it is: \"%s dead\"; the answers are %s to %s", strings.Trim(number, "#.)"), q.Answers[0].Key, q.Answers[len(q.Answers)-1].Key)
}

func sayWhich(text string, answers, more int) []string {
	s := fmt.Sprintf("What does %q mean?", shorten(text))
	if answers == 1 {
		s = fmt.Sprintf("Does %q mean this?", shorten(text))
	}
	if more > 0 {
		s += fmt.Sprintf(" %d more would fit; name what it is about.", more)
	}
	return []string{s}
}

func sayNameTheFact(id string) string {
	return fmt.Sprintf("a yes is not enough here; if it is so, name it: \"confirm %s\"", id)
}

func sayFailed(err error) string { return "That did not work: " + err.Error() + "." }

// Questions.

func saySymptomQuestion(sy *rulebase.Symptom, here string) []string {
	s := sy.Ask + sayHere(here)
	if sy.Banded() {
		s += " " + sayInUnit(sy.Unit)
	}
	lines := []string{s}
	if len(sy.MistakenFor) > 0 {
		lines = append(lines, "Not to be mistaken for "+strings.Join(sy.MistakenFor, ", ")+".")
	}
	return lines
}

func sayInUnit(unit string) string {
	if unit == "" {
		return "(a number, or a letter)"
	}
	return fmt.Sprintf("(as the instrument shows it, in %s, or a letter)", unit)
}

func sayGivenQuestion(g *rulebase.Given) []string {
	if g.Type == rulebase.Number {
		return []string{g.Ask + " " + fmt.Sprintf("(in %s)", unitOr(g.Unit))}
	}
	return []string{g.Ask}
}

// sayAskProof asks for the proof: what to watch, under what load, and how long.
func sayAskProof(p *engine.Proof, watch *rulebase.Symptom) []string {
	under := ""
	if p.Under != "" {
		under = ", " + p.Under
	}
	lines := []string{fmt.Sprintf("Now prove it. Watch for %s%s: %s", plainMinutes(p.Minutes), under, watch.Ask)}
	switch {
	case p.Every > 0:
		lines = append(lines, wording.Quiet(p.Times, engine.QuietByChance, plainMinutes(p.Every), plainMinutes(p.Quiet)))
	case p.Comes:
		lines = append(lines, wording.Quiet(p.Times, engine.QuietByChance, "", ""))
	}
	return lines
}

// plainMinutes is a time that is what it is, and no estimate.
func plainMinutes(m float64) string { return strings.TrimPrefix(wording.Minutes(m), "about ") }

func sayAskConfirm(w *rulebase.Warning, st *rulebase.Step) []string {
	return []string{"Before this step: " + st.Do, sayWarning(w)}
}

func sayHowConfirm(w *rulebase.Warning, also []string) []string {
	lines := []string{fmt.Sprintf("If that is so, name it: \"confirm %s\". If not, leave the step alone.", w.ID)}
	if len(also) > 0 {
		lines = append(lines, "Then this step asks for "+strings.Join(also, ", ")+"; one entry can name several.")
	}
	return lines
}

// What the site calls things, after the plain words.

func sayHere(name string) string {
	if name == "" {
		return ""
	}
	return " (here: " + name + ")"
}

// hereLines are what the site calls a step.
func (t *Talk) hereLines(st *rulebase.Step) []string {
	if here := t.base.SiteName(st.ID).Text(); here != "" {
		return []string{"Here: " + here + "."}
	}
	return nil
}

// sayWarning is a warning with its signal word and its reason.
func sayWarning(w *rulebase.Warning) string {
	s := strings.ToUpper(string(w.Level)) + ": " + w.Says
	if w.Because != "" {
		s += " " + w.Because
	}
	return s
}

func sayConfirm(w *rulebase.Warning) string { return "confirmed: " + w.Confirms() }

const sayTakenOver = "somebody else takes over here; what was confirmed before a step has to be confirmed anew"

const sayLapsed = "Half an hour has passed, or it goes on with another drop, place or person: what was confirmed before a step has to be confirmed anew."

var (
	sayAskEnd        = []string{"The drop works. The case can be saved."}
	sayAskStopgapEnd = []string{"The drop works for now. The case stays open; it can be saved, and taken up again."}
)

func sayNothingLeft(passed bool) []string {
	if passed {
		return []string{"All that is on offer was passed over. One of it after all, or something new?"}
	}
	return []string{"Nothing more can be offered from here with what is at hand. Something new?"}
}

// sayRemedyAway says what is to be done where it cannot be done from here.
func sayRemedyAway(w engine.Withheld) []string {
	return []string{"Enough is known. What is to be done: " + w.Step.Do + ".", "Not from here: " + sayReason(w) + "."}
}

func sayAfterAll(st *rulebase.Step) string    { return "after all: " + st.Do }
func sayTakeUp(st *rulebase.Step) string      { return "take up: " + st.Do }
func sayNotAloneFor(st *rulebase.Step) string { return "somebody is with me (for: " + st.Do + ")" }

func sayHaveTool(tool string, st *rulebase.Step) string {
	return fmt.Sprintf("I have %s (for: %s)", plain(tool), st.Do)
}

func sayWhoIsHere(w rulebase.Who, st *rulebase.Step) string {
	return fmt.Sprintf("%s is here (for: %s)", wording.Person(whoNames[w]), st.Do)
}

func sayPlaceFor(p rulebase.Place, st *rulebase.Step) string {
	return fmt.Sprintf("I am %s now (for: %s)", placeNames[p], st.Do)
}

func sayGivenFor(ask string, st *rulebase.Step) string {
	return fmt.Sprintf("%s (for: %s)", ask, st.Do)
}

func sayUnlock(a Answer) string {
	if id, ok := strings.CutPrefix(a.Entry, "ask "); ok {
		return fmt.Sprintf("    to say that, enter %q", "ask "+id)
	}
	if strings.HasPrefix(a.Entry, "do ") {
		return fmt.Sprintf("    to take it up, enter %q", a.Entry)
	}
	return fmt.Sprintf("    if it changes, enter %q", a.Entry)
}

// The summary of a turn.

// addSummary says in short: is it the unit, and what is likely.
func (r *Reply) addSummary(t *Talk, s *State, d *engine.Diagnosis) {
	if !d.Possible {
		r.add(PartSummary, sayImpossible)
		return
	}
	if r.Question.Kind == AskEnd {
		r.add(PartSummary, sayEnded(t, s, d)...)
		return
	}
	r.add(PartSummary, "Is it the unit? "+sayUnit(d.UnitOut)+" Likely: "+sayLikely(d)+".")
}

func sayUnit(p float64) string {
	return fmt.Sprintf("%s, %s.", wording.IsUnit(p), wording.Chance(p))
}

func sayLikely(d *engine.Diagnosis) string {
	type share struct {
		name string
		p    float64
	}
	var all []share
	for _, c := range d.Causes {
		if len(all) < 3 && c.Now > 0.005 {
			cause := &d.Base.Causes[c.Cause]
			all = append(all, share{cause.Name + sayHere(d.Base.SiteName(cause.ID).Text()), c.Now})
		}
	}
	for _, o := range []share{{"something not listed here", d.Outside}, {"nothing wrong", d.None}} {
		if o.p > 0.05 {
			all = append(all, o)
		}
	}
	sort.SliceStable(all, func(i, j int) bool { return all[i].p > all[j].p })
	var words []string
	for _, c := range all[:min(3, len(all))] {
		words = append(words, wording.LowerFirst(c.name)+" ("+wording.Chance(c.p)+")")
	}
	if len(words) == 0 {
		return "nothing yet"
	}
	return strings.Join(words, ", ")
}

// sayEnded says how the case ends, and what that leaves unexplained.
func sayEnded(t *Talk, s *State, d *engine.Diagnosis) []string {
	var lines []string
	n, unexplained := len(s.Situation.Done), sayUnexplained
	if n == 0 {
		lines, unexplained = append(lines, sayByItself), sayDoesNotFit
	} else if st := t.words.stepByID[s.Situation.Done[n-1].ID]; st != nil {
		lines = append(lines, sayPutRight(st))
	}
	for i, f := range notExplained(d) {
		if i == 0 {
			lines = append(lines, unexplained)
		}
		if th := t.words.thing(f.Symptom); th != nil {
			lines = append(lines, "  "+sayFinding(th, f, ""))
		}
	}
	return lines
}

// notExplained are the findings of this drop that what was put right does not explain.
func notExplained(d *engine.Diagnosis) []rulebase.Finding {
	return slices.DeleteFunc(slices.Clone(d.Situation.Findings), func(f rulebase.Finding) bool {
		return !slices.Contains(d.NotExplained, f.Symptom) || f.Drop != 0 && f.Drop != d.Situation.Drop
	})
}

const (
	sayByItself    = "The drop works, and nothing was put right: what was wrong may come back."
	sayDoesNotFit  = "This does not fit a drop that works. Look at it again before the case is closed:"
	sayUnexplained = "What was put right does not explain this. Look at it again before the case is closed:"
)

func sayPutRight(st *rulebase.Step) string {
	if st.Temporary {
		return "For now the drop works by this: " + st.Do + ". " + strings.Join(wording.Stopgap(st), " ")
	}
	line := "Put right by: " + st.Do + "."
	if st.EndsAs != "" {
		line += " The case ends as " + plain(string(st.EndsAs)) + "."
	}
	return line
}

// addQuestion writes what is asked, its warnings before it, and its answers.
func (r *Reply) addQuestion(t *Talk, d *engine.Diagnosis) {
	q := r.Question
	if q.Kind == AskStep {
		r.add(PartWarning, t.warningLines(q.ID)...)
	}
	r.add(PartQuestion, questionLines(t, q, d)...)
	r.add(PartAnswers, answerLines(q)...)
}

func answerLines(q Question) []string {
	var lines []string
	for _, a := range q.Answers {
		lines = append(lines, "  "+a.Key+"  "+a.Says+sayHere(a.Here))
	}
	return lines
}

// warningLines are a step's warnings, the gravest first.
func (t *Talk) warningLines(id string) []string {
	st := t.words.stepByID[id]
	if st == nil {
		return nil
	}
	levels := []rulebase.Level{rulebase.DangerLevel, rulebase.WarningLevel, rulebase.CautionLevel, rulebase.NoticeLevel}
	ws := slices.Clone(st.Warnings)
	slices.SortStableFunc(ws, func(a, b int) int {
		return slices.Index(levels, t.base.Warnings[a].Level) - slices.Index(levels, t.base.Warnings[b].Level)
	})
	var lines []string
	for _, w := range ws {
		lines = append(lines, sayWarning(&t.base.Warnings[w]))
	}
	return lines
}

// questionLines are a question in words, with what it is good for.
func questionLines(t *Talk, q Question, d *engine.Diagnosis) []string {
	if q.Kind == AskStep {
		return append(t.stepLines(q.ID, d), q.Says...)
	}
	lines := slices.Concat(q.Says, q.Typed)
	if q.Kind == AskSymptom && q.For == "" && !t.harmlessToAsk(q.ID) {
		lines = append([]string{sayOnlyIfSeen}, lines...)
	}
	if d == nil {
		return lines
	}
	if st := t.words.stepByID[q.For]; q.Kind == AskConfirm && st != nil && st.Kind == rulebase.KindRemedy {
		lines = append(sayLeadUp(d, st), lines...)
	}
	if q.Kind == AskGiven && q.For != "" {
		lines = append(lines, "Asked before: "+t.stepDo(q.For)+".")
	}
	return lines
}

// stepLines propose a step: what, how long, with what, how, and what it is worth.
func (t *Talk) stepLines(id string, d *engine.Diagnosis) []string {
	st := t.words.stepByID[id]
	if st == nil {
		return nil
	}
	head := sayNext
	if st.Kind == rulebase.KindRemedy && d != nil {
		head = sayHead(d, st)
	}
	lines := []string{head + st.Do + " (" + sayPrice(st) + ")."}
	lines = append(lines, t.hereLines(st)...)
	if d != nil {
		if p := proposalOf(d, id); p != nil {
			lines = append(lines, sayWorth(p, remedyProbability(d, id))...)
		}
		if isAdvised(d, st) {
			lines = append(lines, sayIfWrong(d)...)
		}
	}
	for i, s := range st.Steps {
		lines = append(lines, fmt.Sprintf("  %c. %s", 'A'+i%26, s))
	}
	if st.EndsAs != "" {
		lines = append(lines, "If it helps, the case ends as "+plain(string(st.EndsAs))+".")
	}
	return lines
}

func sayPrice(st *rulebase.Step) string {
	parts := []string{minutes(st.Minutes)}
	if len(st.Needs) > 0 {
		parts = append(parts, "needs "+plain(strings.Join(st.Needs, ", ")))
	}
	switch st.Stops {
	case rulebase.StopsDrop:
		parts = append(parts, "stops this drop")
	case rulebase.StopsBus:
		parts = append(parts, "stops the whole bus")
	}
	if st.BringsBack {
		parts = append(parts, "may bring a silent drop back on line")
	}
	return strings.Join(parts, ", ")
}

// sayWorth says what a step is good for, in the words of a printed diagnosis.
func sayWorth(p *engine.Proposal, takes float64) []string {
	switch {
	case p.Step.Temporary:
		return wording.Stopgap(p.Step)
	case p.Step.Kind == rulebase.KindRemedy && takes <= 0:
		return []string{"Not worth it by what is known: what this would put right is ruled out."}
	case p.Step.Kind == rulebase.KindRemedy:
		return []string{fmt.Sprintf("Worth it: %s that this takes a cause away.", wording.Chance(takes))}
	case p.GainBits >= 0.8:
		return []string{"Worth it: it should about halve what there may be to do."}
	case p.GainBits >= 0.3:
		return []string{"Worth it: it should narrow down what there may be to do."}
	}
	return []string{"Worth it: it may help a little, and it is quick for that."}
}

// Advice.

const (
	sayNext = "Next: "
	sayGoOn = "go on asking"
)

// isAdvised says whether a step is what is advised, now that enough is known.
func isAdvised(d *engine.Diagnosis, st *rulebase.Step) bool {
	return isEnough(d) && slices.ContainsFunc(advisedRemedies(d), func(r int) bool { return &d.Base.Remedies[r] == st })
}

// sayHead begins the proposal of a remedy.
func sayHead(d *engine.Diagnosis, st *rulebase.Step) string {
	switch {
	case isAdvised(d, st):
		return "Enough is known. Do this: "
	case isSure(d, st):
		return "This is to be done whatever else is wrong: "
	case st.Temporary:
		return "For the time being: "
	case d.Advice.CannotTell:
		return "What is left cannot be told apart from here. Try this: "
	}
	if len(d.Next) == 0 || d.Next[0].Step != st {
		return "Try this: " // somebody chose it
	}
	return "Trying this is quicker than looking further: "
}

// sayLeadUp says why a remedy is led up to, before the facts that it waits for.
func sayLeadUp(d *engine.Diagnosis, st *rulebase.Step) []string {
	switch {
	case isAdvised(d, st):
		return []string{"Enough is known to act."}
	case isSure(d, st):
		return []string{"The next step is to be done whatever else is wrong."}
	case len(d.Next) == 0 || d.Next[0].Step != st:
		return nil // somebody chose it
	case d.Advice.CannotTell:
		return []string{"What is left cannot be told apart from here; the next step is the best to try."}
	}
	return []string{"Trying the next step is quicker than looking further."}
}

// sayIfWrong says what it costs to follow an advice that is wrong, and why no more is
// asked.
func sayIfWrong(d *engine.Diagnosis) []string {
	wrong, inVain := d.Advice.Wrong, d.Advice.InVain
	if d.Disposition != nil {
		wrong, inVain = d.Disposition.Wrong, d.Disposition.InVain
	}
	says := "Nothing more that is on offer would tell."
	if p := d.Further(); p != nil {
		says = fmt.Sprintf("What would help most to know (%s, %s) is not worth its time.", wording.LowerFirst(strings.TrimRight(p.Step.Do, ".?")), wording.Minutes(p.Price))
	}
	if mean := wrong * inVain; mean >= 1 {
		says = fmt.Sprintf("If that is wrong, %s, it costs %s more; on the mean %s. ", wording.Chance(wrong), wording.Minutes(inVain), wording.Minutes(mean)) + says
	} else if wrong >= 0.005 && inVain >= 1 {
		says = fmt.Sprintf("If that is wrong, %s, it costs %s more. ", wording.Chance(wrong), wording.Minutes(inVain)) + says
	}
	return []string{says}
}

// sayAdvised says what is advised where no remedy here is: who has to come, or that
// nothing is to be done.
func sayAdvised(d *engine.Diagnosis) []string {
	x := d.Disposition
	switch {
	case x == nil && d.Advice.Lead.Nothing():
		return []string{fmt.Sprintf("Enough is known, %s: nothing is wrong here, and nothing is to be done.", wording.Chance(d.Advice.Lead.Probability))}
	case x == nil:
		return []string{fmt.Sprintf("Enough is known, %s: %s.", wording.Chance(d.Advice.Lead.Probability), sayToDo(d.Base, &d.Advice.Lead))}
	case x.Kind == engine.SolveNow && len(x.Remedies) == 0:
		return []string{fmt.Sprintf("Enough is known. Nobody needs to come, %s: nothing is wrong any more.", wording.Chance(x.Probability))}
	case x.Kind == engine.SolveNow:
		return []string{fmt.Sprintf("Enough is known for this call. Nobody needs to come, %s: what was passed over would end it: %s.", wording.Chance(x.Probability), sayToDo(d.Base, &engine.ToDo{Remedies: x.Remedies})), sayWhoeverMay}
	}
	says := "Enough is known for this call. Send "
	if !x.Enough {
		says = "What was passed over could have told more. As it stands, send "
	}
	if x.Who > rulebase.Operator {
		says += wording.Person(whoNames[x.Who])
	} else {
		says += "somebody"
	}
	if x.Kind == engine.SendUnit {
		says += " with a unit to exchange"
	}
	says += fmt.Sprintf(": %s that this is the cheapest visit that ends it.", wording.Chance(x.Probability))
	if len(x.Tools) > 0 {
		says += " To bring: " + plain(strings.Join(x.Tools, ", ")) + "."
	}
	return []string{says}
}

// sayToDo says what there is to do, each remedy with its gravest signal word before it.
func sayToDo(b *rulebase.Base, a *engine.ToDo) string {
	var do []string
	for _, r := range a.Remedies {
		st := &b.Remedies[r]
		says := wording.LowerFirst(strings.TrimRight(st.Do, "."))
		if level := gravest(b, st); level != "" {
			says = strings.ToUpper(string(level)) + ": " + says
		}
		do = append(do, says)
	}
	for _, c := range a.Bare {
		do = append(do, "nothing here is left to do about this: "+wording.LowerFirst(b.Causes[c].Name))
	}
	if a.Elsewhere {
		do = append(do, "something that cannot be put right on a bench")
	}
	if a.Outside {
		do = append(do, "something that is not listed here")
	}
	if len(do) == 0 {
		return "nothing, for nothing is wrong"
	}
	return strings.Join(do, "; and ")
}

func gravest(b *rulebase.Base, st *rulebase.Step) rulebase.Level {
	for _, level := range []rulebase.Level{rulebase.DangerLevel, rulebase.WarningLevel, rulebase.CautionLevel, rulebase.NoticeLevel} {
		if slices.ContainsFunc(st.Warnings, func(w int) bool { return b.Warnings[w].Level == level }) {
			return level
		}
	}
	return ""
}

// sayCannotTell names what cannot be told apart from here, and what would tell: which
// tool, person or place.
func sayCannotTell(d *engine.Diagnosis, passed bool) []string {
	a := &d.Advice
	lines := []string{"These cannot be told apart from here:", fmt.Sprintf("  %s: %s", wording.Chance(a.Lead.Probability), sayToDo(d.Base, &a.Lead))}
	for i := range a.Others {
		if o := &a.Others[i]; o.Probability >= 0.05 {
			lines = append(lines, fmt.Sprintf("  %s: %s", wording.Chance(o.Probability), sayToDo(d.Base, o)))
		}
	}
	for i := range a.Elsewhere {
		if i == 0 {
			lines = append(lines, "What would tell:")
		}
		w := &a.Elsewhere[i]
		lines = append(lines, "  "+wording.LowerFirst(strings.TrimRight(w.Step.Do, "."))+" ("+sayReason(*w)+")")
	}
	if passed {
		lines = append(lines, "Or something of what was passed over, after all.")
	}
	return lines
}

// sayLikelyAway names a likely remedy that waits for somebody or something.
func sayLikelyAway(w engine.Withheld) []string {
	return []string{"Likelier than not this is to be done: " + w.Step.Do + ".", "Not from here: " + sayReason(w) + "."}
}

// sayLikelyLeftAlone names a likely remedy that could be done here and was left alone.
func sayLikelyLeftAlone(st *rulebase.Step) []string {
	return []string{"Likelier than not this is to be done, and it was left alone: " + strings.TrimRight(st.Do, ".") + ".", sayWhoeverMay}
}

const sayWhoeverMay = "Where nobody there can or may do it, somebody has to come who may."

// Explanations.

const sayNoneMoved = "Nothing said so far tells it from the next; it is at least as common."

// sayDerived is how a fact was derived, with its ids in plain words.
func sayDerived(why []string) []string {
	var lines []string
	for _, w := range why {
		lines = append(lines, plain(w))
	}
	return lines
}

// sayGain says how much a step is expected to tell.
func sayGain(p *engine.Proposal) []string {
	if p.GainBits == 0 {
		return nil
	}
	return []string{fmt.Sprintf("It is expected to settle %.2f bit of what to do; one bit is a choice between two equals.", p.GainBits)}
}

func sayLikeliest(name string, p float64) string {
	return fmt.Sprintf("Likeliest: %s, %s.", wording.LowerFirst(name), wording.Chance(p))
}

func sayAgainst(second string) string {
	return fmt.Sprintf("What moved it against the next, %s:", wording.LowerFirst(second))
}

func sayWeight(w engine.Weight) string {
	name := plain(w.Finding) + " " + plain(w.Value)
	if w.Rule != "" {
		name += " (by rule " + w.Rule + ")"
	}
	switch {
	case math.IsInf(w.Factor, 1):
		return "  " + name + ": rules the next one out"
	case w.Factor == 0:
		return "  " + name + ": rules the first one out"
	case w.Factor > 1.05:
		return fmt.Sprintf("  %s: %s times for it", name, factor(w.Factor))
	case w.Factor < 1/1.05:
		return fmt.Sprintf("  %s: %s times against it", name, factor(1/w.Factor))
	}
	return ""
}

func factor(f float64) string { return strconv.FormatFloat(f, 'g', 2, 64) }

func sayWhyKind(q Question, forStep string) []string {
	switch q.Kind {
	case AskSymptom:
		if forStep != "" {
			return []string{"It is a result of the test in hand: " + forStep + "."}
		}
		return []string{"It says what is wrong with the drop; every case begins with it."}
	case AskGiven:
		if forStep != "" {
			return []string{"The answer could forbid this step: " + forStep + "."}
		}
		return []string{"Without it a reading cannot be judged, or it was named without its value."}
	case AskPlace, AskWho, AskAlone:
		return []string{"What may be asked for depends on it: nobody is sent to do what is not safe for them there."}
	case AskDrops, AskThisDrop:
		return []string{"How many drops are down tells the supply and the trunk from the drop itself."}
	case AskDropNow, AskProof:
		return []string{"Only a drop that stays well shows that the cause was taken away."}
	case AskConfirm:
		return []string{"The step can hurt somebody unless this is so: " + forStep + "."}
	case AskWhich, AskElse:
		return []string{"An entry that fits more than one thing is not guessed."}
	case AskFound:
		return []string{"Whoever puts the unit, or another one, back needs it as it was: " + forStep + "."}
	case AskOut:
		return []string{"What is forgotten in place is the next fault, or hides one; a case cannot be closed over it."}
	case AskLeft:
		return []string{"What was left otherwise than found is the first place to look when it goes down again."}
	}
	return nil
}

func sayWhyNotWhat(text string, near []string) string {
	s := fmt.Sprintf("%q is no one cause or step here.", text)
	if len(near) > 0 {
		s += " Near it: " + strings.Join(near, ", ") + "."
	}
	return s
}

func sayCauseNow(name string, p float64) string {
	return fmt.Sprintf("%s: %s.", name, wording.Chance(p))
}

func saySpeaksAgainst(what string, without float64) string {
	return fmt.Sprintf("  speaks against it: %s (without that it would be %s)", what, wording.Chance(without))
}

func sayOffered(st *rulebase.Step, place int) string {
	if place == 0 {
		return "It is the first on offer: " + st.Do + "."
	}
	return fmt.Sprintf("It is on offer, as number %d: %s. Those before it lead sooner to a working drop.", place+1, st.Do)
}

func sayNoSuchStep(st *rulebase.Step) string { return "It is not on offer: " + st.Do + "." }

// sayWithheld says why a step cannot be offered.
func sayWithheld(w engine.Withheld) string {
	return "Not offered: " + w.Step.Do + ": " + sayReason(w) + "."
}

// sayReason is why a step cannot be offered, to stand inside a sentence.
func sayReason(w engine.Withheld) string {
	switch w.Why {
	case engine.WhyKnown:
		return "all that it shows is known for sure"
	case engine.WhyDone:
		return "it was done"
	case engine.WhyPlace:
		return "it is not for where you are"
	case engine.WhyTools:
		return plain(w.Detail) + " is not at hand"
	case engine.WhyPerson:
		return "it needs " + wording.Person(plain(w.Detail))
	case engine.WhyPhone:
		return "too dangerous to ask for by phone"
	case engine.WhyPhoneStops:
		return "it stops the whole bus, which nobody asks for by phone"
	case engine.WhyAlone:
		return "not for somebody working alone"
	case engine.WhyLossOfBus:
		return "it is not known what the outputs do when the bus is lost"
	case engine.WhyOnlyIf:
		return "it is only right if " + wording.Condition(w.Detail)
	case engine.WhyUnconfirmed:
		return "it is not confirmed: " + plain(w.Detail)
	case engine.WhyHarmless:
		return "a harmless step can still change what to do: " + plain(w.Detail)
	case engine.WhyWell:
		return "the drop works"
	case engine.WhyImpossible:
		return "what was found cannot go together"
	}
	return string(w.Why)
}

func sayMoreReasons(n int) string {
	return fmt.Sprintf("%d more things would help, each less than these; \"details\" shows all.", n)
}

func sayMoreSteps(n int) string { return fmt.Sprintf("  and %d more that tell less", n) }

// sayNeeds heads the steps that wait for the same thing.
func sayNeeds(w engine.Withheld, unlock Answer, ok bool) string {
	s := wording.UpperFirst(sayReason(w))
	switch {
	case !ok:
		return s + ":"
	case strings.HasPrefix(unlock.Entry, "ask "), strings.HasPrefix(unlock.Entry, "do "):
		return s + fmt.Sprintf(" (enter %q):", unlock.Entry)
	}
	return s + fmt.Sprintf(" (if that changes, enter %q):", unlock.Entry)
}

func sayOtherCauses(b *rulebase.Base, rest []engine.CauseBelief) string {
	var words []string
	for _, c := range rest {
		cause := &b.Causes[c.Cause]
		words = append(words, wording.LowerFirst(cause.Name)+sayHere(b.SiteName(cause.ID).Text())+" ("+wording.Chance(c.Now)+")")
	}
	return "Less likely: " + strings.Join(words, ", ") + "."
}

func sayUnsaid(asks []string) []string {
	lines := []string{"Not said yet, and may count:"}
	for _, a := range asks {
		lines = append(lines, "  "+a)
	}
	return lines
}

func sayOther(p *engine.Proposal) string {
	return fmt.Sprintf("%s (%s)", strings.TrimRight(p.Step.Do, "."), minutes(p.Minutes))
}

func sayConflict(c engine.Conflict) string { return "Does not fit: " + plain(c.Says) }

func sayAdvice(a engine.Tell) string { return "Note: " + a.Says }

// sayKnown repeats all that was said.
func sayKnown(t *Talk, s *rulebase.Situation) []string {
	var lines []string
	if s.At != "" {
		lines = append(lines, sayPlace(s.At))
	}
	if s.Who != rulebase.Anybody {
		lines = append(lines, sayWho(s.Who))
	}
	if s.Tools != nil {
		lines = append(lines, sayTools(s.Tools, t.words.tools))
	}
	for _, g := range s.Givens {
		if th := t.words.thing(g.ID); th != nil {
			lines = append(lines, sayGiven(th, g.Value, ""))
		}
	}
	for _, f := range s.Findings {
		if th := t.words.thing(f.Symptom); th != nil {
			lines = append(lines, sayFinding(th, f, ""))
		}
	}
	for _, d := range s.Done {
		line := "done: " + plain(d.ID)
		if d.Drop != rulebase.NotSaid {
			line = sayDropNow(d.Drop, d.ID)
		}
		lines = append(lines, line)
	}
	for _, id := range s.Confirmed {
		lines = append(lines, "confirmed: "+plain(id))
	}
	if len(s.Drops) > 0 {
		if word, because := rulebase.Extent(s.Drop, s.Drops, s.Order, s.Supplies); word != "" || t.wantsExtent(&State{Situation: *s}) {
			lines = append(lines, sayExtent(word, because))
		}
	}
	if len(lines) == 0 {
		return []string{"Nothing yet."}
	}
	return lines
}

// sayListed is one line of the list of questions.
func sayListed(t *Talk, th *thing) string {
	values := orList(th.values)
	if th.reads() {
		values = "in " + unitOr(th.unit)
	}
	ask := ""
	if th.kind == rulebase.KindGiven {
		ask = t.base.Givens[th.index].Ask
	} else {
		ask = t.base.Symptoms[th.index].Ask
	}
	return fmt.Sprintf("q%d  %s: %s (%s)", t.words.number(th.id), th.id, ask, values)
}

func sayNoneListed(word string) string { return fmt.Sprintf("No question here holds %q.", word) }

// The settings sheet.

const (
	saySettingNotRead = "not read"
	sayNoSheet        = "leave the rest of the sheet: not read"
	saySettingTooLong = "too long for a setting; the rest goes into a note"
)

// settingAsks are the lines of the settings sheet as questions.
var settingAsks = map[string]string{
	"address":         "Which address is the unit set to?",
	"rate":            "Which rate is it set to?",
	"terminator":      "Is its terminator on, or fitted at it?",
	"bias":            "Is its idle bias on?",
	"outputs_on_loss": "What are its outputs set to do on loss of bus?",
	"module_order":    "Which modules are in which slots, from the unit on?",
	"revision":        "Which revision stands on its label?",
	"jumpers":         "How are its jumpers set?",
	"ports_and_wires": "Which cable is on which port, and which wire on which terminal?",
}

func sayAskFound(name string, st *rulebase.Step) []string {
	before := "the unit is worked on"
	if st.Stops == rulebase.StopsBus {
		before = "the bus stops"
	}
	return []string{"Settings sheet, as found: before " + before + ", read it and change nothing.", settingAsks[name]}
}

func sayAskLeft(name string) string {
	return "Settings sheet, as left: " + plain(name) + "?"
}

func saySameAsFound(found string) string { return "as it was found: " + found }

func saySetting(q Question, value, found string) string {
	if q.Kind == AskFound {
		return plain(q.ID) + " as found: " + value
	}
	text := plain(q.ID) + " as left: " + value
	if found != "" && found != value {
		text += "; it was found as " + found + ", so say why in a note, or put it back"
	}
	return text
}

// saySheet lists what was read of the unit's settings.
func saySheet(s *Sheet) []string {
	if s == nil {
		return nil
	}
	var lines []string
	for _, name := range slices.Sorted(maps.Keys(s.Found)) {
		lines = append(lines, plain(name)+" as found: "+s.Found[name])
	}
	for _, name := range slices.Sorted(maps.Keys(s.Left)) {
		lines = append(lines, plain(name)+" as left: "+s.Left[name])
	}
	return lines
}

// What was put in.

const (
	sayIsOut   = "yes, all is as it was before"
	sayStaysIn = "no, it stays in for now"
)

var putsInNames = map[string]string{
	"force": "the force", "jumper": "the jumper", "feed": "the separate feed", "terminator": "the terminator put in for the trial", "rate": "the lowered rate",
	"skipped_drop": "the drop that was left out", "loose_wire": "what was loosened or unplugged",
}

func sayAskOut(st *rulebase.Step) string {
	what := putsInNames[st.PutsIn]
	if what == "" {
		what = "what was put in or changed"
	}
	return fmt.Sprintf("Still in place? %s: is %s undone again?", st.Do, what)
}

func sayOut(q Question) string { return "out again: " + plain(q.ID) }
