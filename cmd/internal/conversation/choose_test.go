package conversation_test

import (
	"context"
	"slices"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/engine"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// bent is a talk whose diagnoses are the engine's, changed by a test, so that what is asked
// next can be held case by case.
func bent(t *testing.T, change func(*engine.Diagnosis)) *conversation.Talk {
	t.Helper()
	base, err := small()
	if err != nil {
		t.Fatal(err)
	}
	p := engine.Prepare(base)
	return conversation.New(base, func(ctx context.Context, s rulebase.Situation, o engine.Options) (*engine.Diagnosis, error) {
		d, err := engine.Diagnose(ctx, p, s, o)
		if err == nil {
			change(d)
		}
		return d, err
	})
}

// atTheDrop is a situation in which nothing of the opening is left to be asked.
func atTheDrop() rulebase.Situation {
	return rulebase.Situation{At: rulebase.Field, Who: rulebase.Technician, Findings: []rulebase.Finding{{Symptom: "drop_works", Value: rulebase.Value{Word: "dead"}}},
		Givens: []rulebase.GivenValue{{ID: "how_much", Value: rulebase.Value{Word: "one"}}, {ID: "outputs_hold", Value: rulebase.Value{Word: "off"}}}}
}

// asks is a question in one line: its kind, what it is about, for which step, and the entries
// that its answers stand for.
func asks(q conversation.Question) string {
	head := strings.Join(slices.DeleteFunc([]string{string(q.Kind), q.ID, q.For}, func(s string) bool { return s == "" }), " ")
	var entries []string
	for _, a := range q.Answers {
		entries = append(entries, a.Entry)
	}
	return head + " | " + strings.Join(entries, "; ")
}

// A bend says what a diagnosis holds, by the ids of steps.
type bend struct {
	d    *engine.Diagnosis
	base *rulebase.Base
}

// clear leaves nothing to be done and nothing known.
func (b bend) clear() {
	b.d.Next, b.d.NotOffered, b.d.Conflicts, b.d.Tells = nil, nil, nil, nil
	b.d.Advice, b.d.Disposition = engine.Advice{}, nil
	for i := range b.d.Causes {
		b.d.Causes[i].Now = 0
	}
}

func (b bend) step(id string) *rulebase.Step {
	if st := b.base.Step(id); st != nil {
		return st
	}
	for i := range b.base.Tests {
		if st := &b.base.Tests[i]; st.Implied && b.base.Symptoms[st.Yields[0]].ID == id {
			return st
		}
	}
	for i := range b.base.Symptoms { // to be asked by itself, though a test shows it
		if b.base.Symptoms[i].ID == id {
			return &rulebase.Step{ID: id, Kind: rulebase.KindTest, Implied: true, Yields: []int{i}}
		}
	}
	panic("no step " + id)
}

func (b bend) remedy(id string) int {
	return slices.IndexFunc(b.base.Remedies, func(r rulebase.Step) bool { return r.ID == id })
}

// next puts a step on offer that tells so many bits.
func (b bend) next(id string, bits float64, askFirst ...string) {
	st := b.step(id)
	b.d.Next = append(b.d.Next, engine.Proposal{Step: st, Minutes: st.Minutes, Price: st.Minutes, GainBits: bits, AskFirst: askFirst})
}

func (b bend) stopgap(ids ...string) {
	for _, id := range ids {
		b.d.Next = append(b.d.Next, engine.Proposal{Step: &rulebase.Step{ID: id, Kind: rulebase.KindRemedy, Do: id, Temporary: true}})
	}
}

func (b bend) withhold(id string, why engine.Why, detail string, bits float64) {
	b.d.NotOffered = append(b.d.NotOffered, engine.Withheld{Step: b.step(id), Why: why, Detail: detail, GainBits: bits})
}

// likely makes a remedy take the first cause, or the second, that likely.
func (b bend) likely(id string, at int, p float64) {
	b.d.Causes[at].Remedy, b.d.Causes[at].Now = b.remedy(id), p
}

// enough is known to do these.
func (b bend) enough(ids ...string) {
	b.d.Advice.Enough = true
	for _, id := range ids {
		b.d.Advice.Lead.Remedies = append(b.d.Advice.Lead.Remedies, b.remedy(id))
		b.d.Advice.Lead.Lists = append(b.d.Advice.Lead.Lists, id)
	}
}

const always = "; what would you need; stop and save as a case file"

// What is asked next, by what the diagnosis says and what was passed over.
func TestWhatIsAskedNext(t *testing.T) {
	six := strings.Fields("replace_fuse exchange_supply fit_terminator reseat_plug replace_plug exchange_unit")
	const (
		fuse  = "step replace_fuse | done, works now; done, still down; skip; what else"
		plug  = "step reseat_plug | done, works now; done, still down; skip; what else"
		light = "symptom power_light | power_light=lit; power_light=dark; power_light=flickering; don't know"
		live  = "confirm live_terminals measure_volts | not now; confirm live_terminals"
		hum   = "symptom hum | hum=yes; hum=no; don't know"
		unit  = "confirm machine_can_start swap_unit | not now; confirm machine_can_start"
	)
	two := func(id string) func(bend) { return func(b bend) { b.next(id, 0.5); b.next("reseat_plug", 0) } }
	saw := func(id, value, after string) func(*rulebase.Situation) { // once the fuse was replaced
		return func(s *rulebase.Situation) {
			s.Done = []rulebase.Done{{ID: "replace_fuse", Drop: rulebase.StillDown}}
			s.Findings = append(s.Findings, rulebase.Finding{Symptom: id, Value: rulebase.Value{Word: value}, After: after})
		}
	}
	for name, c := range map[string]struct {
		bend    func(bend)
		at      rulebase.Place
		settled string
		know    func(*rulebase.Situation)
		want    string
		says    string // what the question begins with; "" is not looked at
	}{
		"nothing is on offer": {bend: func(bend) {}, want: "more | what would you need; stop and save as a case file", says: "Nothing more can be offered from here with what is at hand. Something new?"},

		// What is on offer.
		"the first on offer":             {bend: func(b bend) { b.next("reseat_plug", 0); b.next("power_light", 0.5) }, want: plug},
		"it was passed over":             {bend: func(b bend) { b.next("reseat_plug", 0); b.next("power_light", 0.5) }, settled: "reseat_plug", want: light},
		"the question was passed over":   {bend: func(b bend) { b.next("power_light", 0.5); b.next("reseat_plug", 0) }, settled: "power_light", want: plug},
		"a stopgap is not put first":     {bend: func(b bend) { b.stopgap("bridge"); b.next("power_light", 0.5) }, want: light},
		"it tells just enough":           {bend: func(b bend) { b.next("power_light", engine.Idle) }, want: light},
		"it tells too little":            {bend: func(b bend) { b.next("power_light", engine.Idle-1e-9); b.next("reseat_plug", 0) }, want: plug},
		"a swap that tells little":       {bend: func(b bend) { b.next("swap_unit", 0) }, want: unit},
		"a harmless warning":             {bend: func(b bend) { b.next("measure_pair", 0.5) }, want: "step measure_pair | pair_ohms=short; pair_ohms=two_fitted; pair_ohms=one_fitted; pair_ohms=none_fitted; skip; what else"},
		"a given first":                  {bend: func(b bend) { b.next("measure_pair", 0.5, "line") }, want: "given line measure_pair | line=token_pair; line=tia485_polled; don't know"},
		"a given first, passed over":     {bend: func(b bend) { b.next("measure_volts", 0.5, "line") }, settled: "line", want: live},
		"a given first, that is not one": {bend: func(b bend) { b.next("measure_volts", 0.5, "gone") }, want: live},
		"seen, in this state of work":    {bend: two("power_light"), know: saw("power_light", "lit", "replace_fuse"), want: plug},
		"seen, and still so":             {bend: two("power_light"), know: func(s *rulebase.Situation) { saw("power_light", "lit", "")(s); s.Findings[1].Now = true }, want: plug},
		"seen, before the work":          {bend: two("power_light"), know: saw("power_light", "lit", ""), want: light},
		"seen, at another drop":          {bend: two("power_light"), know: func(s *rulebase.Situation) { saw("power_light", "lit", "replace_fuse")(s); s.Findings[1].Drop = 4 }, want: light},
		"seen, something else":           {bend: two("power_light"), know: saw("run_light", "lit", "replace_fuse"), want: light},
		"remembered, before the work":    {bend: two("hum"), know: saw("hum", "no", ""), want: plug},
		"remembered, at another drop":    {bend: two("hum"), know: func(s *rulebase.Situation) { saw("hum", "no", "")(s); s.Findings[1].Drop = 4 }, want: hum},
		"remembered, something else":     {bend: two("hum"), know: saw("run_light", "lit", ""), want: hum},
		"one of two is seen":             {bend: two("look_at_controller"), know: saw("hum", "no", "replace_fuse"), want: "step look_at_controller | done; skip; what else"},
		"one is seen, one passed over":   {bend: two("look_at_controller"), know: saw("hum", "no", "replace_fuse"), settled: "controller_mode", want: plug},
		"a swap, and the drop was seen":  {bend: two("swap_unit"), know: saw("drop_works", "dead", "replace_fuse"), want: unit},
		"likely, behind one that is done": {bend: func(b bend) {
			b.withhold("fit_terminator", engine.WhyDone, "", 0)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.likely("replace_fuse", 0, 0.5)
		}, want: "more replace_fuse | electrician is here" + always},
		"likely, and left alone": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.likely("reseat_plug", 1, 0.0999)
			b.next("replace_fuse", 0)
			b.likely("replace_fuse", 0, 0.5)
		}, settled: "replace_fuse", want: "more | do replace_fuse" + always, says: "Likelier than not this is to be done, and it was left alone: Replace the fuse with one of the same rating after finding why it blew."},
		"less likely, and left alone": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.likely("reseat_plug", 1, 0.0999)
			b.next("replace_fuse", 0)
			b.likely("replace_fuse", 0, 0.4999)
		}, settled: "replace_fuse", want: plug},
		"left alone, and another is not far off": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.likely("reseat_plug", 1, 0.1)
			b.next("replace_fuse", 0)
			b.likely("replace_fuse", 0, 0.5)
		}, settled: "replace_fuse", want: plug},
		"likely, and its warning left alone": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.likely("reseat_plug", 1, 0.0999)
			b.withhold("exchange_unit", engine.WhyUnconfirmed, "machine_can_start", 0)
			b.likely("exchange_unit", 0, 0.5)
		}, settled: "exchange_unit", want: "more | do exchange_unit" + always, says: "Likelier than not this is to be done, and it was left alone: "},
		"withheld for another reason": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.likely("reseat_plug", 1, 0.0999)
			b.withhold("replace_fuse", engine.WhyDone, "", 0)
			b.likely("replace_fuse", 0, 0.5)
		}, settled: "replace_fuse", want: plug},
		"likely, and waits": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.likely("reseat_plug", 1, 0.0999)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.likely("replace_fuse", 0, 0.5)
		}, want: "more replace_fuse | electrician is here" + always, says: "Likelier than not this is to be done: Replace the fuse with one of the same rating after finding why it blew."},
		"likely, and waits; not far off": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.likely("reseat_plug", 1, 0.1)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.likely("replace_fuse", 0, 0.5)
		}, want: plug},
		"likely, and waits; a test tells": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.likely("replace_fuse", 0, 0.5)
		}, want: light},
		"not so likely, and waits": {bend: func(b bend) {
			b.next("reseat_plug", 0)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.likely("replace_fuse", 0, 0.4999)
		}, want: plug},
		"the likelier of two that wait": {bend: func(b bend) {
			b.withhold("exchange_supply", engine.WhyTools, "spare_supply", 0)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.withhold("fit_terminator", engine.WhyTools, "terminator_resistor", 0)
			b.likely("exchange_supply", 0, 0.6)
			b.likely("replace_fuse", 1, 0.7)
			b.likely("fit_terminator", 2, 0.65)
		}, want: "more replace_fuse | electrician is here; I have spare supply; I have terminator resistor" + always},
		"likely, and done": {bend: func(b bend) { b.withhold("replace_fuse", engine.WhyDone, "", 0); b.likely("replace_fuse", 0, 0.9) }, want: "more | what would you need; stop and save as a case file"},
		"likely, and another step first": {bend: func(b bend) {
			b.withhold("replace_fuse", engine.WhyHarmless, "power_light", 0)
			b.likely("replace_fuse", 0, 0.9)
		}, want: "more | what would you need; stop and save as a case file"},

		// What waits for a word.
		"a fact to confirm": {bend: func(b bend) { b.withhold("measure_volts", engine.WhyUnconfirmed, "live_terminals", 0.5) }, want: live},
		"the one that tells most": {bend: func(b bend) {
			b.withhold("measure_volts", engine.WhyUnconfirmed, "live_terminals", 0.5)
			b.withhold("swap_unit", engine.WhyUnconfirmed, "machine_can_start", 0.6)
		}, want: unit},
		"one that waits for a tool before": {bend: func(b bend) {
			b.withhold("measure_pair", engine.WhyTools, "multimeter", 0.9)
			b.withhold("measure_volts", engine.WhyUnconfirmed, "live_terminals", 0.5)
		}, want: live},
		"it was passed over, unlocking": {bend: func(b bend) {
			b.withhold("measure_volts", engine.WhyUnconfirmed, "live_terminals", 0.5)
			b.withhold("swap_unit", engine.WhyUnconfirmed, "machine_can_start", 0.6)
		}, settled: "swap_unit", want: live},
		"a test that tells nothing": {bend: func(b bend) { b.withhold("measure_volts", engine.WhyUnconfirmed, "live_terminals", 0.005) }, want: "more | what would you need; stop and save as a case file"},
		"a remedy hardly likely": {bend: func(b bend) {
			b.withhold("replace_fuse", engine.WhyUnconfirmed, "isolate_first", 0)
			b.likely("replace_fuse", 0, 0.01)
		}, want: "more | what would you need; stop and save as a case file"},
		"a remedy a little likely": {bend: func(b bend) {
			b.withhold("replace_fuse", engine.WhyUnconfirmed, "isolate_first", 0)
			b.likely("replace_fuse", 0, 0.011)
		}, want: "confirm isolate_first replace_fuse | not now; confirm isolate_first"},
		"what is known already": {bend: func(b bend) {
			for _, why := range []engine.Why{engine.WhyKnown, engine.WhyDone, engine.WhyWell, engine.WhyImpossible} {
				b.withhold("measure_volts", why, "", 0.5)
			}
		}, want: "more | what would you need; stop and save as a case file"},

		// What the outputs do.
		"outputs": {bend: func(b bend) { b.next("power_light", 0.5); b.withhold("measure_pair", engine.WhyLossOfBus, "", 0.51) }, settled: "-outputs_hold", want: "given outputs_hold measure_pair | outputs_hold=off; outputs_hold=hold; outputs_hold=preset; don't know"},
		"outputs, and as good": {bend: func(b bend) {
			b.next("power_light", 0.2)
			b.next("run_light", 0.5)
			b.withhold("measure_pair", engine.WhyLossOfBus, "", 0.5)
		}, settled: "-outputs_hold", want: light},
		"outputs, and nothing else":  {bend: func(b bend) { b.withhold("measure_pair", engine.WhyLossOfBus, "", 0) }, settled: "-outputs_hold", want: "given outputs_hold measure_pair | outputs_hold=off; outputs_hold=hold; outputs_hold=preset; don't know"},
		"outputs, passed over":       {bend: func(b bend) { b.withhold("measure_pair", engine.WhyLossOfBus, "", 0.5) }, settled: "-outputs_hold outputs_hold", want: "more | ask outputs_hold" + always},
		"outputs, known":             {bend: func(b bend) { b.withhold("measure_pair", engine.WhyLossOfBus, "", 0.5) }, want: "more | ask outputs_hold" + always},
		"outputs, not for this step": {bend: func(b bend) { b.withhold("measure_pair", engine.WhyTools, "multimeter", 0.5) }, settled: "-outputs_hold", want: "more | I have multimeter" + always},
		"outputs, for a likely remedy": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.enough("exchange_unit")
			b.withhold("exchange_unit", engine.WhyLossOfBus, "", 0)
		}, settled: "-outputs_hold", want: "given outputs_hold exchange_unit | outputs_hold=off; outputs_hold=hold; outputs_hold=preset; don't know"},

		// What is to be done.
		"enough": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.next("replace_fuse", 0)
			b.next("reseat_plug", 0)
			b.enough("reseat_plug")
		}, want: plug},
		"enough, and passed over": {bend: func(b bend) { b.next("power_light", 0.5); b.next("reseat_plug", 0); b.enough("reseat_plug") }, settled: "reseat_plug", want: light},
		"enough, and waits for a word": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.withhold("replace_fuse", engine.WhyUnconfirmed, "isolate_first", 0)
			b.enough("replace_fuse")
		}, want: "confirm isolate_first replace_fuse | not now; confirm isolate_first"},
		"enough, and waits for somebody": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.enough("replace_fuse")
		}, want: "more replace_fuse | electrician is here" + always, says: "Enough is known. What is to be done: Replace the fuse"},
		"enough, and the first that waits": {bend: func(b bend) {
			b.withhold("replace_plug", engine.WhyDone, "", 0)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.withhold("fit_terminator", engine.WhyTools, "terminator_resistor", 0)
			b.enough("replace_plug", "replace_fuse", "fit_terminator")
		}, want: "more replace_fuse | electrician is here" + always},
		"enough, and was done": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.withhold("replace_fuse", engine.WhyDone, "", 0)
			b.enough("replace_fuse")
		}, want: light},
		"enough, and a step goes first": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.withhold("replace_fuse", engine.WhyHarmless, "power_light", 0)
			b.enough("replace_fuse")
		}, want: light},
		"enough, and waits, passed over": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.withhold("replace_fuse", engine.WhyPerson, "electrician", 0)
			b.enough("replace_fuse")
		}, settled: "replace_fuse", want: light},
		"enough, and nothing to be done":   {bend: func(b bend) { b.next("power_light", 0.5); b.enough() }, want: "more | go on; what would you need; stop and save as a case file", says: "Enough is known, "},
		"it was said, and went on":         {bend: func(b bend) { b.next("power_light", 0.5); b.enough() }, settled: "advice", want: light},
		"it was said, and nothing is left": {bend: func(b bend) { b.enough() }, settled: "advice", want: "more | what would you need; stop and save as a case file", says: "Nothing more can be offered"},
		"to be done whatever else": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.next("replace_plug", 0)
			b.next("reseat_plug", 0)
			b.d.Advice.Sure = []int{b.remedy("reseat_plug")}
		}, want: plug},
		"whatever else, passed over": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.next("reseat_plug", 0)
			b.d.Advice.Sure = []int{b.remedy("reseat_plug")}
		}, settled: "reseat_plug", want: light},
		"impossible": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.enough("reseat_plug")
			b.next("reseat_plug", 0)
			b.d.Possible = false
		}, want: light},

		// By phone.
		"a call is over": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.d.Disposition = &engine.Disposition{Kind: engine.SendSomebody, Enough: true}
		}, at: rulebase.Phone, want: "more | go on; what would you need; stop and save as a case file", says: "Enough is known for this call. Send somebody"},
		"a call goes on": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.d.Disposition = &engine.Disposition{Kind: engine.SendSomebody, Enough: true}
		}, at: rulebase.Phone, settled: "advice", want: light},
		"a question saves too little": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.next("reseat_plug", 0)
			b.d.Disposition = &engine.Disposition{Kind: engine.SolveNow}
		}, at: rulebase.Phone, want: plug},
		"a question saves enough": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.d.Next[0].Saves = 10
			b.next("reseat_plug", 0)
			b.d.Disposition = &engine.Disposition{Kind: engine.SolveNow}
		}, at: rulebase.Phone, want: light},
		"the caller does it": {bend: func(b bend) {
			b.next("power_light", 0.5)
			b.next("reseat_plug", 0)
			b.d.Disposition = &engine.Disposition{Kind: engine.SolveNow, Enough: true, Remedies: []int{b.remedy("reseat_plug")}}
		}, at: rulebase.Phone, want: plug},
		"nothing left that saves":            {bend: func(b bend) { b.d.Disposition = &engine.Disposition{Kind: engine.SendUnit} }, at: rulebase.Phone, want: "more | go on; what would you need; stop and save as a case file", says: "What was passed over could have told more. As it stands, send somebody with a unit"},
		"nothing left, and the caller could": {bend: func(b bend) { b.d.Disposition = &engine.Disposition{Kind: engine.SolveNow} }, at: rulebase.Phone, want: "more | what would you need; stop and save as a case file", says: "Nothing more can be offered"},

		// What would help.
		"it cannot be told":                  {bend: func(b bend) { b.d.Advice.CannotTell = true }, want: "more | what would you need; stop and save as a case file", says: "These cannot be told apart from here:"},
		"it cannot be told, impossible":      {bend: func(b bend) { b.d.Advice.CannotTell, b.d.Possible = true, false }, want: "more | what would you need; stop and save as a case file", says: "Nothing more can be offered"},
		"a call cannot tell, impossible":     {bend: func(b bend) { b.d.Disposition, b.d.Possible = &engine.Disposition{Kind: engine.SendUnit}, false }, at: rulebase.Phone, want: "more | what would you need; stop and save as a case file", says: "Nothing more can be offered"},
		"what tells nothing was passed over": {bend: func(b bend) { b.next("power_light", 0) }, settled: "power_light", want: "more | what would you need; stop and save as a case file", says: "Nothing more can be offered"},
		"all was passed over": {bend: func(b bend) {
			for _, id := range six {
				b.next(id, 0)
			}
		}, settled: strings.Join(six, " "), want: "more | do replace_fuse; do exchange_supply; do fit_terminator; do reseat_plug" + always, says: "All that is on offer was passed over. One of it after all, or something new?"},
		"passed over, and tells nothing": {bend: func(b bend) { b.next("power_light", 0); b.next("run_light", 0.5) }, settled: "power_light run_light", want: "more | ask run_light" + always, says: "All that is on offer was passed over"},
		"stopgaps":                       {bend: func(b bend) { b.stopgap("bridge", "lower_rate", "feed") }, settled: "bridge", want: "more | do bridge; do lower_rate; do feed" + always},
		"two stopgaps at most":           {bend: func(b bend) { b.stopgap("bridge", "lower_rate", "feed") }, want: "more | do bridge; do lower_rate" + always},
		"what each waits for, the most telling first": {bend: func(b bend) {
			b.withhold("measure_volts", engine.WhyTools, "multimeter", 0.1)
			b.withhold("measure_pair", engine.WhyTools, "multimeter", 0.2)
			b.withhold("swap_unit", engine.WhyAlone, "", 0.3)
			b.withhold("look_at_controller", engine.WhyPerson, "operator", 0.4)
			b.withhold("measure_volts", engine.WhyPerson, "technician", 0.5)
			b.withhold("power_light", engine.WhyPhone, "", 0.6)
			b.withhold("run_light", engine.WhyOnlyIf, "", 0.005)
		}, want: "more | technician is here; operator is here; not alone; I have multimeter" + always},
		"five at most": {bend: func(b bend) {
			for i, tool := range strings.Fields("a b c d e f") {
				b.withhold("measure_pair", engine.WhyTools, tool, 1-float64(i)/10)
			}
		}, want: "more | I have a; I have b; I have c; I have d; I have e" + always},
		"and stopgaps beside": {bend: func(b bend) {
			b.stopgap("bridge")
			for i, tool := range strings.Fields("a b c d e f") {
				b.withhold("measure_pair", engine.WhyTools, tool, 1-float64(i)/10)
			}
		}, want: "more | do bridge; I have a; I have b; I have c; I have d; I have e" + always},
		"nobody goes to the bench for it": {bend: func(b bend) {
			b.withhold("measure_pair", engine.WhyPlace, "", 0.5)
			b.d.NotOffered[0].Step = &rulebase.Step{ID: "x", At: []rulebase.Place{rulebase.Bench}}
		}, want: "more | what would you need; stop and save as a case file"},
		"and what comes behind that": {bend: func(b bend) {
			b.withhold("measure_pair", engine.WhyPlace, "", 0.5)
			b.d.NotOffered[0].Step = &rulebase.Step{ID: "x", At: []rulebase.Place{rulebase.Bench}}
			b.withhold("measure_volts", engine.WhyTools, "multimeter", 0.4)
		}, want: "more | I have multimeter" + always},
		"somebody goes to the drop": {bend: func(b bend) {
			b.withhold("measure_pair", engine.WhyPlace, "", 0.5)
			b.d.NotOffered[0].Step = &rulebase.Step{ID: "x", At: []rulebase.Place{rulebase.Phone, rulebase.Field}}
		}, want: "more | at the drop" + always},
	} {
		talk := bent(t, func(d *engine.Diagnosis) {
			d.Causes = slices.Clone(d.Causes)
			b := bend{d, d.Base}
			b.clear()
			c.bend(b)
		})
		s := atTheDrop()
		if c.at != "" {
			s.At = c.at
		}
		m := conversation.Memory{Settled: []string{"alone", "drops"}}
		for _, id := range strings.Fields(c.settled) {
			if id == "-outputs_hold" {
				s.Givens = s.Givens[:1]
				continue
			}
			m.Settled = append(m.Settled, id)
		}
		if c.know != nil {
			c.know(&s)
		}
		_, reply := talk.Resume(context.Background(), s, nil, m)
		if asks(reply.Question) != c.want {
			t.Errorf("%s: asks  %s\nwanted %s\n%s", name, asks(reply.Question), c.want, strings.Join(reply.Lines(), "\n"))
		}
		if says := strings.Join(reply.Question.Says, " "); !strings.HasPrefix(says, c.says) {
			t.Errorf("%s: says %q, not %q", name, says, c.says)
		}
	}
}

