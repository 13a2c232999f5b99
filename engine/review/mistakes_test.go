package review_test

import (
	"fmt"
	"math"
	"regexp"
	"slices"
	"strconv"
	"strings"

	"downdrop/rulebase"
	"downdrop/rulebase/source"
)

// mistakes says for each kind of testdata/planted/kinds.yaml where it can be made.
var mistakes = map[string]func(*planter) []edit{
	"misspelled_id":       misspelledID,
	"misspelled_key":      misspelledKey,
	"key_twice":           onLines(func(line string) string { return line + "\n" + line }),
	"indented_wrong":      onLines(func(line string) string { return " " + line }),
	"tab_for_blanks":      onLines(func(line string) string { return "\t" + strings.TrimLeft(line, " ") }),
	"quote_left_open":     quoteLeftOpen,
	"decimal_comma":       onChances(func(text string) string { return strings.Replace(text, ".", ",", 1) }),
	"percent_for_chance":  onChances(func(text string) string { return format(100 * parse(text)) }),
	"negative_chance":     onChances(func(text string) string { return "-" + text }),
	"sum_over_one":        sumOverOne,
	"value_not_there":     valueNotThere,
	"wrong_section":       wrongSection,
	"id_twice":            idTwice,
	"given_not_declared":  givenNotDeclared,
	"otherwise_too_early": otherwiseTooEarly,
	"warnings_left_out":   without("warnings", grave, "tests", "remedies"),
	"source_left_out":     without("source", whatever, "causes", "rules"),
	"remedy_left_out":     remedyLeftOut,
	"part_left_out":       without("part", whatever, "causes"),
	"unit_left_out":       without("unit", func(p *planter, e entry) bool { return e.node.Get("bands") != nil }, "symptoms"),
	"question_too_long":   questionTooLong,
	"outcome_left_out":    without("ends_as", whatever, "remedies"),

	"rows_exchanged":      rowsExchanged,
	"row_of_a_sibling":    rowOfASibling,
	"limit_tenfold":       limitTenfold,
	"comparison_turned":   comparisonTurned,
	"chances_swapped":     chancesSwapped,
	"never_for_always":    neverForAlways,
	"cause_moved":         causeMoved,
	"cause_dropped":       causeDropped,
	"and_for_or":          onExpressions(" or ", " and "),
	"not_dropped":         onExpressions("not ", ""),
	"look_alike_swapped":  lookAlikeSwapped,
	"remedy_of_another":   remedyOfAnother,
	"weight_tenfold":      weightTenfold,
	"factor_upside_down":  factorUpsideDown,
	"yield_of_another":    yieldOfAnother,
	"milder_warning":      milderWarning,
	"hazard_dropped":      without("hazard", whatever, "tests", "remedies"),
	"stop_dropped":        without("stops", whatever, "tests", "remedies"),
	"brings_back_dropped": without("brings_back", whatever, "tests", "remedies"),
	"offered_by_phone":    offeredByPhone,
	"anybody_may":         without("who", whatever, "tests", "remedies"),
	"outcome_of_another":  outcomeOfAnother,
	"helps_tenfold":       helpsTenfold,
	"rule_of_another":     ruleOfAnother,
}

func whatever(*planter, entry) bool { return true }

// grave says that a step may not go without a warning.
func grave(p *planter, e entry) bool {
	hazard := e.node.Get("hazard")
	return hazard != nil && hazard.Text != "none" || e.node.Get("brings_back") != nil
}

func parse(text string) float64 { x, _ := strconv.ParseFloat(text, 64); return x }

func format(x float64) string { return strconv.FormatFloat(math.Round(x*1e6)/1e6, 'f', -1, 64) }

func saying(s splice, kind string, words ...any) edit {
	return edit{splices: []splice{s}, says: fmt.Sprintf(kind, words...)}
}

// without leaves a key out of entries that fit.
func without(key string, fits func(*planter, entry) bool, sections ...string) func(*planter) []edit {
	return func(p *planter) []edit {
		var all []edit
		for _, e := range p.entries(sections...) {
			if n := e.node.Get(key); n != nil && fits(p, e) {
				all = append(all, saying(e.drop(e.node, key), "%s: %s is left out", e.id(), key))
			}
		}
		return all
	}
}

