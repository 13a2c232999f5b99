package sqlite_test

import (
	"context"
	"path/filepath"
	"testing"

	"downdrop/cases"
	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/cases/storetest"
)

var ctx = context.Background()

func TestLaws(t *testing.T) {
	storetest.Run(t, func(t *testing.T) storetest.Place {
		path := filepath.Join(t.TempDir(), "a store?#%.db")
		return func(o sqlstore.Options) (cases.Store, error) { return sqlite.Open(ctx, path, o) }
	})
}
