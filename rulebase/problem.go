package rulebase

import "downdrop/rulebase/source"

// A Problem is something wrong with a file: where, what, and what was probably meant.
type Problem = source.Problem

// Problems is everything wrong with what was read; it is an error.
type Problems = source.Problems
