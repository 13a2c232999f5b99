package triage

import (
	"regexp"
	"slices"
	"strings"
	"sync"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// A hearing is what was understood of what a row says.
type hearing struct {
	situation            rulebase.Situation
	understood, notHeard []string
	simple               bool     // of a clause: nothing but findings and givens
	wrong                []string // cells that say nothing their column can say
}

// hear takes in what a row says, each cell by itself. What was heard is remembered as it was written: M and m
// are not the same of a unit.
func (d *Desk) hear(parts []string) hearing {
	key := strings.Join(parts, "\x01")
	if h, ok := d.heard.get(key); ok {
		return h
	}
	h := hearing{situation: d.nothingSaid()}
	for _, part := range parts {
		if text, words := strings.CutPrefix(part, "\x00"); words {
			for _, clause := range clauses(text) {
				d.hearClause(&h, clause)
			}
			continue
		}
		after, pieces := d.talk.Hear(h.situation, part)
		if understood, left := sorted(pieces); len(left) == 0 {
			h.situation, h.understood = d.only(after, h.situation), append(h.understood, understood...)
		} else {
			h.wrong = append(h.wrong, part)
		}
	}
	d.heard.put(key, h)
	return h
}

// hearClause takes in a clause of a complaint. Nobody is there to be asked back: where
// more of its words were left over than understood, it was probably meant otherwise,
// and none of it counts.
func (d *Desk) hearClause(h *hearing, clause string) {
	alone := d.clauseAlone(clause)
	if !alone.simple { // it says something of other drops, which goes on from what stands before
		alone = d.clause(h.situation, clause)
		h.situation = alone.situation
	} else {
		h.situation.Findings = slices.Concat(h.situation.Findings, alone.situation.Findings)
		h.situation.Givens = slices.Concat(h.situation.Givens, alone.situation.Givens[len(d.bench):])
	}
	h.understood, h.notHeard = append(h.understood, alone.understood...), append(h.notHeard, alone.notHeard...)
}

// clauseAlone hears a clause by itself, or remembers it: senders write the same things.
func (d *Desk) clauseAlone(clause string) hearing {
	key := strings.TrimSpace(clause)
	if h, ok := d.clauses.get(key); ok {
		return h
	}
	empty := d.nothingSaid()
	h := d.clause(empty, clause)
	rest := h.situation
	rest.Findings, rest.Givens = empty.Findings, empty.Givens
	h.simple = keyOf(rest) == keyOf(empty) && len(h.situation.Givens) >= len(d.bench)
	d.clauses.put(key, h)
	return h
}

func (d *Desk) nothingSaid() rulebase.Situation {
	return rulebase.Situation{At: rulebase.Phone, Givens: slices.Clone(d.bench)}
}

func (d *Desk) clause(s rulebase.Situation, clause string) hearing {
	after, pieces := d.talk.Hear(s, clause)
	h := hearing{situation: s}
	understood, left := sorted(pieces)
	used, over := 0, 0
	for _, p := range pieces {
		if n := len(strings.Fields(p.Text)); p.Outcome == conversation.Understood {
			used += n
		} else {
			over += n
		}
	}
	if over > used {
		h.notHeard = []string{clause}
		return h
	}
	h.situation, h.understood, h.notHeard = d.only(after, s), understood, left
	return h
}

// sorted gives what was understood, in plain words, and what was not.
func sorted(pieces []conversation.Heard) (understood, left []string) {
	for _, p := range pieces {
		switch {
		case p.Outcome != conversation.Understood:
			left = append(left, p.Text)
		case p.Means != "":
			understood = append(understood, p.Means)
		}
	}
	return understood, left
}

// Words that are cut short with a full stop, which ends nothing. Before a number "ca." is nearly so much.
var (
	nearlyRE   = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?i)\b(?:approx|appr|abt|ca)\.?(\s*\d)`) })
	cutShortRE = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`(?i)\b(approx|appr|max|min|nr|vs|incl|temp)\.`) })
)

// clauses parts a complaint at semicolons, new lines, full stops and commas that stand
// in no number.
func clauses(text string) []string {
	text = nearlyRE().ReplaceAllString(text, "approx $1")
	text = cutShortRE().ReplaceAllString(text, "$1")
	var all []string
	start := 0
	digit := func(i int) bool { return i >= 0 && i < len(text) && text[i] >= '0' && text[i] <= '9' }
	for i, c := range text {
		if c == ';' || c == '\n' || (c == ',' || c == '.') && !(digit(i-1) && digit(i+1)) {
			all = append(all, text[start:i])
			start = i + 1
		}
	}
	return slices.DeleteFunc(append(all, text[start:]), func(s string) bool { return strings.TrimSpace(s) == "" })
}

// only keeps what a row can say of its unit: what was found and what is known of the
// place. Who speaks, where from and what was done stays that of the list.
func (d *Desk) only(after, before rulebase.Situation) rulebase.Situation {
	after.At, after.Who, after.Alone, after.Tools, after.Confirmed = before.At, before.Who, before.Alone, before.Tools, before.Confirmed
	return after
}
