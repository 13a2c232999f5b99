package main

import (
	"context"
	"errors"
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"

	"downdrop/rulebase/source"
)

// execute finds the command of a command line and runs it. An error from before
// a command began is one of usage.
func execute(ctx context.Context, env *environment, args []string) error {
	root, begun := rootFor(env, args), false
	root.PersistentPreRun = func(*cobra.Command, []string) { begun = true }
	root.SetArgs(append([]string{}, args...)) // nil would be what this process was started with
	if len(args) > 0 && strings.HasPrefix(args[0], cobra.ShellCompRequestCmd) {
		addCompletion(env, root)
	}
	err := root.ExecuteContext(ctx)
	var usage usageError
	if err != nil && !begun && !errors.As(err, &usage) {
		err = usageError{strings.TrimSpace(err.Error())}
	}
	if err == nil {
		err = env.unwritten
	}
	return err
}

// newRootCmd makes the command with all that is below it.
func newRootCmd(env *environment) *cobra.Command { return rootFor(env, nil) }

// below are the commands of the root.
func below(env *environment) map[string]func() *cobra.Command {
	return map[string]func() *cobra.Command{
		"diagnose":   func() *cobra.Command { return newDiagnoseCmd(env, runDiagnose) },
		"case":       func() *cobra.Command { return newCaseCmd(env) },
		"serve":      func() *cobra.Command { return newServeCmd(env, runServe) },
		"decide":     func() *cobra.Command { return newDecideCmd(env, runDecide) },
		"triage":     func() *cobra.Command { return newTriageCmd(env, runTriage) },
		"bench":      func() *cobra.Command { return newBenchCmd(env) },
		"unit":       func() *cobra.Command { return newUnitCmd(env) },
		"record":     func() *cobra.Command { return newRecordCmd(env) },
		"chart":      func() *cobra.Command { return newChartCmd(env, runChart) },
		"line":       func() *cobra.Command { return newLineCmd(env) },
		"store":      func() *cobra.Command { return newStoreCmd(env) },
		"replay":     func() *cobra.Command { return newReplayCmd(env) },
		"learn":      func() *cobra.Command { return newLearnCmd(env) },
		"rulebase":   func() *cobra.Command { return newRulebaseCmd(env) },
		"check":      func() *cobra.Command { return newCheckCmd(env, runCheck) },
		"rehearse":   func() *cobra.Command { return newRehearseCmd(env, runRehearse) },
		"version":    func() *cobra.Command { return newVersionCmd(env) },
		"completion": func() *cobra.Command { return newCompletionCmd(env) },
	}
}

// rootFor makes the command for a command line: where the first word of it names one
// of the commands below, only that one is made, for two hundred others would take longer
// than many a command does.
func rootFor(env *environment, args []string) *cobra.Command {
	var o caseOptions
	root := &cobra.Command{
		Use:           "downdrop",
		Short:         shortRoot,
		Long:          longRoot,
		Args:          knownCommand,
		SilenceErrors: true,
		SilenceUsage:  true,
		RunE: func(cmd *cobra.Command, _ []string) error {
			if !env.terminal {
				fmt.Fprint(env.err, cmd.UsageString()+"\n")
				return errNoTerminal
			}
			return env.talk(cmd.Context(), env, o)
		},
	}
	root.SetIn(env.in)
	root.SetOut(env.out)
	root.SetErr(env.err)
	root.SetFlagErrorFunc(flagError)
	root.SetHelpFunc(func(cmd *cobra.Command, _ []string) { env.unwritten = written(writeHelp(env, cmd)) })
	root.SetUsageFunc(func(cmd *cobra.Command) error { return writeUsage(env, cmd) })
	root.Flags().StringVar(&o.file, "case", "", "go on with the case in this `FILE`")
	addCaseFlags(root, &o)
	for _, g := range helpGroups {
		root.AddGroup(&cobra.Group{ID: g.id, Title: g.title})
	}
	commands := below(env)
	if len(args) > 0 && commands[args[0]] != nil {
		root.AddCommand(commands[args[0]]())
		root.SetHelpCommand(&cobra.Command{Use: "no-help", Hidden: true}) // or the library makes one of its own
	} else {
		for _, command := range commands {
			root.AddCommand(command())
		}
		help := newHelpCmd()
		help.AddCommand(newHelpJSONCmd(env), newManCmd(env))
		root.AddCommand(help)
		root.SetHelpCommand(help)
		root.AddCommand(newTopics()...)
	}
	for _, g := range helpGroups {
		for _, c := range root.Commands() {
			if slices.Contains(g.commands, c.Name()) {
				c.GroupID = g.id
			}
		}
	}
	addExamples(root)
	root.CompletionOptions.DisableDefaultCmd = true
	root.CompletionOptions.SetDefaultShellCompDirective(cobra.ShellCompDirectiveNoFileComp)
	return root
}

