package conversation_test

import (
	"context"
	"flag"
	"os"
	"strconv"
	"strings"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"

	"github.com/google/go-cmp/cmp"
	"github.com/google/go-cmp/cmp/cmpopts"
	"pgregory.net/rapid"
)

// TestMain sets how many random talks are held: 60, times DOWNDROP_DEEP, from a
// fixed seed unless another is given.
func TestMain(m *testing.M) {
	flag.Parse()
	deep, _ := strconv.Atoi(os.Getenv("DOWNDROP_DEEP"))
	set := map[string]string{"rapid.checks": strconv.Itoa(60 * max(1, deep)), "rapid.nofailfile": "true"}
	if flag.Lookup("rapid.seed").Value.String() == "0" {
		set["rapid.seed"] = "7"
	}
	for name, value := range set {
		if err := flag.Set(name, value); err != nil {
			panic(err)
		}
	}
	os.Exit(m.Run())
}

// entries are things people say, in and out of place.
var entries = []string{
	"", "1", "2", "3", "4", "9", "a", "b", "e", "dead", "comes and goes", "power light dark", "power light lit, I think", "the operator says run light off", "lights dark", "run light",
	"23.8 V", "12,1", "drop volts 1,500", "drop volts OL", "pair_ohms jumps 3 to 40 ohm", "148 ohm", "4k7", "below 1 V at the drop", "terminator 700", "terminator=150",
	"it began after a storm", "no storm", "line=tia485_polled", "no hum", "hum=yes@0.7", "q8 dark", "powr light dark", "nonsense", "x=y",
	"technician at the drop with a meter", "on the phone", "operator", "electrician is here", "alone", "two of us", "I have a spare unit", "no meter", "any tool", "at the bench",
	"1-4 good, 5 dead", "6-7 come and go", "order 3 1 5 2", "supply 1 3; supply 5", "this is drop 5", "drop 4: power light lit, run light dark", "drop 5 dead", "others good",
	"don't know", "skip", "not now", "done", "done and 12.1 V", "done, still down", "done, works now", "done replace_fuse, still down", "done swap_unit, works now", "still down", "works now", "down again",
	"confirm machine_can_start", "confirm live terminals", "confirm isolate_first", "confirm bus_stops", "yes", "outputs_hold=off",
	"do measure_volts", "do exchange unit", "do swap_unit", "ask pair_ohms", "why", "why not driver dead", "why not exchange_unit", "what else", "what would you need", "details", "known", "list", "help", "save x",
}

var pure = cmp.Options{cmpopts.IgnoreFields(conversation.State{}, "Before"), cmpopts.EquateEmpty()}

// TestUndo holds the law of taking back: after any talk, an entry that changed
// something and then undo give exactly the earlier state; and no entry changes a
// state it was given.
func TestUndo(t *testing.T) {
	_, talk := smallTalk(t)
	rapid.Check(t, func(t *rapid.T) {
		state, _ := talk.Begin(rulebase.Situation{})
		for range rapid.IntRange(1, 25).Draw(t, "length") {
			entry := rapid.SampledFrom(entries).Draw(t, "entry")
			was := state
			was.Situation = state.Situation.Clone()
			next, _ := talk.Step(context.Background(), state, entry)
			if d := cmp.Diff(was, state, pure); d != "" {
				t.Fatalf("> %s\nchanged the state it was given:\n%s", entry, d)
			}
			if next.Before == &was || cmp.Equal(next, state, pure) {
				continue
			}
			back, _ := talk.Step(context.Background(), next, "undo")
			if d := cmp.Diff(state, back, pure); d != "" && entry != "undo" {
				t.Fatalf("> %s\n> undo\nis not the state before:\n%s", entry, d)
			}
			state = next
		}
	})
}

// TestCaseFileReadsBack saves after any talk: what is saved is a case file without
// problems, and answers like the talk did.
func TestCaseFileReadsBack(t *testing.T) {
	base, talk := smallTalk(t)
	rapid.Check(t, func(t *rapid.T) {
		state, _ := talk.Begin(rulebase.Situation{})
		for _, entry := range rapid.SliceOfN(rapid.SampledFrom(entries), 1, 25).Draw(t, "entries") {
			state, _ = talk.Step(context.Background(), state, entry)
		}
		_, reply := talk.Step(context.Background(), state, "stop and save")
		s, err := base.ReadCase("saved.yaml", []byte(reply.CaseText))
		if err != nil {
			t.Fatalf("%v\n%s", err, reply.CaseText)
		}
		same := cmp.Options{pure, cmpopts.IgnoreTypes(rulebase.Position{}), cmpopts.IgnoreFields(rulebase.Value{}, "Word"), cmpopts.IgnoreFields(rulebase.Situation{}, "Case")}
		if d := cmp.Diff(state.Situation, s, same); d != "" {
			t.Fatalf("the case read back differs:\n%s\n%s", d, reply.CaseText)
		}
	})
}

