package main

import (
	"fmt"
	"runtime"
	"runtime/debug"
	"strings"
	"time"

	"github.com/spf13/cobra"

	"downdrop/cmd/internal/report"
)

func newVersionCmd(env *environment) *cobra.Command {
	var json bool
	cmd := &cobra.Command{
		Use: "version", Short: shortVersion, Long: longVersion, Args: noArguments,
		RunE: func(*cobra.Command, []string) error {
			if json {
				is := buildSettings()
				v := report.Version{Version: ourVersion(), Commit: is["vcs.revision"], Time: is["vcs.time"], Changed: is["vcs.modified"] == "true",
					Go: runtime.Version(), System: runtime.GOOS + "/" + runtime.GOARCH}
				return written(v.JSON(env.out))
			}
			says := "downdrop " + ourVersion()
			if commit := ourCommit(); commit != "" {
				says += ", commit " + commit
			}
			_, err := fmt.Fprintf(env.out, "%s, %s\n", says, runtime.Version())
			return written(err)
		},
	}
	cmd.Flags().BoolVar(&json, "json", false, "print JSON for programs, schema "+report.VersionSchema)
	return cmd
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

// ourCommit is the commit that the program was built from, with its day: "" where
// the build does not say. A tree with changes of its own is said to have them.
func ourCommit() string {
	is := buildSettings()
	if is["vcs.revision"] == "" {
		return ""
	}
	says := is["vcs.revision"][:min(12, len(is["vcs.revision"]))]
	if day, _, ok := strings.Cut(is["vcs.time"], "T"); ok {
		says += " of " + day
	}
	if is["vcs.modified"] == "true" {
		says += " with changes"
	}
	return says
}

// builtOn is the time of that commit; where the build does not say, now.
func builtOn() time.Time {
	at, err := time.Parse(time.RFC3339, buildSettings()["vcs.time"])
	if err != nil {
		return time.Now()
	}
	return at
}

func buildSettings() map[string]string {
	is := map[string]string{}
	if info, ok := debug.ReadBuildInfo(); ok {
		for _, s := range info.Settings {
			is[s.Key] = s.Value
		}
	}
	return is
}