// onLines spoils a line of an entry that holds a key and a plain value.
func onLines(spoil func(string) string) func(*planter) []edit {
	return func(p *planter) []edit {
		var all []edit
		for _, e := range p.entries("causes", "conditions", "symptoms", "tests", "remedies", "rules") {
			if e.node.Shape != source.Map || !e.inLines(e.node) {
				continue
			}
			for i, k := range e.node.Keys {
				v := e.node.Items[i]
				if i == 0 || v.Shape != source.Scalar || v.Block || v.Pos.Line != k.Pos.Line {
					continue
				}
				line := e.line(k.Pos.Line - 1)
				from := e.starts[k.Pos.Line-1]
				all = append(all, saying(splice{e.name, from, from + len(line), spoil(line)}, "%s: the line of %s", e.id(), k.Text))
			}
		}
		return all
	}
}

// onChances rewrites the first chance of a row that is written in figures.
func onChances(rewrite func(string) string) func(*planter) []edit {
	return func(p *planter) []edit {
		var all []edit
		for _, r := range p.rows() {
			names, chances := r.chances()
			if len(chances) > 0 && strings.HasPrefix(chances[0].Text, "0.") {
				now := rewrite(chances[0].Text)
				all = append(all, saying(r.put(chances[0], now), "%s: %s has %s instead of %s", r.id(), names[0].Text, now, chances[0].Text))
			}
		}
		return all
	}
}

// onExpressions replaces one place of an expression.
func onExpressions(old, new string) func(*planter) []edit {
	return func(p *planter) []edit {
		var all []edit
		for _, x := range p.expressions() {
			for _, at := range allIndices(x.node.Text, old) {
				if old == "not " && strings.HasPrefix(x.node.Text[at:], "not in") {
					continue
				}
				now := x.node.Text[:at] + new + x.node.Text[at+len(old):]
				e := saying(x.retext(x.node, now), "%s: %q instead of %q", x.id(), now, x.node.Text)
				e.group = x.of
				all = append(all, e)
			}
		}
		return all
	}
}

func allIndices(text, part string) []int {
	var all []int
	for from := 0; ; {
		i := strings.Index(text[from:], part)
		if i < 0 {
			return all
		}
		all = append(all, from+i)
		from += i + len(part)
	}
}

func misspelledID(p *planter) []edit {
	var all []edit
	say := func(e entry, s splice, id string) {
		all = append(all, saying(s, "%s names %s instead of %s", e.id(), shorten(id), id))
	}
	for _, e := range p.entries("causes", "tests", "remedies") {
		for _, key := range []string{"remedy", "yields", "warnings", "look_alikes"} {
			switch n := e.node.Get(key); {
			case n == nil:
			case n.Shape == source.Scalar:
				say(e, e.put(n, shorten(n.Text)), n.Text)
			case n.Shape == source.List && len(n.Items) > 0:
				say(e, e.put(n.Items[0], shorten(n.Items[0].Text)), n.Items[0].Text)
			}
		}
	}
	for _, x := range p.expressions() {
		for _, id := range word.FindAllString(x.node.Text, -1) {
			if ref, ok := p.base.Lookup(id); ok && (ref.Kind == rulebase.KindCause || ref.Kind == rulebase.KindCondition) {
				say(x.entry, x.retext(x.node, strings.Replace(x.node.Text, id, shorten(id), 1)), id)
				break
			}
		}
	}
	return all
}

func misspelledKey(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes", "conditions", "symptoms", "tests", "remedies", "rules", "givens") {
		for _, k := range e.node.Keys {
			if len(k.Text) > 3 {
				all = append(all, saying(e.put(k, shorten(k.Text)), "%s: the key %s instead of %s", e.id(), shorten(k.Text), k.Text))
			}
		}
	}
	return all
}

func quoteLeftOpen(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes", "conditions", "symptoms", "tests", "remedies", "rules") {
		for _, key := range []string{"name", "says", "ask", "do", "tell"} {
			if n := e.node.Get(key); n != nil && n.Quoted && !n.Block {
				to := e.end(n)
				all = append(all, saying(splice{e.name, to - 1, to, ""}, "%s: the closing quotation mark of %s is lost", e.id(), key))
			}
		}
	}
	return all
}

