package bench

import (
	"errors"
	"fmt"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"sync"
	"time"
	"unicode"

	"downdrop/rulebase"
	"downdrop/rulebase/quantity"
)

// An Asked is the error of an entry that cannot be taken: what to type instead.
type Asked struct{ Says string }

func (a *Asked) Error() string { return a.Says }

func sayable(text string) error { return &Asked{text} }

// ErrStop says that somebody stops here; the run goes on from its events later.
var ErrStop = errors.New("stopped")

// Enter reads what was typed at this point and makes the event of it, to be appended
// by [Append]. Nothing is changed. The error says what to type instead; or ErrStop.
func (s *State) Enter(entry string) (Event, error) {
	entry = tidy(entry)
	first, rest, _ := strings.Cut(entry, " ")
	rest = strings.TrimSpace(rest)
	switch strings.ToLower(strings.TrimSuffix(first, ":")) {
	case "":
		if s.Wants.Kind != WantsConfirm {
			return Event{}, sayable(sayEmpty)
		}
	case "undo":
		if rest == "" {
			return s.undo()
		}
	case "stop", "quit", "exit":
		if rest == "" {
			return Event{}, ErrStop
		}
	case "note":
		if rest == "" {
			return Event{}, sayable(sayNoteWhat)
		}
		return Event{Kind: Noted, Step: s.stepID(), Values: map[string]string{"text": rest}}, nil
	case "not":
		if done, reason, _ := strings.Cut(rest, " "); strings.EqualFold(strings.Trim(done, ":,"), "done") {
			return s.notDone(reason)
		}
	}
	switch s.Wants.Kind {
	case WantsAnswer:
		return s.enterAnswer(entry)
	case WantsConfirm:
		if _, err := word(entry, []string{"read", "yes", "ok"}); entry == "" || err != nil {
			return Event{}, sayable(sayConfirm)
		}
		return Event{Kind: Confirmed, Step: s.stepID()}, nil
	case WantsTool:
		return s.enterTool(entry)
	case WantsRelease:
		if _, err := word(entry, []string{"out", "yes", "released"}); err != nil {
			return Event{}, sayable(sayRelease)
		}
		return Event{Kind: Released, Values: map[string]string{"force": s.Wants.Ask}}, nil
	case WantsReading:
		r, err := s.read(entry)
		if err != nil {
			return Event{}, err
		}
		if r.Reading.Kind == rulebase.ReadsNumber && r.Outcome == Failed { // asked here alone: an entry that was taken stays what it was
			if other, ok := otherPrefix(entry, r.Reading.Unit, r.Low, r.High); ok {
				return Event{}, sayable(fmt.Sprintf(sayWhichPrefix, entry, r.Text, other))
			}
		}
		if r.Reading.Kind == rulebase.ReadsPoints && strings.EqualFold(strings.TrimRight(entry, ".!"), "none") { // no exceptions, or no lamp: the one who typed it knows
			return Event{}, sayable(sayPoints)
		}
		text := entry
		if r.Reading.Kind == rulebase.ReadsText {
			text = r.Text
		}
		return Event{Kind: Answered, Step: s.stepID(), Values: map[string]string{r.Reading.ID: text}}, nil
	}
	return Event{}, sayable(sayAtEnd)
}

// tidy takes what no keyboard types out of an entry: a scanner's and a terminal's
// control characters.
func tidy(entry string) string {
	return strings.Join(strings.Fields(strings.Map(func(r rune) rune {
		if unicode.IsControl(r) && r != '\t' || r == unicode.ReplacementChar {
			return -1
		}
		return r
	}, strings.ToValidUTF8(entry, ""))), " ")
}

// bareNumber is a number, or two, without a unit; its decimals behind a point or a comma.
var bareNumber = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`^[-+0-9., ']*[0-9][.,]?(?:[eE][-+]?[0-9]+)?$`)
})