// helpGroups are the groups in which help lists commands, by who needs them: first
// whoever stands at a drop, last whoever keeps the rulebase and the program.
var helpGroups = []struct {
	id, title string
	commands  []string
}{
	{"field", "At the drop:", []string{"diagnose", "chart", "line"}},
	{"phone", "By phone, and for every case that is kept:", []string{"case", "serve"}},
	{"shop", "In the shop:", []string{"triage", "unit", "bench", "record", "decide", "store"}},
	{"author", "For whoever keeps the rulebase:", []string{"rulebase", "check", "replay", "learn", "rehearse"}},
	{"program", "For downdrop itself:", []string{"help", "version", "completion"}},
}

// knownCommand refuses a word that is no command, with what was probably meant.
func knownCommand(cmd *cobra.Command, args []string) error {
	if len(args) == 0 {
		return nil
	}
	return usageError{fmt.Sprintf(sayNoCommand, args[0]) + meant(cmd.SuggestionsFor(args[0]))}
}

// newHelpCmd replaces cobra's own, which takes an unknown topic for success.
func newHelpCmd() *cobra.Command {
	return &cobra.Command{
		Use:   "help [COMMAND|TOPIC]",
		Short: shortHelp,
		Long:  longHelp,
		ValidArgsFunction: func(cmd *cobra.Command, args []string, _ string) ([]string, cobra.ShellCompDirective) {
			var names []string
			if at, _, err := cmd.Root().Find(args); err == nil {
				for _, c := range at.Commands() {
					names = append(names, c.Name()+"\t"+c.Short)
				}
			}
			return names, cobra.ShellCompDirectiveNoFileComp
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			at, rest, err := cmd.Root().Find(args)
			if err != nil {
				return usageError{err.Error()}
			}
			if len(rest) > 0 {
				return usageError{fmt.Sprintf(sayNoTopic, strings.Join(rest, " ")) + meant(cmd.Root().SuggestionsFor(rest[0]))}
			}
			at.InitDefaultHelpFlag()
			return written(at.Help())
		},
	}
}

// flagError says which flag was wrong, and which was probably meant.
func flagError(cmd *cobra.Command, err error) error {
	var unknown *pflag.NotExistError
	if !errors.As(err, &unknown) {
		return usageError{fmt.Sprintf(sayFlagError, sentenceOf(err), cmd.CommandPath())}
	}
	var names []string
	cmd.Flags().VisitAll(func(f *pflag.Flag) { names = append(names, f.Name) })
	says := fmt.Sprintf(sayNoFlag, cmd.CommandPath(), "--"+unknown.GetSpecifiedName())
	if unknown.GetSpecifiedShortnames() != "" {
		return usageError{fmt.Sprintf(sayNoFlag, cmd.CommandPath(), "-"+unknown.GetSpecifiedName())}
	}
	if near := source.Nearest(unknown.GetSpecifiedName(), names); near != "" {
		says += fmt.Sprintf(sayMeant, "--"+near)
	}
	return usageError{says}
}

func sentenceOf(err error) string {
	s := strings.TrimRight(err.Error(), ".")
	return strings.ToUpper(s[:1]) + s[1:] + "."
}

// meant offers the nearest of what there is.
func meant(near []string) string {
	if len(near) == 0 {
		return ""
	}
	return fmt.Sprintf(sayMeant, strings.Join(slices.Compact(near), " or "))
}
