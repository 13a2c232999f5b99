package engine_test

import (
	"fmt"
	"math/rand/v2"
	"strings"
	"testing/fstest"

	"downdrop/rulebase"
)

func load(yaml string) (*rulebase.Base, error) {
	return rulebase.Load(rulebase.Layer{Name: "random", FS: fstest.MapFS{"all.yaml": {Data: []byte(yaml)}}})
}

// A writer writes a random rulebase that uses everything numeric in the format.
type writer struct {
	r          *rand.Rand
	out        strings.Builder
	causes     int
	conditions int
	symptoms   []writtenSymptom
	remedies   int
	tests      int
	complaint  bool
	loss       bool
	putsRight  []string // tests that put something right
}

type writtenSymptom struct {
	id     string
	values []string
	banded bool
	weighs bool
}

func (w *writer) line(format string, args ...any) { fmt.Fprintf(&w.out, format+"\n", args...) }

func (w *writer) pick(words ...string) string { return words[w.r.IntN(len(words))] }

func (w *writer) chance(n int) bool { return w.r.IntN(n) == 0 }

func randomRulebase(r *rand.Rand) (*writer, string) {
	w := &writer{r: r, causes: 2 + r.IntN(5), conditions: r.IntN(6), remedies: 1 + r.IntN(4), tests: 1 + r.IntN(4), complaint: r.IntN(4) > 0}
	w.header()
	w.line("givens:")
	w.line("  storm: {default: false}")
	w.line("  length: {unit: m, range: [0, 2000]}")
	w.line("  term: {unit: ohm, range: [50, 500], default: 150}")
	w.line("  line: {one_of: [red, green, blue], default: red}")
	w.line("  place: {one_of: [phone, field, bench], filled_by: at}")
	w.line("  hands: {one_of: [operator, electrician, technician, engineer], filled_by: who}")
	w.line("  by_oneself: {filled_by: alone}")
	w.line("  other_line: {one_of: [blue, green, white]}")
	w.line("  deduced: {}\n  reckoned: {unit: ohm, range: [1, 500]}")
	if w.chance(2) {
		w.loss = true
		w.line("  loss: {one_of: [off, hold], filled_by: loss_of_bus}")
	}
	w.line("warnings:\n  care: {level: warning, says: Take care.}\n  more_care: {level: danger, says: Take more care.}")
	w.line("sources: {made: {says: made up, kind: made}}")
	w.line("causes:")
	for i := range w.causes {
		w.cause(i)
	}
	w.line("conditions:")
	for i := range w.conditions {
		w.line("  k%d: {when: %q, says: state k%d}", i, w.formula(2, i), i)
	}
	w.line("symptoms:")
	for i := range 3 + r.IntN(4) {
		w.symptom(i)
	}
	if w.complaint {
		w.line("  works:\n    ask: does it work\n    values: [fine, dead, odd]\n    shows:\n      - {when: %q, dead: 0.9}\n      - {fine: 0.97}", w.causesOr())
		w.symptoms = append(w.symptoms, writtenSymptom{"works", []string{"fine", "dead", "odd"}, false, true})
	}
	w.line("  mode: {ask: mode, by: asking, values: [run, stop]}")
	w.symptoms = append(w.symptoms, writtenSymptom{"mode", []string{"run", "stop"}, false, false})
	w.rules()
	w.steps()
	return w, w.out.String()
}

func (w *writer) header() {
	w.line("rulebase:\n  name: random\n  faults_at_most: %d", 1+w.r.IntN(3))
	if w.chance(2) {
		w.line("  together: %s", w.pick("0.1", "0.5", "2"))
	}
	if w.chance(2) {
		w.line("  outside_per_thousand: %s", w.pick("0", "50", "300"))
	}
	if w.chance(2) {
		w.line("  sure: %s", w.pick("0.9", "{phone: 0.8, field: 0.95}", "1"))
	}
	if w.chance(4) {
		w.line("  fact_from: 0.8")
	}
	if w.chance(3) {
		w.line("  effort: {stops_drop: 7, stops_bus: 20, visit: 60}\n  give_up_minutes: 100")
	}
	if w.complaint {
		w.line("  complaint: {symptom: works, bad: dead, well: fine}")
	}
}

func (w *writer) given() string {
	return w.pick("reckoned > 80", "line == other_line", "other_line != line", "min(term, reckoned, 400) < 140", "abs(length - 700) / 2 <= 300", "length in [100, 1500]",
		"length not in [300]", "storm == deduced", "storm != by_oneself", "hands in [technician, engineer]", "by_oneself or -length < -200", "max(length, 2 * term) > 301",
		"known(place) and not known(hands)", "line not in [green, red]", "storm", "length > 300", "length < 600 or storm", "line == green", "line in [green, blue]", "known(length)", "not (length > 300 and storm)", "term >= 150", "place == phone", "not known(deduced)", "deduced", "line != red and storm")
}

