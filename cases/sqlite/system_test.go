//go:build unix

package sqlite_test

import (
	"syscall"
	"time"
)

func wait(milliseconds int) { time.Sleep(time.Duration(milliseconds) * time.Millisecond) }

// anotherUser is one who owns nothing.
func anotherUser() *syscall.SysProcAttr {
	return &syscall.SysProcAttr{Credential: &syscall.Credential{Uid: 65534, Gid: 65534}}
}
