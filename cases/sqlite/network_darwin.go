package sqlite

import (
	"slices"
	"syscall"
)

// fileSystem names the network that a folder is on; "" none.
func fileSystem(dir string) string {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return ""
	}
	var name []byte
	for _, c := range s.Fstypename {
		if c == 0 {
			break
		}
		name = append(name, byte(c))
	}
	if slices.Contains([]string{"nfs", "smbfs", "afpfs", "webdav", "cifs"}, string(name)) {
		return string(name)
	}
	return ""
}
