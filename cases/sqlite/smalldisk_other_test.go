//go:build unix && !linux

package sqlite_test

import (
	"errors"
	"testing"
)

const ownNameSpace = "DOWNDROP_TEST_NAME_SPACE"

func inNameSpace(*testing.T) {}

func smallDisk(*testing.T, string) (string, error) {
	return "", errors.New("only Linux mounts disks in memory so")
}
