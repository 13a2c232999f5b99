package report

import (
	"math"
	"strings"
	"testing"

	"downdrop/engine/line"
	"downdrop/engine/sheet"
	"downdrop/engine/waveform"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// strung is a trunk of 100 m with three drops. Invented.
func strung() *rulebase.Sheet {
	return &rulebase.Sheet{
		Name: "Mill line", Line: "tia485_polled", Cable: []rulebase.SheetCable{{LengthM: 60}, {LengthM: 40}},
		Drops:       []rulebase.SheetDrop{{Name: "1", AtM: 20}, {Name: "A", AtM: 50}, {Name: "3", AtM: 90}},
		Terminators: []rulebase.SheetTerminator{{AtM: 100, Ohm: 120}},
		Stubs:       []rulebase.SheetStub{{AtM: 30, LengthM: 6}, {AtM: 70, LengthM: 7}, {AtM: 80, LengthM: 40}},
	}
}

func TestTheLineOnPaperIsSaid(t *testing.T) {
	s := strung()
	state := func(kind sheet.StateKind, low, high float64, lost ...string) sheet.State {
		return sheet.State{Kind: kind, AtM: 55, Low: low, High: high, Probability: 0.5, Lost: lost}
	}
	way := func(low, high float64, units, bias bool) sheet.Way {
		return sheet.Way{Connected: sheet.Connected{Units: units, Bias: bias}, Low: low, High: high}
	}
	told := state(sheet.FarMissing, 100, 130)
	told.Ways = []sheet.Way{way(100, 100.01, false, false), way(120, 120, true, false)}
	alone := state(sheet.FarMissing, 120, 120)
	alone.Ways = []sheet.Way{way(120, 120, false, false)}
	spread := state(sheet.CutAt, 100, 130, "3")
	spread.Ways = []sheet.Way{way(100, 120, false, false), way(110, 130, true, false)}
	support.Says(t, [][2]string{
		{saySheet(s), "Mill line: 100 m of trunk, 3 drops."},
		{saySheetCount([]sheet.Result{{Verdict: sheet.Fail}, {Verdict: sheet.Marginal}, {Verdict: sheet.Pass}, {Verdict: sheet.Open}, {Verdict: sheet.Pass}}), "5 rules: 1 not in order, 1 with nothing to spare, 2 in order, 1 not reckoned."},
		{saySheetCount([]sheet.Result{{Verdict: sheet.Fail}}), "1 rule: 1 not in order, 0 with nothing to spare, 0 in order, 0 not reckoned."},
		{sayOhmsRead(&Ohms{Sheet: s, Where: "host", Reading: 61}), "61 ohm at the host's end, the pair dead. What it can be:"},
		{sayOhmsRead(&Ohms{Sheet: s, Where: "end", Open: true}), "Over-range at the far end, the pair dead. What it can be:"},
		{sayOhmsRead(&Ohms{Sheet: s, Where: "a", Reading: 61, AtM: 50}), "61 ohm at drop A, the pair dead. What it can be:"},
		{sayOhmsRead(&Ohms{Sheet: s, Where: "70 m", Reading: 61, AtM: 70}), "61 ohm at 70 m from the host, the pair dead. What it can be:"},
		{sayExpected(&Expected{Sheet: s, Where: "host", Cuts: []float64{30}, Shorts: []float64{40}}), "At the host's end a meter should read across the dead pair, were it open at 30 m, were it shorted at 40 m:"},
		{sayExpectedWay(way(math.Inf(1), math.Inf(1), false, false)), "over-range with everything off the pair."},
		{sayExpectedWay(way(60, 60, true, true)), "60 ohm with units and bias left on."},
		{sayState(s, state(sheet.AsDrawn, 60, 60)), "All as drawn: about 5 in 10; it would read 60 ohm."},
		{sayState(s, state(sheet.NearMissing, 120, 120)), "The terminator at the host's end is missing: about 5 in 10; it would read 120 ohm."},
		{sayState(s, state(sheet.FarMissing, 120, 130)), "The terminator at the far end is missing: about 5 in 10; it would read 120 ohm to 130 ohm, by where it is."},
		{sayState(s, told), "The terminator at the far end is missing: about 5 in 10; it would read 100 ohm with everything off the pair, 120 ohm with the units left on."},
		{sayState(s, alone), "The terminator at the far end is missing: about 5 in 10; it would read 120 ohm."},
		{sayState(s, spread), "The pair is open between A and 3; it takes away 3: about 5 in 10; it would read 100 ohm to 130 ohm, by where it is."},
		{sayState(s, state(sheet.BothMissing, 1e5, 1e5)), "Both terminators are missing: about 5 in 10; it would read 100 kohm."},
		{sayState(s, state(sheet.BothMissing, 1e5, 1.001e5)), "Both terminators are missing: about 5 in 10; it would read next to nothing across the pair: over-range, or thousands of ohms."},
		{sayState(s, state(sheet.BothMissing, math.Inf(1), math.Inf(1))), "Both terminators are missing: about 5 in 10; it would read next to nothing across the pair: over-range, or thousands of ohms."},
		{sayState(s, state(sheet.OneMore, 40, 40)), "One terminator too many, about 55 m from the host: about 5 in 10; it would read 40 ohm."},
		{sayState(s, state(sheet.TwoMore, 30, 30)), "Two terminators too many, about 55 m from the host: about 5 in 10; it would read 30 ohm."},
		{sayState(s, state(sheet.WrongValue, 50, 50)), "Both terminators are of another value: about 5 in 10; it would read 50 ohm."},
		{sayState(s, state(sheet.CutAt, 120, 120)), "The pair is open beyond the last drop: about 5 in 10; it would read 120 ohm."},
		{sayState(s, state(sheet.CutAt, 120, 120, "1", "A", "3")), "The pair is open before the first drop, 1; it takes every drop away: about 5 in 10; it would read 120 ohm."},
		{sayState(s, state(sheet.CutAt, 120, 120, "A", "3")), "The pair is open between 1 and A; it takes away A, 3: about 5 in 10; it would read 120 ohm."},
		{sayState(s, state(sheet.ShortAt, 2, 4)), "The pair is shorted about 55 m from the host: about 5 in 10; it would read 2 ohm to 4 ohm, by where it is."},
		{sayState(s, state(sheet.ShortNearLifted, 2, 4)), "The pair is shorted about 55 m from the host, and the host's terminator is off: about 5 in 10; it would read 2 ohm to 4 ohm, by where it is."},
		{stateSays(s, state("new_state", 0, 0)), "new_state"},
		{sayDrawing(s), "The trunk to scale, 100 m long, from the host: 1 at 20 m, A at 50 m, 3 at 90 m."},
	})
}

func TestFaultsAlongTheTrunkAreSaid(t *testing.T) {
	s := strung()
	cut := func(atM, p float64) sheet.State { return sheet.State{Kind: sheet.CutAt, AtM: atM, Probability: p} }
	next := func(states ...sheet.State) string { return sayNextCut(&Ohms{Sheet: s, States: states}) }
	support.Says(t, [][2]string{
		{sayLocate(&Locate{Sheet: s, Kind: LocateBreak, AtM: 95}), "A break at 95 m takes no drop away; the far end loses its terminator."},
		{sayLocate(&Locate{Sheet: s, Kind: LocateBreak, AtM: 80, Lost: []string{"3"}}), "A break at 80 m takes away 1 drop: 3. What is left has lost the terminator at the far end."},
		{sayLocate(&Locate{Sheet: s, Kind: LocateBreak, AtM: 30, Lost: []string{"A", "3"}}), "A break at 30 m takes away 2 drops: A, 3. What is left has lost the terminator at the far end."},
		{sayLocate(&Locate{Sheet: s, Kind: LocateShort, Reading: 50}), "50 ohm is more than the cable that this meter sees has, or the sheet does not give its conductors. With the terminator at this end still on, or a unit plugged in, no distance can be told."},
		{sayLocate(&Locate{Sheet: s, Kind: LocateShort, Reading: 5, Found: true, AtM: 30}), "5 ohm of both wires are 30 m of this cable: the short lies about 30 m from the host's end, between 1 and A. It is right only with the terminator at this end off and every unit unplugged, and the leads' own ohms taken off."},
		{sayLocate(&Locate{Sheet: s, Kind: LocateShort, Reading: 5, Found: true, AtM: 30, FromEnd: true}), "5 ohm of both wires are 70 m of this cable: the short lies about 70 m from the far end, between 1 and A. It is right only with the terminator at this end off and every unit unplugged, and the leads' own ohms taken off."},
		{sayLocate(&Locate{Sheet: s, Kind: LocateHalf, GoodM: 60, BadM: 51}), "No drop lies between 51 m and 60 m: look along the cable itself."},
		{sayLocate(&Locate{Sheet: s, Kind: LocateHalf, GoodM: 80, BadM: 30, Found: true, Drop: "A", AtM: 50}), "Measure next at A, 50 m from the host, towards the host and away from it in turn: that halves the 50 m of cable in doubt as well as a drop can."},
		{betweenDrops(s, 19.9), ", before 1"},
		{betweenDrops(s, 20), ", between 1 and A"},
		{betweenDrops(s, 89), ", between A and 3"},
		{betweenDrops(s, 90), ", beyond 3"},
		{betweenDrops(&rulebase.Sheet{}, 90), ""},
		{next(cut(30, 0.02), cut(80, 0.5)), "Measure next at A, 50 m from the host: towards the host and away from it in turn. That halves the cable in doubt."},
		{next(cut(80, 0.5), cut(30, 0.02)), "Measure next at A, 50 m from the host: towards the host and away from it in turn. That halves the cable in doubt."},
		{next(cut(30, 0.019), cut(80, 0.5)), ""},
		{next(cut(30, 0.5)), ""},
		{next(cut(55, 0.5), cut(60, 0.5)), ""},
		{next(sheet.State{Kind: sheet.ShortAt, AtM: 30, Probability: 0.5}, cut(80, 0.5)), ""},
	})
}

func TestWhereAnEchoComesFromIsSaid(t *testing.T) {
	s := strung()
	at := func(trouble waveform.Trouble, probeM, distanceM float64) string {
		w := &Waveform{Sheet: s, ProbeM: probeM, Reading: &waveform.Reading{Echo: waveform.Echo{Distance: waveform.Figure{Value: distanceM, Plus: 0.5}}}}
		return w.sayPlace(trouble)
	}
	inLine := sheet.Spot{AtM: 60, End: "end"}
	support.Says(t, [][2]string{
		{at(waveform.EndOpen, 0, 100), "By the sheet: the far end at 100 m, where the sheet has a terminator."},
		{at(waveform.EndOpen, 90, 90), "By the sheet: the host's end, where the sheet has no terminator."},
		{at(waveform.EndOpen, 0, 55), "By the sheet: a break about 55 m from the host, between A and 3."},
		{at(waveform.EndLow, 60, 25), "By the sheet: about 85 m from the host, between A and 3; or about 35 m from the host, between 1 and A."},
		{at(waveform.EndOpen, 10, 400), "On the sheet no place of this pair lies so far from the probe: look at the sheet, at the cable's delay and at where the probe was."},
		{at(waveform.LongStub, 10, 6.5), "By the sheet the stub of 6 m at 30 m from the host, between 1 and A, or of 7 m at 70 m from the host, between A and 3."},
		{at(waveform.LongStub, 10, 40), "By the sheet the stub of 40 m at 80 m from the host, between A and 3."},
		{at(waveform.LongStub, 10, 100), "No stub of the sheet is as long: a branch that was not drawn, or a spare end left hanging."},
		{at(waveform.Weak, 10, 40), ""},
		{(&Waveform{Sheet: s, Reading: &waveform.Reading{Echo: waveform.Echo{Distance: waveform.Figure{Why: waveform.NoEcho}}}}).sayPlace(waveform.EndOpen), ""},
		{(&Waveform{Reading: &waveform.Reading{}}).sayPlace(waveform.EndOpen), ""},
		{saySpot(s, sheet.Spot{End: "host", Terminated: true}, waveform.EndOpen), "the host's end, where the sheet has a terminator"},
		{saySpot(s, sheet.Spot{End: "host", AtM: 60}, waveform.EndOpen), "the device in the line at 60 m, where the sheet has no terminator"},
		{saySpot(s, inLine, waveform.EndOpen), "the device in the line at 60 m, where the sheet has no terminator"},
		{saySpot(s, sheet.Spot{AtM: 60}, waveform.EndOpen), "a break about 60 m from the host, between A and 3"},
		{saySpot(s, sheet.Spot{AtM: 60}, waveform.EndLow), "about 60 m from the host, between A and 3"},
		{(&Waveform{Reading: &waveform.Reading{}}).sayIdleOfSheet(), ""},
		{(&Waveform{Sheet: s, Reading: &waveform.Reading{Idle: waveform.Figure{Why: waveform.NoSilence}}}).sayIdleOfSheet(), ""},
		{(&Waveform{Sheet: s, Reading: &waveform.Reading{}}).sayIdleOfSheet(), ""},
	})
}

func TestWhatACaptureShowsIsSaid(t *testing.T) {
	seen := func(x float64) waveform.Figure { return waveform.Figure{Value: x, Plus: 0.01 * math.Abs(x)} }
	not := waveform.Figure{Why: waveform.TooShort}
	nearest := func(differs float64) waveform.Nearest {
		return waveform.Nearest{Rate: 19200, Kinds: []*line.Kind{{Name: "polled"}, {Name: "token"}}, Differs: differs}
	}
	figures := func(r waveform.Reading) string {
		all := sayFigures(&r, "")
		if len(all) == 0 {
			return ""
		}
		return all[len(all)-1]
	}
	bare := waveform.Reading{Rate: not, Idle: not, Noise: not, Hum: not, Common: not}
	noisy := func(hum, plus, quantum float64) waveform.Reading {
		r := bare
		r.Noise, r.Hum, r.HumHz, r.Quantum = seen(0.05), waveform.Figure{Value: hum, Plus: plus}, 50, quantum
		return r
	}
	talker := waveform.Talker{Bursts: 1, Height: not, Rate: not, Rise: not, Overshoot: not}
	sender := func(n int, bandwidth float64, change func(*waveform.Talker)) string {
		x := talker
		change(&x)
		r := &waveform.Reading{Bandwidth: bandwidth, Talkers: make([]waveform.Talker, n)}
		r.Talkers[n-1] = x
		return saySender(r, n-1)
	}
	support.Says(t, [][2]string{
		{sayCapture(&Waveform{File: "a.csv", Reading: &waveform.Reading{Points: 1000, Length: 1e-4, Step: 1e-7}}), "a.csv: 1000 points in 0.1 ms, one every 0.1 us; one channel across the pair."},
		{sayCapture(&Waveform{File: "a.csv", Reading: &waveform.Reading{Points: 1000, Length: 1e-4, Step: 1e-7, Legs: true}}), "a.csv: 1000 points in 0.1 ms, one every 0.1 us; each leg against common."},
		{within(waveform.Figure{Value: 1.23456}, "V"), "1.23 V (± 0 V)"},
		{within(waveform.Figure{Value: 1.23456, Plus: 0.5}, "V"), "1.2 V (± 0.5 V)"},
		{within(waveform.Figure{Value: 1.23456, Plus: 0.001}, "V"), "1.2346 V (± 1 mV)"},
		{within(waveform.Figure{Value: 1.23456, Plus: 0.00001}, "V"), "1.2346 V (± 10 uV)"},
		{within(waveform.Figure{Plus: 0.01}, "V"), "0 V (± 10 mV)"},
		{percent(0.12345), "12.3 percent"},
		{sayNearest(nearest(0.0004)), "The standard rate next to it is 19.2 kbit/s, the same (polled; token)."},
		{sayNearest(nearest(-0.0005)), "The standard rate next to it is 19.2 kbit/s, 0.1 percent higher (polled; token)."},
		{sayNearest(nearest(0.02)), "The standard rate next to it is 19.2 kbit/s, 2 percent lower (polled; token)."},
		{figures(noisy(0.75, 0.25, 0)), "Noise: 50 mV effective."},
		{figures(noisy(0.31, 0.1, 0.04)), "Noise: 50 mV effective; hum of 50 Hz: 0.31 V at its peak; the instrument's smallest step is 40 mV."},
		{sender(1, 0, func(*waveform.Talker) {}), "Sender A, 1 burst."},
		{sender(1, 0, func(x *waveform.Talker) { x.Bits = 1; x.Rate = seen(19200) }), "Sender A, 1 burst of 1 bit."},
		{sender(2, 0, func(x *waveform.Talker) { x.Bursts, x.Bits, x.Rate, x.Rise = 2, 20, seen(19200), seen(1e-6) }), "Sender B, 2 bursts of 20 bits together; rate 19.2 kbit/s (± 200 bit/s); edges 1 us (± 0.01 us), the instrument's own share in it."},
		{sender(1, 1e6, func(x *waveform.Talker) { x.Bursts, x.Rise = 2, seen(1e-6) }), "Sender A, 2 bursts; edges 1 us (± 0.01 us), the instrument's own share taken off."},
		{sender(1, 0, func(x *waveform.Talker) {
			x.Height, x.Low, x.High, x.Overshoot = seen(2), seen(-2), seen(2), seen(0.02)
		}), "Sender A, 1 burst: height 2 V (± 20 mV), from -2 V to 2 V."},
		{sender(1, 0, func(x *waveform.Talker) { x.Overshoot = seen(0.3) }), "Sender A, 1 burst; goes beyond its level by 30 percent."},
		{sayTrouble(&waveform.Reading{Noise: seen(0.1)}, waveform.Silent), "No messages: nothing moves on the pair."},
		{sayTrouble(&waveform.Reading{Noise: seen(0.2)}, waveform.Silent), "No messages: something moves on the pair, but it is no message."},
		{sayTrouble(&waveform.Reading{Noise: not, Talkers: make([]waveform.Talker, 1)}, waveform.Silent), "No messages: something moves on the pair, but it is no message."},
		{sayTrouble(&waveform.Reading{}, "new_trouble"), "new_trouble"},
		{unseenWhy(&waveform.Reading{}, waveform.NoEcho), "none is seen beyond the edge"},
		{unseenWhy(&waveform.Reading{}, waveform.EchoTooClose), "none is seen beyond the edge"},
		{unseenWhy(&waveform.Reading{}, "new_reason"), "new_reason"},
		{findingSays(waveform.Finding{Number: 0.3}), "0.3 V"},
		{seeFlag(waveform.Finding{Symptom: "volts", Number: 0.3}), "--see \"volts=0.3 V\""},
		{seeFlag(waveform.Finding{Symptom: "line", Word: "quiet"}), "--see line=quiet"},
	})
	if is := slackOf(waveform.Figure{Value: 100, Plus: 1}); is != 6 {
		t.Errorf("a distance of 100 m, known to 1 m, can be off by %v m", is)
	}
	unseen := func(r waveform.Reading) string { return strings.Join(sayUnseen(&r), " | ") }
	quiet := waveform.Reading{Echo: waveform.Echo{Why: waveform.NothingMoves}}
	one := waveform.Reading{Talkers: []waveform.Talker{{}}}
	one.Echo = waveform.Echo{Kind: waveform.OpenEnd, Why: waveform.NoEcho}
	hidden := one
	hidden.Echo = waveform.Echo{Why: waveform.EchoUnsettled}
	support.Says(t, [][2]string{
		{unseen(quiet), ""},
		{unseen(one), ""},
		{unseen(hidden), "What sends an echo back: one sender's bits are too few, or too noisy, to tell an edge from what follows it."},
	})
	if s := figures(bare); s != "" {
		t.Errorf("a capture that shows no figure says %q", s)
	}
}

func TestEchoesOnPaperAreSaid(t *testing.T) {
	// An echo of a step of 2 V that ends in so many ohms, on a cable of 120 ohm, with
	// what the far end swings to beside where it rests.
	echo := func(far line.Ohm, device bool, swings line.Volt) *sheet.Echo {
		e := &sheet.Echo{ImpedanceOhm: 120, Device: device, Step: line.Step{Source: 2, SourceOhm: 0, Load: far}}
		rests := e.Step.Final()
		e.AtEnd = []line.Arrival{{Volt: rests * (1 + swings)}, {Volt: rests}}
		return e
	}
	support.Says(t, [][2]string{
		{shareBack(120, echo(120, false, 0)), "nothing"},
		{shareBack(121, echo(120, false, 0)), "nothing"},
		{shareBack(180, echo(120, false, 0)), "+20 %"},
		{shareBack(60, echo(120, false, 0)), "-33 %"},
		{echoEnd(echo(120, true, 0)), "the device in the line"},
		{echoEnd(echo(120, false, 0)), "the far end"},
		{sayEchoMeans(echo(180, false, 0.26)), "At the far end it swings 26 % past where it rests. Ringing like that is felt: look at the terminators."},
		{sayEchoMeans(echo(180, false, 0.25)), "At the far end it swings 25 % past where it rests. That is borne."},
		{sayEchoMeans(echo(180, false, 0.1001)), "At the far end it swings 10 % past where it rests. That is borne."},
		{sayEchoMeans(echo(120, false, 0.0999)), "The far end goes straight to where it rests."},
		{sayEchoMeans(echo(90, false, 0)), "The far end goes straight to where it rests."},
		{sayEchoMeans(echo(85, false, 0)), "The far end climbs in steps to where it rests: something of a lower resistance than the cable closes it."},
	})
}
