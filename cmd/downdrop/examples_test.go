package main

import (
	"bufio"
	"image"
	"image/jpeg"
	"io"
	"maps"
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"sync"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/spf13/cobra"

	"downdrop/cases"
	"downdrop/cmd/internal/kept"
	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// before is what has to be done so that the examples of a command have something to
// work on, in the folder of the examples.
var before = map[string]string{
	"case take-out":   `downdrop case put-in K7Q4MP jumper "terminals 3 and 4"`,
	"case accept":     `downdrop case put-in K7Q4MP jumper "terminals 3 and 4"`,
	"case resume":     `downdrop case wait K7Q4MP customer`,
	"case reopen":     `downdrop case close K7Q4MP --cause supply_fuse_blown --how "fuse read open" --outcome part_replaced`,
	"line new":        `mkdir drawings`,
	"line schema":     `mkdir schema`,
	"decide":          evaluated,
	"record make":     `case "$LINE" in *reissue*) downdrop record make A0815.run.jsonl;; esac`,
	"unit move":       `downdrop unit statement B0815 not_exposed --by bench-1`,
	"unit repair":     evaluated + ` && downdrop unit move B0815 in_repair --why "customer agreed" --consent "customer-7, letter of 3 June" --by bench-1`,
	"unit offer":      evaluated,
	"unit answer":     evaluated + ` && downdrop unit offer B0815 prices.yaml --until 2099-06-30 --by bench-1`,
	"unit take-back":  `downdrop unit note B0815 another unit --by bench-1`,
	"store move":      `mkdir shared`,
	"store person":    `downdrop store person field-3 "Somebody Else, Invented"`,
	"learn":           `downdrop case import cases/examples/closed/closed.jsonl`,
	"replay":          `downdrop case import cases/examples/closed/closed.jsonl`,
	"record verify":   `downdrop record make A0815.run.jsonl --out record-A0815`,
	"record readings": `downdrop record make A0815.run.jsonl --out record-A0815`,
	"record":          `case "$LINE" in *verify*) downdrop record make A0815.run.jsonl --out record-A0815;; esac`,
}

// onSmaller are commands that think long about the shipped rulebase: where their
// examples name none, a small one is in use.
var onSmaller = map[string]string{"rehearse": "alone", "chart": "small", "check": "alone", "rulebase test": "alone", "rulebase handbook": "alone", "rulebase distinguish": "alone"}

const evaluated = `downdrop unit statement B0815 not_exposed --by bench-1 && downdrop unit move B0815 evaluated --unit bad --why "no supply rail" --by bench-1`

// endsWith are the beginnings of examples that end with another code than 0, each for
// its reason.
var endsWith = map[string]int{
	"downdrop record verify record-A0815.pdf --digest": exitIntegrity, // the digest of another record
	"downdrop line check":                              exitFound,     // the sheet of the example has something that does not go
	"downdrop triage":                                  exitFound,     // the list of the example has rows to be asked back
}

// onTerminal are the commands that ask: somebody sits before them.
var onTerminal = []string{"downdrop", "downdrop --case mill-7.yaml", "downdrop case talk", "downdrop line new", "downdrop bench run", "downdrop bench resume"}

// Every example in the help of every command is typed where what it names is there, and
// does what it is an example of. Every command has at least two.
func TestExamplesOfHelp(t *testing.T) {
	if testing.Short() {
		t.Skip("each is a process of its own, in which nothing more runs at once than in the tests beside")
	}
	bash := support.Need(t, "bash")
	template, path := exampleFolder(t)
	left := maps.Clone(examples)
	env, _, _ := testEnvironment()
	commands := 0
	everyCommand(newRootCmd(env), func(_ string, cmd *cobra.Command) {
		commands++
		name := strings.TrimPrefix(strings.TrimPrefix(cmd.CommandPath(), "downdrop"), " ")
		delete(left, name)
		if cmd.IsAdditionalHelpTopicCommand() {
			return
		}
		list := exampleLines(cmd.Example)
		if len(list) < 2 {
			t.Errorf("downdrop %s has %d examples; two are the least", name, len(list))
		}
		for i, line := range list {
			if !strings.Contains(line, cmd.CommandPath()) {
				t.Errorf("downdrop %s has an example of another command: %s", name, line)
			}
			if (i > 0 || commands%3 > 0) && support.Deep(t, 1) == 1 {
				continue // all of them in a step of CI
			}
			t.Run(line, func(t *testing.T) {
				t.Parallel()
				dir := t.TempDir()
				if err := os.CopyFS(dir, os.DirFS(template)); err != nil {
					t.Fatal(err)
				}
				tryExample(t, bash, dir, path, name, line)
			})
		}
	})
	for name := range left {
		t.Errorf("there are examples of %q, which is no command", name)
	}
}

// exampleLines are the examples, those on several lines made one.
func exampleLines(text string) []string {
	var list []string
	for line := range strings.Lines(strings.ReplaceAll(text, "\\\n", " ")) {
		if line = strings.TrimSpace(line); line != "" {
			list = append(list, regexp.MustCompile(` {2,}`).ReplaceAllString(line, " "))
		}
	}
	return list
}

func tryExample(t *testing.T, bash, dir, path, name, line string) {
	if prepare := before[name]; prepare != "" {
		if code, said := typed(t, bash, dir, path, "LINE='"+line+"'; "+prepare); code != 0 {
			t.Fatalf("%s: exit code %d\n%s", prepare, code, said)
		}
	}
	code, said := 0, ""
	switch {
	case name == "serve":
		served(t, bash, dir, path, line)
		return
	case slices.ContainsFunc(onTerminal, func(c string) bool { return line == c || strings.HasPrefix(line, c+" ") && c != "downdrop" }) && !strings.Contains(line, "--answers"):
		code, said = typed(t, bash, dir, path, asTerminal+"=1 "+line+" < /dev/null")
	default:
		if smaller := onSmaller[name]; smaller != "" {
			line = "export DOWNDROP_RULEBASE=" + smaller + "; " + strings.ReplaceAll(line, "shop/rulebase", smaller)
		}
		code, said = typed(t, bash, dir, path, line)
	}
	want := 0
	for begins, code := range endsWith {
		if strings.HasPrefix(line, begins) {
			want = code
		}
	}
	if code != want {
		t.Errorf("exit code %d, want %d\n%s", code, want, said)
	}
	if strings.Contains(said, "has a bug") {
		t.Errorf("said %s", said)
	}
}

// typed is a line typed into a shell, in a folder with a store of its own.
func typed(t *testing.T, bash, dir, path, line string) (code int, said string) {
	t.Helper()
	cmd := exec.Command(bash, "--norc", "-c", "set -o pipefail; "+line)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "PATH="+path, "HOME="+dir, "XDG_DATA_HOME=", "XDG_CACHE_HOME=", "DOWNDROP_STORE=store.db", "DOWNDROP_RULEBASE=", "DOWNDROP_BY=", "DOWNDROP_SHOP=")
	if strings.Contains(line, "DOWNDROP_STORE=") || strings.Contains(line, "--store") {
		cmd.Env = append(cmd.Env, "DOWNDROP_STORE=")
	}
	out, err := cmd.CombinedOutput()
	if cmd.ProcessState == nil {
		t.Fatal(err)
	}
	return cmd.ProcessState.ExitCode(), string(out)
}

