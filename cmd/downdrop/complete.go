package main

import (
	"context"
	"strings"
	"time"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"downdrop/cases"
	"downdrop/rulebase"
)

// Completion in a shell. What stands at a place of a command line is looked up in
// the tables of complete_words.go, for every command alike. Names of commands and
// flags need no rulebase and no store; values that are words of ours need neither.
// Only an id needs the one or the other, and only then is it read. What does not
// load completes nothing and says nothing: somebody is typing. No store is ever made.

// A completion is what may stand at one place of a command line.
type completion struct {
	list  func(*asked) []string // nil: nothing is offered
	files []string              // endings of the files that are offered
	any   bool                  // any file, beside what list gives
	dirs  bool                  // folders, unless list gives something
}

// An asked is a command line on which a word is completed.
type asked struct {
	env    *environment
	cmd    *cobra.Command
	args   []string // before the word
	begun  string
	failed bool // what would be offered cannot be read
}

type completer = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective)

// addCompletion has every flag and every argument of every command completed.
func addCompletion(env *environment, cmd *cobra.Command) {
	path := strings.TrimPrefix(cmd.CommandPath(), "downdrop ")
	cmd.Flags().VisitAll(func(f *pflag.Flag) {
		if c, ok := flagCompletion(path, f.Name); ok {
			if err := cmd.RegisterFlagCompletionFunc(f.Name, c.completer(env)); err != nil {
				panic(err) // a flag that completes itself already
			}
		}
	})
	if places, ok := argumentWords()[path]; ok {
		cmd.ValidArgsFunction = func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
			n := len(args)
			if strings.HasSuffix(cmd.Use, "...") || strings.HasSuffix(cmd.Use, "...]") {
				n = min(n, len(places)-1)
			}
			if n >= len(places) {
				return nil, cobra.ShellCompDirectiveNoFileComp
			}
			return places[n].completer(env)(cmd, args, begun)
		}
	}
	for _, sub := range cmd.Commands() {
		addCompletion(env, sub)
	}
}

// flagCompletion is what stands behind a flag: the same for every command that has
// it, unless a command means something else by it.
func flagCompletion(path, flag string) (completion, bool) {
	if c, ok := flagWords()[path+" --"+flag]; ok {
		return c, true
	}
	c, ok := flagWords()["--"+flag]
	return c, ok
}

func (c completion) completer(env *environment) completer {
	return func(cmd *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
		a := &asked{env: env, cmd: cmd, args: args, begun: begun}
		switch {
		case c.dirs && c.list != nil:
			if words := c.list(a); words != nil {
				return words, cobra.ShellCompDirectiveNoFileComp
			}
			return nil, cobra.ShellCompDirectiveFilterDirs
		case c.dirs:
			return nil, cobra.ShellCompDirectiveFilterDirs
		case c.files != nil:
			return c.files, cobra.ShellCompDirectiveFilterFileExt
		}
		directive := cobra.ShellCompDirectiveNoFileComp
		if c.any {
			directive = cobra.ShellCompDirectiveDefault
		}
		if c.list == nil {
			return nil, directive
		}
		words := c.list(a)
		if a.failed {
			return nil, cobra.ShellCompDirectiveError
		}
		for i, w := range words {
			words[i] = strings.NewReplacer("\n", " ", "\r", " ").Replace(w)
			if strings.HasSuffix(w, "=") || strings.Contains(w, "=\t") { // a value follows
				directive |= cobra.ShellCompDirectiveNoSpace
			}
		}
		return words, directive
	}
}

// base is the rulebase that the command line leads to; nil where none loads.
func (a *asked) base() *rulebase.Base {
	var dirs []string
	if a.cmd.Flags().Lookup("rulebase") != nil {
		dirs = manyOf(a.cmd.Flags(), "rulebase")
	} else if a.cmd.Name() == "distinguish" { // its folders are its arguments
		dirs = a.args
	}
	base, err := a.env.open(once(dirs))
	if err != nil {
		a.failed = true
		return nil
	}
	return base
}

// once drops repeats: completing reads the flags twice.
func once(dirs []string) []string {
	var all []string
	seen := map[string]bool{}
	for _, d := range dirs {
		if !seen[d] {
			all = append(all, d)
		}
		seen[d] = true
	}
	return all
}

// mostPatience is how long somebody who types waits for ids of a store.
const mostPatience = time.Second

// inStore looks into the store that the command line leads to, where there is one.
func (a *asked) inStore(look func(context.Context, cases.Store) error) {
	flag, _ := a.cmd.Flags().GetString("store")
	ctx, stop := context.WithTimeout(a.cmd.Context(), mostPatience)
	defer stop()
	store, err := a.env.look(ctx, a.env, flag)
	if err != nil {
		return
	}
	defer store.Close()
	_ = look(ctx, store) // what was found so far is offered
}

// kept is the case that the command line is about; nil where there is none such.
func (a *asked) kept(look func(*cases.Case)) {
	if len(a.args) == 0 {
		return
	}
	a.inStore(func(ctx context.Context, store cases.Store) error {
		c, err := store.Case(ctx, a.args[0])
		if err == nil {
			look(c)
		}
		return err
	})
}

// card is the unit that the command line is about.
func (a *asked) card(look func(*cases.Card)) {
	if len(a.args) == 0 {
		return
	}
	a.inStore(func(ctx context.Context, store cases.Store) error {
		same, _, err := cases.FindUnits(ctx, store, a.args[0])
		if err != nil || len(same) != 1 {
			return err
		}
		c, err := cases.ReadUnit(ctx, store, same[0])
		if err == nil {
			look(c)
		}
		return err
	})
}
