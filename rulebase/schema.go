package rulebase

import (
	"maps"
	"slices"
	"strconv"
	"strings"
	"sync"
)

// A FileKind is a kind of file that people write.
type FileKind string

// The kinds of files that have a schema.
const (
	RuleFile FileKind = "rulebase" // a file of a rulebase
	TestFile FileKind = "test"     // rule tests: a list of cases
	CaseFile FileKind = "case"     // one case

	ProcedureFile FileKind = "procedure" // a bench procedure
	UnitFile      FileKind = "unit"      // a unit profile
)

// FileKinds are all kinds of files that have a schema.
var FileKinds = []FileKind{RuleFile, TestFile, CaseFile, ProcedureFile, UnitFile}

type object = map[string]any

// Schema is the JSON Schema (draft-07, which editors of YAML know best) of a kind of
// file over this rulebase: its keys with what they mean, and its ids and values, so
// that an editor completes them. It is made from the tables that the loader reads
// by. What no schema can see (expressions, sums, circles) only loading sees.
func (b *Base) Schema(kind FileKind) any {
	s := schema{b}
	root := object{
		"$schema":  "http://json-schema.org/draft-07/schema#",
		"$comment": "downdrop: a " + string(kind) + " file over " + b.Name,
	}
	defs := s.forms()
	switch kind {
	case RuleFile:
		maps.Copy(root, s.sections())
		for section := range sectionKinds {
			defs[section] = s.entry(section)
		}
	case TestFile:
		root["type"], root["items"] = []any{"array", "null"}, ref("case")
	case ProcedureFile:
		maps.Copy(root, s.procedure())
	case UnitFile:
		maps.Copy(root, s.unit())
	default:
		root["$ref"] = "#/definitions/case"

	}
	root["definitions"] = used(root, defs)
	return root
}

type schema struct{ b *Base }

func ref[T ~string](name T) object { return object{"$ref": "#/definitions/" + string(name)} }

// used are the definitions that something reaches.
func used(root object, defs object) object {
	out := object{}
	var visit func(v any)
	visit = func(v any) {
		switch x := v.(type) {
		case object:
			for k, item := range x {
				if name, is := item.(string); k == "$ref" && is {
					name = strings.TrimPrefix(name, "#/definitions/")
					if _, seen := out[name]; !seen {
						out[name] = defs[name]
						visit(defs[name])
					}
					continue
				}
				visit(item)
			}
		case []any:
			for _, item := range x {
				visit(item)
			}
		}
	}
	visit(root)
	return out
}

// sections are the sections of a file of a rulebase.
func (s schema) sections() object {
	properties := object{"note": object{}, "rulebase": s.mapOf("rulebase", sectionSays["rulebase"])}
	for section := range sectionKinds {
		one := object{"type": []any{"object", "null"}, "description": sectionSays[section], "additionalProperties": ref(section), "propertyNames": object{"pattern": idPattern}}
		switch section {
		case "on_site":
			one["properties"], one["additionalProperties"] = s.siteEntries(), false
		case "symptoms":
			one["properties"] = s.knownSymptoms()
		}
		properties[section] = one
	}
	return object{"type": []any{"object", "null"}, "properties": properties, "additionalProperties": false}
}

const idPattern = "^[a-z][a-z0-9_]*$"

// sectionSays says what each section holds.
var sectionSays = map[string]string{
	"rulebase":   "The header; one file of a rulebase has it.",
	"givens":     "What is known about the installation or its history; no cause changes it.",
	"causes":     "What can be wrong: what somebody can put right.",
	"conditions": "What causes do inside the system, on the way to what is seen.",
	"symptoms":   "What a person can see, hear, read or measure; causes shape it.",
	"rules":      "From findings and givens to further facts.",
	"tests":      "Procedures that yield findings, at a price.",
	"remedies":   "What puts causes right.",
	"warnings":   "What can hurt a person or the plant, read before the step.",
	"sources":    "Where things are known from.",
	"on_site":    "What this site calls a symptom and its values, a test, a remedy or a cause. Never in a rulebase for everybody.",
}

// mapOf is a map with the keys of a table and no others.
func (s schema) mapOf(of, says string) object {
	properties := object{}
	for _, k := range slices.Concat(keys()["anywhere"], keys()[of]) { // a table's own key counts
		properties[k.name] = described(ref(k.form), k.says)
	}
	m := object{"type": "object", "properties": properties, "additionalProperties": false}
	if says != "" {
		m["description"] = says
	}
	if list := required[of]; list != nil {
		m["required"] = anys(list)
	}
	return m
}