// served is a page that is shown until it is interrupted.
func served(t *testing.T, bash, dir, path, line string) {
	t.Helper()
	if !strings.Contains(line, "--listen") {
		line += " --listen 127.0.0.1:0" // whatever else runs on this machine
	}
	line = strings.ReplaceAll(line, "192.0.2.7:58490", "127.0.0.1:0") // an address for examples, which no machine has
	cmd := exec.Command(bash, "--norc", "-c", "exec "+line)
	cmd.Dir = dir
	cmd.Env = append(os.Environ(), "PATH="+path, "HOME="+dir, "DOWNDROP_STORE=store.db")
	out, err := cmd.StdoutPipe()
	if err != nil {
		t.Fatal(err)
	}
	cmd.Stderr = cmd.Stdout
	if err := cmd.Start(); err != nil {
		t.Fatal(err)
	}
	said := ""
	for lines := bufio.NewScanner(out); !strings.Contains(said, "://127.0.0.1:") && lines.Scan(); {
		said += lines.Text() + "\n"
	}
	if err := cmd.Process.Signal(os.Interrupt); err != nil {
		t.Error(err)
	}
	if err := cmd.Wait(); err != nil || !strings.Contains(said, "://127.0.0.1:") {
		t.Errorf("%v\n%s", err, said)
	}
}

// shared is the folder of the examples, made by the first test that wants it; each
// example is tried in a copy.
var shared struct {
	once           sync.Once
	dir, bin, path string
}

