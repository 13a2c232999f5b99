package conversation

import (
	"maps"
	"slices"
	"strings"

	"downdrop/cases"
	"downdrop/engine"
	"downdrop/rulebase"
)

// A Sheet is the settings of the unit as they were read, by name (see
// cases.SettingNames): as found, before anybody touched it, and as left. What is not
// in it was not read.
//
// In are the steps whose doing put something in that is not out again: it is asked for
// after the step, and once more when the drop is well.
type Sheet struct {
	Found, Left map[string]string
	In          []string
}

// SheetOf is the sheet of a case that is kept.
func SheetOf(c *cases.Case) *Sheet {
	sheet := &Sheet{Found: map[string]string{}, Left: map[string]string{}}
	for _, s := range c.Settings {
		sheet.of(s.When)[s.Name] = s.Value
	}
	for _, p := range c.PutIn {
		if p.Body.Test != "" {
			sheet.In = append(sheet.In, p.Body.Test)
		}
	}
	return sheet
}

// of is the half of the sheet that a cases.Setting.When names.
func (s *Sheet) of(when string) map[string]string {
	if when == cases.AsLeft {
		return s.Left
	}
	return s.Found
}

// Changes are the settings that differ from those of a case: read, corrected, or
// taken back ("").
func (s *Sheet) Changes(c *cases.Case) []cases.Setting {
	var out []cases.Setting
	was := SheetOf(c)
	for _, when := range []string{cases.AsFound, cases.AsLeft} {
		before, now := was.of(when), s.of(when)
		for _, name := range slices.Sorted(maps.Keys(now)) {
			if before[name] != now[name] {
				out = append(out, cases.Setting{Name: name, When: when, Value: now[name]})
			}
		}
		for _, name := range slices.Sorted(maps.Keys(before)) {
			if _, kept := now[name]; !kept {
				out = append(out, cases.Setting{Name: name, When: when})
			}
		}
	}
	return out
}

func (s *Sheet) clone() *Sheet {
	if s == nil {
		return nil
	}
	return &Sheet{Found: maps.Clone(s.Found), Left: maps.Clone(s.Left), In: slices.Clone(s.In)}
}

// workOnUnit says whether a step pulls the unit, cycles it or changes it: that is
// what stopping the drop means.
func workOnUnit(st *rulebase.Step) bool {
	return st != nil && st.Stops != rulebase.StopsBus && st.SettingsFirst()
}

// done says whether such a step was done already.
func (t *Talk) done(s *State, such func(*rulebase.Step) bool) bool {
	return slices.ContainsFunc(s.Situation.Done, func(d rulebase.Done) bool { return such(t.words.stepByID[d.ID]) })
}

// sheetFirst puts the settings sheet before a question that leads to work on the unit,
// and before the end of what was worked on. Where no sheet is kept nothing is asked.
func (t *Talk) sheetFirst(s *State, d *engine.Diagnosis, q Question) Question {
	if s.Sheet == nil {
		return q
	}
	if out, ok := t.outQuestion(s, q); ok {
		return out
	}
	if q.Kind == AskEnd && t.done(s, (*rulebase.Step).SettingsFirst) {
		for _, name := range cases.SettingNames {
			if found := s.Sheet.Found[name]; found != "" && s.Sheet.Left[name] == "" && !s.settled(settingKey(AskLeft, name)) {
				return leftQuestion(name, found)
			}
		}
		return q
	}
	step := t.leadsTo(d, q)
	if step == nil || t.done(s, workOnUnit) { // what was worked on is no more as found
		return q
	}
	for _, name := range cases.SettingNames {
		found := foundQuestion(name, step)
		if s.Sheet.Found[name] == "" && !s.settled(t.settingKey(found)) && !s.settled(settingKey(AskFound, name)) {
			return found
		}
	}
	return q
}

// leadsTo is the step that a question leads to before which the unit's settings are read; nil: to none.
func (t *Talk) leadsTo(d *engine.Diagnosis, q Question) *rulebase.Step {
	id := q.For
	switch q.Kind {
	case AskStep:
		id = q.ID
	case AskConfirm:
	case AskMore:
		if id == "" && isEnough(d) {
			for _, r := range advisedRemedies(d) {
				if st := &d.Base.Remedies[r]; st.SettingsFirst() {
					return st
				}
			}
		}
	default:
		return nil
	}
	if st := t.words.stepByID[id]; st.SettingsFirst() {
		return st
	}
	return nil
}

func settingKey(kind QuestionKind, name string) string { return string(kind) + " " + name }

// settingKey is what a line of the sheet that was not read is passed over as. What is passed
// over because only the bus stops is asked once more before the unit itself is worked on.
func (t *Talk) settingKey(q Question) string {
	key := settingKey(q.Kind, q.ID)
	if st := t.words.stepByID[q.For]; q.Kind == AskFound && st != nil && st.Stops == rulebase.StopsBus {
		key += " before the bus stops"
	}
	return key
}

// settingChoices are the usual values where there are few.
var settingChoices = map[string][]string{"terminator": {"on", "off", "none fitted"}, "bias": {"on", "off"}, "outputs_on_loss": {"off", "hold", "preset"}}

// A value may be a number or a letter of its own, so these answers have signs for keys.
const (
	keySame, keyNotRead, keyNoSheet = "=", "-", "--"
	leaveSheet                      = "leave the sheet"
)

func foundQuestion(name string, step *rulebase.Step) Question {
	var answers []Answer
	for _, v := range settingChoices[name] {
		answers = append(answers, Answer{Says: v, Entry: v})
	}
	return Question{Kind: AskFound, ID: name, For: step.ID, Says: sayAskFound(name, step), Answers: append(lettered(answers), notRead()...)}
}

