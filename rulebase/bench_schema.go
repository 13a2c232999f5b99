package rulebase

import "strings"

// procedure is the schema of a bench procedure.
func (s schema) procedure() object {
	warning := s.benchMap("bench_warning", nil, "level", "says")
	reading := s.benchMap("bench_reading", nil, "reading", "ask")
	step := s.benchMap("bench_step", object{"readings": listOf(reading), "warnings": ref(formTexts), "proves": oneOfWords(benchProofs)}, "step", "name", "minutes", "readings")
	ids := func(item any) object {
		return object{"type": "object", "propertyNames": object{"pattern": idPattern}, "additionalProperties": item}
	}
	return s.benchMap("procedure", object{"steps": listOf(step), "warnings": ids(warning), "forces": ids(ref(formText)), "passed_is": oneOfWords([]string{string(UnitGood), string(UnitNotProven)})},
		"procedure", "name", "source", "steps")
}

func listOf(item object) object { return object{"type": "array", "minItems": 1, "items": item} }

// benchMap is a map with the keys of a table; instead are keys whose form is one of their own.
func (s schema) benchMap(of string, instead object, required ...string) object {
	properties := object{}
	for _, k := range benchKeys()[of] {
		form, own := instead[k.name]
		if !own {
			form = ref(k.form)
		}
		properties[k.name] = described(form.(object), k.says)
	}
	return object{"type": "object", "properties": properties, "additionalProperties": false, "required": anys(required)}
}

// unit is the schema of a unit profile, made from the facts that one can have.
func (s schema) unit() object {
	properties := object{"profile": described(ref(formText), "Its name."), "format": ref(formFormat), "note": object{}, "type": described(ref(formText), "Of the unit, as on its label.")}
	needed := map[string][]string{}
	sections := map[string]object{}
	for i := range ProfileKeys {
		k := &ProfileKeys[i]
		section, name, _ := strings.Cut(k.Name, ".")
		if sections[section] == nil {
			sections[section] = object{"note": object{}}
		}
		var form object
		switch k.Type {
		case Flag:
			form = ref(formFlag)
		case Choice:
			form = oneOfWords(k.OneOf)
		default:
			form = ref(formText)
		}
		sections[section][name] = described(form, strings.ToUpper(k.Means[:1])+k.Means[1:]+".")
		if k.Needed {
			needed[section] = append(needed[section], name)
		}
	}
	required := []string{"profile", "type"}
	for _, section := range profileSections() {
		one := object{"type": "object", "properties": sections[section], "additionalProperties": false}
		if list := needed[section]; list != nil {
			one["required"] = anys(list)
			required = append(required, section)
		}
		properties[section] = one
	}
	module := object{"slot": ref(formWhole), "kind": oneOfWords([]string{"input", "output"}), "points": ref(formWhole), "each": ref(formText), "current": ref(formText), "note": object{}}
	properties["modules"] = object{"type": "array", "items": object{"type": "object", "properties": module, "additionalProperties": false, "required": anys([]string{"slot", "kind", "points"})}}
	return object{"type": "object", "properties": properties, "additionalProperties": false, "required": anys(required)}
}
