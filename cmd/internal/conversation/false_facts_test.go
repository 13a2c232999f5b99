package conversation_test

import (
	"context"
	"fmt"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
	"downdrop/testdata/support/shipped"
)

// What is put down is what was said: each line is a talk, its entries between ;; and, behind =>, what is known then.
func TestNothingFalseIsPutDown(t *testing.T) {
	talk := talkOver(shipped.Base(t))
	for line := range strings.Lines(`
		the power light was dark and it smells burnt => power_light=dark smell_or_burn=yes
		the power light was dark and I measured 0 V at the drop => power_light=dark volts_at_drop=0 V
		the power light was dark and I reset the breaker =>
		the breaker was tripped and it came back when I reset it =>
		it was dead and it works now => drop_works=working
		the plug was loose then it fell out =>
		no meter => 36 tools
		no meter ;; I have a scope => [scope]
		no meter, no scope, but I have a handheld => [handheld]
		no meter ;; I have a meter =>
		I have a scope and a handheld ;; no meter => [scope handheld]
		it is working now but it fails every day => fails_every=1440 min
		it fails every 2 hours => fails_every=120 min
		it fails about every 24 h => fails_every=1440 min
		it fails every 3 days => fails_every=4320 min
		it fails every other week => fails_every=20160 min
		it fails about once an hour => fails_every=60 min
		it fails every 5 m =>
		it fails every 2O0 h =>
		it fails every 1.5 h => fails_every=90 min
		it fails every 20 weeks =>
		it fails every 201600 min =>
		we start it every day =>
		our drop works but drop 5 is dead => drop_works=not_working this=5 5=dead
		works but drop 5 is dead => drop_works=not_working this=5 5=dead
		works now but comes and goes => extent=comes_and_goes
		works now, but it comes and goes => extent=comes_and_goes
		comes and goes but works now => extent=comes_and_goes
		it is intermittent => extent=comes_and_goes
		drop 5 is intermittent => this=5 5=comes_and_goes
		dead ;; works now but comes and goes => drop_works=not_working extent=comes_and_goes
		the drop works but one output is dead => how_much_is_down=one_point
		it works, only one output is dead => how_much_is_down=one_point
		the drop works one output dead =>
		the drop works but the second output is dead =>
		works but module 2 dead =>
		it works now => drop_works=working
		drop 5 dead ;; no, drop 6 => drop_works=not_working this=6 6=dead
		drop 5 dead ;; sorry, I meant drop 6 => drop_works=not_working this=6 6=dead
		drop 5 dead. Sorry, drop 6 => drop_works=not_working this=6 6=dead
		drop 5 dead ;; 4 good ;; no, drop 3 => drop_works=not_working this=5 3=good 5=dead
		drop 5 dead, 4 good ;; no, drop 6 => drop_works=not_working this=5 4=good 5=dead
		drop 5 dead ;; drop 6 => drop_works=not_working this=5 5=dead
		drop 5 dead ;; drop 6 ;; 1 => drop_works=not_working this=6 6=dead
		drop 5 dead ;; drop 6 ;; 2 => drop_works=not_working this=5 5=dead 6=dead
		Drop 3's power light is off and it smells burnt => power_light=dark smell_or_burn=yes this=3
		drop 3: power light lit; drop 4: power light dark => power_light=lit at 3 power_light=dark at 4
		good drop 3: power light lit => power_light=lit at 3
		no burnt smell => smell_or_burn=no
		there is no smoke => smell_or_burn=no
		no duplicate address => same_address_elsewhere=no
		the fuse is not blown =>
		the cable is not cut =>
		the power light is not lit => power_light=dark
		power light not lit run light dark =>
		24 V is too low =>
		24V too low at the supply ;; 2 => volts_at_source=source_volts_low
		23 V is low =>
		good morning, drop 5 is down => drop_works=not_working this=5 5=dead
		a bit of a burnt smell => smell_or_burn=yes
		all lights are green =>
		is the plc in stop =>
		ask how_much_is_down ;; all of them =>
		drop 5 and 6 dead => 5=dead 6=dead
		drop 5 is up again => 5=good
		none of the others =>
		not the others =>
		the others are dead =>
		the other one is dead =>
		another one is dead =>
		no others =>
		the other handheld talks =>
		lights are as always =>
		ask power_light ;; same =>
		technician at the drop, not alone; drop 5 is dead, others good ;; ask run_light ;; no change => drop_works=not_working extent=one this=5 5=dead
		ask power_light ;; the same as before =>
		ask power_light ;; it was on before =>
		ask volts_at_drop ;; 23.9 and 24.1 =>
		ask volts_at_drop ;; 23.9, 24.1 =>
		ask volts_across_fuse ;; before => volts_across_fuse=before_the_fuse_only
		error counters climbing =>
		the pair is shorted => pair_ohms=pair_short
		shield hanging => shield_look=hanging_free
		others too =>
		other drops too =>
		drop 5 is dead, others too => drop_works=not_working this=5 5=dead
		drop 5 is dead and the others too => drop_works=not_working extent=all this=5 5=dead
		order 3-6; drop 5 is dead, all of the others too => 3=dead 4=dead 5=dead 6=dead
		5 comes and goes, the rest as well => this=5 5=comes_and_goes
		drop 5 is good, the others too => 5=good
		the neighbours are fine =>
		both neighbours are dead too =>
		the neighbour drop is fine =>
		drop 5 is dead, the neighbours are fine => drop_works=not_working this=5 5=dead
		order 3-6; drop 5 is dead, both neighbours are fine => drop_works=not_working this=5 4=good 5=dead 6=good
		order 3-5; drop 5 is dead, the neighbour is fine => drop_works=not_working this=5 4=good 5=dead
		order 5 3 6; drop 3 is dead, the neighbouring drops are dead too => 3=dead 5=dead 6=dead
		everything behind drop 4 is dead =>
		order 3-6; everything behind drop 4 is dead => 5=dead 6=dead
		order 3-6; 3 and 4 good, all drops after 4 dead => 3=good 4=good 5=dead 6=dead
		order 3-6; everything behind drop 6 is dead =>
		order 3-6; everything behind drop 99999999999999999999 is dead =>
		handheld says timeout => handheld_here=no_answer
		the handheld says busy => handheld_here=says_busy
		the handheld times out => handheld_here=no_answer
		everything is on =>
		everything from here on => how_much_is_down=this_and_all_beyond
		I cannot get a handheld =>
		I can get a handheld =>
		we have to get the handheld =>
		the handheld did not get here =>
		the motor starts =>
		ask power_cycled_since ;; nothing was changed => power_cycled_since=nothing_was_changed
		no power on the supply =>
		breaker was off, I switched it on =>
		the plug was out; we put it back =>
		the power light was dark, I measured 0 V at the drop => power_light=dark volts_at_drop=0 V
		the breaker was tripped. I reset it =>
		we lost drop 5 => drop_works=not_working this=5 5=dead
		lost communication with drop 5 => drop_works=not_working this=5 5=dead
		no drop 5 =>
		there was water in the cabinet, we dried it => damage_look=wet_or_dusty
		there was a thunderstorm, we replaced a fuse => began_after=storm_near
		the fuse was blown, we replaced it =>
		the power light was dark, we used the handheld =>
		everything after 4 hours is dead =>
		no comms to drops 5 and 6 => 5=dead 6=dead
		when the motor starts => how_it_fails=when_motors_start
		comes and goes when the motor starts => how_it_fails=when_motors_start
		comes and goes, the motor starts => extent=comes_and_goes
		ask how_it_fails ;; the motor starts => how_it_fails=when_motors_start
		it is very hot in there =>
		it fails when it gets hot => how_it_fails=when_warm
		ask others_on_supply ;; others too => others_on_supply=others_too
		ask others_on_supply ;; nothing else => others_on_supply=nothing_else
		others on supply: others too => others_on_supply=others_too
		another handheld does not talk either =>
		ask other_handheld_here ;; the other talks => other_handheld_here=the_other_talks
		ask other_handheld_here ;; the other does not =>
		another handheld does not answer either => other_handheld_here=no_answer_either
		the second handheld gets no answer either =>
		the run light is not lit either => run_light=dark
		the fault light is not lit either =>
		it does not work on either supply =>
		it does not start on the other supply either =>
		it smells of nothing either => smell_or_burn=no
		the drop is dark => drop_works=not_working
		it has not stopped working =>
		the drop never stopped working =>
		ask volts_at_drop ;; 19 then 24 =>
		ask volts_at_drop ;; 19 and then 24 =>
		ask volts_at_drop ;; 19 V => volts_at_drop=19 V
		drops 3 to 4 dead the rest fine => 3=dead 4=dead
		order 3-6; drops 3 to 4 dead the rest fine => 3=dead 4=dead 5=good 6=good
		power light dark ;; no, lit => power_light=lit
		power light dark ;; sorry, it is pulsing => power_light=pulsing
		power light dark, run light lit ;; no, lit => power_light=dark run_light=steady
		power light dark ;; no, 1 => power_light=dark
		drop 4: power light dark ;; no, lit => power_light=lit this=4
		power light dark ;; ask run_light ;; no, lit => power_light=dark run_light=steady
		power light dark ;; ask smell_or_burn ;; no, lit => power_light=dark smell_or_burn=no
		one output is dead ;; working ;; 3 => how_much_is_down=one_point drop_works=not_working
		works ;; down again => drop_works=not_working
		dead ;; it works now => drop_works=not_working drop_works=working
		dead ;; it works now ;; down again => drop_works=not_working drop_works=working drop_works=not_working
		the drop works not since yesterday => drop_works=not_working
		ask how_much_is_down ;; everything => how_much_is_down=every_drop
		technician at the drop, not alone; dead ;; everything => drop_works=not_working extent=all
	`) {
		said, want, ok := strings.Cut(line, "=>")
		if !ok {
			continue
		}
		state, _ := talk.Begin(rulebase.Situation{})
		var reply conversation.Reply
		for entry := range strings.SplitSeq(strings.TrimSpace(said), " ;; ") {
			state, reply = talk.Step(context.Background(), state, entry)
		}
		if got := known(&state.Situation); got != strings.TrimSpace(want) {
			t.Errorf("> %s\nputs down %q, not %q:\n%s", strings.TrimSpace(said), got, strings.TrimSpace(want), strings.Join(reply.Lines(), "\n"))
		}
	}
}

func known(s *rulebase.Situation) string {
	out := symptomsOf(*s)
	for _, g := range s.Givens {
		out += g.ID + "=" + g.Value.Word + " "
	}
	if s.Drop != 0 {
		out += fmt.Sprintf("this=%d ", s.Drop)
	}
	for _, a := range []int{3, 4, 5, 6} {
		if s.Drops[a] != "" {
			out += fmt.Sprintf("%d=%s ", a, s.Drops[a])
		}
	}
	if s.Tools != nil && len(s.Tools) < 10 {
		out += fmt.Sprint(s.Tools)
	} else if s.Tools != nil {
		out += fmt.Sprintf("%d tools", len(s.Tools))
	}
	return strings.TrimSpace(out)
}