// What every case has to know is asked first, in one order, and nothing of it twice.
func TestTheOpeningIsAskedInOrder(t *testing.T) {
	const (
		this  = "this_drop | this is drop 2; this is drop 7; this is drop 9; don't know"
		works = "symptom drop_works | drop_works=working; drop_works=dead; drop_works=comes_and_goes; don't know"
		place = "place | on the phone; at the drop; at the bench; don't know"
		who   = "who | operator; electrician; technician; engineer; don't know"
		alone = "alone | alone; not alone; don't know"
		drops = "drops | how_much=one; how_much=all; don't know"
		rest  = "step reseat_plug | done, works now; done, still down; skip; what else"
	)
	talk := bent(t, func(d *engine.Diagnosis) {
		b := bend{d, d.Base}
		d.Causes = slices.Clone(d.Causes)
		b.clear()
		b.next("reseat_plug", 0)
	})
	down := map[int]string{1: rulebase.DropGood, 9: rulebase.DropDead, 2: rulebase.DropComesAndGoes, 7: rulebase.DropDead}
	dead := []rulebase.Finding{{Symptom: "drop_works", Value: rulebase.Value{Word: "dead"}}}
	elsewhere := []rulebase.Finding{{Symptom: "drop_works", Value: rulebase.Value{Word: "dead"}, Drop: 4}, {Symptom: "power_light", Value: rulebase.Value{Word: "dark"}}}
	much := []rulebase.GivenValue{{ID: "how_much", Value: rulebase.Value{Word: "one"}}}
	for name, c := range map[string]struct {
		s       rulebase.Situation
		settled string
		want    string
	}{
		"several are down":               {rulebase.Situation{Drops: down}, "", this},
		"which is known":                 {rulebase.Situation{Drops: down, Drop: 7}, "", works},
		"which is passed over":           {rulebase.Situation{Drops: down}, "this_drop", works},
		"one is down":                    {rulebase.Situation{Drops: map[int]string{1: rulebase.DropGood, 9: rulebase.DropDead}}, "", works},
		"nothing is known":               {rulebase.Situation{}, "", works},
		"said of another drop":           {rulebase.Situation{Findings: elsewhere}, "", works},
		"it is down":                     {rulebase.Situation{Findings: dead}, "", place},
		"passed over":                    {rulebase.Situation{}, "drop_works", place},
		"something was done":             {rulebase.Situation{Done: []rulebase.Done{{ID: "replace_fuse", Drop: rulebase.StillDown}}}, "", place},
		"the place is passed over":       {rulebase.Situation{Findings: dead}, "place", who},
		"at the drop":                    {rulebase.Situation{Findings: dead, At: rulebase.Field}, "", who},
		"who is passed over":             {rulebase.Situation{Findings: dead, At: rulebase.Field}, "who", alone},
		"an operator":                    {rulebase.Situation{Findings: dead, At: rulebase.Field, Who: rulebase.Operator}, "", alone},
		"alone":                          {rulebase.Situation{Findings: dead, At: rulebase.Field, Who: rulebase.Operator, Alone: true}, "", drops},
		"whether alone is passed over":   {rulebase.Situation{Findings: dead, At: rulebase.Field, Who: rulebase.Operator}, "alone", drops},
		"on the phone, alone or not":     {rulebase.Situation{Findings: dead, At: rulebase.Phone, Who: rulebase.Operator}, "", drops},
		"at the bench there is no line":  {rulebase.Situation{Findings: dead, At: rulebase.Bench, Who: rulebase.Technician}, "", rest},
		"the drops are passed over":      {rulebase.Situation{Findings: dead, At: rulebase.Phone, Who: rulebase.Operator}, "drops", rest},
		"the drops are known":            {rulebase.Situation{Findings: dead, At: rulebase.Phone, Who: rulebase.Operator, Drops: map[int]string{1: rulebase.DropGood}}, "", rest},
		"how much is down is known":      {rulebase.Situation{Findings: dead, At: rulebase.Phone, Who: rulebase.Operator, Givens: much}, "", rest},
		"nothing but the place is known": {rulebase.Situation{At: rulebase.Phone}, "", works},
	} {
		if _, reply := talk.Resume(context.Background(), c.s, nil, conversation.Memory{Settled: strings.Fields(c.settled)}); asks(reply.Question) != c.want {
			t.Errorf("%s: asks  %s\nwanted %s", name, asks(reply.Question), c.want)
		}
	}
}