func (w *writer) cause(i int) {
	w.line("  c%d:\n    name: cause %d\n    part: unit\n    per_thousand: %s\n    source: made", i, i, w.pick("2", "50", "150", "400", "0"))
	if w.chance(2) {
		w.line("    more_likely:")
		for range 1 + w.r.IntN(2) {
			w.line("      - {when: %q, times: %s}", w.given(), w.pick("0.3", "2", "12"))
		}
	}
	switch w.r.IntN(5) {
	case 4:
		if w.remedies > 2 {
			w.line("    remedies: [{do: m2, helps: seldom}, {do: m0, helps: 0.5}, {do: m1, helps: %s}]", w.pick("0.9", "1", "0"))
		}
	case 0:
		w.line("    remedy: m%d", w.r.IntN(w.remedies))
	case 1:
		w.line("    remedies: [{do: m%d, helps: %s}]", w.r.IntN(w.remedies), w.pick("0.4", "often", "1", "0.7"))
	case 2:
		if w.remedies > 1 {
			a := w.r.IntN(w.remedies)
			w.line("    remedies: [{do: m%d, helps: %s}, m%d]", a, w.pick("0.4", "usually", "0.7"), (a+1)%w.remedies)
		}
	}
}

func (w *writer) causesOr() string {
	var parts []string
	for i := range w.causes {
		parts = append(parts, fmt.Sprintf("c%d", i))
	}
	if w.conditions > 0 && w.chance(2) {
		parts = append(parts, fmt.Sprintf("k%d", w.r.IntN(w.conditions)))
	}
	return strings.Join(parts[w.r.IntN(2)%len(parts):], " or ")
}

// formula is a condition over causes, conditions and givens. Conditions above
// upTo are only read without a negation, and those of the same parity only, so
// that circles are positive.
func (w *writer) formula(depth, upTo int) string {
	switch k := w.r.IntN(10); {
	case depth == 0 || k < 4:
		switch {
		case w.conditions > 0 && w.chance(3) && upTo > 0:
			return fmt.Sprintf("k%d", w.r.IntN(upTo))
		case w.conditions > 0 && upTo < w.conditions && w.chance(6):
			return fmt.Sprintf("k%d", upTo+w.r.IntN(min(2, w.conditions-upTo)))
		case w.chance(5):
			return "(" + w.given() + ")"
		}
		return fmt.Sprintf("c%d", w.r.IntN(w.causes))
	case k < 6:
		if w.conditions > 0 && upTo > 0 && w.chance(3) {
			return fmt.Sprintf("not k%d", w.r.IntN(upTo))
		}
		if w.chance(4) {
			return "not " + "(" + w.formula(depth-1, 0) + " or " + w.given() + ")"
		}
		return fmt.Sprintf("not c%d", w.r.IntN(w.causes))
	case k < 8:
		return "(" + w.formula(depth-1, upTo) + " or " + w.formula(depth-1, upTo) + ")"
	}
	return "(" + w.formula(depth-1, upTo) + " and " + w.formula(depth-1, upTo) + ")"
}

func (w *writer) symptom(i int) {
	s := writtenSymptom{id: fmt.Sprintf("s%d", i), weighs: true}
	own := w.pick("", "", ", sure: 0.9", ", sure: {phone: 0.7, bench: 1}")
	by := w.pick("", ", by: asking", ", by: looking")
	switch w.r.IntN(4) {
	case 0:
		s.values = []string{"yes", "no"}
		if w.chance(2) {
			s.values = []string{"no", "yes"}
		}
		w.line("  %s:\n    {ask: what, values: [\""+strings.Join(s.values, "\", \"")+"\"], combine: independent%s%s,\n    shows: [", s.id, own, by)
		for range 1 + w.r.IntN(3) {
			w.line("      {when: %q, yes: %s},", w.formula(2, w.conditions), w.pick("0.8", "sometimes", "usually", "0", "1"))
		}
		w.line("      {yes: %s}]}", w.pick("0.02", "0", "0.1"))
	case 1:
		s.values, s.banded = []string{"low", "mid", "high"}, true
		w.line("  %s:\n    {ask: what, unit: ohm, bands: [{low: %q}, {mid: %q}, high]%s%s,", s.id,
			w.pick("0.5 * term", "75", "min(term, 90)"), w.pick("1.5 * term", "225", "0.5 * term + length", "reckoned", "reckoned + 100"), own, by)
		w.rows(s)
	default:
		s.values = []string{"v0", "v1", "v2", "v3"}[:2+w.r.IntN(3)]
		w.line("  %s:\n    {ask: what, values: [%s]%s%s,", s.id, strings.Join(s.values, ", "), own, by)
		w.rows(s)
	}
	w.symptoms = append(w.symptoms, s)
}

