package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"

	"github.com/spf13/cobra"
)

func newVersionCmd(env *environment) *cobra.Command {
	return &cobra.Command{
		Use:     "version",
		Short:   shortVersion,
		Long:    longVersion,
		Example: exampleVersion,
		Args:    noArguments,
		RunE: func(*cobra.Command, []string) error {
			_, err := fmt.Fprintf(env.out, "downdrop %s, %s\n", ourVersion(), runtime.Version())
			return written(err)
		},
	}
}

func noArguments(cmd *cobra.Command, args []string) error {
	if len(args) > 0 {
		return usageError{fmt.Sprintf(sayNoArguments, cmd.CommandPath(), args[0])}
	}
	return nil
}

// ourVersion is what the module was built as.
func ourVersion() string {
	info, ok := debug.ReadBuildInfo()
	if !ok || info.Main.Version == "" {
		return "(unreleased)"
	}
	return info.Main.Version
}

// newTopics are pages of help that belong to no command. Having nothing to run,
// they stand apart in the list of commands.
func newTopics() []*cobra.Command {
	var codes strings.Builder
	codes.WriteString(longExitCodes)
	for _, c := range exitCodes {
		fmt.Fprintf(&codes, "\n  %3d  %s", c.code, strings.ReplaceAll(c.says, "\n", "\n       "))
	}
	return []*cobra.Command{
		{Use: "exit-codes", Short: shortExitCodes, Long: codes.String()},
		{Use: "environment", Short: shortEnvironment, Long: longEnvironment},
	}
}
