package handbook

import (
	"fmt"
	"math"
	"strings"

	"downdrop/cmd/internal/report"
	"downdrop/cmd/internal/wording"
	"downdrop/rulebase"
)

// This file is every sentence of a handbook that is not the rulebase's own.
// Read them aloud: they are read at a cabinet, by lamplight, and over the phone.

func sayTitle(name string) string { return "Handbook of the rulebase " + name }

// Chapters.

const (
	chapterContents   = "chapter-contents"
	chapterFront      = "chapter-front"
	chapterIndex      = "chapter-index"
	chapterSymptoms   = "chapter-symptoms"
	chapterCauses     = "chapter-causes"
	chapterTests      = "chapter-tests"
	chapterRemedies   = "chapter-remedies"
	chapterConditions = "chapter-conditions"
	chapterGivens     = "chapter-givens"
	chapterRules      = "chapter-rules"
	chapterWarnings   = "chapter-warnings"
	chapterSources    = "chapter-sources"
	chapterTerms      = "chapter-terms"

	titleContents   = "Contents"
	titleFront      = "Before you use this book"
	titleIndex      = "Symptom index"
	titleSymptoms   = "Symptoms"
	titleCauses     = "Causes"
	titleTests      = "Test cards"
	titleRemedies   = "Remedies"
	titleConditions = "What causes do inside the drop"
	titleGivens     = "What is asked about the installation"
	titleRules      = "Rules"
	titleAllRules   = "All rules"
	titleFacts      = "Facts that only rules set"
	titleWarnings   = "Warnings"
	titleSources    = "Sources"
	titleTerms      = "Index of terms"
	titleByPart     = "By the part that is suspected"
	titleUnasked    = "Taken when somebody says it, never asked for"

	sayToContents = "To the contents"
	saySkip       = "Skip to the text"
)

var placeTitles = map[rulebase.Place]string{rulebase.Phone: "By phone", rulebase.Field: "At the drop", rulebase.Bench: "On the bench"}

const (
	introIndex = "Look here first. Each line is the question as it is asked, with the number of its entry. By phone stands only what may be asked for by phone. By part, what the values speak for among the causes of that part stands beside the question."

	introTests      = "A test card says how a test is carried out and what its results are the sign of. What can hurt stands before the steps: read it before you begin. A cause stands behind a result where that cause, by itself, shows it more often than any other result."
	introRemedies   = "A remedy puts a cause right. What can hurt stands before the steps: read it before you begin. The proof at the end says how long to watch before the case may be closed."
	introConditions = "Between a cause and what is seen stands what the cause does inside the drop. Symptoms mostly hang on these and not on single causes."
	introGivens     = "What is known about the installation and its history. No cause changes it, but it makes causes more or less likely, moves limits, and decides which steps are right."
	introRules      = "Rules lead from what was found to what follows from it for sure, or to advice. They are followed before anything is weighed."
	introWarnings   = "Every warning of the rulebase, with the steps before which it stands."
	introSources    = "What the numbers and sentences rest on. Where something is common practice without a source, or an estimate, it says so."
	introTerms      = "The words of which the names of entries are made, and the tools, each with the entries where it stands."

	sayNoPart        = "Of no part"
	sayNoSymptomPart = "Read by rules only"
	sayNoTestPart    = "Tests that rules read"
	sayNoRemedyPart  = "Of no single cause"
	sayOtherLetters  = "Other signs"
	sayNothingHere   = "Nothing in this rulebase can be had here."
)

func introSymptoms() []Block {
	return []Block{
		{Text: say("What can be seen, heard, read or measured, under the part of the drop that it tells most about. Behind each value stand the causes that it speaks for most.")},
		{Text: say("The sign × 12 means: seen for sure, this value makes the cause 12 times as likely against all the rest, counted in odds; below 1 it speaks against. The second number is how often the cause, by itself, shows the value. Both are worked out from the rows of the rulebase, with nothing known but that the drop is down.")},
	}
}

