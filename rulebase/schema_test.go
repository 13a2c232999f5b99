package rulebase_test

import (
	"bytes"
	"encoding/json"
	"errors"
	"os"
	"path/filepath"
	"regexp"
	"slices"
	"strings"
	"testing"
	"testing/fstest"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"downdrop/rulebase"
	"downdrop/rulebase/source"
	"downdrop/testdata/support"
)

// compiled is the schema of a kind of file, as an editor has it.
func compiled(t testing.TB, b *rulebase.Base, kind rulebase.FileKind) *jsonschema.Schema {
	t.Helper()
	return compiledSchema(t, b.Schema(kind))
}

// compiledSchema is a schema as an editor has it: through JSON.
func compiledSchema(t testing.TB, schema any) *jsonschema.Schema {
	t.Helper()
	text, err := json.Marshal(schema)
	if err != nil {
		t.Fatal(err)
	}
	doc, err := jsonschema.UnmarshalJSON(bytes.NewReader(text))
	if err != nil {
		t.Fatal(err)
	}
	c := jsonschema.NewCompiler()
	if err := c.AddResource("schema.json", doc); err != nil {
		t.Fatal(err)
	}
	s, err := c.Compile("schema.json")
	if err != nil {
		t.Fatal(err)
	}
	return s
}

// asEditor is a value as an editor of YAML reads it: by its looks.
func asEditor(n *source.Node) any {
	switch n.Shape {
	case source.Map:
		m := map[string]any{}
		for i, k := range n.Keys {
			m[k.Text] = asEditor(n.Items[i])
		}
		return m
	case source.List:
		list := []any{}
		for _, item := range n.Items {
			list = append(list, asEditor(item))
		}
		return list
	}
	switch {
	case n.Empty:
		return nil
	case n.Quoted:
	case slices.Contains([]string{"true", "True", "TRUE", "false", "False", "FALSE"}, n.Text):
		return strings.EqualFold(n.Text, "true")
	case regexp.MustCompile(`^[-+]?[0-9]+(\.[0-9]+)?$`).MatchString(n.Text):
		return json.Number(strings.TrimPrefix(n.Text, "+"))
	}
	return n.Text
}

func validates(t testing.TB, s *jsonschema.Schema, file string, text []byte) error {
	t.Helper()
	r := source.NewReader()
	doc := r.Read(file, text)
	if doc == nil || len(r.Problems.List) > 0 {
		return errors.New("no YAML of ours")
	}
	return s.Validate(asEditor(doc))
}

func TestSchemaTakesWhatTheLoaderTakes(t *testing.T) {
	t.Parallel()
	support.Alone(t)
	shipped, err := rulebase.LoadShipped()
	if err != nil {
		t.Fatal(err)
	}
	schemas := map[rulebase.FileKind]*jsonschema.Schema{}
	for _, kind := range rulebase.FileKinds {
		schemas[kind] = compiled(t, shipped, kind)
	}
	n := 0
	check := func(pattern string, kind func(file string) rulebase.FileKind) {
		files, err := filepath.Glob(pattern)
		if err != nil || len(files) == 0 {
			t.Fatalf("nothing at %s: %v", pattern, err)
		}
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			if err := validates(t, schemas[kind(file)], file, text); err != nil {
				t.Errorf("%s: %v", file, err)
			}
			n++
		}
	}
	check("drop/*.yaml", func(file string) rulebase.FileKind {
		if rulebase.IsRuleFile(filepath.Base(file)) {
			return rulebase.RuleFile
		}
		return rulebase.TestFile
	})
	check("drop/bench/*.yaml", func(string) rulebase.FileKind { return rulebase.ProcedureFile })
	check("drop/bench/units/*.yaml", func(string) rulebase.FileKind { return rulebase.UnitFile })
	check("../cases/examples/*.yaml", func(string) rulebase.FileKind { return rulebase.CaseFile })
	t.Logf("%d files", n)
	checks := checkFolders(t)
	few := support.Deep(t, 1) == 1
	for i, folder := range append(checks, "testdata/good", "testdata/example", "../cmd/downdrop/starter/over", "../cmd/downdrop/starter/alone") {
		if few && i < len(checks) && i%3 > 0 {
			continue // to make a schema takes a while
		}
		b, err := rulebase.LoadFolder(folder)
		if err != nil {
			t.Fatal(err)
		}
		s, tests := compiled(t, b, rulebase.RuleFile), compiled(t, b, rulebase.TestFile)
		files, _ := filepath.Glob(filepath.Join(folder, "*.yaml"))
		for _, file := range files {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			of := s
			if !rulebase.IsRuleFile(filepath.Base(file)) {
				of = tests
			}
			if err := validates(t, of, file, text); err != nil {
				t.Errorf("%s: %v", file, err)
			}
		}
	}
}

// seenBySchema are the kinds of problems that a schema must see: what depends on
// one value by itself, or on the ids of the rulebase.
var seenBySchema = []string{"unknown-key", "unknown-section", "missing-key", "no-source", "word", "flag", "empty", "shape", "number", "range", "probability", "unknown-id"}

// notSeen are bad samples with such a problem that no schema sees, each with why.
var notSeen = map[string]string{
	"expression_with_a_leading_zero": "it stands inside an expression",
	"number_with_a_leading_zero":     "to an editor 010 is the number 10",
	"given_default_no_flag":          "it depends on the other keys of the given",
	"given_default_no_value":         "it depends on the other keys of the given",
	"given_default_outside":          "it depends on the other keys of the given",
	"given_range_falls":              "one number is compared with another",
	"given_outside_its_range":        "a reading with a unit is text",
}

