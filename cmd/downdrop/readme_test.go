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