// Where more drops are down than a question has room for, the first eight are named, by letters:
// a number is an address.
func TestOfManyDropsEightAreOffered(t *testing.T) {
	_, talk := smallTalk(t)
	for n, want := range map[int]string{
		8:  "a drop 1, b drop 2, c drop 3, d drop 4, e drop 5, f drop 6, g drop 7, h drop 8, i don't know",
		12: "a drop 1, b drop 2, c drop 3, d drop 4, e drop 5, f drop 6, g drop 7, h drop 8, i don't know",
	} {
		down := map[int]string{}
		for i := range n {
			down[i+1] = rulebase.DropDead
		}
		_, reply := talk.Resume(context.Background(), rulebase.Situation{Drops: down}, nil, conversation.Memory{})
		var all []string
		for _, a := range reply.Question.Answers {
			all = append(all, a.Key+" "+a.Says)
		}
		if got := strings.Join(all, ", "); got != want {
			t.Errorf("%d are down: offers %s", n, got)
		}
	}
}

// A step that is only right under a condition waits for the first given in it that can be asked.
func TestWhatAConditionWaitsFor(t *testing.T) {
	talk := changed(t, "  line: {ask", "  quiet_one: {}\n  line: {ask", "    stops: bus\n    warnings: [bus_stops]\n", "    stops: bus\n    warnings: [bus_stops]\n    only_if: controller_mode == run and quiet_one and line == token_pair\n",
		"look_at_controller: {", "look_at_controller: {only_if: controller_mode == run and quiet_one, ")
	s := atTheDrop()
	s.Findings = append(s.Findings, rulebase.Finding{Symptom: "controller_mode", Value: rulebase.Value{Word: "stop"}})
	state, _ := talk.Resume(context.Background(), s, nil, conversation.Memory{})
	w := &walk{t: t, talk: talk, state: state}
	for step, want := range map[string]string{"measure_pair": `    to say that, enter "ask line"`, "look_at_controller": ""} {
		w.enter("why not " + step)
		lines := w.reply.Parts[0].Lines
		if !strings.Contains(lines[0], ": it is only right if ") || want == "" && len(lines) != 1 || want != "" && lines[len(lines)-1] != want {
			t.Errorf("%s: %q", step, lines)
		}
	}
}

