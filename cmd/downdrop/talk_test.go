package main

import (
	"context"
	"errors"
	"io"
	"os"
	"path/filepath"
	"strings"
	"syscall"
	"testing"

	"downdrop/cmd/internal/conversation"
	"downdrop/rulebase"
)

// talkTo holds a conversation with what is typed, in an empty folder, as on a terminal.
func talkTo(t *testing.T, typed string, args ...string) (code int, out, said string) {
	t.Helper()
	small, err := filepath.Abs("testdata/small")
	if err != nil {
		t.Fatal(err)
	}
	env, o, s := testEnvironment()
	env.terminal, env.in, env.talk = true, strings.NewReader(typed), runTalk
	env.shipped = func() (*rulebase.Base, error) { return rulebase.LoadFolder(small) }
	t.Chdir(t.TempDir())
	code = run(context.Background(), env, args)
	return code, o.String(), s.String()
}

// inOrder says which of the texts is not in out, in order.
func inOrder(out string, texts ...string) (missing string) {
	for _, text := range texts {
		_, rest, ok := strings.Cut(out, text)
		if !ok {
			return text
		}
		out = rest
	}
	return ""
}

// A technician at an invented drop with no supply is led to the switch, proves it
// and saves the case, which then answers as a case file.
func TestTalkLeadsAndSaves(t *testing.T) {
	code, out, said := talkTo(t, `technician at the drop, not alone; power light dark
dead
don't know
classified_area=no
confirm live_work
0,3
details
confirm outputs_may_act
done, works now
still works
save mill-7
`)
	if code != 0 || said != "" {
		t.Fatalf("exit code %d, said %q\n%s", code, said, out)
	}
	if miss := inOrder(out, "Who is there", "Understood:", "power light: dark", "Does the drop work?", "Is it the unit?", "Measure the volts", "DANGER: Outputs may act at once", "Trying this is quicker than looking further", "The drop works.", "Saved as mill-7.yaml"); miss != "" {
		t.Fatalf("%q is not there, in order:\n%s", miss, out)
	}
	saved, err := os.ReadFile("mill-7.yaml")
	if err != nil || !strings.Contains(string(saved), "have_supply_closed") {
		t.Fatalf("%v\n%s", err, saved)
	}
}

func TestTalkNeverOverwrites(t *testing.T) {
	code, out, _ := talkTo(t, "power light dark\nsave case\nsave case\n")
	if code != 0 || !strings.Contains(out, "Saved as case.yaml") {
		t.Fatalf("exit code %d\n%s", code, out)
	}
	env, o, _ := testEnvironment()
	for _, name := range []string{"case", ""} {
		saved, err := (&terminal{env: env}).save(conversation.Reply{CaseName: name, CaseText: "{}\n"}, "case")
		if err != nil || saved != (name == "") {
			t.Errorf("save %q: saved %v, %v\n%s", name, saved, err, o)
		}
	}
	if names, _ := filepath.Glob("*"); strings.Join(names, " ") != "case-2.yaml case.yaml" {
		t.Errorf("files %v", names)
	}
}

func TestTalkGoesOnWithACase(t *testing.T) {
	name := filepath.Join(t.TempDir(), "case.yaml")
	if err := os.WriteFile(name, []byte("at: phone\nfindings: [{symptom: power_light, value: dark}]\n"), 0o600); err != nil {
		t.Fatal(err)
	}
	code, out, _ := talkTo(t, "known\nquit\n", "--case", name)
	if miss := inOrder(out, "you are on the phone", "power light: dark", "Stopped."); code != 0 || miss != "" {
		t.Errorf("exit code %d, %q is missing\n%s", code, miss, out)
	}
	if code, _, said := talkTo(t, "", "--case", "-"); code != 3 || !strings.Contains(said, "standard input") {
		t.Errorf("exit code %d, said %q", code, said)
	}
}

// An input that ends is no error, and an interruption does not wait for a line.
func TestTalkEnds(t *testing.T) {
	if code, out, _ := talkTo(t, "power light dark\n"); code != 0 || !strings.Contains(out, "Nothing was saved") {
		t.Errorf("exit code %d\n%s", code, out)
	}
	env, _, _ := testEnvironment()
	env.terminal, env.talk = true, runTalk
	in, write := io.Pipe() // nobody ever types
	defer write.Close()
	env.in = in
	ctx, cancel := context.WithCancelCause(context.Background())
	cancel(signalled{syscall.SIGINT})
	if code := run(ctx, env, nil); code != 130 {
		t.Errorf("exit code %d", code)
	}
}

func TestTalkNeedsATerminal(t *testing.T) {
	env, _, said := testEnvironment()
	env.talk = runTalk
	if code := run(context.Background(), env, nil); code != exitNoTerminal {
		t.Errorf("exit code %d, said %q", code, said)
	}
	if err := runTalk(context.Background(), env, caseOptions{}); !errors.Is(err, errNoTerminal) {
		t.Errorf("error %v", err)
	}
}

func TestFold(t *testing.T) {
	var b strings.Builder
	fold(&b, "  1  a line that is longer than the screen\x1b[2J", 20)
	if got, want := b.String(), "  1  a line that is\n    longer than the\n    screen?[2J\n"; got != want {
		t.Errorf("%q, want %q", got, want)
	}
	b.Reset()
	fold(&b, "", 20)
	if b.String() != "\n" {
		t.Errorf("%q", b.String())
	}
}

// Of long work every tenth is told, of short work nothing.
func TestProgressIsToldByTenths(t *testing.T) {
	for of, want := range map[int]int{49: 0, 50: 10, 99: 10, 1000: 10} {
		env, _, said := testEnvironment()
		tell := env.progress("an invented rehearsal")
		for done := range of {
			tell(done+1, of)
		}
		if got := strings.Count(said.String(), "\n"); got != want {
			t.Errorf("of %d %d lines are told, not %d:\n%s", of, got, want, said)
		}
	}
}