// otherPrefix is what a bare number would be that keeps to the limits: somebody who reads 25 off a meter that
// shows kilohms and types no unit has not said that the line is shorted, and a unit is not condemned for it.
func otherPrefix(text, unit string, low, high float64) (quantity.Reading, bool) {
	if !bareNumber().MatchString(text) || unit == "" {
		return quantity.Reading{}, false
	}
	for _, prefix := range []string{"k", "m", "M", "u"} {
		x, err := quantity.Read(text+" "+prefix+unit, quantity.Want{Unit: unit})
		if err == nil && !(x.Low < low) && !(x.High > high) { // a limit that there is not is NaN
			return x, true
		}
	}
	return quantity.Reading{}, false
}

func (s *State) stepID() string {
	if s.Wants.Step < 0 {
		return ""
	}
	return s.Steps[s.Wants.Step].Step.ID
}

// undo takes back the last thing that was entered.
func (s *State) undo() (Event, error) {
	all := standing(s.Events)
	for _, e := range slices.Backward(all) {
		if e.Kind != Begun && e.Kind != Printed && e.Kind != Resumed {
			return Event{Kind: Undone, Step: e.Step, Values: map[string]string{"seq": fmt.Sprint(e.Seq)}}, nil
		}
	}
	return Event{}, sayable(sayNothingToUndo)
}

// notDone leaves a step out, with a reason. What it would have taken out again is asked for at the end.
func (s *State) notDone(reason string) (Event, error) {
	reason = strings.TrimSpace(strings.TrimLeft(reason, ":,-"))
	reason = strings.TrimSpace(strings.TrimPrefix(reason+" ", "because "))
	switch {
	case s.Wants.Step < 0:
		return Event{}, sayable(sayNoStepHere)
	case reason == "":
		return Event{}, sayable(sayReason)
	}
	values := map[string]string{"reason": reason}
	if st := &s.Steps[s.Wants.Step]; len(st.Step.PutsIn) > 0 && len(st.Results) == 0 && s.Wants.Kind != WantsConfirm { // the step was shown, and may be half done
		values["put_in"] = perhaps
	}
	return Event{Kind: NotDone, Step: s.stepID(), Values: values}, nil
}

func (s *State) enterAnswer(entry string) (Event, error) {
	text := entry
	if s.Wants.Ask != "by" {
		w, err := word(entry, []string{"yes", "no"})
		if err != nil {
			return Event{}, err
		}
		text = w
	}
	return Event{Kind: Answered, Values: map[string]string{s.Wants.Ask: text}}, nil
}