// sumOverOne gives a row's second value the chance of its first, where values are
// left unnamed: where all are named they are only a matter of scale.
func sumOverOne(p *planter) []edit {
	var all []edit
	for _, r := range p.rows() {
		names, chances := r.chances()
		if len(names) < 2 || len(names) == len(p.values(r.id())) {
			continue
		}
		if first, ok := p.number(chances[0]); ok && first > 0.55 {
			all = append(all, saying(r.put(chances[1], chances[0].Text), "%s: %s has %s as %s has", r.id(), names[1].Text, chances[0].Text, names[0].Text))
		}
	}
	return all
}

// values are the values of a symptom, or its bands.
func (p *planter) values(id string) []string {
	ref, _ := p.base.Lookup(id)
	return p.base.Symptoms[ref.Index].Values
}

func valueNotThere(p *planter) []edit {
	var all []edit
	symptoms := p.entries("symptoms")
	for _, r := range p.rows() {
		names, _ := r.chances()
		other, ok := p.someOther(symptoms, func(e entry) bool { return !slices.Contains(p.values(r.id()), p.values(e.id())[0]) })
		if ok && len(names) > 0 {
			new := p.values(other.id())[0]
			all = append(all, saying(r.put(names[0], strconv.Quote(new)), "%s: a row gives a chance to %s instead of %s", r.id(), new, names[0].Text))
		}
	}
	return all
}

func wrongSection(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("tests") {
		i := slices.IndexFunc(e.doc.Keys, func(k *source.Node) bool { return k.Text == "remedies" })
		if i < 0 || !e.inLines(e.doc.Items[i]) {
			continue
		}
		from, to := e.lines(e.key)
		into := e.starts[e.doc.Keys[i].Pos.Line]
		all = append(all, edit{splices: []splice{{e.name, from, to, ""}, {e.name, into, into, e.text[from:to]}}, says: e.id() + ", a test, stands among the remedies"})
	}
	return all
}

// idTwice copies an entry into another file's section.
func idTwice(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes", "conditions", "symptoms", "tests", "remedies", "rules") {
		for _, s := range p.sheets {
			i := slices.IndexFunc(s.doc.Keys, func(k *source.Node) bool { return k.Text == e.section })
			if s.name == e.name || i < 0 || len(s.doc.Items[i].Keys) == 0 || s.doc.Items[i].Keys[0].Pos.Column != e.key.Pos.Column {
				continue
			}
			from, to := e.lines(e.key)
			into := s.starts[s.doc.Keys[i].Pos.Line]
			all = append(all, saying(splice{s.name, into, into, e.text[from:to]}, "%s is declared in %s as well", e.id(), s.name))
			break
		}
	}
	return all
}

func givenNotDeclared(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("givens") {
		read := slices.ContainsFunc(p.expressions(), func(x expression) bool { return slices.Contains(word.FindAllString(x.node.Text, -1), e.id()) })
		if read {
			from, to := e.lines(e.key)
			all = append(all, edit{splices: []splice{{e.name, from, to, ""}}, says: e.id() + " is declared no more", group: e.id()})
		}
	}
	return all
}

func otherwiseTooEarly(p *planter) []edit {
	var all []edit
	for _, r := range p.rows() {
		if r.when != nil && r.next != nil && r.next.Get("when") == nil {
			all = append(all, edit{splices: r.exchange(r.node, r.next), says: r.id() + ": the row for all other cases stands above the last one"})
		}
	}
	return all
}

func remedyLeftOut(p *planter) []edit {
	return append(without("remedy", whatever, "causes")(p), without("remedies", whatever, "causes")(p)...)
}

func questionTooLong(p *planter) []edit {
	const more = " Look closely and from near, since what is seen from the door of the panel may well belong to the unit beside it, and say as well since when it has been like that."
	var all []edit
	for _, e := range p.entries("symptoms", "givens") {
		if n := e.node.Get("ask"); n != nil {
			all = append(all, saying(e.retext(n, n.Text+more), "%s: the question is %d letters long", e.id(), len(n.Text)+len(more)))
		}
	}
	return all
}

