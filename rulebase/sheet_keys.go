package rulebase

import (
	"slices"
	"strings"
	"sync"
)

// A sheetForm is what stands behind a key of an installation sheet.
type sheetForm string

// The forms. A figure carries its unit, always.
const (
	sheetText      sheetForm = "text"
	sheetFigure    sheetForm = "figure"    // a number with its unit
	sheetConductor sheetForm = "conductor" // AWG 22, 0.75 mm2 flexible
	sheetPlace     sheetForm = "place"     // host, end, 120 m
	sheetNumber    sheetForm = "number"
	sheetFlag      sheetForm = "flag"
	sheetWord      sheetForm = "word" // one of a few
	sheetEntry     sheetForm = "entry"
	sheetEntries   sheetForm = "entries"
)

// A sheetKey is a key of an entry of a sheet.
type sheetKey struct {
	name   string
	form   sheetForm
	needed bool
	words  []string // of a word; nil with sheetWord: the kinds of line
	entry  string   // of an entry or entries: which
	says   string
}

// sheetKeys are the keys of a sheet and of its entries: the reader refuses what is
// not here, and [SheetSchema] is made from it.
var sheetKeys = sync.OnceValue(func() map[string][]sheetKey {
	return map[string][]sheetKey{
		"sheet": {
			{name: "sheet", form: sheetText, needed: true, says: "What the trunk is called."},
			{name: "format", form: sheetNumber, says: "The version of the form: 1."},
			{name: "line", form: sheetWord, needed: true, says: "The kind of line."},
			{name: "rate", form: sheetFigure, says: "Rate of the bus, like 153.6 kbaud."},
			{name: "cable", form: sheetEntries, entry: "cable", needed: true, says: "The trunk's stretches of cable, from the host outwards."},
			{name: "inline", form: sheetEntries, entry: "inline", says: "Devices that the trunk runs through."},
			{name: "terminators", form: sheetEntries, entry: "terminator", says: "Every terminator that is fitted."},
			{name: "stubs", form: sheetEntries, entry: "stub", says: "Branches of the trunk."},
			{name: "drops", form: sheetEntries, entry: "drop", says: "The drops, in the order of the cable."},
			{name: "supplies", form: sheetEntries, entry: "supply", says: "Supplies, and the cable from them to drops."},
			{name: "bias", form: sheetEntry, entry: "bias", says: "The resistors that hold an idle pair."},
			{name: "shield", form: sheetEntry, entry: "shield", says: "How the shield is bonded."},
			{name: "beside", form: sheetEntries, entry: "beside", says: "Power cables beside the trunk."},
			{name: "controller", form: sheetEntry, entry: "controller", says: "What the controller was told."},
			{name: "loss_of_bus", form: sheetWord, words: []string{"off", "hold", "preset"}, says: "What outputs do on loss of bus."},
			{name: "temperature", form: sheetFigure, says: "Of the cables, like 35 C; 20 C where it is not said."},
			{name: "rise_time", form: sheetFigure, says: "Of the senders' edges, like 200 ns."},
			{name: "clock_tolerance", form: sheetFigure, says: "How far a unit's clock may be off, by its papers, like 0.5 %."},
			{name: "messages", form: sheetEntry, entry: "messages", says: "How the line's own papers have the host ask a drop."},
			{name: "length_limit", form: sheetFigure, says: "Longest trunk that the line's own papers allow at this rate."},
			{name: "units_limit", form: sheetNumber, says: "Most units on a segment that they allow."},
		},
		"cable": {
			{name: "type", form: sheetText, says: "What is printed on it."},
			{name: "length", form: sheetFigure, needed: true, says: "Like 180 m or 590 ft."},
			{name: "conductor", form: sheetConductor, says: "One conductor: AWG 22, 0.75 mm2, 1.5 mm2 flexible."},
			{name: "loop_per_km", form: sheetFigure, says: "Ohms per km of both conductors together, where the cable's own paper gives them so; else say conductor."},
			{name: "impedance", form: sheetFigure, says: "Characteristic impedance, like 150 ohm."},
			{name: "delay_per_m", form: sheetFigure, says: "One way, like 5 ns."},
			{name: "velocity", form: sheetFigure, says: "Share of the speed of light, like 66 %."},
			{name: "shielded", form: sheetFlag, says: "Whether it has a shield."},
		},
		"inline": {
			{name: "name", form: sheetText, says: "Its name on the drawing."},
			{name: "kind", form: sheetWord, needed: true, words: []string{"repeater", "isolator", "converter", "surge_arrester"}, says: "What it is. All but an arrester end one pair and begin another."},
			{name: "at", form: sheetPlace, needed: true, says: "Where along the trunk."},
			{name: "delay", form: sheetFigure, says: "How long a message takes through it, like 500 ns."},
			{name: "supply", form: sheetText, says: "The supply that feeds it."},
		},
		"terminator": {
			{name: "at", form: sheetPlace, needed: true, says: "host, end, or where along the trunk."},
			{name: "ohm", form: sheetFigure, says: "Across the pair, like 150 ohm; the line's own where it is not said."},
			{name: "powered", form: sheetFlag, says: "Whether one that needs a supply has it."},
			{name: "blocks_dc", form: sheetFlag, says: "Whether a capacitor stands in series with it: a meter does not see it."},
		},
		"messages": {
			{name: "overhead", form: sheetNumber, says: "Bytes of question and answer together beside the points."},
			{name: "character", form: sheetNumber, says: "Bits of a character, start, parity and stop included; 11 where it is not said."},
			{name: "turnaround", form: sheetFigure, says: "How long a drop takes to answer, or to pass on the turn, like 2 ms."},
			{name: "wanted", form: sheetFigure, says: "Within what time every drop must have been asked once, like 200 ms."},
		},
		"stub": {
			{name: "at", form: sheetPlace, needed: true, says: "Where it leaves the trunk."},
			{name: "length", form: sheetFigure, needed: true, says: "Like 1.5 m."},
			{name: "tapped", form: sheetNumber, says: "How many leave the same tap."},
		},
		"drop": {
			{name: "drop", form: sheetText, needed: true, says: "Its name on the drawing."},
			{name: "at", form: sheetPlace, needed: true, says: "Where along the trunk."},
			{name: "address", form: sheetNumber, says: "The address it is drawn with."},
			{name: "rate", form: sheetFigure, says: "Its own rate, where it is set apart from the bus."},
			{name: "unit_load", form: sheetNumber, says: "How much of a unit load it is; 1 where it is not said."},
			{name: "power", form: sheetFigure, says: "What it draws whatever the volts: constant power, like 12 W."},
			{name: "current", form: sheetFigure, says: "What it draws whatever the volts: constant current, like 0.5 A."},
			{name: "modules", form: sheetEntries, entry: "module", says: "Its modules."},
			{name: "carrier_most", form: sheetFigure, says: "What its carrier can bring to its modules, like 4 A."},
		},
		"module": {
			{name: "points", form: sheetNumber, needed: true, says: "How many it has."},
			{name: "kind", form: sheetWord, words: []string{"input", "output"}, says: "What its points are."},
			{name: "current", form: sheetFigure, says: "What it draws by itself, like 0.1 A."},
			{name: "each", form: sheetFigure, says: "What a point that is on draws, like 6 mA."},
			{name: "on", form: sheetNumber, says: "Most points that are on together; all where it is not said."},
		},
		"supply": {
			{name: "supply", form: sheetText, needed: true, says: "Its name on the drawing."},
			{name: "volts", form: sheetFigure, needed: true, says: "What it gives, like 24 V."},
			{name: "most", form: sheetFigure, says: "Current that it can give, like 10 A."},
			{name: "fuse", form: sheetFigure, says: "Rating of the fuse behind it, like 6 A."},
			{name: "feeds", form: sheetEntries, entry: "feed", says: "Its cable to drops, each after the one that it goes on from."},
			{name: "temperature", form: sheetFigure, says: "Of its cable; the sheet's where it is not said."},
		},
		"feed": {
			{name: "drop", form: sheetText, needed: true, says: "The drop it feeds."},
			{name: "from", form: sheetText, says: "The drop it goes on from; the supply where it is not said."},
			{name: "length", form: sheetFigure, needed: true, says: "One way, like 20 m."},
			{name: "conductor", form: sheetConductor, needed: true, says: "One conductor, like 1.5 mm2 flexible."},
		},
		"bias": {
			{name: "at", form: sheetPlace, needed: true, says: "Where it is connected."},
			{name: "volts", form: sheetFigure, says: "Its supply, like 5 V."},
			{name: "up", form: sheetFigure, says: "The resistor to the supply, like 650 ohm."},
			{name: "down", form: sheetFigure, says: "The resistor to common."},
		},
		"shield": {
			{name: "bonded", form: sheetWord, needed: true, words: []string{"one_end", "both_ends", "nowhere"}, says: "Where it is bonded."},
		},
		"beside": {
			{name: "from", form: sheetPlace, needed: true, says: "Where along the trunk it begins."},
			{name: "to", form: sheetPlace, needed: true, says: "Where it ends."},
			{name: "apart", form: sheetFigure, needed: true, says: "How far from the trunk, like 50 mm."},
			{name: "power_screened", form: sheetFlag, says: "Whether the power cable has a screen."},
			{name: "divider", form: sheetWord, words: []string{"none", "aluminium", "steel"}, says: "What stands between them, earthed."},
		},
		"controller": {
			{name: "rate", form: sheetFigure, says: "The rate it is set to."},
			{name: "drops", form: sheetEntries, entry: "mapped", says: "The drops in its map."},
		},
		"mapped": {
			{name: "address", form: sheetNumber, needed: true, says: "The drop's address."},
			{name: "first", form: sheetNumber, says: "Its first point, counted from 1."},
			{name: "points", form: sheetNumber, says: "How many points it has."},
		},
	}
})