// described is a reference with a text of its own: beside $ref nothing counts in
// this draft.
func described(reference object, says string) object {
	return object{"allOf": []any{reference}, "description": says}
}

// entry is an entry of a section. One that changes a lower entry needs no key.
func (s schema) entry(section string) object {
	m := s.mapOf(section, "")
	properties := m["properties"].(object)
	for _, k := range keys()["overlaying"] {
		properties[k.name] = described(ref(k.form), k.says)
	}
	needs := object{}
	if list := required[section]; list != nil {
		needs["required"] = anys(list)
	}
	if list := needsOneOf[section]; list != nil {
		var one []any
		for _, k := range list {
			one = append(one, object{"required": []any{k}})
		}
		needs["anyOf"] = one
	}
	delete(m, "required")
	if len(needs) > 0 {
		m["if"] = object{"required": []any{"changes"}, "properties": object{"changes": object{"enum": truths(true)}}}
		m["else"] = needs
	}
	if section == "givens" { // a bare given is a flag
		m["type"] = []any{"object", "null"}
	}
	return m
}

// knownSymptoms lets an editor complete the values of symptoms in their rows.
func (s schema) knownSymptoms() object {
	all := object{}
	for i := range s.b.Symptoms {
		sy := &s.b.Symptoms[i]
		values := object{}
		for _, v := range sy.Values {
			values[v] = ref(formProbability)
		}
		rows := object{"items": object{"properties": values}}
		all[sy.ID] = object{"allOf": []any{ref("symptoms"), object{"properties": object{"shows": rows, "shows_first": rows}}}, "description": sy.Ask}
	}
	return all
}

// siteEntries are what a site can name, the values of symptoms with them.
func (s schema) siteEntries() object {
	all := object{}
	for id, r := range s.b.index {
		if !slices.Contains(onSiteKinds, r.Kind) {
			continue
		}
		entry := []any{ref("on_site")}
		if r.Kind == KindSymptom {
			values := object{"note": object{}, "source": ref(formSource)}
			for _, v := range s.b.Symptoms[r.Index].Values {
				values[v] = ref(formText)
			}
			entry = append(entry, object{"properties": object{"values": object{"properties": values, "additionalProperties": false}}})
		} else {
			entry = append(entry, object{"not": object{"required": []any{"values"}}})
		}
		all[id] = object{"allOf": entry, "description": s.says(r)}
	}
	return all
}

// says is what an id stands for, in words.
func (s schema) says(r Ref) string {
	switch r.Kind {
	case KindSymptom:
		return s.b.Symptoms[r.Index].Ask
	case KindTest:
		return s.b.Tests[r.Index].Do
	case KindRemedy:
		return s.b.Remedies[r.Index].Do
	case KindCause:
		return s.b.Causes[r.Index].Name
	}
	return ""
}

// A scalar's type is the editor's guess by YAML's rules, where ours goes by the
// text: each form takes both.
var (
	textual = object{"type": []any{"string", "number", "boolean"}}
	numeric = sync.OnceValue(func() object {
		return object{"anyOf": []any{object{"type": "number"}, object{"type": "string", "pattern": decimal().String()}}}
	})
)