// Before a question about what only a test shows that can hurt, it is said to touch nothing for it.
func TestNothingIsTouchedForAQuestion(t *testing.T) {
	const only = "Only if it was looked at or measured before: touch and open nothing for this question. A step for it comes with its warnings."
	_, talk := smallTalk(t)
	for id, want := range map[string]bool{"drop_volts": true, "pair_ohms": true, "hum": false, "controller_mode": false, "terminal_volts": false, "power_light": false, "drop_works": false} {
		state, _ := talk.Resume(context.Background(), atTheDrop(), nil, conversation.Memory{})
		w := &walk{t: t, talk: talk, state: state}
		if says := w.enter("ask " + id); strings.Contains(says, only) != want {
			t.Errorf("%s: says\n%s", id, says)
		}
	}
}

// Once the drop is well nothing is asked any more but whether that lasts, and what an entry meant.
func TestAWellDropIsAskedNothingElse(t *testing.T) {
	_, talk := smallTalk(t)
	state, _ := talk.Begin(rulebase.Situation{})
	w := &walk{t: t, talk: talk, state: state}
	w.enter("technician at the drop, not alone; drop dead; this drop alone; power light lit; any tool; outputs_hold=off", "done look_at_controller")
	w.asked(conversation.AskSymptom, "controller_mode")
	w.enter("done reseat_plug, works now, lights dark")
	w.asked(conversation.AskWhich, "lights dark")
	w.enter("none of these")
	w.asked(conversation.AskProof, "reseat_plug")
	w.enter("still works")
	w.asked(conversation.AskEnd, "")
}

