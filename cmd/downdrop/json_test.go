package main

import (
	"bytes"
	"encoding/json"
	"os"
	"os/exec"
	"regexp"
	"strings"
	"sync"
	"testing"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
	"downdrop/testdata/support"
)

// withJSON are examples whose result is asked for as JSON, where it is not the first one
// of the command.
var withJSON = map[string]string{
	"bench show":      `downdrop bench show A0815.run.jsonl`,
	"line ohms":       `downdrop line ohms trunk.yaml "148 ohm"`,
	"rulebase layers": `downdrop rulebase layers shop/rulebase`,
	"rehearse":        `downdrop rehearse --cases 2 --at field`,
	"rulebase test":   `downdrop rulebase test shop/rulebase`,
}

// alsoJSON are documents of commands that print more than one kind.
var alsoJSON = map[string]string{
	`downdrop line ohms trunk.yaml --at end --json`:            report.ExpectedSchema,
	`downdrop rehearse --policies --cases 2 --at field --json`: report.ContestSchema,
}

// Whatever has --json prints a document of the schema that its help names, found by
// itself: a new command is tried the day it is made.
func TestEveryJSONIsOfItsSchema(t *testing.T) {
	support.Alone(t)
	bash := support.Need(t, "bash")
	template, path := exampleFolder(t)
	env, _, _ := testEnvironment()
	printed := map[string]bool{report.RecordSchema: true} // within files, TestGoldensAreOfTheirSchemas
	var mu sync.Mutex
	var documents bytes.Buffer // for the program that knows schemas
	try := func(t *testing.T, name, line, want string) {
		dir := t.TempDir()
		if err := os.CopyFS(dir, os.DirFS(template)); err != nil {
			t.Fatal(err)
		}
		if smaller := onSmaller[name]; smaller != "" {
			line = "DOWNDROP_RULEBASE=" + smaller + " " + line
		}
		if prepare := before[name]; prepare != "" {
			if code, said := typed(t, bash, dir, path, "LINE='"+line+"'; "+prepare); code != 0 {
				t.Fatalf("%s: exit code %d\n%s", prepare, code, said)
			}
		}
		code, said := typed(t, bash, dir, path, line+" 2>/dev/null")
		if code != exitDone && code != exitFound {
			t.Fatalf("%s: exit code %d\n%s", line, code, said)
		}
		n := 0
		for d := json.NewDecoder(strings.NewReader(said)); d.More(); n++ {
			var doc json.RawMessage
			var says struct{ Schema string }
			if err := d.Decode(&doc); err != nil {
				t.Fatalf("%s: %v", line, err)
			}
			if err := json.Unmarshal(doc, &says); err != nil || says.Schema != want {
				t.Fatalf("%s: schema %q, want %s (%v)", line, says.Schema, want, err)
			}
			row, err := json.Marshal(map[string]any{"Line": line, "Schema": json.RawMessage(helped(t, "help", "json", want)), "Document": doc})
			if err != nil {
				t.Fatal(err)
			}
			mu.Lock()
			documents.Write(row)
			mu.Unlock()
		}
		if n == 0 || !strings.HasPrefix(strings.TrimSpace(said), `{`) || !strings.HasPrefix(strings.TrimLeft(said, "{ \n"), `"schema"`) {
			t.Errorf("%s: no document that begins with its schema:\n%.200s", line, said)
		}
	}
	commands := 0
	t.Run("printed", func(t *testing.T) {
		everyCommand(newRootCmd(env), func(name string, cmd *cobra.Command) {
			flag := cmd.Flags().Lookup("json")
			if flag == nil {
				return
			}
			names := regexp.MustCompile(`downdrop\.[a-z_]+/[0-9]+`).FindAllString(flag.Usage, -1)
			if len(names) == 0 {
				t.Errorf("downdrop %s --json: its help names no schema", name)
				return
			}
			for _, n := range names {
				printed[n] = true
			}
			if commands++; commands%3 > 0 && support.Deep(t, 1) == 1 {
				return // all of them in a step of CI
			}
			line, ok := withJSON[name]
			if !ok {
				line = exampleLines(cmd.Example)[0]
			}
			t.Run(name, func(t *testing.T) {
				t.Parallel()
				try(t, name, line+" --json", names[0])
			})
		})
		for line, want := range alsoJSON {
			printed[want] = true
			t.Run(want, func(t *testing.T) {
				t.Parallel()
				try(t, strings.Fields(line)[1], line, want)
			})
		}
	})
	is := exec.Command("go", "run", "downdrop/testdata/support/ofschema")
	is.Stdin = &documents
	if said, err := is.CombinedOutput(); err != nil {
		t.Errorf("%v\n%s", err, said)
	}
	for _, d := range report.Documents() {
		if !printed[d.Schema] {
			t.Errorf("nothing prints %s", d.Schema)
		}
	}
}