var untilDay = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)^(.*?)[ ,;]*(?:until|to|till|valid until|calibrated until)? ?([0-9]{4}-[0-9]{2}-[0-9]{2})$`)
})

// enterTool reads an instrument: its name, and until when it is calibrated.
func (s *State) enterTool(entry string) (Event, error) {
	values := map[string]string{"kind": s.Wants.Ask, "name": entry, "until": ""}
	if m := untilDay().FindStringSubmatch(entry); m != nil {
		if _, err := time.Parse("2006-01-02", m[2]); err != nil {
			return Event{}, sayable(sayTool)
		}
		values["name"], values["until"] = strings.TrimSpace(m[1]), m[2]
	} else if name, ok := strings.CutSuffix(strings.ToLower(entry), " not calibrated"); ok {
		values["name"] = entry[:len(name)]
	} else {
		return Event{}, sayable(sayTool)
	}
	if values["name"] == "" {
		return Event{}, sayable(sayTool)
	}
	return Event{Kind: Instrument, Values: values}, nil
}

// word finds one of some words in an entry: whole, or its beginning where only one
// begins so. A number is none of them: whoever types 1 has not said that a warning is read.
func word(entry string, words []string) (string, error) {
	key := strings.ReplaceAll(strings.ToLower(strings.TrimRight(entry, ".!")), " ", "_")
	var found []string
	for _, w := range words {
		if w == key {
			return w, nil
		}
		if key != "" && strings.HasPrefix(w, key) {
			found = append(found, w)
		}
	}
	if len(found) == 1 {
		return found[0], nil
	}
	return "", sayable(fmt.Sprintf(sayOneOf, strings.ReplaceAll(strings.Join(words, ", "), "_", " ")))
}

// answer is one of the answers of a reading: the word, or its number among more than two,
// as it stands before each where they are asked for.
func answer(entry string, words []string) (string, error) {
	if n, err := strconv.Atoi(strings.TrimRight(entry, ".!")); err == nil && n >= 1 && n <= len(words) && len(words) > 2 {
		return words[n-1], nil
	}
	return word(entry, words)
}

// scanned is what a scanner read: without the marks of its symbology and the control
// characters that it puts before and after (ISO/IEC 15424 symbology identifiers,
// from memory), and without the stars that some print around a number.
func scanned(text string) string {
	text = strings.TrimSpace(text)
	if m := regexp.MustCompile(`^\][A-Za-z][0-9A-Za-z]`).FindString(text); m != "" {
		text = text[len(m):]
	}
	if len(text) > 2 && strings.HasPrefix(text, "*") && strings.HasSuffix(text, "*") {
		text = text[1 : len(text)-1]
	}
	return strings.TrimSpace(text)
}

var (
	allWords = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`(?i)^(?:all|pass|ok|all (?:points )?(?:pass|good|ok|work)|yes|no exceptions?|none)$`)
	})
	allFail = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`(?i)^(?:none (?:pass|work|good)|all (?:points )?(?:fail|dead|bad))$`)
	})
	butPoints = sync.OnceValue(func() *regexp.Regexp {
		return regexp.MustCompile(`(?i)^(?:all(?: points)?(?: pass(?:es)?| good| ok)?[ ,;:]*)?(?:exceptions?|except|but|fail(?:ed|s)?|not)[ :]*([0-9][0-9 ,;and-]*)$`)
	})
	aPoint = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`([0-9]+)(?: *- *([0-9]+))?`) })
)

// points reads which of n points do not pass: "all pass", "all points pass,
// exceptions: 7", "all but 3, 9-11".
func points(text string, n int) ([]int, error) {
	text = strings.TrimRight(text, ".!")
	if allWords().MatchString(text) {
		return nil, nil
	}
	var out []int
	if allFail().MatchString(text) {
		for i := range n {
			out = append(out, i+1)
		}
		return out, nil
	}
	m := butPoints().FindStringSubmatch(text)
	if m == nil {
		return nil, sayable(sayPoints)
	}
	for _, x := range aPoint().FindAllStringSubmatch(m[1], -1) {
		from, _ := strconv.Atoi(x[1])
		to := from
		if x[2] != "" {
			to, _ = strconv.Atoi(x[2])
		}
		if from < 1 || to > n || to < from {
			return nil, sayable(fmt.Sprintf(sayNoPoint, x[0], n))
		}
		for i := from; i <= to; i++ {
			out = append(out, i)
		}
	}
	slices.Sort(out)
	return slices.Compact(out), nil
}

var wrongOf = sync.OnceValue(func() *regexp.Regexp {
	return regexp.MustCompile(`(?i)^(none|no|zero|[0-9]+)(?: errors?| wrong| bad)? *(?:of|in|/|out of|among) *([0-9]+(?:[, ][0-9]{3})*)(?: messages)?$`)
})

// counts reads so many wrong ones of so many.
func counts(text string) (wrong, of int, err error) {
	m := wrongOf().FindStringSubmatch(strings.TrimRight(text, ".!"))
	if m == nil {
		return 0, 0, sayable(sayCounts)
	}
	wrong, _ = strconv.Atoi(m[1]) // a word is none
	of, err = strconv.Atoi(strings.NewReplacer(",", "", " ", "").Replace(m[2]))
	if err != nil || of < 1 || of > 1e12 || wrong > of {
		return 0, 0, sayable(sayCounts)
	}
	return wrong, of, nil
}
