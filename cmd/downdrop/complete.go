package main

import (
	"slices"
	"strings"

	"github.com/spf13/cobra"

	"downdrop/rulebase"
)

// Completion in a shell. Names of flags need no rulebase; their values do, and
// only then is one read. A rulebase that does not load completes nothing.

type completer = func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective)

// once drops repeats: completing reads the flags twice.
func once(dirs []string) []string {
	var all []string
	for _, d := range dirs {
		if !slices.Contains(all, d) {
			all = append(all, d)
		}
	}
	return all
}

func completeCaseFile(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return []string{"yaml", "yml"}, cobra.ShellCompDirectiveFilterFileExt
}

func completeList(_ *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
	if len(args) > 0 {
		return nil, cobra.ShellCompDirectiveNoFileComp
	}
	return []string{"csv", "txt", "tsv"}, cobra.ShellCompDirectiveFilterFileExt
}

func completeCaseFlags(cmd *cobra.Command, env *environment, o *caseOptions) {
	from := func(list func(*rulebase.Base, string) []string) completer {
		return completeFrom(env, func([]string) []string { return once(o.rulebase) }, list)
	}
	for flag, complete := range map[string]completer{
		"rulebase":  completeDirs,
		"given":     from(givenWords),
		"see":       from(seeWords),
		"at":        completeWords(placeWords),
		"who":       completeWords(whoWords),
		"tool":      from(toolWords),
		"confirmed": from(func(b *rulebase.Base, _ string) []string { return warningIDs(b) }),
	} {
		completeFlag(cmd, flag, complete)
	}
}

func completeFlag(cmd *cobra.Command, flag string, complete completer) {
	if err := cmd.RegisterFlagCompletionFunc(flag, complete); err != nil {
		panic(err) // a flag that was never added
	}
}

// completeFrom completes from a rulebase, that of the folders that the arguments lead to.
func completeFrom(env *environment, dirs func(args []string) []string, list func(*rulebase.Base, string) []string) completer {
	return func(_ *cobra.Command, args []string, begun string) ([]string, cobra.ShellCompDirective) {
		base, err := env.open(dirs(args))
		if err != nil {
			return nil, cobra.ShellCompDirectiveError
		}
		directive := cobra.ShellCompDirectiveNoFileComp
		words := list(base, begun)
		for _, w := range words {
			if strings.HasSuffix(w, "=") || strings.Contains(w, "=\t") { // a value follows
				directive |= cobra.ShellCompDirectiveNoSpace
			}
		}
		return words, directive
	}
}

func completeWords(words []string) completer {
	return func(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
		return words, cobra.ShellCompDirectiveNoFileComp
	}
}

func completeDirs(*cobra.Command, []string, string) ([]string, cobra.ShellCompDirective) {
	return nil, cobra.ShellCompDirectiveFilterDirs
}

func toolWords(b *rulebase.Base, _ string) []string { return append(toolIDs(b), bareHands) }

// givenWords complete "id=" and then its values.
func givenWords(b *rulebase.Base, begun string) []string {
	id, _, hasValue := strings.Cut(begun, "=")
	var words []string
	for i := range b.Givens {
		g := &b.Givens[i]
		if !hasValue {
			words = append(words, g.ID+"=\t"+g.Ask)
			continue
		}
		if g.ID == id {
			words = append(words, withValues(id, valuesOf(g))...)
		}
	}
	return words
}

func valuesOf(g *rulebase.Given) []string {
	switch g.Type {
	case rulebase.Flag:
		return []string{"true", "false"}
	case rulebase.Choice:
		return g.OneOf
	}
	return nil
}

// seeWords complete "id=" and then its values.
func seeWords(b *rulebase.Base, begun string) []string {
	id, _, hasValue := strings.Cut(begun, "=")
	var words []string
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		if !hasValue {
			words = append(words, s.ID+"=\t"+s.Ask)
			continue
		}
		if s.ID == id {
			words = append(words, withValues(id, s.Values)...)
		}
	}
	return words
}

func withValues(id string, values []string) []string {
	var words []string
	for _, v := range values {
		words = append(words, id+"="+v)
	}
	return words
}
