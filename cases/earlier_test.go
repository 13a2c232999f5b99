package cases_test

import (
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cases/storetest"
)

// A dash or a slash in the field for the serial stands for "there is none": it is taken for
// no other case's, and least of all for every case that has no serial.
func TestASerialOfSignsLooksLikeNoOther(t *testing.T) {
	s := storetest.NewModel("mill")
	at := time.Date(2031, 5, 4, 12, 0, 0, 0, time.UTC)
	open := func(id, serial string) {
		t.Helper()
		d := cases.Say(cases.KindOpened, cases.Opening{Unit: cases.Unit{Type: "BIU-2", Serial: serial}})
		d.ID, d.Subject, d.At = "e-"+id, cases.Subject{Kind: cases.AboutCase, ID: id}, at
		if _, err := s.Append(t.Context(), d); err != nil {
			t.Fatal(err)
		}
	}
	open("one", "")
	open("two", "0815")
	open("three", "---")
	c, err := s.Case(t.Context(), "three")
	if err != nil {
		t.Fatal(err)
	}
	earlier, err := cases.LookBack(t.Context(), s, c)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(earlier.SameUnit) + len(earlier.OtherType) + len(earlier.LooksLike); n > 0 {
		t.Errorf("a serial of dashes is taken for %d others: %+v", n, earlier)
	}
	like, err := cases.LookUnitUp(t.Context(), s, cases.Unit{Type: "BIU-2", Serial: "/"}, at)
	if err != nil {
		t.Fatal(err)
	}
	if n := len(like.Cases) + len(like.Ask) + len(like.Units); n > 0 {
		t.Errorf("a serial of a slash is taken for %d others: %+v", n, like)
	}
}