func introCauses(outside float64) []Block {
	blocks := []Block{{Text: say("What can be wrong, by the part of the drop in which it lies. The numbers are those of the rulebase: how common a cause is among complaints, and what is then seen, against what is seen when that cause is not there.")}}
	if outside > 0 {
		blocks = append(blocks, Block{Text: say(fmt.Sprintf("No list is complete: in %s complaints the trouble is something that this book does not name.", perThousand(outside)))})
	}
	return blocks
}

// The front page.

const (
	sayLocalFirst = "Local codes, lockout rules and licensed people come before anything that stands here."
	sayNeverSafe  = "This book never says that something is safe. It bypasses no safety function and judges none: an open interlock or safety circuit is for the person in charge to find and to close."
	sayLevels     = "The signal words grade what can happen as the product safety signs of ISO 3864-2 and ANSI Z535 do (from memory, in our words)."

	labelAbout   = "This book"
	labelLayers  = "What overrides what"
	labelUse     = "How to use it"
	labelNumbers = "Its numbers"
	labelLevels  = "Signal words"
)

var howToUse = []string{
	"Begin with the symptom index: find what was seen, by the place where you are or by the part that is suspected, and go to its number.",
	"Read how the symptom is got, how sure it is and what it is mistaken for, before you believe it.",
	"Look at the causes that the value speaks for. On a cause's page stands what looks like it, and the test that tells the two apart best.",
	"Take the test card with you. Read what can hurt before the first step.",
	"After a remedy wait for the proof. A drop that works for a minute is not yet a cure.",
	"A number in a box is the number of an entry: it leads there on paper as on the screen.",
}

var levels = []struct {
	level rulebase.Level
	says  string
}{
	{rulebase.DangerLevel, "Disregarded, it kills or maims."},
	{rulebase.WarningLevel, "Disregarded, it can kill or maim."},
	{rulebase.CautionLevel, "Disregarded, it can injure, or spoil what is handled."},
	{rulebase.NoticeLevel, "Nobody is hurt, but knowledge, work or equipment can be lost."},
}

func sayVersion(name string, version int) string {
	return fmt.Sprintf("Rulebase %s, version %d.", name, version)
}

func sayCounts(b *rulebase.Base) string {
	tests := 0
	for i := range b.Tests {
		if !b.Tests[i].Implied {
			tests++
		}
	}
	return fmt.Sprintf("%s, %s, %s, %s.", countOf(len(b.Causes), "cause", "causes"), countOf(len(b.Symptoms), "symptom", "symptoms"), countOf(tests, "test", "tests"), countOf(len(b.Remedies), "remedy", "remedies"))
}

func sayDigest(digest string) string { return "Its files have the SHA-256 digest " + digest + "." }

func sayNumbers() []Line {
	return []Line{
		say("The chances and weights are what the rulebase says. Most are estimates until closed cases replace them: the entry's source tells which."),
		say("Chances are out of 100. Factors multiply odds, not chances."),
		say("downdrop itself weighs all findings together; a book can only show them one by one."),
	}
}

func sayLowest(name string) string { return fmt.Sprintf("%s lies at the bottom.", name) }
func sayLayer(name, below string) string {
	return fmt.Sprintf("%s lies over %s: what it says replaces what stands below.", name, below)
}

// Labels.

const (
	labelSymptoms    = "Symptoms"
	labelNothing     = "Nothing"
	labelSite        = "On this site"
	labelHow         = "How to get it"
	labelAnswer      = "Answer"
	labelBands       = "Bands"
	labelFigures     = "Limits in figures"
	labelSure        = "How sure it is"
	labelMistaken    = "Mistaken for"
	labelTells       = "What it tells"
	labelSource      = "Source"
	labelCommon      = "How common"
	labelDoes        = "What it does"
	labelSeen        = "What is then seen"
	labelAlike       = "What looks like it"
	labelNotApart    = "No test here tells it from"
	labelRemedy      = "To put it right"
	labelNextRemedy  = "If that does not help"
	labelTest        = "Test"
	labelRemedyCard  = "Remedy"
	labelShows       = "What it shows"
	labelWorth       = "Worth"
	labelBestFor     = "Tells apart best"
	labelPutsRight   = "Puts right"
	labelHolds       = "So where"
	labelBroughtBy   = "Brought about by"
	labelUsual       = "Taken as usual"
	labelFilled      = "Filled in"
	labelSetBy       = "Set by the rule"
	labelReadBy      = "Read by"
	labelWhen        = "When"
	labelThen        = "Then"
	labelRulesOut    = "Rules out"
	labelEstablishes = "Establishes"
	labelTell        = "Advice"
	labelBecause     = "Because"
	labelBefore      = "Stands before"
	labelKind        = "Kind"
	labelRests       = "Rests on it"

	headWarnings = "First, what can hurt"
	headFacts    = "What it takes"
	headSteps    = "Steps"
	headAfter    = "Then"
)