// What a chosen step is worth is said of that step, wherever it stands.
func TestAChosenStepIsWorthWhatItIs(t *testing.T) {
	w := from(t, atTheDrop(), func(b bend) {
		b.next("measure_pair", 0.9)
		b.next("look_at_controller", 0.3)
		b.next("reseat_plug", 0)
		b.likely("reseat_plug", 0, 0.3)
		b.withhold("measure_volts", engine.WhyUnconfirmed, "live_terminals", 0.5)
	})
	for step, want := range map[string]string{"measure_pair": "about halve", "look_at_controller": "narrow down", "reseat_plug": "about 3 in 10 that this takes a cause away"} {
		if says := w.enter("do " + step); !strings.Contains(says, want) {
			t.Errorf("%s: says\n%s", step, says)
		}
	}
	w.enter("do measure_volts")
	w.asked(conversation.AskConfirm, "live_terminals")
}

// A rulebase that does not ask how much is down asks for no drops.
func TestWithoutAnExtentNoDropsAreAsked(t *testing.T) {
	talk := changed(t, "  how_much: {ask: \"How much is down?\", one_of: [one, some, supply, beyond, all, comes_and_goes], filled_by: extent}\n", "", ", more_likely: [{when: how_much == one, times: 2}]", "")
	s := atTheDrop()
	s.Givens = s.Givens[1:]
	if _, reply := talk.Resume(context.Background(), s, nil, conversation.Memory{Settled: []string{"alone"}}); reply.Question.Kind == conversation.AskDrops {
		t.Error("asked for the drops")
	}
}