func (w *writer) rows(s writtenSymptom) {
	w.line("    shows: [")
	row := func(when string) {
		p := w.pick("often", "half", "0.6", "0.99", "0", "1")
		text := fmt.Sprintf("%s: %s", s.values[w.r.IntN(len(s.values))], p)
		if w.chance(3) {
			var parts []string
			for _, v := range s.values {
				parts = append(parts, fmt.Sprintf("%s: %s", v, w.pick("0.2", "0.5", "0.9")))
			}
			text = strings.Join(parts, ", ")
		}
		w.line("      {%s%s},", when, text)
	}
	for range 1 + w.r.IntN(3) {
		row(fmt.Sprintf("when: %q, ", w.formula(2, w.conditions)))
	}
	if w.chance(2) {
		row("")
	}
	w.line("      ]}")
}

// seen is a condition over what was observed, for rules and only_if.
func (w *writer) seen() string {
	s := w.symptoms[w.r.IntN(len(w.symptoms))]
	v, u := s.values[w.r.IntN(len(s.values))], s.values[w.r.IntN(len(s.values))]
	switch w.r.IntN(9) {
	case 0:
		return w.given()
	case 1:
		return "mode == stop"
	case 2:
		return "off"
	case 3:
		return "not known(" + s.id + ")"
	case 4:
		return s.id + " in [" + v + ", " + u + "]"
	case 5:
		return "level != " + w.pick("one", "two")
	case 6:
		if s.banded {
			return s.id + w.pick(" < 80", " >= 225", " > term")
		}
		return s.id + " != " + v
	}
	return s.id + " == " + v
}

// rules are many small ones: chains, circles, contradictions, negations.
func (w *writer) rules() {
	w.line("rules:")
	w.line("  told: {when: mode == stop, then: {off: true}, tell: It is told to be off., source: made}")
	w.line("  step_one: {when: mode == run, then: {level: one}, source: made}")
	if w.chance(2) {
		w.line("  step_two: {when: storm and off or line == blue, then: {level: two}, source: made}")
	} else {
		w.line("  step_two: {when: mode == run and mode == stop, then: {level: two}, source: made}")
	}
	for i := range w.r.IntN(7) {
		w.rule(i)
	}
}

func (w *writer) rule(i int) {
	when := w.seen()
	switch w.r.IntN(4) {
	case 0:
		when += " and " + w.seen()
	case 1:
		when += " or " + w.seen()
	}
	then := ""
	switch s := w.symptoms[w.r.IntN(len(w.symptoms))]; w.r.IntN(9) {
	case 0:
		then = "then: {deduced: " + w.pick("true", "true", "false") + "}"
	case 1:
		then = "then: {reckoned: " + w.pick("60", "200") + "}"
	case 2:
		then = "then: {off: " + w.pick("true", "true", "false") + "}"
	case 3:
		then = fmt.Sprintf("rules_out: [c%d]", w.r.IntN(w.causes))
	case 4:
		then = fmt.Sprintf("establishes: [c%d], rules_out: [c%d]", w.r.IntN(w.causes), w.r.IntN(w.causes))
	case 5:
		then = "then: {level: two, off: true}"
	default:
		value := s.values[w.r.IntN(len(s.values))]
		if s.banded && w.chance(3) {
			value = w.pick("74", "225")
		}
		then = fmt.Sprintf("then: {%s: %q}", s.id, value)
		if s.banded && (value == "74" || value == "225") {
			then = fmt.Sprintf("then: {%s: %s}", s.id, value)
		}
	}
	w.line("  r%d: {when: %q, %s, again: true, because: made up, source: made}", i, when, then)
}

func (w *writer) steps() {
	w.line("tests:")
	for i := range w.tests {
		var yields []string
		for range 1 + w.r.IntN(2) {
			s := w.symptoms[w.r.IntN(len(w.symptoms))].id
			if !strings.Contains(strings.Join(yields, " "), s) {
				yields = append(yields, s)
			}
		}
		puts := ""
		if w.chance(4) {
			puts = fmt.Sprintf(", puts_right: [c%d]", w.r.IntN(w.causes))
			w.putsRight = append(w.putsRight, fmt.Sprintf("t%d", i))
		}
		w.line("  t%d: {do: look, yields: [%s], minutes: %d%s%s}", i, strings.Join(yields, ", "), 1+w.r.IntN(20), puts, w.keys())
	}
	w.line("remedies:")
	for i := range w.remedies {
		ends := w.pick("ends_as: unit_out", "ends_as: adjusted", "ends_as: part_replaced, temporary: true", "ends_as: rewired")
		proof := ""
		if w.chance(3) {
			proof = ", proof: {watch: " + w.symptoms[0].id + ", minutes: 6}"
		}
		if w.chance(6) {
			ends += fmt.Sprintf(", puts_right: [c%d]", w.r.IntN(w.causes))
		}
		w.line("  m%d: {do: mend, minutes: %d, %s%s%s}", i, 1+w.r.IntN(30), ends, proof, w.keys())
	}
}

