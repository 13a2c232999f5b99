package report

import (
	"fmt"
	"io"
	"math/big"
	"strings"

	"downdrop/engine/ways"
	"downdrop/rulebase"
)

// A Decision is what becomes of a unit, with what is known beside it.
type Decision struct {
	*ways.Decision
	Outside *big.Rat // of a diagnosis: the chance of something not listed; nil where there was none
	Detail  bool     // all turns, not only the nearest
}

// nearestTurns is how many of the turns are told without --detail.
const nearestTurns = 6

// Text writes a decision for people: what to do, what each way costs, what the
// answer hangs on, what more knowledge is worth.
func (d *Decision) Text(out io.Writer, width int) error {
	p := newPage(width)
	p.say(sayDecision(d.Decision))
	if d.Prices.Note != "" {
		p.say(sentence(d.Prices.Note))
	}
	p.gap()
	p.say(sayBestWay(d.Decision))
	if says := sayNearlyTied(d.Decision); says != "" {
		p.say(says)
	}
	if says := sayFirst(d.Decision); says != "" {
		p.say(says)
	}
	p.gap()
	p.say(titleWays)
	for i, w := range d.Ways {
		p.item(fmt.Sprintf("%3d. ", i+1), wayNames[w.Kind]+": "+money(d.Prices, w.Mean))
		p.item("     ", sayParts(d.Prices, w.Expected))
	}
	d.turns(p)
	p.gap()
	p.say(titleWorth)
	for _, says := range sayKnowing(d.Decision) {
		p.item("  - ", says)
	}
	for i := range d.Tests {
		p.item("  - ", sayTested(d.Decision, i))
	}
	p.gap()
	p.say(titleNotes)
	for _, says := range d.notes() {
		p.item("  - ", says)
	}
	if len(d.Withheld) > 0 {
		p.gap()
		p.say(titleWithheld)
		for _, w := range d.Withheld {
			p.item("  - ", sentence(sayNotToBeHad(w)))
		}
	}
	return p.writeTo(out)
}

func (d *Decision) turns(p *page) {
	if len(d.Ways) == 1 {
		return
	}
	p.gap()
	p.say(titleStretches)
	for _, s := range d.Stretches {
		p.item("  - ", sentence(sayStretch(s)))
	}
	p.gap()
	if len(d.Turns) == 0 {
		p.say(sayNoTurn)
		return
	}
	p.say(titleTurns)
	for i, t := range d.Turns {
		if i == nearestTurns && !d.Detail {
			p.item("  - ", fmt.Sprintf(sayMoreTurns, len(d.Turns)-i))
			break
		}
		p.item("  - ", sentence(sayTurnOf(d.Prices, t)))
	}
}

// notes are what to keep in mind, the weightiest first.
func (d *Decision) notes() []string {
	var all []string
	add := func(says string) {
		if says != "" {
			all = append(all, says)
		}
	}
	if !d.Prices.Has("downtime.per_hour") {
		add(sayNoDowntime)
	}
	if d.Outside != nil && d.Outside.Sign() > 0 {
		most, says := new(big.Rat).Add(d.Bad, d.Outside), sayUnsteady
		if one := big.NewRat(1, 1); most.Cmp(one) > 0 {
			most = one
		}
		if d.Steady(most) {
			says = saySteady
		}
		add(fmt.Sprintf(sayAtLeast, threePlaces(d.Outside), says))
	}
	if d.Prices.Has("exchange.price") {
		if len(d.Prices.Revisions) > 0 && d.Case.Revision == "" {
			add(fmt.Sprintf(sayAskRevision, strings.Join(d.Prices.Revisions, " or ")))
		}
		if len(d.Prices.Modules) > 0 && len(d.Case.Modules) == 0 {
			add(fmt.Sprintf(sayAskModules, strings.Join(d.Prices.Modules, ", ")))
		}
	}
	add(sayHistory(d.Decision))
	add(sayLimit(d.Decision))
	if d.RepairIs == nil && d.Prices.Has("repair.price") {
		add(sayLimitUnknown)
	}
	add(sayShelf(d.Decision))
	return append(all, sayMoneyAlone)
}

// PricesText lists the amounts a price sheet can have.
func PricesText(out io.Writer, width int) error {
	p := newPage(width)
	p.say(titlePriceKeys)
	for _, k := range rulebase.PriceKeys {
		says := string(k.Form)
		if k.Needed {
			says += ", needed"
		}
		if k.Default != "" {
			says += ", else " + k.Default
		}
		p.item("  ", k.Name+" ("+says+"): "+k.Means)
	}
	return p.writeTo(out)
}
