package conversation

import (
	"strings"

	"downdrop/rulebase"
)

// Search gives the questions that words could be about, the best first: by their ids,
// their wording, what the site calls them, first letters, and words with one slip. It is
// for whoever types while listening; what was said to it counts nowhere.
func (t *Talk) Search(s rulebase.Situation, text string, most int) []Question {
	text = clean(text)
	if i := strings.LastIndexAny(text, ",;"); i >= 0 {
		text = text[i+1:] // what is being typed now
	}
	tokens := tokenize(text)
	if len(tokens) == 0 || len(tokens) > maxTokens {
		return nil
	}
	var fits []match
	for i := range t.words.things {
		m := match{th: &t.words.things[i]}
		m.name(tokens)
		if m.named != 0 && (m.strong || m.idFull() || m.quality > fitFirst) {
			m.say(tokens)
			fits = append(fits, m)
		}
	}
	bestFirst(fits)
	state := State{Situation: s}
	var out []Question
	for _, m := range fits[:min(most, len(fits))] {
		out = append(out, t.questionAbout(&state, m.th))
	}
	return out
}