// exampleFolder gives a folder that holds everything that the examples name, and a PATH
// on which downdrop is this binary. It is not to be changed.
func exampleFolder(t *testing.T) (dir, path string) {
	t.Helper()
	shared.once.Do(func() { makeExampleFolder(t) })
	if shared.path == "" {
		t.Fatal("the folder of the examples could not be made")
	}
	return shared.dir, shared.path
}

func makeExampleFolder(t *testing.T) {
	t.Helper()
	dir, err := os.MkdirTemp("", "downdrop-examples-")
	if err != nil {
		t.Fatal(err)
	}
	bin, err := os.MkdirTemp("", "downdrop-path-")
	if err != nil {
		t.Fatal(err)
	}
	shared.dir, shared.bin = dir, bin
	path := onPathIn(t, bin)
	fixed, err := txtar.ParseFile("testdata/examples.txtar")
	if err != nil {
		t.Fatal(err)
	}
	repository, err := filepath.Abs("../..")
	if err != nil {
		t.Fatal(err)
	}
	bash := support.Need(t, "bash")
	sh := func(line string) {
		t.Helper()
		if code, said := typed(t, bash, dir, path, line); code != 0 {
			t.Fatalf("%s: exit code %d\n%s", line, code, said)
		}
	}
	sh("downdrop rulebase new shop/rulebase && downdrop rulebase new alone --alone --name alone && cp -r '" + filepath.Join(repository, "cmd", "downdrop", "testdata", "small") + "' small")
	for _, f := range fixed.Files {
		name := filepath.Join(dir, f.Name)
		if err := os.MkdirAll(filepath.Dir(name), 0o777); err != nil {
			t.Fatal(err)
		}
		if err := os.WriteFile(name, f.Data, 0o666); err != nil {
			t.Fatal(err)
		}
	}
	examples := filepath.Join(repository, "cases", "examples")
	sh("mkdir -p cases && cp -r '" + examples + "' cases/examples && cd cases/examples && cp tide-mill.yaml ../../mill-7.yaml && cp sheets/tide_mill.yaml ../../trunk.yaml" +
		" && cp prices/shop.yaml ../../prices.yaml && cp returns/returns.csv ../../returns.csv && cp captures/good.csv ../../drop7.csv")
	picture, err := os.Create(filepath.Join(dir, "terminals.jpg"))
	if err != nil {
		t.Fatal(err)
	}
	if err := jpeg.Encode(picture, image.NewGray(image.Rect(0, 0, 8, 8)), nil); err != nil {
		t.Fatal(err)
	}
	if err := picture.Close(); err != nil {
		t.Fatal(err)
	}
	keptCases(t, filepath.Join(dir, "store.db"))
	keptCases(t, filepath.Join(dir, "yard.db"))
	sh("downdrop bench run short --unit quay_24 --file A0815.run.jsonl --answers typed.txt --by bench-2")
	sh("downdrop unit receive BIU-2 B0815 --from customer-7 --by bench-1")
	sh(`downdrop case open --location "Weir house" --complaint dark --store weir.db && downdrop store backup weir.jsonl --store weir.db`)
	sh(`downdrop case hand-over K7Q4MP --to field --store yard.db > mail.txt && rm weir.db*`)
	shared.path = path
}

// keptCases makes a store with the two cases that the examples name.
func keptCases(t *testing.T, name string) {
	t.Helper()
	env := newEnvironment()
	env.err = io.Discard
	o := deskOptions{store: name, by: "phone-1"}
	d, err := o.openDesk(t.Context(), env)
	if err != nil {
		t.Fatal(err)
	}
	defer d.store.Close()
	for code, what := range map[string]cases.Opening{
		"K7Q4MP": {Location: "Tide mill, sluice", Drop: 5, Complaint: "the sluice stands still"},
		"M31XWW": {Location: "Weir house", Drop: 2, Complaint: "dark since the storm"},
	} {
		what.Code = code
		s := rulebase.Situation{At: rulebase.Phone, Findings: []rulebase.Finding{{Symptom: "power_light", Value: rulebase.Value{Word: "dark"}}}}
		drafts := append([]cases.Draft{cases.Say(cases.KindOpened, what)}, (&cases.Case{}).Changes(kept.AsOfNow(s))...)
		if _, err := d.write(t.Context(), newID(), drafts...); err != nil {
			t.Fatal(err)
		}
	}
}
