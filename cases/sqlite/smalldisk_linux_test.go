//go:build linux

package sqlite_test

import (
	"errors"
	"os"
	"os/exec"
	"syscall"
	"testing"
)

// smallDisk mounts a disk of its own in memory, which only an administrator may.
func smallDisk(t *testing.T, size string) (string, error) {
	t.Helper()
	dir := t.TempDir()
	if err := syscall.Mount("tmpfs", dir, "tmpfs", 0, "size="+size); err != nil {
		return "", err
	}
	t.Cleanup(func() { _ = syscall.Unmount(dir, 0) })
	return dir, nil
}

// ownNameSpace says that the test runs in a name space of its own, where it may mount.
const ownNameSpace = "DOWNDROP_TEST_NAME_SPACE"

// inNameSpace runs the test once more as the administrator of a name space of its own,
// where the system lets people have one.
func inNameSpace(t *testing.T) {
	t.Helper()
	exe, err := os.Executable()
	if err != nil {
		t.Fatal(err)
	}
	cmd := exec.Command(exe, "-test.run", "^"+t.Name()+"$")
	cmd.Env = append(os.Environ(), ownNameSpace+"=1")
	cmd.SysProcAttr = &syscall.SysProcAttr{
		Cloneflags:  syscall.CLONE_NEWUSER | syscall.CLONE_NEWNS,
		UidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getuid(), Size: 1}}, GidMappings: []syscall.SysProcIDMap{{ContainerID: 0, HostID: os.Getgid(), Size: 1}},
	}
	out, err := cmd.CombinedOutput()
	var failed *exec.ExitError
	switch {
	case errors.As(err, &failed):
		t.Errorf("in a name space of its own: %v\n%s", err, out)
	case err == nil:
		t.Logf("in a name space of its own:\n%s", out)
	default: // none can be had; the played disk has been filled
		t.Logf("no name space of its own: %v", err)
	}
}
