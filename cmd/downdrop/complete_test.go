package main

import (
	"os"
	"os/exec"
	"path/filepath"
	"regexp"
	"strings"
	"testing"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"downdrop/testdata/support"
)

// everyCommand calls do for each command of the tree that a person may type.
func everyCommand(cmd *cobra.Command, do func(path string, cmd *cobra.Command)) {
	if !cmd.Hidden {
		do(strings.TrimPrefix(cmd.CommandPath(), "downdrop "), cmd)
	}
	for _, sub := range cmd.Commands() {
		everyCommand(sub, do)
	}
}

// Of every flag with a value and every argument it is decided what completes it, if
// only that it is somebody's own words. Nothing in the tables is about what is gone.
func TestEveryPlaceIsCompleted(t *testing.T) {
	env, _, _ := testEnvironment()
	flags, arguments := map[string]bool{}, map[string]bool{}
	takes := regexp.MustCompile(`^[a-z-]+ [^-]*[A-Z]`)
	everyCommand(newRootCmd(env), func(path string, cmd *cobra.Command) {
		cmd.Flags().VisitAll(func(f *pflag.Flag) {
			own := path + " --" + f.Name
			if _, ok := flagWords()[own]; ok {
				flags[own] = true
			} else {
				flags["--"+f.Name] = true
			}
			if _, ok := flagCompletion(path, f.Name); !ok && f.Value.Type() != "bool" {
				t.Errorf("downdrop %s: it is not said what completes --%s", path, f.Name)
			}
		})
		arguments[path] = true
		if _, ok := argumentWords()[path]; !ok && cmd.ValidArgsFunction == nil && cmd.ValidArgs == nil && takes.MatchString(cmd.Use) {
			t.Errorf("downdrop %s: it is not said what completes its arguments", path)
		}
	})
	for key := range flagWords() {
		if !flags[key] {
			t.Errorf("no command has %s", key)
		}
	}
	for path := range argumentWords() {
		if !arguments[path] {
			t.Errorf("there is no command %q", path)
		}
	}
}

// onPath puts this binary, as downdrop, where a shell finds it.
func onPath(t *testing.T) (path string) {
	t.Helper()
	return onPathIn(t, t.TempDir())
}

func onPathIn(t *testing.T, dir string) (path string) {
	t.Helper()
	text := "#!/bin/sh\n" + asCommand + "=1 exec '" + os.Args[0] + "' \"$@\"\n"
	if err := os.WriteFile(filepath.Join(dir, "downdrop"), []byte(text), 0o755); err != nil {
		t.Fatal(err)
	}
	return dir + string(filepath.ListSeparator) + os.Getenv("PATH")
}

// shell runs a script in a shell and gives what it prints.
func shell(t *testing.T, path string, command ...string) string {
	t.Helper()
	cmd := exec.Command(command[0], command[1:]...)
	store := filepath.Join(t.TempDir(), "none", "store.db")
	cmd.Env = append(os.Environ(), "PATH="+path, "DOWNDROP_STORE="+store, "HOME="+t.TempDir(), "TERM=dumb")
	out, err := cmd.CombinedOutput()
	if err != nil {
		t.Fatalf("%v: %s", err, out)
	}
	if _, err := os.Stat(filepath.Dir(store)); err == nil {
		t.Error("completion made a store")
	}
	return string(out)
}

// In a real bash, a word with = in it is three words; what is offered goes behind
// the = that stands there.
func TestCompletionInBash(t *testing.T) {
	bash := support.Need(t, "bash")
	const helpers = "/usr/share/bash-completion/bash_completion"
	if _, err := os.Stat(helpers); err != nil {
		if os.Getenv("CI") != "" {
			t.Fatal(err)
		}
		t.Skip("bash's own package of completions is not there")
	}
	path := onPath(t)
	for line, want := range map[string]string{
		"downdrop diagn":                              "diagnose ",
		"downdrop diagnose --se":                      "--see",
		"downdrop diagnose --at be":                   "bench",
		"downdrop diagnose --see power_light=da":      "dark",
		"downdrop bench run short --unit quay":        "quay_24",
		"downdrop case show ":                         "",
		"downdrop completion po":                      "powershell",
		"downdrop case see K7Q4MP controller_mode=ru": "run",
	} {
		script := "source " + helpers + "\nsource <(downdrop completion bash)\n" +
			`COMP_LINE="$1"; COMP_POINT=${#1}; COMP_TYPE=9; read -r -a words <<<"${1//=/ = }"; [[ $1 == *" " ]] && words+=("")
COMP_WORDS=("${words[@]}"); COMP_CWORD=$((${#words[@]} - 1)); compopt() { :; }
__start_downdrop; printf '%s\n' "${COMPREPLY[@]}"`
		if got := shell(t, path, bash, "--norc", "-c", script, "bash", line); strings.TrimSpace(got) != strings.TrimSpace(want) {
			t.Errorf("%q: offered %q, want %q", line, got, want)
		}
	}
}

func TestCompletionInFish(t *testing.T) {
	fish := support.Need(t, "fish")
	path := onPath(t)
	for line, want := range map[string]string{
		"downdrop diagnose --see power_light=da": "power_light=dark\n",
		"downdrop diagnose --at be":              "bench\n",
		"downdrop help exit":                     "exit-codes\t",
	} {
		if got := shell(t, path, fish, "--no-config", "-c", "downdrop completion fish | source; complete -C '"+line+"'"); !strings.HasPrefix(got, want) {
			t.Errorf("%q: offered %q, want %q", line, got, want)
		}
	}
}

// A completion that a shell cannot read would spoil every new terminal.
func TestCompletionIsReadByZsh(t *testing.T) {
	zsh := support.Need(t, "zsh")
	got := shell(t, onPath(t), zsh, "-f", "-c", "autoload -U compinit; compinit -D; source <(downdrop completion zsh); print ${_comps[downdrop]}")
	if strings.TrimSpace(got) != "_downdrop" {
		t.Errorf("zsh said %q", got)
	}
}
