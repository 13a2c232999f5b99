package main

import (
	"fmt"
	"strings"
)

// What an answer can be beside a value.
const (
	answerSame = "same" // what the entry before had
	answerNone = "none"
	answerBoth = "both"
)

// A sheetKey is a key of a sheet with its question.
type sheetKey struct {
	name   string
	ask    string // with %s for what its entry is called, and %d for its number
	must   bool   // without it the entry is left out
	unless string // a key that makes this one moot
	list   sheetEntry
	stands map[string]string // answers that stand for another while they are tried
}

// question puts the entry's number and name in.
func (k *sheetKey) question(n int, name string) string {
	text := strings.ReplaceAll(k.ask, "%s", name)
	return strings.ReplaceAll(text, "%d", fmt.Sprint(n))
}

// A sheetEntry is the keys of an entry in the order they are asked for. Nothing
// entered for the first ends the list.
type sheetEntry []sheetKey

// of puts what a nested list belongs to into its questions.
func (e sheetEntry) of(name string) sheetEntry {
	all := make(sheetEntry, len(e))
	for i, k := range e {
		k.ask = strings.ReplaceAll(k.ask, "%o", name)
		all[i] = k
	}
	return all
}

// several makes two entries of one that stands at both ends.
func (e sheetEntry) several(entry string) []string {
	if e[0].stands[answerBoth] == "" || !strings.HasPrefix(entry, e[0].name+": '"+answerBoth+"'") {
		return []string{entry}
	}
	rest := strings.TrimPrefix(entry, e[0].name+": '"+answerBoth+"'")
	return []string{e[0].name + ": host" + rest, e[0].name + ": end" + rest}
}

// A sheetPart is a part of a sheet: keys of its own, or a list of entries, or one.
type sheetPart struct {
	name  string
	one   bool
	keys  []sheetKey
	entry sheetEntry
}

