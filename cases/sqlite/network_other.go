//go:build !linux && !darwin

package sqlite

// fileSystem names the network that a folder is on; "" none, or the system does not tell.
func fileSystem(string) string { return "" }
