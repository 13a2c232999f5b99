//go:build unix

package sqlite_test

import (
	"os"
	"os/exec"
	"syscall"
	"testing"
	"time"

	"downdrop/testdata/support"
)

func wait(milliseconds int) { time.Sleep(time.Duration(milliseconds) * time.Millisecond) }

// anotherUser is one who owns nothing.
func anotherUser() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}

// smallDisk mounts a disk of its own in memory, which only an administrator may.
func smallDisk(t *testing.T, size string) string {
	t.Helper()
	mount, umount := support.Need(t, "mount"), support.Need(t, "umount")
	dir := t.TempDir()
	if out, err := exec.Command(mount, "-t", "tmpfs", "-o", "size="+size, "tmpfs", dir).CombinedOutput(); err != nil {
		if os.Getuid() == 0 && os.Getenv("CI") != "" {
			t.Fatalf("a small disk cannot be mounted: %v %s", err, out)
		}
		t.Skipf("a small disk cannot be mounted: %v %s", err, out)
	}
	t.Cleanup(func() { _ = exec.Command(umount, dir).Run() })
	return dir
}
