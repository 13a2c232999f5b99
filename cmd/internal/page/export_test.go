package page

import (
	"maps"
	"slices"
)

// Patterns are all routes there are; Needed is what each takes.
func Patterns() []string { return slices.Sorted(maps.Keys((&Server{}).handles())) }

func Needed() map[string]Role { return needed }
