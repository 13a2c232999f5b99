//go:build race

package built

// Under the race detector the program is built for it too, else it would not see what runs at once there.
var detector = []string{"-race"}