func leftQuestion(name, found string) Question {
	same := Answer{Key: keySame, Says: saySameAsFound(found), Entry: found}
	return Question{Kind: AskLeft, ID: name, Says: []string{sayAskLeft(name)}, Answers: append([]Answer{same}, notRead()...)}
}

func notRead() []Answer {
	return []Answer{{Key: keyNotRead, Says: saySettingNotRead, Entry: "skip"}, {Key: keyNoSheet, Says: sayNoSheet, Entry: leaveSheet}}
}

// noSheet passes over all of the sheet that was not read.
func (c *turn) noSheet() (State, Reply, bool) {
	q := c.s.Pending
	if q.Kind != AskFound && q.Kind != AskLeft || lower(c.entry) != leaveSheet {
		return State{}, Reply{}, false
	}
	next := c.s.clone()
	for _, name := range cases.SettingNames {
		next.settle(c.t.settingKey(Question{Kind: q.Kind, ID: name, For: q.For}))
	}
	s, r := c.goOn(next, &listener{heard: []Heard{{Text: c.entry, Outcome: Understood, Means: sayPassedOver(q)}}})
	return s, r, true
}

// mostSetting is how long the value of a setting may be.
const mostSetting = 200

// setting takes an entry for the value that is asked for, unless it says something of
// the drop in so many words.
func (c *turn) setting() (State, Reply, bool) {
	q := c.s.Pending
	if q.Kind != AskFound && q.Kind != AskLeft || !c.picked && c.isFinding() {
		return State{}, Reply{}, false
	}
	if len(c.entry) > mostSetting {
		s, r := c.t.again(c.s, Heard{Text: c.entry, Outcome: NotUnderstood, Means: saySettingTooLong})
		return s, r, true
	}
	next := c.s.clone()
	when := cases.AsFound
	if q.Kind == AskLeft {
		when = cases.AsLeft
	}
	next.Sheet.of(when)[q.ID] = c.entry
	means := saySetting(q, c.entry, next.Sheet.Found[q.ID])
	s, r := c.goOn(next, &listener{heard: []Heard{{Text: c.entry, Outcome: Understood, Means: means}}})
	return s, r, true
}

// isFinding says whether an entry of several words is understood, all of it, as
// something seen or given.
func (c *turn) isFinding() bool {
	if !strings.ContainsAny(c.entry, " =") {
		return false
	}
	_, heard := c.t.Hear(c.s.Situation, c.entry)
	return len(heard) > 0 && !slices.ContainsFunc(heard, func(h Heard) bool { return h.Outcome != Understood })
}

// puts says whether doing a step leaves something that has to be undone.
func puts(st *rulebase.Step) bool { return st != nil && (st.PutsIn != "" || st.Temporary) }

// putIn notes what steps put in that were done since the state before: by name, or by what they show.
func (c *turn) putIn(next *State) {
	if next.Sheet == nil {
		return
	}
	add := func(st *rulebase.Step) {
		if puts(st) && !slices.Contains(next.Sheet.In, st.ID) {
			next.Sheet.In = append(next.Sheet.In, st.ID)
			next.unsettle(outKey(st.ID))
		}
	}
	for _, done := range next.Situation.Done[min(len(c.s.Situation.Done), len(next.Situation.Done)):] {
		add(c.t.words.stepByID[done.ID])
	}
	for _, q := range next.Waiting {
		if q.Kind == AskSymptom && !slices.ContainsFunc(c.s.Waiting, func(w Question) bool { return w.Kind == q.Kind && w.ID == q.ID && w.For == q.For }) {
			add(c.t.words.stepByID[q.For])
		}
	}
	if st := c.pendingStep(); st != nil && len(next.Situation.Findings) > len(c.s.Situation.Findings) {
		for _, f := range next.Situation.Findings[len(c.s.Situation.Findings):] {
			if slices.ContainsFunc(st.Yields, func(y int) bool { return c.t.base.Symptoms[y].ID == f.Symptom }) && f.Drop == 0 {
				add(st)
			}
		}
	}
}

func outKey(step string) string { return string(AskOut) + " " + step }

// outQuestion asks whether what a step put in is out again: once its results are in, and
// of all that stands once the drop is well. A stopgap is there to stay until then.
func (t *Talk) outQuestion(s *State, q Question) (Question, bool) {
	if q.Kind == AskWhich || q.Kind == AskSymptom && q.For != "" || q.Kind == AskDropNow || q.Kind == AskProof {
		return q, false
	}
	for _, id := range s.Sheet.In {
		key, st := outKey(id), t.words.stepByID[id]
		if q.Kind == AskEnd {
			key += " at the end"
		}
		if st == nil || s.settled(key) || q.Kind != AskEnd && st.Temporary {
			continue
		}
		return askOut(st, key), true
	}
	return q, false
}

func askOut(st *rulebase.Step, key string) Question {
	return Question{Kind: AskOut, ID: st.ID, For: key, Says: []string{sayAskOut(st)}, Answers: numbered([]Answer{
		{Says: sayIsOut, Entry: outAgain}, {Says: sayStaysIn, Entry: "skip"}})}
}

const outAgain = "out again"

// out takes in that something is out again.
func (c *turn) out() (State, Reply, bool) {
	q := c.s.Pending
	if q.Kind != AskOut || lower(c.entry) != outAgain && !yesRE.MatchString(c.entry) {
		return State{}, Reply{}, false
	}
	next := c.s.clone()
	next.Sheet.In = slices.DeleteFunc(next.Sheet.In, func(id string) bool { return id == q.ID })
	s, r := c.goOn(next, &listener{heard: []Heard{{Text: c.entry, Outcome: Understood, Means: sayOut(q)}}})
	return s, r, true
}