// Symptoms.

const (
	sayByAsking      = "By asking whoever knows."
	sayByLooking     = "By looking, without opening, touching or driving anything."
	sayOnlyTaken     = "No step of this rulebase asks for it: it is taken down when somebody says it."
	sayWeighsNothing = "It weighs for no cause by itself; rules read it."
	sayTellsNothing  = "It tells hardly anything: common with and without any cause."
	sayFor           = "Speaks for"
	sayAgainst       = "Speaks against"
	sayAgainstMost   = "It speaks against most causes."
	sayAgainstOthers = "It speaks against most other causes."
	sayComplaint     = "Every case begins with it."
	sayNoLimits      = "The limits are not known."
	sayLimitsNeed    = "Depends on: "
)

func saySite(name string) string { return " (here: " + name + ")" }

func saySiteValue(value, name string) string {
	return fmt.Sprintf("%s is called %s.", capital(value), name)
}

func sayReading(unit string) string {
	if unit == "" {
		return "A reading."
	}
	return fmt.Sprintf("A reading in %s.", unit)
}

func sayBand(band string) string         { return band + ": below " }
func sayLimit(band, limit string) string { return band + " below " + limit }
func sayTopBand(band string) string      { return band + ": all above" }

func sayBriefly(t *rulebase.Step) string {
	says := " (" + strings.TrimSuffix(report.Minutes(t.Minutes), ".")
	if len(t.At) > 0 {
		says += ", " + placeList(t.At)
	}
	return says + ")"
}

func saySureEverywhere(p float64) string { return hundred(p) + " in 100, anywhere." }
func saySureAt(p rulebase.Place, sure float64) string {
	return wording.PlaceNames[p] + " " + hundred(sure) + " in 100"
}

func sayNothingWrong(p float64) string {
	return "Where nothing is wrong: " + outOf100(p) + "."
}

func sayVoice(factor, chance float64) string {
	return fmt.Sprintf(": %s; shown %s", sayFactor(factor), outOf100(chance))
}

func sayAndMore(n int) string { return fmt.Sprintf(" and %d more", n) }

func sayMoreCauses(n int) string {
	if n == 1 {
		return "and one more cause."
	}
	return fmt.Sprintf("and %d more causes.", n)
}

// Causes.

func sayCommon(p float64) string {
	return fmt.Sprintf("In %s complaints%s.", perThousand(p), oneIn(p))
}

func oneIn(p float64) string {
	if p <= 0 || p >= 0.4 {
		return ""
	}
	n := 1 / p
	if n >= 20 {
		n = math.Round(n/5) * 5
	}
	return fmt.Sprintf(": about one in %.0f", n)
}

func sayTimes(times float64) string {
	return fmt.Sprintf("Its odds %s where ", sayFactor(times))
}

func sayChances(with, without float64) string {
	return fmt.Sprintf(": %s; without this cause %s.", outOf100(with), outOf100(without))
}

const (
	sayApart       = ". Told apart "
	sayNoTest      = ": no single test here tells them apart."
	saySameRemedy  = " The remedy is the same."
	sayNoRemedy    = "The rulebase names no remedy."
	wordFrom       = " from "
	wordAndPlain   = "and"
	wordOrPlain    = "or"
	wordAnd        = " and "
	wordOr         = " or "
	wordNot        = "not "
	wordIs         = " is "
	wordIsNot      = " is not "
	wordIsNeither  = " is neither "
	wordIsKnown    = " is known"
	wordIsNotKnown = " is not known"
	wordTrue       = "so"
	wordFalse      = "not so"
	sayUsual       = "what a drop shows of which nothing is wrong."
	saySignOfNone  = "no cause shows it more often than any other result."
	sayAgain       = "(The same evidence counts twice here, on purpose.)"
	sayBringsBack  = "A silent drop may come back on line, and its outputs may act."
	sayOnlyIf      = "Only if "
)

