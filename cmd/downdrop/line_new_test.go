package main

import (
	"context"
	"os"
	"strings"
	"testing"

	"downdrop/engine/sheet"
	"downdrop/rulebase"
)

// A sheet is asked for on a terminal, with answers that have to be given again,
// written once, and read by the check.
func TestLineNewAsks(t *testing.T) {
	t.Chdir(t.TempDir())
	ask := func(typed string) (int, string, string) {
		env, out, said := testEnvironment()
		env.terminal, env.in = true, strings.NewReader(typed)
		code := run(context.Background(), env, []string{"line", "new", "pond.yaml"})
		return code, out.String(), said.String()
	}
	code, out, said := ask(strings.Join([]string{
		"Pond's trunk", "tokenpair", "token_pair", "153.6", "153.6 kbaud", "600 m",
		"180", "180 m", "AWG 22", "150 ohm", "",
		"everywhere", "both",
		"gate", "90 m", "five", "5", "12 W", "",
		"freeze", "hold",
	}, "\n") + "\n")
	if code != 0 || said != "" {
		t.Fatalf("exit code %d, said %q\n%s", code, said, out)
	}
	if miss := inOrder(out, "What is this trunk called?", "is not a kind of line", "153.6 of what?", "180 of what?", "Say both, host, end or none.", "A number is wanted here.", `"freeze" is not`, "Written as pond.yaml"); miss != "" {
		t.Fatalf("%q is not there, in order:\n%s", miss, out)
	}
	text, err := os.ReadFile("pond.yaml")
	if err != nil {
		t.Fatal(err)
	}
	s, err := rulebase.ReadSheet("pond.yaml", text, sheet.Kinds())
	if err != nil {
		t.Fatalf("%v\n%s", err, text)
	}
	if s.Name != "Pond's trunk" || s.TrunkM() != 180 || len(s.Drops) != 1 || s.Drops[0].Address != 5 || s.LossOfBus != "hold" || len(s.Terminators) != 2 {
		t.Errorf("read back as %+v\n%s", s, text)
	}
	if code, _, said := ask("again\n"); code != exitUsage || !strings.Contains(said, "is there already") {
		t.Errorf("exit code %d: %q", code, said)
	}
}

// Answers that end early leave a sheet with what was said; none at all leaves none.
func TestLineNewEndsEarly(t *testing.T) {
	for typed, written := range map[string]bool{"": false, "\n": false, "Pond\n": true, "Pond\ncan\n500 kbaud\n\n60 m\n": true} {
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