func (w *writer) keys() string {
	var k strings.Builder
	if w.chance(3) {
		k.WriteString(", at: " + w.pick("[field]", "[phone, field]", "[bench]"))
	}
	if w.chance(4) {
		k.WriteString(", who: " + w.pick("technician", "engineer", "electrician"))
	}
	if w.chance(4) {
		k.WriteString(", needs: [" + w.pick("meter", "spare") + "]")
	}
	if w.chance(4) {
		k.WriteString(", stops: " + w.pick("drop", "bus"))
	}
	if w.chance(3) {
		k.WriteString(", hazard: " + w.pick("live", "[motion]", "[mains, live]", "unknown", "[static]", "[spark]", "[stored]") + ", warnings: " + w.pick("[care]", "[care, more_care]"))
	}
	if w.chance(4) {
		k.WriteString(", only_if: " + fmt.Sprintf("%q", w.seen()))
	}
	return k.String()
}

// randomCase writes a random case file for the rulebase.
func (w *writer) randomCase() string {
	w.out.Reset()
	if !w.chance(4) {
		w.line("at: %s", w.pick("phone", "field", "bench"))
	}
	if w.chance(2) {
		w.line("who: %s", w.pick("operator", "electrician", "technician", "engineer"))
	}
	if w.chance(3) {
		w.line("tools: [%s]", w.pick("", "meter", "meter, spare"))
	}
	if w.chance(4) {
		w.line("alone: true")
	}
	if w.chance(3) {
		w.line("confirmed: [%s]", w.pick("care", "care, more_care"))
	}
	if w.chance(4) {
		w.line("effort: {stops_drop: 3, stops_bus: 11, visit: 33}")
	}
	if w.chance(4) {
		w.line("drop: 7")
	}
	w.line("givens: {%s}", strings.Join(w.givenValues(), ", "))
	done := w.done()
	w.line("findings:")
	for range w.r.IntN(7) {
		w.finding(done)
	}
	return w.out.String()
}

func (w *writer) givenValues() []string {
	var all []string
	for _, v := range []string{"storm: " + w.pick("true", "false"), "length: " + w.pick("100", "300", "1500"), "term: " + w.pick("120", "150"), "line: " + w.pick("red", "green", "blue"),
		"other_line: " + w.pick("blue", "green", "white"), "deduced: " + w.pick("true", "false"), "reckoned: " + w.pick("60", "170"), "place: field", "hands: engineer", "by_oneself: true", "loss: off"} {
		if strings.HasPrefix(v, "loss") && !w.loss || strings.Contains("deduced reckoned place hands by_oneself", strings.Split(v, ":")[0]) && !w.chance(3) {
			continue
		}
		if w.chance(2) {
			all = append(all, v)
		}
	}
	return all
}

func (w *writer) done() []string {
	var done []string
	if w.chance(2) {
		return nil
	}
	w.line("done:")
	for range 1 + w.r.IntN(3) {
		id := fmt.Sprintf("m%d", w.r.IntN(w.remedies))
		if len(w.putsRight) > 0 && w.chance(3) {
			id = w.putsRight[w.r.IntN(len(w.putsRight))]
		}
		done = append(done, id)
		drop := w.pick("", ", drop: still_down", ", drop: still_down", ", drop: well")
		if drop == ", drop: well" && !w.chance(4) {
			drop = ""
		}
		w.line("  - {id: %s%s}", id, drop)
	}
	return done
}

func (w *writer) finding(done []string) {
	s := w.symptoms[w.r.IntN(len(w.symptoms))]
	value := fmt.Sprintf("%q", s.values[w.r.IntN(len(s.values))])
	if s.banded && w.chance(2) {
		value = w.pick("74", "75", "100", "225", "226", "24.0", "2000")
	}
	extra := ""
	if w.chance(3) {
		extra += ", sure: " + w.pick("0.7", "0.9", "1", "0.96")
	}
	if w.chance(4) {
		extra += ", at: " + w.pick("phone", "field", "bench")
	}
	if w.chance(8) {
		extra += ", drop: " + w.pick("7", "8")
	}
	if len(done) > 0 && w.chance(2) {
		extra += ", after: " + done[w.r.IntN(len(done))]
	}
	w.line("  - {symptom: %s, value: %s%s}", s.id, value, extra)
}
