package main

import (
	"context"
	"maps"
	"os"
	"slices"
	"strings"
	"testing"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

// askSheet answers the questions for a new sheet.
func askSheet(t *testing.T, lines ...string) (code int, out, said string) {
	t.Helper()
	env, stdout, stderr := testEnvironment()
	env.terminal, env.in = true, strings.NewReader(strings.Join(lines, "\n")+"\n")
	code = run(context.Background(), env, []string{"line", "new", "pond.yaml"})
	return code, stdout.String(), stderr.String()
}

func writtenSheet(t *testing.T) (*rulebase.Sheet, string) {
	t.Helper()
	text, err := os.ReadFile("pond.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := rulebase.ReadSheet("pond.yaml", text, sheet.Kinds())
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	return s, string(text)
}

// Everything that stands on a sheet is asked for; answers that cannot be are asked
// again; the sheet that is written is read by the check.
func TestLineNewAsks(t *testing.T) {
	t.Chdir(t.TempDir())
	code, out, said := askSheet(t,
		"Pond's trunk", "tokenpair", "token_pair",
		"153.6", "153,6k baud", "600 m", "32", "200 ns", "0.5 %", "35 C",
		"", "180", "1.200 m", "180 m", "blue pair", "AWG 22", "150 ohm", "5 ns", "yes", // conductor said: no loop; delay said: no velocity
		"590 ft", "same", "", "110 ohm", "same", "", "66 %", "same", "",
		"everywhere", "both", "150 ohm", "", "no", "",
		"100 m", "1.5 m", "1", "",
		"gate", "90 m", "five", "5", "", "1", "12 W", "4 A", "16", "input", "0.1 A", "6 mA", "10", "16", "output", "same", "0.1 A", "8", "",
		"sluice", "20 m", "300 m", "6", "", "", "", "0.5 A", "", "",
		"", // no more drops
		"S1", "24 VDC", "10 A", "6 A", "", "gate", "", "20 m", "1.5 mm2 flexible", "sluise", "sluice", "gate", "60 m", "same", "", "",
		"repeater", "200 m", "R1", "500 ns", "S9", "S1", "",
		"host", "5 V", "650 ohm", "same", "650 ohm",
		"one_end",
		"20 m", "90 m", "80 mm", "yes", "steel", "",
		"14", "11", "2 ms", "200 ms",
		"153.6 kbaud", "5", "1", "32", "6", "33", "", "",
		"freeze", "hold",
	)
	if code != 0 || said != "" {
		t.Fatalf("exit code %d, said %q\n%s", code, said, out)
	}
	if miss := inOrder(strings.Join(strings.Fields(out), " "), "What is this trunk called?", `did you mean "token_pair"?`, "153.6 of what?", "The cable's length is needed", "180 of what?", "write 1.2 m or 1200 m",
		`"everywhere"`, "A number is wanted here.", "Drop sluice lies before drop gate", `did you mean "sluice"?`, `No supply of this sheet is called "S9"`, `"freeze" is not`, "Written as pond.yaml"); miss != "" {
		t.Fatalf("%q is not there, in order:\n%s", miss, out)
	}
	s, text := writtenSheet(t)
	d := s.Drops
	if s.Name != "Pond's trunk" || s.Baud != 153600 || len(s.Cable) != 2 || s.TrunkM() != 180+590*0.3048 || s.Cable[1].Type != "blue pair" || s.Cable[1].VelocityShare != 0.66 || len(s.Terminators) != 2 ||
		len(d) != 2 || d[0].Address != 5 || d[0].Watt != 12 || len(d[0].Modules) != 2 || d[0].Modules[1].Ampere != 0.1 || d[0].Modules[1].On != 8 || d[1].Ampere != 0.5 ||
		len(s.Supplies) != 1 || len(s.Supplies[0].Feeds) != 2 || s.Supplies[0].Feeds[1].From != "gate" || s.Bias.Down != 650 || len(s.Controller.Drops) != 2 || s.LossOfBus != "hold" {
		t.Errorf("read back as %+v\n%s", s, text)
	}
	if results := sheet.Check(s); len(results) < 30 {
		t.Errorf("%d rules spoke of it", len(results))
	}
	if code, _, said := askSheet(t, "again"); code != exitUsage || !strings.Contains(said, "is there already") {
		t.Errorf("exit code %d: %q", code, said)
	}
}

// No key of a sheet goes unasked.
func TestLineNewAsksEveryKey(t *testing.T) {
	asked := map[string]bool{"sheet.sheet": true, "sheet.line": true}
	var walk func(in string, keys []sheetKey)
	walk = func(in string, keys []sheetKey) {
		for _, k := range keys {
			asked[in+"."+k.name] = true
			if k.list != nil {
				asked[in+"."+k.name] = true
				walk(in+"."+k.name, k.list)
			}
		}
	}
	for _, part := range sheetParts {
		walk("sheet", part.keys)
		if part.entry != nil {
			asked["sheet."+part.name] = true
			walk("sheet."+part.name, part.entry)
		}
	}
	schema := rulebase.SheetSchema(sheet.Kinds()).(map[string]any)["definitions"].(map[string]any)
	entryOf := map[string]string{"sheet": "sheet", "sheet.cable": "cable", "sheet.terminators": "terminator", "sheet.stubs": "stub", "sheet.drops": "drop", "sheet.drops.modules": "module", "sheet.supplies": "supply",
		"sheet.supplies.feeds": "feed", "sheet.inline": "inline", "sheet.bias": "bias", "sheet.shield": "shield", "sheet.beside": "beside", "sheet.messages": "messages", "sheet.controller": "controller", "sheet.controller.drops": "mapped"}
	if len(entryOf) != strings.Count(strings.Join(slices.Collect(maps.Keys(schema)), " "), "entry_") {
		t.Error("the schema has entries that this test does not know")
	}
	for path, entry := range entryOf {
		for key := range schema["entry_"+entry].(map[string]any)["properties"].(map[string]any) {
			if key != "note" && key != "format" && !asked[path+"."+key] {
				t.Errorf("%s.%s is not asked for", path, key)
			}
		}
	}
}

// Answers that end early leave a sheet with what was said; none at all leaves none.
func TestLineNewEndsEarly(t *testing.T) {
	for typed, written := range map[string]bool{"": false, "\n": false, "Pond\n": true, "Pond\ncan\n500 kbaud\n\n\n\n\n\n60 m\n": true,
		"Pond\ncan\n\n\n\n\n\n\n60 m\n\n\n\n\n\n\n\n\nnone\n\ngate\n": true} {
		t.Chdir(t.TempDir())
		env, out, _ := testEnvironment()
		env.terminal, env.in = true, strings.NewReader(typed)
		if code := run(context.Background(), env, []string{"line", "new", "s.yaml"}); code != 0 {
			t.Errorf("%q: exit code %d\n%s", typed, code, out)
		}
		text, err := os.ReadFile("s.yaml")
		if (err == nil) != written {
			t.Errorf("%q: %v", typed, err)
		}
		if err == nil {
			if _, err := rulebase.ReadSheet("s.yaml", text, sheet.Kinds()); err != nil {
				t.Errorf("%q: %v\n%s", typed, err, text)
			}
		}
	}
}
