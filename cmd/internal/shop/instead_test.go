package shop_test

import (
	"fmt"
	"testing"
	"time"

	"downdrop/cases"
	"downdrop/cmd/internal/shop"
)

// card is a unit's card after entries, an hour apart.
func card(t *testing.T, drafts ...cases.Draft) *cases.Card {
	t.Helper()
	var events []cases.Event
	var head cases.Head
	for i, d := range drafts {
		d.ID, d.Subject = fmt.Sprintf("e%d", i+1), cases.Subject{Kind: cases.AboutUnit, ID: cases.UnitKey(cases.Unit{Type: "COMPACT", Serial: "4711"})}
		d.At = time.Date(2031, 5, 1, i, 0, 0, 0, time.UTC)
		e, err := cases.Seal(d, "mill", head, head.Seq+1)
		if err != nil {
			t.Fatal(err)
		}
		head = cases.Head{Seq: e.Seq, Hash: e.Hash}
		events = append(events, e)
	}
	return cases.FoldUnit(events)
}

func move(to cases.ShopState, verdict string) cases.Draft {
	return cases.Say(cases.KindMoved, cases.Move{To: to, Why: "a reason", Verdict: verdict})
}

// Putting an entry right, or taking one back, opens no way that a plain change does not have.
func TestInsteadOfIsNoWayAround(t *testing.T) {
	received, clean := cases.Say(cases.KindReceived, cases.Receipt{}), cases.Say(cases.KindContamination, cases.Contamination{State: cases.NotExposed})
	back := cases.Say(cases.KindTakenBack, cases.Reason{Why: "a slip"})
	for name, c := range map[string]struct {
		card    *cases.Card
		draft   cases.Draft
		entry   int
		against shop.Stands
		at      int
		why     cases.Refusal
	}{
		"opened without a statement":     {card(t, received, move(cases.ShopQuarantined, "")), move(cases.ShopEvaluated, cases.UnitGood), 2, shop.Refused, 2, cases.RefusedUnstated},
		"released though it is bad":      {card(t, received, clean, move(cases.ShopEvaluated, cases.UnitBad), move(cases.ShopScrapped, "")), move(cases.ShopReleased, ""), 4, shop.Refused, 4, cases.RefusedNotGood},
		"the statement goes":             {card(t, received, clean, move(cases.ShopEvaluated, cases.UnitGood)), back, 2, shop.LaterRests, 3, ""},
		"the statement becomes another":  {card(t, received, clean, move(cases.ShopEvaluated, cases.UnitGood)), cases.Say(cases.KindContamination, cases.Contamination{State: cases.Contaminated}), 2, shop.LaterRests, 3, ""},
		"good becomes bad, and is out":   {card(t, received, clean, move(cases.ShopEvaluated, cases.UnitGood), move(cases.ShopReleased, "")), move(cases.ShopEvaluated, cases.UnitBad), 3, shop.LaterRests, 4, ""},
		"a state that cannot stand here": {card(t, received, clean, move(cases.ShopEvaluated, cases.UnitGood)), move(cases.ShopInTest, ""), 3, shop.Refused, 3, cases.RefusedByTable},
		"another verdict":                {card(t, received, clean, move(cases.ShopEvaluated, cases.UnitGood)), move(cases.ShopEvaluated, cases.UnitBad), 3, shop.NothingStands, 0, ""},
		"another reason where it lacked": {card(t, received, move(cases.ShopEvaluated, cases.UnitGood)), move(cases.ShopEvaluated, cases.UnitGood), 2, shop.NothingStands, 0, ""},
	} {
		_, against, at, why := shop.InsteadOf(c.card, c.draft, c.entry)
		if against != c.against || at != c.at || why != c.why {
			t.Errorf("%s: %v at %d, %q; want %v at %d, %q", name, against, at, why, c.against, c.at, c.why)
		}
	}
	taken := back
	taken.Corrects = "e2"
	if _, against, at, _ := shop.InsteadOf(card(t, received, clean, taken), back, 3); against != shop.TakesBack || at != 3 {
		t.Errorf("taking a take-back back: %v at %d", against, at)
	}
}

// What a unit proves to be after its repair says nothing of what it was as it came in.
func TestAfterTheRepairTheVerdictStands(t *testing.T) {
	received, clean := cases.Say(cases.KindReceived, cases.Receipt{}), cases.Say(cases.KindContamination, cases.Contamination{State: cases.NotExposed})
	c := card(t, received, clean, move(cases.ShopEvaluated, cases.UnitBad), move(cases.ShopInRepair, ""), move(cases.ShopInTest, ""))
	for verdict, want := range map[string]cases.Refusal{"": "", cases.UnitBad: "", cases.UnitGood: cases.RefusedAsItCame} {
		if why := c.Refuses(cases.Move{To: cases.ShopReleased, Why: "passed", Verdict: verdict}); why != want {
			t.Errorf("%q: %q, want %q", verdict, why, want)
		}
	}
	c = card(t, received, clean, move(cases.ShopEvaluated, cases.UnitBad), move(cases.ShopInRepair, ""), move(cases.ShopInTest, ""), move(cases.ShopReleased, cases.UnitGood))
	if got := c.Stay().Verdict; got != cases.UnitBad {
		t.Errorf("written elsewhere, the verdict is %s", got)
	}
}