// forms are the definitions of all forms of values.
func (s schema) forms() object {
	list := func(item any) object { // of any length, or one by itself
		return object{"anyOf": []any{item, object{"type": "array", "items": item}}}
	}
	between := func(low, high float64) object {
		return object{"anyOf": []any{object{"type": "number", "minimum": low, "maximum": high}, object{"type": "string", "pattern": decimal().String()}}}
	}
	byID := func(kind Kind) object { return oneOfWords(s.ids(kind)) }
	numbers := func(kinds ...Kind) object { return s.byIDs(ref(formNumber), kinds...) }
	scale := slices.Sorted(maps.Keys(s.b.Words))
	return object{
		string(formText): textual, string(formTexts): list(ref(formText)), string(formAny): object{}, string(formFlag): object{"enum": append(truths(true), truths(false)...)},
		string(formScalar): textual, string(formMinutes): between(0, 1e6),
		string(formNumber): numeric(), string(formDays): between(0, 3650), string(formWhole): numeric(), string(formFraction): between(0, 1),
		string(formProbability): object{"anyOf": []any{oneOfWords(scale), between(0, 1)}},
		string(formSure):        object{"anyOf": []any{between(0, 1), s.byWords(placeWords, between(0, 1))}}, string(formPerThousand): between(0, 1000),
		string(formQuantity): textual, string(formRange): object{"type": "array", "minItems": 2, "maxItems": 2, "items": ref(formQuantity)},
		string(formWords):      object{"type": "array", "minItems": 2, "maxItems": mostValues, "items": ref(formText)},
		string(formExpression): textual, string(formExpressions): list(ref(formExpression)),
		string(formSource):  oneOfWords(append(slices.DeleteFunc(s.ids(KindSource), func(id string) bool { return id == commonPractice }), commonPractice)),
		string(formCauseID): byID(KindCause), string(formCauseIDs): list(ref(formCauseID)),
		string(formSymptomID): byID(KindSymptom), string(formSymptomIDs): list(ref(formSymptomID)),
		string(formWarningIDs): list(byID(KindWarning)), string(formRemedyID): byID(KindRemedy),
		string(formCauseRemedies): list(object{"anyOf": []any{ref(formRemedyID), s.mapOf("helps", "")}}),
		string(formMoreLikely):    object{"type": []any{"array"}, "items": s.mapOf("likelier", "")},
		string(formBands):         object{"type": "array", "minItems": 2, "items": object{"anyOf": []any{textual, object{"type": "object", "minProperties": 1, "maxProperties": 1, "additionalProperties": ref(formExpression)}}}},
		string(formRows):          object{"type": "array", "minItems": 1, "items": s.row()},
		string(formThen):          s.then(),
		string(formPlace):         oneOfWords(placeWords), string(formPlaces): list(ref(formPlace)),
		string(formWho): oneOfWords(whoWords[1:]), string(formStops): oneOfWords(stopsWords), string(formPutsIn): oneOfWords(PutsInWords), string(formHazard): list(oneOfWords(append([]string{"none"}, hazardWords...))),
		string(formLevel): oneOfWords([]string{string(DangerLevel), string(WarningLevel), string(CautionLevel), string(NoticeLevel)}), string(formOutcome): oneOfWords(Words(RemedyOutcomes)), string(formCaseOutcome): oneOfWords(Words(Outcomes)),
		string(formProof): s.mapOf("proof", ""), string(formComplaint): s.bySymptom("complaint", false, "bad", "well"), string(formEffort): s.mapOf("effort", ""), string(formTop): s.mapOf("top", ""),
		string(formWordScale): object{"type": "object", "propertyNames": object{"pattern": idPattern}, "additionalProperties": between(0, 1)},
		string(formParts):     object{"type": "object", "additionalProperties": ref(formNumber)}, string(formSiteValues): object{"type": "object"},
		string(formHeardAs): object{"type": "object", "additionalProperties": ref(formTexts)},
		string(formFormat):  object{"enum": []any{1, "1"}}, string(formCombine): object{"enum": []any{"independent"}}, string(formBy): object{"enum": []any{"asking", "looking"}},
		string(formFilledBy): object{"anyOf": []any{oneOfWords(filledBy), object{"type": "string", "pattern": onSheet().String()}}},
		string(formGivens):   s.givens(), string(formFindings): list(s.bySymptom("finding", true, "value")), string(formDone): list(object{"anyOf": []any{ref(formStepID), s.mapOf("done", "")}}),
		string(formDropNow): object{"enum": []any{string(StillDown), string(Well)}}, string(formAddress): numeric(), string(formAddresses): list(ref(formAddress)),
		string(formSupplies): object{"type": []any{"array", "null"}, "items": object{"type": "array", "items": ref(formAddress)}},
		string(formDrops):    object{"type": []any{"object", "null"}, "propertyNames": object{"pattern": "^[0-9]+$"}, "additionalProperties": oneOfWords(dropStates)},
		string(formExpect):   s.mapOf("expectation", ""), string(formSymptomValue): textual,
		string(formInFirst): object{"type": "object", "propertyNames": object{"pattern": "^[0-9]+$"}, "additionalProperties": ref(formCauseIDs)},
		string(formChances): s.byIDs(ref(formProbability), KindCause, KindCondition), string(formCauseNumbers): numbers(KindCause), string(formConditionNums): numbers(KindCondition),
		string(formStepNumbers): numbers(KindTest, KindRemedy, KindSymptom), string(formStepID): oneOfWords(append(append(s.ids(KindTest), s.ids(KindRemedy)...), s.ids(KindSymptom)...)), string(formStepIDs): list(ref(formStepID)),
		"case": s.formCase(),
	}
}

