package main

import (
	"github.com/spf13/cobra"
)

// newRulebaseCmd holds the tools of the person who keeps a rulebase. Each is one
// file, rulebase_VERB.go, and one line here.
func newRulebaseCmd(env *environment) *cobra.Command {
	cmd := &cobra.Command{
		Use:   "rulebase",
		Short: shortRulebase,
		Long:  longRulebase,
		Args:  knownCommand,
		RunE:  func(cmd *cobra.Command, _ []string) error { return written(cmd.Help()) },
	}
	cmd.AddCommand(newNewCmd(env, runNew))
	cmd.AddCommand(newFormatCmd(env, runFormat))
	cmd.AddCommand(newHandbookCmd(env, runHandbook))
	cmd.AddCommand(newLayersCmd(env, runLayers))
	cmd.AddCommand(newSchemaCmd(env, runSchema))
	cmd.AddCommand(newRulebaseTestCmd(env, runRulebaseTest))
	cmd.AddCommand(newDistinguishCmd(env, runDistinguish))
	return cmd
}