var functionWords = map[rulebase.Op]string{rulebase.OpMin: "the least of (", rulebase.OpMax: "the largest of (", rulebase.OpAbs: "the size of ("}

var signs = map[rulebase.Op]string{rulebase.OpEqual: " is ", rulebase.OpNotEqual: " is not ", rulebase.OpLess: " is below ", rulebase.OpLessEqual: " is at most ",
	rulebase.OpGreater: " is above ", rulebase.OpGreaterEqual: " is at least ", rulebase.OpSameFlag: " is as ", rulebase.OpOtherFlag: " is other than ",
	rulebase.OpAdd: " + ", rulebase.OpSubtract: " - ", rulebase.OpMultiply: " × ", rulebase.OpDivide: " / "}

// howWell says how often a test tells two causes apart, by its bits of the one
// bit that there is between them.
func howWell(bits float64) string {
	return [...]string{"seldom", "now and then", "mostly", "nearly always"}[gradeApart(bits)]
}

func gradeApart(bits float64) int {
	switch {
	case bits >= 0.75:
		return 3
	case bits >= 0.5:
		return 2
	case bits >= 0.25:
		return 1
	}
	return 0
}

// sayApartAt begins the name of the test that tells two causes apart best.
func sayApartAt(at []rulebase.Place, bits float64) string {
	return placeWordsOf(at) + ", " + howWell(bits) + ", by: "
}

func sayBestAt(at []rulebase.Place, bits float64) string {
	return capital(placeWordsOf(at)) + ", " + howWell(bits) + ": "
}

func sayHelps(chance float64) string {
	return fmt.Sprintf(" (helps %s)", outOf100(chance))
}

// Steps.

func sayEffort(s *rulebase.Step) string {
	says := capital(report.Minutes(s.Minutes)) + ", " + placeList(s.At)
	who := s.Who
	if s.Hazard&(rulebase.HazardLive|rulebase.HazardUnknown) != 0 {
		who = max(who, rulebase.Technician)
	}
	if who > rulebase.Operator {
		says += ", by " + wording.Person(who.String()) + " at least"
	} else {
		says += ", by anybody"
	}
	return says + "."
}

func sayNeeds(tools []string) string { return "Needed: " + andList(tools) + "." }

// sayGain says what a test is worth before anything is seen.
func sayGain(bits float64) string {
	switch {
	case bits >= 1.5:
		return "Before anything is known it should leave a third of the list or less."
	case bits >= 0.75:
		return "Before anything is known it should about halve the list."
	case bits >= 0.35:
		return "Before anything is known it should narrow the list down."
	case bits >= 0.1:
		return "Before anything is known it should help a little."
	}
	return "Before anything is known it would hardly change anything: it is for when something points to it."
}

func sayProof(p *rulebase.Proof) string {
	says := "To see that it held, watch for " + strings.TrimPrefix(report.Minutes(p.Minutes), "about ")
	if p.Under != "" {
		says += ", " + p.Under
	}
	return says + ": "
}

var endings = map[rulebase.Outcome]string{
	rulebase.Adjusted:     "The case ends as: put right by adjusting, nothing exchanged.",
	rulebase.Rewired:      "The case ends as: wiring put right.",
	rulebase.PartReplaced: "The case ends as: a part replaced, not the unit.",
	rulebase.ModuleOut:    "The case ends as: a module out.",
	rulebase.UnitOut:      "The case ends as: the unit out, to be repaired or exchanged.",
	rulebase.NotAFault:    "The case ends as: not a fault.",
	rulebase.Escalate:     "The case ends as: handed to somebody who knows more.",
}

func sayBecause(because string) string { return " Why: " + because }

// Givens, sources.

