package sqlite

import (
	"path/filepath"
	"strings"
	"testing"
)

// F07: a store on a share is warned of, with what to do; one on a disk is not.
func TestF07NetworkShare(t *testing.T) {
	for path, want := range map[string]string{
		`\\server\cases\cases.db`: "a Windows share", `\\?\C:\cases.db`: "", filepath.Join(t.TempDir(), "cases.db"): "",
	} {
		if got := network(path); got != want {
			t.Errorf("%s is on %q, want %q", path, got, want)
		}
	}
	if says := warnOfNetwork("/srv/cases.db", "NFS"); !strings.Contains(says, "/srv/cases.db") || !strings.Contains(says, "store move postgres://") {
		t.Error(says)
	}
	if says := warnOfNetwork("/srv/cases.db", ""); says != "" {
		t.Error(says)
	}
}
