//go:build !unix

package sqlite

// readOnlyFolder says whether a folder is on a medium that cannot be written.
func readOnlyFolder(error) bool { return false }
