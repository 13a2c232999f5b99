package main

import (
	"strings"

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