// formCase is a case; a key with nothing behind it, as on a form, says nothing.
func (s schema) formCase() object {
	m := s.mapOf("case", "")
	for name, v := range m["properties"].(object) {
		one := v.(object)
		if says, is := one["description"].(string); is {
			m["properties"].(object)[name] = object{"anyOf": []any{one["allOf"].([]any)[0], object{"type": "null"}}, "description": says}
		}
	}
	return m
}

func (s schema) byIDs(value any, kinds ...Kind) object {
	properties := object{}
	for _, kind := range kinds {
		for _, id := range s.ids(kind) {
			properties[id] = value
		}
	}
	return object{"type": "object", "properties": properties, "additionalProperties": false}
}

func (s schema) byWords(list []string, value any) object {
	properties := object{}
	for _, w := range list {
		properties[w] = value
	}
	return object{"type": "object", "properties": properties, "additionalProperties": false}
}

// row is a row of shows: what is no key of a row is a value of the symptom.
func (s schema) row() object {
	m := s.mapOf("row", "")
	m["additionalProperties"] = ref(formProbability)
	return m
}

// then is what a rule concludes; a name that nothing declares is a plain fact.
func (s schema) then() object {
	properties := object{}
	for i := range s.b.Names {
		if n := &s.b.Names[i]; slices.Contains(upward, n.Kind) {
			properties[n.ID] = s.valueOf(n)
		}
	}
	return object{"type": "object", "minProperties": 1, "properties": properties, "additionalProperties": textual}
}

// valueOf is what a name can be.
func (s schema) valueOf(n *Name) any {
	switch n.Type {
	case Flag:
		return ref(formFlag)
	case Choice:
		return oneOfWords(n.Words)
	}
	return ref(formQuantity)
}

func (s schema) givens() object {
	properties := object{}
	for i := range s.b.Givens {
		g := &s.b.Givens[i]
		one := object{"allOf": []any{s.valueOf(&s.b.Names[g.Name])}}
		if g.Ask != "" {
			one["description"] = g.Ask
		}
		properties[g.ID] = one
	}
	return object{"type": []any{"object", "null"}, "properties": properties, "additionalProperties": false}
}

// bySymptom is a map that names a symptom under its key symptom, and under others
// values of that; with readings where it has bands.
func (s schema) bySymptom(of string, readings bool, valueKeys ...string) object {
	m := s.mapOf(of, "")
	var each []any
	for i := range s.b.Symptoms {
		sy := &s.b.Symptoms[i]
		value := oneOfWords(sy.Values)
		if sy.Banded() && readings {
			value = object{"anyOf": []any{value, textual}}
		}
		properties := object{}
		for _, key := range valueKeys {
			properties[key] = described(value, sy.Ask)
		}
		each = append(each, object{"if": object{"properties": object{"symptom": object{"const": sy.ID}}, "required": []any{"symptom"}}, "then": object{"properties": properties}})
	}
	if len(each) > 0 {
		m["allOf"] = each
	}
	return m
}

// ids are those of one kind, in order.
func (s schema) ids(kind Kind) []string {
	var ids []string
	for id, r := range s.b.index {
		if r.Kind == kind {
			ids = append(ids, id)
		}
	}
	slices.Sort(ids)
	return ids
}

// oneOfWords is one of some words; nothing, where there are none.
func oneOfWords(list []string) object {
	if len(list) == 0 {
		return object{"not": object{}}
	}
	return object{"enum": words(list)}
}

// words are texts as YAML may read them: true and 1 are also what they look like.
func words(list []string) []any {
	all := []any{}
	for _, w := range list {
		all = append(all, w)
		switch x, err := strconv.ParseFloat(w, 64); {
		case w == "true" || w == "false":
			all = append(all, w == "true")
		case err == nil && decimal().MatchString(w):
			all = append(all, x)
		}
	}
	return all
}

// truths are the words for true, or for false.
func truths(is bool) []any {
	if is {
		return []any{true, "true", "True", "TRUE", "yes", "Yes", "YES"}
	}
	return []any{false, "false", "False", "FALSE", "no", "No", "NO"}
}

func anys(list []string) []any {
	all := make([]any, len(list))
	for i, s := range list {
		all[i] = s
	}
	return all
}
