package sqlite

import (
	"fmt"
	"path/filepath"
	"strings"
)

// network says which network a file lies on, in a word or two; "" none, or nobody
// knows. SQLite's log works through memory that its users share, which several
// machines do not have: on a share two of them would overwrite each other.
func network(path string) string {
	if strings.HasPrefix(path, `\\`) && !strings.HasPrefix(path, `\\?\`) && !strings.HasPrefix(path, `\\.\`) {
		return "a Windows share"
	}
	return fileSystem(filepath.Dir(path))
}

// warnOfNetwork is what is said of a store on a network; "" nothing.
func warnOfNetwork(path, network string) string {
	if network == "" {
		return ""
	}
	return fmt.Sprintf("%s lies on the network (%s). Used from one machine at a time it is sound; where several use it, keep the cases in a PostgreSQL database: downdrop store move postgres://USER@HOST/DATABASE", path, network)
}
