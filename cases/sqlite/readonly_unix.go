//go:build unix

package sqlite

import (
	"errors"
	"syscall"
)

// readOnlyFolder says whether a folder is on a medium that cannot be written.
func readOnlyFolder(err error) bool { return errors.Is(err, syscall.EROFS) }
