package main

import (
	"fmt"
	"slices"
	"strings"

	"github.com/spf13/cobra"
)

const (
	shortCompletion = "Print what has a shell complete commands, flags, ids and values"
	longCompletion  = `Print what has a shell complete commands and flags, and behind them ids and values:
symptoms, answers, causes and tools of the rulebase in use, codes of cases and serials
of units in the store. Where there is no store, none is made.

SHELL is bash, zsh, fish or powershell. The examples are for one terminal; to have it
in every new one, write what is printed to:

  bash        ~/.local/share/bash-completion/completions/downdrop
              (bash needs its package bash-completion)
  zsh         a file _downdrop in a folder of $fpath
  fish        ~/.config/fish/completions/downdrop.fish
  powershell  the file that $PROFILE names, at its end`

	sayOneShell = "One shell is wanted: %s."
	sayNoShell  = "There is no completion for %q; say one of %s."
)

var shells = []string{"bash", "zsh", "fish", "powershell"}

// newCompletionCmd replaces cobra's own, which speaks of other things than people do here.
func newCompletionCmd(env *environment) *cobra.Command {
	return &cobra.Command{
		Use: "completion SHELL", Short: shortCompletion, Long: longCompletion, ValidArgs: shells,
		Args: func(_ *cobra.Command, args []string) error {
			switch list := strings.Join(shells, ", "); {
			case len(args) != 1:
				return usageError{fmt.Sprintf(sayOneShell, list)}
			case !slices.Contains(shells, args[0]):
				return usageError{fmt.Sprintf(sayNoShell, args[0], list)}
			}
			return nil
		},
		RunE: func(cmd *cobra.Command, args []string) error {
			root := cmd.Root()
			switch args[0] {
			case "bash":
				return written(root.GenBashCompletionV2(env.out, true))
			case "zsh":
				return written(root.GenZshCompletion(env.out))
			case "fish":
				return written(root.GenFishCompletion(env.out, true))
			}
			return written(root.GenPowerShellCompletionWithDesc(env.out))
		},
	}
}