func rowsExchanged(p *planter) []edit {
	var all []edit
	for _, r := range p.rows() {
		if r.when != nil && r.next != nil && r.next.Get("when") != nil {
			all = append(all, edit{splices: r.exchange(r.when, r.next.Get("when")), says: fmt.Sprintf("%s: the rows of %q and of %q exchange their chances", r.id(), r.when.Text, r.next.Get("when").Text)})
		}
	}
	return all
}

func rowOfASibling(p *planter) []edit {
	var all []edit
	for _, r := range p.rows() {
		if r.when != nil && r.next != nil && r.next.Get("when") != nil {
			below := r.next.Get("when")
			all = append(all, saying(r.retext(below, r.when.Text), "%s: the row of %q says %q", r.id(), below.Text, r.when.Text))
		}
	}
	return all
}

var figure = regexp.MustCompile(`-?[0-9]+(\.[0-9]+)?`)

func limitTenfold(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("symptoms") {
		bands := e.node.Get("bands")
		if bands == nil {
			continue
		}
		for _, b := range bands.Items {
			if b.Shape != source.Map || len(b.Items) != 1 {
				continue
			}
			if at := figure.FindStringIndex(b.Items[0].Text); at != nil {
				text := b.Items[0].Text
				now := text[:at[0]] + format(10*parse(text[at[0]:at[1]])) + text[at[1]:]
				all = append(all, saying(e.retext(b.Items[0], now), "%s: the limit of %s is %s instead of %s", e.id(), b.Keys[0].Text, now, text))
			}
		}
	}
	return all
}

var turned = map[string]string{" < ": " > ", " > ": " < ", " <= ": " >= ", " >= ": " <= ", " == ": " != ", " != ": " == "}

func comparisonTurned(p *planter) []edit {
	var all []edit
	for old, new := range turned {
		all = append(all, onExpressions(old, new)(p)...)
	}
	slices.SortFunc(all, func(a, b edit) int { // a map has no order
		return strings.Compare(fmt.Sprint(a.splices), fmt.Sprint(b.splices))
	})
	return all
}

// chancesSwapped lets the value that a row says most often and the next one
// exchange their chances.
func chancesSwapped(p *planter) []edit {
	var all []edit
	for _, r := range p.rows() {
		names, chances := r.chances()
		i, j := p.largest(chances, -1), -1
		if i >= 0 {
			j = p.largest(chances, i)
		}
		if j >= 0 && chances[i].Text != chances[j].Text {
			all = append(all, edit{splices: r.exchange(chances[i], chances[j]), says: fmt.Sprintf("%s: %s %s and %s %s exchange their chances", r.id(), names[i].Text, chances[i].Text, names[j].Text, chances[j].Text)})
		}
	}
	return all
}

// largest is the place of the largest chance other than one; -1 where there is none.
func (p *planter) largest(chances []*source.Node, but int) int {
	best, most := -1, -1.0
	for i, c := range chances {
		if x, ok := p.number(c); ok && i != but && x > most {
			best, most = i, x
		}
	}
	return best
}

func neverForAlways(p *planter) []edit {
	var all []edit
	for _, r := range p.rows() {
		names, chances := r.chances()
		i := p.largest(chances, -1)
		if i < 0 {
			continue
		}
		if x, _ := p.number(chances[i]); x >= 0.7 {
			now := format(1 - x)
			all = append(all, saying(r.put(chances[i], now), "%s: %s has %s instead of %s", r.id(), names[i].Text, now, chances[i].Text))
		}
	}
	return all
}

// inList are the causes that an expression joins by or, where it joins nothing otherwise.
func (p *planter) inList(x expression) []string {
	if strings.ContainsAny(x.node.Text, "()=<>") || strings.Contains(x.node.Text, " and ") || strings.Contains(x.node.Text, "not ") {
		return nil
	}
	return slices.DeleteFunc(strings.Split(x.node.Text, " or "), func(id string) bool {
		ref, ok := p.base.Lookup(id)
		return !ok || ref.Kind != rulebase.KindCause
	})
}