// words are what entries of the next test are made of.
var words = strings.Fields(`power light run dark lit off on flickering blinking drop volts terminal pair ohms 23.8 V 148 ohm 12 4k7 OL good dead 1-4 5 , , , ; ; . and but not no storm after work began
	technician operator phone bench meter alone order supply zzz bananas drop_works=dead power_light=dark hum=maybe powr @0.5 I think he says caller hum line token_pair = : q3 Ünüsüal 日本 #`)

// TestNothingTypedIsDropped says the words in any order: every one of them is part
// of something that was understood, asked back, or said to be not understood.
func TestNothingTypedIsDropped(t *testing.T) {
	_, talk := smallTalk(t)
	nothingDropped(t, talk, words)
}

// A site's own names are words like any others.
func TestNothingTypedIsDroppedOnSite(t *testing.T) {
	talk := onSite(t, `
  power_light: {called: "lamp H4 on door 2", values: {lit: steady white, dark: "message 'LAMP LOST'"}}
  run_light: {called: lamp H5}
  pair_ohms: {called: "terminals X1:12 and X1:13"}
  hum: {values: {"yes": cabinet sings, "no": cabinet keeps still}}
`)
	nothingDropped(t, talk, append(strings.Fields("lamp H4 on door 2 H5 LAMP LOST message steady white X1:12 X1 terminals cabinet sings keeps still not never"), words...))
}

func nothingDropped(t *testing.T, talk *conversation.Talk, words []string) {
	start, _ := talk.Begin(rulebase.Situation{})
	answered, _ := talk.Step(context.Background(), start, "technician at the drop, not alone, drop_works=dead")
	atStep, _ := talk.Step(context.Background(), answered, "do look_at_controller")
	atReading, _ := talk.Step(context.Background(), answered, "ask drop_volts")
	rapid.Check(t, func(t *rapid.T) {
		entry := strings.Join(rapid.SliceOfN(rapid.SampledFrom(words), 2, 14).Draw(t, "words"), " ")
		for _, state := range []conversation.State{start, answered, atStep, atReading} {
			_, reply := talk.Step(context.Background(), state, entry)
			if len(reply.Heard) == 0 && strings.Trim(entry, ",;. ") != "" && reply.Kind != conversation.Explained && reply.Kind != conversation.Asked {
				t.Fatalf("> %s\nheard nothing: %v", entry, reply.Lines())
			}
			if lost := lostWords(entry, reply.Heard); lost != "" {
				t.Fatalf("> %s\n%q is in nothing that was heard: %+v", entry, lost, reply.Heard)
			}
		}
	})
}

// lostWords gives a word of the entry that no Heard holds, as often as it was said.
func lostWords(entry string, heard []conversation.Heard) string {
	count := map[string]int{}
	for _, h := range heard {
		for _, w := range bareWords(h.Text) {
			count[w]++
		}
	}
	for _, w := range bareWords(entry) {
		if count[w]--; count[w] < 0 && w != "and" && w != "but" {
			return w
		}
	}
	return ""
}

func bareWords(text string) []string {
	return strings.FieldsFunc(text, func(r rune) bool { return strings.ContainsRune(" ,;.:=@#", r) })
}

// FuzzEntry holds that no entry panics, that none loses the case, and that what is
// shown keeps to one line each.
func FuzzEntry(f *testing.F) {
	for _, e := range entries {
		f.Add(e, e)
	}
	f.Add("drop 4: power light lit\x00\xff\n; é", "1-99999999999999999999 good")
	f.Fuzz(func(t *testing.T, first, second string) {
		base, talk := smallTalk(t)
		state, _ := talk.Begin(rulebase.Situation{})
		for _, entry := range []string{"technician at the drop; dead", first, second, "why", "undo"} {
			var reply conversation.Reply
			state, reply = talk.Step(context.Background(), state, entry)
			for _, line := range reply.Lines() {
				if strings.ContainsAny(line, "\n\r\x00\x1b") {
					t.Fatalf("> %q\nthe line %q is not one line of text", entry, line)
				}
			}
		}
		if _, err := base.ReadCase("saved.yaml", base.WriteCase(state.Situation)); err != nil {
			t.Fatal(err)
		}
	})
}
