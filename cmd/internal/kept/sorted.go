package kept

import (
	"slices"
	"strings"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// Sorted is a reply sorted by what its lines are, for a screen that sets them apart.
type Sorted struct {
	Heard       []string              `json:"heard"`
	NotHeard    []string              `json:"not_heard"`
	Notices     []string              `json:"notices"`
	Explanation []string              `json:"explanation"`
	Summary     []string              `json:"summary"`
	Warnings    []Warning             `json:"warnings"`
	Asks        []Line                `json:"asks"`
	Answers     []conversation.Answer `json:"answers"`
	Facts       []conversation.Fact   `json:"facts,omitempty"`     // to be ticked, where more than one is asked for: see Tick
	Confirmed   []conversation.Fact   `json:"confirmed,omitempty"` // beside them
}

// A Warning is a line with its signal word apart.
type Warning struct {
	Word string `json:"word"`
	Says string `json:"says"`
}

// A Line of a question: what is asked, or a step of what is to be done.
type Line struct {
	Mark string `json:"mark"` // the letter of a step, ""
	Says string `json:"says"`
	Lead bool   `json:"lead"` // the first: what is asked or proposed
}

// onScreen are entries that stand on every screen by themselves, or have no sense where
// every answer is kept at once.
var onScreen = map[string]bool{"stop and save as a case file": true, "quit": true, "what else": true, "what would you need": true}

// Sort sorts the parts of a reply. What only somebody who types needs is left out.
func Sort(reply conversation.Reply) Sorted {
	s := Sorted{Heard: []string{}, NotHeard: []string{}, Notices: []string{}, Explanation: []string{}, Summary: []string{}, Warnings: []Warning{}, Asks: []Line{}}
	for _, p := range reply.Parts {
		switch p.Kind {
		case conversation.PartHeard:
			s.Heard = append(s.Heard, trimmed(p.Lines)...)
		case conversation.PartNotHeard:
			s.NotHeard = append(s.NotHeard, p.Lines...)
		case conversation.PartNotice:
			s.Notices = append(s.Notices, p.Lines...)
		case conversation.PartExplanation:
			s.Explanation = append(s.Explanation, p.Lines...)
		case conversation.PartSummary:
			s.Summary = append(s.Summary, p.Lines...)
		case conversation.PartWarning:
			for _, l := range p.Lines {
				s.Warnings = append(s.Warnings, warningOf(l))
			}
		case conversation.PartQuestion:
			s.ask(p.Lines, reply.Question)
		}
	}
	s.Answers = slices.DeleteFunc(slices.Clone(reply.Question.Answers), func(a conversation.Answer) bool { return onScreen[a.Entry] })
	return s
}

// ask takes the lines of a question; a warning whose fact is asked for stands with the warnings.
func (s *Sorted) ask(lines []string, q conversation.Question) {
	for _, l := range lines {
		if slices.Contains(q.Typed, l) {
			continue
		}
		if w := warningOf(l); q.Kind == conversation.AskConfirm && w.Word != "" {
			s.Warnings = append(s.Warnings, w)
			continue
		}
		one := Line{Says: l, Lead: len(s.Asks) == 0}
		if text, ok := strings.CutPrefix(l, "  "); ok {
			one.Says = text
			if len(text) > 3 && text[1] == '.' && text[2] == ' ' {
				one.Mark, one.Says = text[:1], text[3:]
			}
		}
		s.Asks = append(s.Asks, one)
	}
}

func trimmed(lines []string) []string {
	var out []string
	for _, l := range lines {
		if rest, ok := strings.CutPrefix(l, "  "); ok {
			out = append(out, rest)
		} else if l != conversation.SaysUnderstood {
			out = append(out, l)
		}
	}
	return out
}

// warningOf takes the signal word off a line; "" where it has none.
func warningOf(l string) Warning {
	for _, level := range []rulebase.Level{rulebase.DangerLevel, rulebase.WarningLevel, rulebase.CautionLevel, rulebase.NoticeLevel} {
		word := strings.ToUpper(string(level))
		if rest, ok := strings.CutPrefix(l, word+": "); ok {
			return Warning{word, rest}
		}
	}
	return Warning{Says: l}
}

// UnitsFor are the units that instruments show for a quantity, its own first.
func UnitsFor(unit string) []string {
	others := map[string][]string{"V": {"mV"}, "ohm": {"kohm", "Mohm"}, "A": {"mA"}, "mA": {"A"}, "m": {"km", "ft"}, "min": {"s", "h"}, "kbaud": {"baud"}}
	if unit == "" || unit == "number" {
		return []string{""}
	}
	return append([]string{unit}, others[unit]...)
}

// InUnit is a reading as an entry: a bare number has the unit of the button, while "OL" or "4k7"
// says all by itself.
func InUnit(text, unit string) string {
	text = strings.TrimSpace(text)
	if unit != "" && text != "" && strings.Trim(text, "0123456789.,+- ") == "" {
		return text + " " + unit
	}
	return text
}
