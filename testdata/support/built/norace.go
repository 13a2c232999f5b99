//go:build !race

package built

var detector []string