// sheetParts are the parts in the order they are asked for: what a part names must
// have been asked for before it.
var sheetParts = []sheetPart{
	{keys: []sheetKey{
		{name: "rate", ask: "At which rate does the bus run, like 153.6 kbaud?"},
		{name: "length_limit", ask: "How long may this line be by its own papers, like 600 m?"},
		{name: "units_limit", ask: "How many units may a segment have by them?"},
		{name: "rise_time", ask: "How fast are the senders' edges, like 200 ns?"},
		{name: "clock_tolerance", ask: "How far may a unit's clock be off by its papers, like 0.5 %?"},
		{name: "temperature", ask: "How warm are the cables, like 35 C?"},
	}},
	{name: "cable", entry: sheetEntry{
		{name: "length", ask: "Stretch %d of the cable, from the host outwards: how long is it, like 180 m? (Enter: no more)", must: true},
		{name: "type", ask: "What is printed on it?"},
		{name: "conductor", ask: "Which conductor has it, like AWG 22 or 0.75 mm2 flexible?"},
		{name: "loop_per_km", unless: "conductor", ask: "Which resistance of both wires together per km, like 110 ohm?"},
		{name: "impedance", ask: "Which impedance is printed for it, like 150 ohm?"},
		{name: "delay_per_m", ask: "How long does a wave take for a metre, like 5 ns?"},
		{name: "velocity", unless: "delay_per_m", ask: "Or at which share of the speed of light does it run, like 66 %?"},
		{name: "shielded", ask: "Has it a shield, yes or no?"},
	}},
	{name: "terminators", entry: sheetEntry{
		{name: "at", ask: "Terminator %d: where is it fitted: both (one at each end), host, end, or like 120 m; or none? (Enter: no more)", must: true,
			stands: map[string]string{answerBoth: "host", answerNone: "host"}},
		{name: "ohm", ask: "How many ohms has it, like 150 ohm?"},
		{name: "powered", ask: "If it needs a supply: has it one, yes or no?"},
		{name: "blocks_dc", ask: "Does a capacitor stand in series with it, yes or no?"},
	}},
	{name: "stubs", entry: sheetEntry{
		{name: "at", ask: "Stub %d: where does it leave the trunk, like 120 m? (Enter: no more)", must: true},
		{name: "length", ask: "How long is it, like 1.5 m?", must: true},
		{name: "tapped", ask: "How many stubs leave the same tap?"},
	}},
	{name: "drops", entry: sheetEntry{
		{name: "drop", ask: "Drop %d, from the host outwards: what is it called on the drawing? (Enter: no more)", must: true},
		{name: "at", ask: "How far along the cable is %s from the host, like 120 m?", must: true},
		{name: "address", ask: "Which address has %s?"},
		{name: "rate", ask: "Which rate is %s set to, where it was read, like 153.6 kbaud?"},
		{name: "unit_load", ask: "How much of a unit load is %s, like 1 or 0.125?"},
		{name: "power", ask: "How much constant power does %s draw by itself, like 12 W?"},
		{name: "current", unless: "power", ask: "Or which constant current, like 0.5 A?"},
		{name: "carrier_most", ask: "How much can the carrier of %s bring to its modules, like 4 A?"},
		{name: "modules", list: sheetEntry{
			{name: "points", ask: "Module %d of %o: how many points has it, like 16? (Enter: no more)", must: true},
			{name: "kind", ask: "Are they input or output?"},
			{name: "current", ask: "How much does the module draw by itself, like 0.1 A?"},
			{name: "each", ask: "How much does a point that is on draw, like 6 mA?"},
			{name: "on", ask: "How many are on together at most?"},
		}},
	}},
	{name: "supplies", entry: sheetEntry{
		{name: "supply", ask: "Supply %d: what is it called on the drawing? (Enter: no more)", must: true},
		{name: "volts", ask: "Which volts does %s give, like 24 V?", must: true},
		{name: "most", ask: "Which current can %s give, like 10 A?"},
		{name: "fuse", ask: "What is the fuse behind %s rated, like 6 A?"},
		{name: "temperature", ask: "How warm is the cable of %s, like 40 C?"},
		{name: "feeds", list: sheetEntry{
			{name: "drop", ask: "Cable %d of %o: which drop does it feed? (Enter: no more)", must: true},
			{name: "from", ask: "From which drop does it go on? (Enter: from %o itself)"},
			{name: "length", ask: "How long is it one way, like 20 m?", must: true},
			{name: "conductor", ask: "Which conductor has it, like 1.5 mm2 flexible?", must: true},
		}},
	}},
	{name: "inline", entry: sheetEntry{
		{name: "kind", ask: "Device %d that the trunk runs through: repeater, isolator, converter or surge_arrester? (Enter: no more)", must: true},
		{name: "at", ask: "Where along the trunk, like 300 m?", must: true},
		{name: "name", ask: "What is it called on the drawing?"},
		{name: "delay", ask: "How long does a message take through it, like 500 ns?"},
		{name: "supply", ask: "Which supply feeds it?"},
	}},
	{name: "bias", one: true, entry: sheetEntry{
		{name: "at", ask: "Where are the resistors that hold an idle pair: host, end, or like 120 m? (Enter: there are none, or nobody knows)", must: true},
		{name: "volts", ask: "Which volts do they hang on, like 5 V?"},
		{name: "up", ask: "How many ohms has the one to those volts, like 650 ohm?"},
		{name: "down", ask: "How many has the one to common?"},
	}},
	{name: "shield", one: true, entry: sheetEntry{
		{name: "bonded", ask: "Where is the shield bonded: one_end, both_ends or nowhere?", must: true},
	}},
	{name: "beside", entry: sheetEntry{
		{name: "from", ask: "Power cable %d beside the trunk: from where on, like 20 m? (Enter: no more)", must: true},
		{name: "to", ask: "To where, like 90 m?", must: true},
		{name: "apart", ask: "How far apart are they, like 80 mm?", must: true},
		{name: "power_screened", ask: "Has the power cable a screen, yes or no?"},
		{name: "divider", ask: "What stands between them, earthed: none, aluminium or steel?"},
	}},
	{name: "messages", one: true, entry: sheetEntry{
		{name: "overhead", ask: "How many bytes have question and answer together beside the points, by the line's own papers?"},
		{name: "character", ask: "How many bits has a character, start, parity and stop included?"},
		{name: "turnaround", ask: "How long does a drop take to answer, like 2 ms?"},
		{name: "wanted", ask: "Within what time must every drop have been asked once, like 200 ms?"},
	}},
	{name: "controller", one: true, entry: sheetEntry{
		{name: "rate", ask: "Which rate is the controller set to, like 153.6 kbaud?"},
		{name: "drops", list: sheetEntry{
			{name: "address", ask: "Drop %d in the controller's map: which address? (Enter: no more)", must: true},
			{name: "first", ask: "Which is its first point, counted from 1?"},
			{name: "points", ask: "How many points has it there?"},
		}},
	}},
	{keys: []sheetKey{
		{name: "loss_of_bus", ask: "What do outputs do on loss of bus: off, hold or preset?"},
	}},
}
