// Package source reads the YAML files that people write: rulebases, case files, rule tests.
//
// It is strict on purpose. Scalars are taken by their text and never by YAML's
// guess, aliases, merges and tags are refused, every value keeps its place, and
// all problems of a file are collected before anything is said. It is the only
// importer of yaml.v3.
package source

// A Position is where a value stands in a file. Line and Column count from 1;
// Column counts runes. The zero Position means "not from a file".
type Position struct {
	File   string
	Line   int
	Column int
}
