package page_test

import (
	"fmt"
	"net/http"
	"os"
	"path/filepath"
	"testing"

	"downdrop/cases/sqlite"
	"downdrop/cases/sqlstore"
	"downdrop/testdata/support"
)

// shopUnits is how many units a shop has had, one in twenty of them in the house; times DOWNDROP_DEEP.
const shopUnits = 500

// shopOfUnits is a store with so many units, filled once and kept in the temporary folder.
func shopOfUnits(b *testing.B, howMany int) string {
	b.Helper()
	path := filepath.Join(os.TempDir(), fmt.Sprintf("downdrop-units-%d-schema%d.db", howMany, sqlstore.SchemaNow))
	s, err := sqlite.Open(b.Context(), path, sqlstore.Options{Site: "quarry"})
	if err != nil {
		b.Fatal(err)
	}
	defer s.Close()
	if n, err := s.Count(b.Context()); err != nil {
		b.Fatal(err)
	} else if n == 0 {
		receiveUnits(b, s, howMany)
	}
	return path
}

// How long the page of the shop takes, of which the floor is a page that reads nothing of the store. Of a
// shop that has had ten thousand units:
//
//	DOWNDROP_DEEP=20 go test -run NONE -bench ShopOfUnits -benchtime 20x ./cmd/internal/page
func BenchmarkShopOfUnits(b *testing.B) {
	s := serve(b, shopOfUnits(b, support.Deep(b, shopUnits)))
	began := scheduled(s.PID())
	s.get("/shop")
	first := scheduled(s.PID()) - began
	var size int
	began = scheduled(s.PID())
	for b.Loop() {
		status, body := s.get("/shop")
		if status != http.StatusOK {
			b.Fatal(status)
		}
		size = len(body)
	}
	each := scheduled(s.PID()) - began
	began = scheduled(s.PID())
	for range 20 {
		s.get("/new")
	}
	floor := scheduled(s.PID()) - began
	b.ReportMetric(float64(first.Microseconds())/1000, "ms-of-processor/first")
	b.ReportMetric(float64(each.Microseconds())/1000/float64(b.N), "ms-of-processor/page")
	b.ReportMetric(float64(floor.Microseconds())/1000/20, "ms-of-processor/floor")
	b.ReportMetric(float64(size)/1024, "KiB/page")
	b.ReportMetric(resident(b, s.PID()), "MiB/most-resident")
}