func sayGivenAnswer(g *rulebase.Given) string {
	switch g.Type {
	case rulebase.Flag:
		return "Yes or no."
	case rulebase.Choice:
		return capital(orList(wording.PlainAll(g.OneOf))) + "."
	}
	says := sayReading(g.Unit)
	if g.Range != nil {
		says += fmt.Sprintf(" Plausible from %s to %s.", figure(g.Range[0]), figure(g.Range[1]))
	}
	return says
}

func sayFilled(by string) string {
	if by == "" {
		return ""
	}
	if says, ok := filledWords[by]; ok {
		by = says
	} else if strings.HasPrefix(by, "line.") {
		by = "the installation sheet"
	}
	return "The program takes it from " + wording.Plain(by) + ", unless somebody says it."
}

var filledWords = map[string]string{"at": "the place of the case", "who": "the person of the case", "alone": "whether the case is worked alone",
	"extent": "the states of the drops on the line", "loss_of_bus": "what is known of the outputs on loss of bus"}

var sourceKinds = map[string]string{
	"practice": "Common practice of the trade: no source says it.",
	"estimate": "An estimate: closed cases should replace it.",
	"standard": "A standard, or parts of one.",
	"paper":    "A publication.",
}

func saySourceKind(kind string) string {
	if says, ok := sourceKinds[kind]; ok {
		return says
	}
	return capital(wording.Plain(kind))
}

func sayRests(n int) string { return fmt.Sprintf("%d entries name it.", n) }

// Numbers and words.

// hundred is a chance out of 100, without claiming more than is known at the ends.
func hundred(p float64) string {
	switch n := math.Round(100 * p); {
	case p <= 0:
		return "0"
	case p >= 1:
		return "100"
	case n < 1:
		return "less than 1"
	case n > 99:
		return "more than 99"
	default:
		return fmt.Sprintf("%.0f", n)
	}
}

func outOf100(p float64) string {
	if p <= 0 {
		return "never"
	}
	return hundred(p) + "\u00a0in\u00a0100"
}

func perThousand(p float64) string {
	return strings.TrimSuffix(strings.TrimRight(fmt.Sprintf("%.1f", 1000*p), "0"), ".") + " of 1,000"
}

// sayFactor is a factor on odds, to two figures.
func sayFactor(f float64) string {
	switch {
	case math.IsInf(f, 1):
		return "only this shows it"
	case f == 0:
		return "rules it out"
	case f >= 1000:
		return "× over 1,000"
	case f >= 10:
		return fmt.Sprintf("× %.0f", f)
	case f >= 0.095:
		return "× " + strings.TrimSuffix(fmt.Sprintf("%.1f", f), ".0")
	case f >= 0.01:
		return fmt.Sprintf("× %.2f", f)
	}
	return "× under 0.01"
}

func placeList(at []rulebase.Place) string {
	if len(at) == 0 {
		return "anywhere"
	}
	return orList(namesOf(at))
}

// placeWordsOf says places that go together.
func placeWordsOf(at []rulebase.Place) string {
	if len(at) == len(places) {
		return "anywhere"
	}
	return andList(namesOf(at))
}

func namesOf(at []rulebase.Place) []string {
	words := make([]string, len(at))
	for i, p := range at {
		words[i] = wording.PlaceNames[p]
	}
	return words
}

func countOf(n int, one, many string) string {
	if n == 1 {
		return "one " + one
	}
	return fmt.Sprintf("%d %s", n, many)
}

func andList(words []string) string { return wording.List("and", words) }
func orList(words []string) string  { return wording.List("or", words) }
func norList(words []string) string { return wording.List("nor", words) }

// sentence ends a text as a sentence ends.
func sentence(s string) string {
	if s == "" || strings.ContainsRune(".?!:)", rune(s[len(s)-1])) {
		return s
	}
	return s + "."
}

func capital(s string) string { return wording.UpperFirst(s) }

// smallWords are no terms.
var smallWords = []string{"a", "an", "and", "as", "at", "by", "for", "from", "has", "in", "is", "it", "no", "not", "of", "off", "on", "one", "or", "out", "that", "the", "to", "up", "with"}