// leaveOut takes an id out of a list joined by or; "" where nothing would be left.
func leaveOut(text, id string) string {
	left := slices.DeleteFunc(strings.Split(text, " or "), func(x string) bool { return x == id })
	return strings.Join(left, " or ")
}

func causeDropped(p *planter) []edit {
	var all []edit
	for _, x := range p.expressions() {
		for _, id := range p.inList(x) {
			if now := leaveOut(x.node.Text, id); x.of == "conditions" && now != "" {
				all = append(all, saying(x.retext(x.node, now), "%s does without %s", x.id(), id))
			}
		}
	}
	return all
}

func causeMoved(p *planter) []edit {
	var all []edit
	conditions := slices.DeleteFunc(p.expressions(), func(x expression) bool { return x.of != "conditions" })
	for _, x := range conditions {
		for _, id := range p.inList(x) {
			now := leaveOut(x.node.Text, id)
			to := conditions[p.random.IntN(len(conditions))]
			if now == "" || slices.Contains(word.FindAllString(to.node.Text, -1), id) {
				continue
			}
			all = append(all, edit{splices: []splice{x.retext(x.node, now), to.retext(to.node, to.node.Text+" or "+id)}, says: fmt.Sprintf("%s stands in %s and not in %s", id, to.id(), x.id())})
		}
	}
	return all
}

// otherPart is a cause of another part than one, as a remedy or look-alike of it
// comes from.
func (p *planter) otherPart(e entry, fits func(entry) bool) (entry, bool) {
	return p.someOther(p.entries("causes"), func(o entry) bool { return textOf(o, "part") != textOf(e, "part") && fits(o) })
}

func textOf(e entry, key string) string {
	if n := e.node.Get(key); n != nil {
		return n.Text
	}
	return ""
}

func lookAlikeSwapped(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes") {
		if n := e.node.Get("look_alikes"); n != nil && len(n.Items) > 0 {
			old := n.Items[p.random.IntN(len(n.Items))]
			other, ok := p.otherPart(e, func(o entry) bool {
				return !slices.ContainsFunc(n.Items, func(x *source.Node) bool { return x.Text == o.id() })
			})
			if ok {
				all = append(all, saying(e.put(old, other.id()), "%s looks like %s instead of %s", e.id(), other.id(), old.Text))
			}
		}
	}
	return all
}

func remedyOfAnother(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes") {
		if n := e.node.Get("remedy"); n != nil {
			if other, ok := p.otherPart(e, func(o entry) bool { r := textOf(o, "remedy"); return r != "" && r != n.Text }); ok {
				all = append(all, saying(e.put(n, textOf(other, "remedy")), "%s is put right by %s instead of %s", e.id(), textOf(other, "remedy"), n.Text))
			}
		}
	}
	return all
}

func weightTenfold(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes") {
		if n := e.node.Get("per_thousand"); n != nil && parse(n.Text) < 100 {
			all = append(all, saying(e.put(n, format(10*parse(n.Text))), "%s: %s per thousand instead of %s", e.id(), format(10*parse(n.Text)), n.Text))
		}
	}
	return all
}

func factorUpsideDown(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes") {
		likely := e.node.Get("more_likely")
		if likely == nil {
			continue
		}
		for _, x := range likely.Items {
			n := x.Get("times")
			if n == nil || parse(n.Text) == 0 || math.Abs(math.Log(parse(n.Text))) < 0.3 {
				continue
			}
			now := strconv.FormatFloat(1/parse(n.Text), 'g', 2, 64)
			made := saying(e.put(n, now), "%s: times %s instead of %s when %s", e.id(), now, n.Text, x.Get("when").Text)
			if strings.Contains(x.Get("when").Text, "user_place") {
				made.group = "place"
			}
			all = append(all, made)
		}
	}
	return all
}

