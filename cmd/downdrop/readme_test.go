package main

import (
	"context"
	"os"
	"regexp"
	"slices"
	"strconv"
	"strings"
	"testing"

	"github.com/google/go-cmp/cmp"

	"downdrop/testdata/support"
)

// The README's sessions are typed and answered here as they stand there: every
// block that begins with "$ downdrop" is commands and what they print.
func TestReadmeSessions(t *testing.T) {
	t.Chdir("../..")
	text, err := os.ReadFile("README.md")
	if err != nil {
		t.Fatal(err)
	}
	parts := strings.Split(string(text), "```")
	sessions := 0
	for i := 1; i < len(parts); i += 2 {
		info, body, _ := strings.Cut(parts[i], "\n")
		if strings.HasPrefix(body, "$ downdrop ") {
			sessions++
			parts[i] = info + "\n" + replay(t, body)
		}
	}
	got := strings.Join(parts, "```")
	if *update {
		if err := os.WriteFile("README.md", []byte(got), 0o666); err != nil {
			t.Fatal(err)
		}
		return
	}
	if sessions == 0 {
		t.Error("README.md shows no session")
	}
	if diff := cmp.Diff(string(text), got); diff != "" {
		t.Errorf("README.md shows what downdrop no longer says; go test ./cmd/downdrop -run Readme -update rewrites it (-shown +said):\n%s", diff)
	}
}

// replay runs the commands of a session and gives the session with what they say now.
func replay(t *testing.T, session string) string {
	t.Helper()
	var now strings.Builder
	for line := range strings.Lines(session) {
		command, ok := strings.CutPrefix(strings.TrimSpace(line), "$ downdrop ")
		if !ok {
			continue
		}
		env := newEnvironment()
		env.out, env.err = &now, &now
		env.variable = func(string) string { return "" }
		env.width = func() int { return 80 }
		if now.Len() > 0 {
			now.WriteString("\n")
		}
		now.WriteString("$ downdrop " + command + "\n")
		run(context.Background(), env, strings.Fields(command))
	}
	return now.String()
}

func TestReadmeNamesEveryExitCode(t *testing.T) {
	text, err := os.ReadFile("../../README.md")
	if err != nil {
		t.Fatal(err)
	}
	_, table, _ := strings.Cut(string(text), "## Exit codes")
	table, _, _ = strings.Cut(table, "##")
	named := regexp.MustCompile(`\d+`).FindAllString(table, -1)
	for _, c := range exitCodes {
		if !slices.Contains(named, strconv.Itoa(c.code)) {
			t.Errorf("README.md does not name exit code %d", c.code)
		}
	}
}

// Whatever the README and DEVELOPERS.md write as a command is one: the command is there
// and has the flags; where everything is named it is typed, too, and works.
func TestCommandsInTheGuides(t *testing.T) {
	support.Alone(t)
	bash := support.Need(t, "bash")
	template, path := exampleFolder(t)
	dir := t.TempDir()
	if err := os.CopyFS(dir, os.DirFS(template)); err != nil {
		t.Fatal(err)
	}
	span := regexp.MustCompile("`(?:go run ./cmd/)?downdrop ([^`]+)`|(?m)^go run ./cmd/downdrop (.+)$")
	placeholder := regexp.MustCompile(`\b[A-Z]{3,}\b`)
	slow := regexp.MustCompile(`^(rehearse|serve|rulebase test$|rulebase handbook|chart --at field --see power_light=lit)`) // tried among the examples of help
	spans := 0
	for _, guide := range []string{"README.md", "DEVELOPERS.md"} {
		text, err := os.ReadFile("../../" + guide)
		if err != nil {
			t.Fatal(err)
		}
		for _, m := range span.FindAllStringSubmatch(string(text), -1) {
			line := m[1] + m[2]
			spans++
			env, _, _ := testEnvironment()
			root := newRootCmd(env)
			cmd, rest, err := root.Find(strings.Fields(line))
			if err != nil || cmd == root && !strings.HasPrefix(line, "-") || cmd.HasSubCommands() && cmd.Name() != "help" && len(rest) > 0 && !strings.HasPrefix(rest[0], "-") {
				t.Errorf("%s: there is no command %q", guide, line)
				continue
			}
			for _, word := range rest {
				flag, ok := strings.CutPrefix(word, "--")
				flag, _, _ = strings.Cut(flag, "=")
				if ok && cmd.Flags().Lookup(flag) == nil && flag != "help" {
					t.Errorf("%s: %s has no flag --%s: %s", guide, cmd.CommandPath(), flag, line)
				}
			}
			if placeholder.MatchString(line) || slow.MatchString(line) || cmd.HasSubCommands() || strings.Contains(line, "rulebase/drop") {
				continue
			}
			code, said := typed(t, bash, dir, path, "downdrop "+line+" </dev/null")
			if code == exitUsage && len(rest) == 0 {
				continue // the name of a command alone
			}
			if code != 0 && code != exitNoTerminal {
				t.Errorf("%s: %s: exit code %d\n%s", guide, line, code, said)
			}
		}
	}
	if spans < 30 {
		t.Errorf("only %d commands were found in the guides", spans)
	}
}