// entryKeys are the names of an entry's keys.
func entryKeys(entry string) []string {
	var names []string
	for _, k := range sheetKeys()[entry] {
		names = append(names, k.name)
	}
	return names
}

// SheetSchema is the JSON Schema (draft-07) of an installation sheet, so that an
// editor completes its keys, says what they mean and marks a figure without its
// unit. kinds are the kinds of line that there are.
func SheetSchema(kinds []string) any {
	text := object{"type": []any{"string", "number", "boolean"}}
	defs := object{
		string(sheetText): text, string(sheetNumber): object{"type": []any{"number", "string"}, "pattern": `^[0-9.]+$`},
		string(sheetFigure):    object{"type": "string", "pattern": `^[-+]?[0-9][0-9., ']*[^-+0-9., '].*$`},
		string(sheetConductor): object{"type": "string", "pattern": `^(AWG ?[0-9]{1,2}|[0-9.,]+ *mm(2|²))( (solid|flexible|flexible_tinned))?$`},
		string(sheetPlace):     object{"anyOf": []any{object{"enum": []any{"host", "end"}}, ref(sheetFigure)}},
		string(sheetFlag):      object{"enum": append(truths(true), truths(false)...)},
	}
	for entry := range sheetKeys() {
		defs["entry_"+entry] = entrySchema(entry, kinds)
	}
	return object{
		"$schema": "http://json-schema.org/draft-07/schema#", "$comment": "downdrop: an installation sheet",
		"$ref": "#/definitions/entry_sheet", "definitions": defs,
	}
}

func entrySchema(entry string, kinds []string) object {
	properties, needed := object{"note": object{}}, []any{}
	for _, k := range sheetKeys()[entry] {
		var value object
		switch k.form {
		case sheetWord:
			words := k.words
			if words == nil {
				words = kinds
			}
			value = oneOfWords(words)
			if slices.Contains(words, "off") { // an editor takes it for false
				value = object{"anyOf": []any{value, object{"enum": []any{false}}}}
			}
		case sheetEntry:
			value = ref("entry_" + k.entry)
		case sheetEntries:
			value = object{"type": "array", "items": ref("entry_" + k.entry)}
		default:
			value = ref(k.form)
		}
		properties[k.name] = object{"allOf": []any{value}, "description": k.says}
		if !k.needed {
			properties[k.name] = object{"anyOf": []any{value, object{"type": "null"}}, "description": k.says}
		} else {
			needed = append(needed, k.name)
		}
	}
	return object{"type": "object", "properties": properties, "required": needed, "additionalProperties": false}
}

// shapeOf is how an entry is written.
func shapeOf(entry string) string { return strings.Join(entryKeys(entry), ": ..., ") + ": ..." }