func yieldOfAnother(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("tests") {
		n := e.node.Get("yields")
		if n == nil || len(n.Items) == 0 {
			continue
		}
		other, ok := p.someOther(p.entries("tests"), func(o entry) bool {
			y := o.node.Get("yields")
			return y != nil && len(y.Items) > 0 && !slices.ContainsFunc(n.Items, func(x *source.Node) bool { return x.Text == y.Items[0].Text })
		})
		if ok {
			new := other.node.Get("yields").Items[0].Text
			all = append(all, saying(e.put(n.Items[0], new), "%s yields %s instead of %s", e.id(), new, n.Items[0].Text))
		}
	}
	return all
}

var levels = []rulebase.Level{rulebase.DangerLevel, rulebase.WarningLevel, rulebase.CautionLevel, rulebase.NoticeLevel}

func (p *planter) level(warning string) int {
	ref, ok := p.base.Lookup(warning)
	if !ok || ref.Kind != rulebase.KindWarning {
		return len(levels)
	}
	return slices.Index(levels, p.base.Warnings[ref.Index].Level)
}

// milderWarning puts a notice in the place of the gravest warning of a step.
func milderWarning(p *planter) []edit {
	var all []edit
	notices := slices.DeleteFunc(p.entries("warnings"), func(e entry) bool { return textOf(e, "level") != string(rulebase.NoticeLevel) })
	for _, e := range p.entries("tests", "remedies") {
		n := e.node.Get("warnings")
		if n == nil || len(n.Items) == 0 {
			continue
		}
		gravest := slices.MinFunc(n.Items, func(a, b *source.Node) int { return p.level(a.Text) - p.level(b.Text) })
		notice, ok := p.someOther(notices, func(o entry) bool {
			return !slices.ContainsFunc(n.Items, func(x *source.Node) bool { return x.Text == o.id() })
		})
		if ok && p.level(gravest.Text) <= 1 {
			all = append(all, saying(e.put(gravest, notice.id()), "%s warns of %s instead of %s", e.id(), notice.id(), gravest.Text))
		}
	}
	return all
}

func offeredByPhone(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("tests", "remedies") {
		n := e.node.Get("at")
		if n == nil || n.Shape != source.List || slices.ContainsFunc(n.Items, func(x *source.Node) bool { return x.Text == "phone" }) {
			continue
		}
		words := []string{"phone"}
		for _, x := range n.Items {
			words = append(words, x.Text)
		}
		all = append(all, saying(e.put(n, "["+strings.Join(words, ", ")+"]"), "%s can be done by phone", e.id()))
	}
	return all
}

func outcomeOfAnother(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("remedies") {
		n := e.node.Get("ends_as")
		if n == nil {
			continue
		}
		if other, ok := p.someOther(p.entries("remedies"), func(o entry) bool { x := textOf(o, "ends_as"); return x != "" && x != n.Text }); ok {
			all = append(all, saying(e.put(n, textOf(other, "ends_as")), "%s ends as %s instead of %s", e.id(), textOf(other, "ends_as"), n.Text))
		}
	}
	return all
}

func helpsTenfold(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("causes") {
		list := e.node.Get("remedies")
		if list == nil {
			continue
		}
		for _, x := range list.Items {
			if x.Shape != source.Map || x.Get("helps") == nil {
				continue
			}
			if chance, ok := p.number(x.Get("helps")); ok {
				all = append(all, saying(e.put(x.Get("helps"), format(chance/10)), "%s: %s helps with %s instead of %s", e.id(), x.Get("do").Text, format(chance/10), x.Get("helps").Text))
			}
		}
	}
	return all
}

// ruleOfAnother gives a rule what another rule of the same sort leads to.
func ruleOfAnother(p *planter) []edit {
	var all []edit
	for _, e := range p.entries("rules") {
		for _, key := range []string{"then", "tell", "rules_out"} {
			n := e.node.Get(key)
			if n == nil {
				continue
			}
			other, ok := p.someOther(p.entries("rules"), func(o entry) bool {
				x := o.node.Get(key)
				return x != nil && o.id() != e.id() && o.end(x) >= 0
			})
			if ok {
				x := other.node.Get(key)
				made := saying(e.put(n, other.text[other.offset(x.Pos):other.end(x)]), "%s leads to what %s leads to: %s", e.id(), other.id(), key)
				made.group = key
				all = append(all, made)
			}
		}
	}
	return all
}