// Who leaves alone what is likelier than not to be done is not asked to try what hardly ever helps: it is said
// that it waits, and for whom.
func TestWhatIsLikelyAndLeftAloneIsSaid(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	state, _ := talk.Begin(rulebase.Situation{})
	var reply conversation.Reply
	for _, entry := range []string{"operator on the phone, not alone, drop 5 does not work, others good, power light dark, breaker off", "not now"} {
		state, reply = talk.Step(context.Background(), state, entry)
	}
	says := strings.Join(reply.Question.Says, " ")
	if reply.Question.Kind != conversation.AskMore || !strings.Contains(says, "person in charge to have it closed") || !strings.Contains(says, "somebody has to come who may") {
		t.Errorf("%s: %s", asks(reply.Question), says)
	}
	// Whoever goes on is asked what tells more, and still not to try that.
	for range 8 {
		if reply.Question.Kind == conversation.AskStep && reply.Question.ID == "note_dead_light" {
			t.Fatalf("asked for: %s", asks(reply.Question))
		}
		entry := "skip"
		if reply.Question.Kind == conversation.AskMore {
			if entry = "go on"; !slices.ContainsFunc(reply.Question.Answers, func(a conversation.Answer) bool { return a.Entry == entry }) {
				break
			}
		}
		state, reply = talk.Step(context.Background(), state, entry)
	}
}
