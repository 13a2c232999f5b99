package rulebase_test

import (
	"bytes"
	"encoding/json"
	"strings"
	"testing"

	"downdrop/rulebase"
)

// A packed base, unpacked, says what the base says, and packs to the same bytes.
func TestPackedIsTheSameBase(t *testing.T) {
	folders := map[string][]string{"shipped": nil, "example": {"testdata/good"}}
	for name, dirs := range folders {
		base, err := rulebase.LoadShipped()
		if dirs != nil {
			base, err = rulebase.LoadFolder(dirs...)
		}
		if err != nil {
			t.Fatal(err)
		}
		text, err := base.Pack()
		if err != nil {
			t.Fatal(err)
		}
		got, err := rulebase.Unpack(text)
		if err != nil {
			t.Fatal(err)
		}
		if d := rulebase.FirstDifference(base, got); d != "" || got.Digest != base.Digest {
			t.Errorf("%s: they differ at %s; digests %s and %s", name, d, base.Digest, got.Digest)
		}
		again, err := got.Pack()
		if err != nil {
			t.Fatal(err)
		}
		if !bytes.Equal(text, again) {
			t.Errorf("%s: packed again it is another text", name)
		}
		for i := range base.Causes {
			if a, _ := base.Lookup(base.Causes[i].ID); a != mustLookup(t, got, base.Causes[i].ID) {
				t.Errorf("%s: %s stands for another entry", name, base.Causes[i].ID)
			}
		}
		slots := make([]rulebase.Slot, len(base.Names))
		for i := range slots {
			slots[i] = rulebase.Slot{Word: int32(i % 3), Number: float64(i), Rank: rulebase.FromPerson}
		}
		for i := range base.Conditions {
			if a, b := base.Conditions[i].When.Eval(slots), got.Conditions[i].When.Eval(slots); a != b {
				t.Errorf("%s: condition %s: %v and %v", name, base.Conditions[i].ID, a, b)
			}
		}
	}
}

func mustLookup(t *testing.T, b *rulebase.Base, id string) rulebase.Ref {
	t.Helper()
	r, ok := b.Lookup(id)
	if !ok {
		t.Errorf("%s is not there", id)
	}
	return r
}

// What is no packed base is refused.
func TestUnpackRefuses(t *testing.T) {
	for _, text := range []string{"", "{}", `{"Base":{}}`, `{"Base":{"Names":[{"ID":"x"}],"Rules":[{"When":{"Text":"x"}}]}}`, "[1]"} {
		if b, err := rulebase.Unpack([]byte(text)); err == nil || b != nil {
			t.Errorf("%q was taken", text)
		}
	}
	if _, err := json.Marshal(rulebase.Slot{}); err != nil {
		t.Error(err)
	}
	if _, err := rulebase.Unpack([]byte(strings.Repeat("[", 100000))); err == nil {
		t.Error("brackets were taken")
	}
}
