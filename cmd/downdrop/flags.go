package main

import (
	"strings"

	"github.com/spf13/cobra"
	"github.com/spf13/pflag"
)

// many is the value of a flag that may be said again. The library's own makes a writer
// of 4 KiB for each such flag of each command, before anything is read.
type many []string

func (m *many) Set(value string) error { *m = append(*m, value); return nil }
func (m *many) Type() string           { return "stringArray" }
func (m *many) String() string         { return strings.Join(*m, ", ") }

func addMany(f *pflag.FlagSet, to *[]string, name, usage string) { f.Var((*many)(to), name, usage) }

// manyOf is what was said of such a flag.
func manyOf(f *pflag.FlagSet, name string) []string {
	if flag := f.Lookup(name); flag != nil {
		if m, ok := flag.Value.(*many); ok {
			return *m
		}
	}
	return nil
}

// addRulebase, addStore and addBy are flags that many commands have, and mean the same in all.
func addRulebase(cmd *cobra.Command, to *[]string) {
	addMany(cmd.Flags(), to, "rulebase", "read this rulebase `DIR` instead of the shipped one, or over it where its header extends drop; a further one is laid over it")
}

func addStore(cmd *cobra.Command, to *string, which string) {
	cmd.Flags().StringVar(to, "store", "", which+": a `FILE`, or a PostgreSQL address; else DOWNDROP_STORE, else the user's own")
}

func addBy(cmd *cobra.Command, to *string) {
	cmd.Flags().StringVar(to, "by", "", "who writes: an `ID`, never a name; else DOWNDROP_BY")
}