func TestSchemaRefusesWhatItCanSee(t *testing.T) {
	good := goodBase(t)
	rules, cases := compiled(t, good, rulebase.RuleFile), compiled(t, good, rulebase.CaseFile)
	refused, could := 0, 0
	for pattern, s := range map[string]*jsonschema.Schema{"testdata/bad/*.txtar": rules, "testdata/bad_cases/*.txtar": cases} {
		for _, file := range archives(t, pattern, 20) {
			a, err := txtar.ParseFile(file)
			if err != nil {
				t.Fatal(err)
			}
			name, says := strings.TrimSuffix(filepath.Base(file), ".txtar"), string(a.Files[len(a.Files)-1].Data)
			bad := false
			for _, f := range a.Files[:len(a.Files)-1] {
				bad = bad || validates(t, s, f.Name, f.Data) != nil
			}
			sees := slices.ContainsFunc(seenBySchema, func(kind string) bool { return strings.Contains(says, "["+kind+"]\n") })
			if sees {
				could++
			}
			if bad {
				refused++
			}
			if _, listed := notSeen[name]; sees && bad == listed {
				t.Errorf("%s: refused %v, where loading says\n%s", name, bad, says)
			}
		}
	}
	t.Logf("%d bad samples refused, of %d that have a problem a schema can see", refused, could)
}

// A value that YAML reads as a truth or a number may be written without quotes, as the loader takes it.
func TestSchemaTakesValuesWithoutQuotes(t *testing.T) {
	base, err := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"rules.yaml": {Data: []byte("rulebase: {name: bare}\nsymptoms:\n  s: {ask: Which, values: [\"true\", \"7\", other]}\n")}}})
	if err != nil {
		t.Fatal(err)
	}
	s := compiled(t, base, rulebase.CaseFile)
	for value, takes := range map[string]bool{"true": true, `"true"`: true, "7": true, `"7"`: true, "other": true, "false": false, "8": false, "others": false} {
		text := []byte("findings: [{symptom: s, value: " + value + "}]\n")
		_, err := base.ReadCase("case.yaml", text)
		if seen := validates(t, s, "case.yaml", text); (seen == nil) != takes || (err == nil) != takes {
			t.Errorf("value: %s: the schema says %v, reading it %v", value, seen, err)
		}
	}
}

// The keys that the loader takes are those of the schema, section by section: an
// entry with each key that any map has is loaded, and looked up in the schema.
func TestSchemaHasTheLoadersKeys(t *testing.T) {
	support.Alone(t)
	good := goodBase(t)
	doc := good.Schema(rulebase.RuleFile).(map[string]any)
	definitions := doc["definitions"].(map[string]any)
	all := map[string]bool{"nonsense": true}
	for _, d := range definitions {
		if p, ok := d.(map[string]any)["properties"].(map[string]any); ok {
			for k := range p {
				all[k] = true
			}
		}
	}
	text, err := os.ReadFile("testdata/good/rulebase.yaml")
	if err != nil {
		t.Fatal(err)
	}
	for section, d := range doc["properties"].(map[string]any) {
		if section == "note" {
			continue
		}
		keys := d.(map[string]any)["properties"]
		if section != "rulebase" {
			keys = definitions[section].(map[string]any)["properties"]
		}
		id := "made_up"
		if section == "on_site" {
			id = "hum"
		}
		for key := range all {
			entry := section + ":\n  " + id + ": {" + key + ": 1}\n"
			files := fstest.MapFS{"rulebase.yaml": {Data: text}, "own.yaml": {Data: []byte(entry)}}
			if section == "rulebase" {
				entry = "rulebase: {name: small, " + key + ": 1}\n"
				if key == "name" {
					entry = "rulebase: {name: small}\n"
				}
				files = fstest.MapFS{"rulebase.yaml": {Data: []byte(entry)}}
			}
			_, err := rulebase.Load(rulebase.Layer{Name: "x", FS: files})
			refuses := err != nil && strings.Contains(err.Error(), "cannot have \""+key+"\"")
			if _, has := keys.(map[string]any)[key]; has == refuses {
				t.Errorf("%s: the schema has %s: %v, the loader refuses it: %v", section, key, has, refuses)
			}
		}
	}
}

// A key that the schema asks for is one without which loading fails, and the other
// way round.
func TestSchemaAsksForWhatTheLoaderNeeds(t *testing.T) {
	s := compiled(t, goodBase(t), rulebase.RuleFile)
	for section, entry := range map[string][]string{
		"causes":     {"name: A", "part: one", "per_thousand: 3", "source: handbook", "remedy: replace_fuse"},
		"conditions": {"when: fuse_open", "says: it is so"},
		"symptoms":   {"ask: What", "values: [a, b]", "by: looking"},
		"rules":      {"when: mode == stop", "tell: Stop", "source: handbook", "because: it is so"},
		"tests":      {"do: It", "minutes: 3", "yields: [hum]", "who: technician"},
		"remedies":   {"do: It", "minutes: 3", "ends_as: adjusted"},
		"warnings":   {"level: danger", "says: Beware", "because: it is so"},
		"sources":    {"says: A book", "kind: practice"},
	} {
		for left := -1; left < len(entry); left++ {
			keys := slices.Clone(entry)
			if left >= 0 {
				keys = slices.Delete(keys, left, left+1)
			}
			text := []byte(section + ":\n  made_up: {" + strings.Join(keys, ", ") + "}\n")
			good, err := os.ReadFile("testdata/good/rulebase.yaml")
			if err != nil {
				t.Fatal(err)
			}
			_, loading := rulebase.Load(rulebase.Layer{Name: "x", FS: fstest.MapFS{"a.yaml": {Data: good}, "own.yaml": {Data: text}}})
			if editing := validates(t, s, "own.yaml", text); (loading == nil) != (editing == nil) {
				t.Errorf("%s\nloading: %v\nediting: %v", text, loading, editing)
			}
		}
	}
}
