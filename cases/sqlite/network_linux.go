package sqlite

import "syscall"

// networks are the types of file systems that statfs(2) tells and that lie on another
// machine (linux/magic.h and the sources of the file systems).
var networks = map[uint32]string{
	0x6969:     "NFS",
	0x517B:     "SMB",
	0xFF534D42: "CIFS",
	0xFE534D42: "SMB",
	0x5346414F: "AFS",
	0x6B414653: "AFS",
	0x73757245: "Coda",
	0x00C36400: "Ceph",
	0x0BD00BD0: "Lustre",
	0x47504653: "GPFS",
	0x01021997: "9P",
	0x7461636F: "OCFS2",
	0x01161970: "GFS2",
}

// fileSystem names the network that a folder is on; "" none.
func fileSystem(dir string) string {
	var s syscall.Statfs_t
	if err := syscall.Statfs(dir, &s); err != nil {
		return ""
	}
	return networks[uint32(s.Type)]
}
