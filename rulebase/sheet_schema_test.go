package rulebase_test

import (
	"os"
	"path/filepath"
	"strings"
	"testing"

	"github.com/rogpeppe/go-internal/txtar"
	"github.com/santhosh-tekuri/jsonschema/v6"

	"downdrop/rulebase"
)

var testKinds = []string{"token_pair", "tia485_polled", "profibus_dp", "can"}

func compiledSheet(t *testing.T) *jsonschema.Schema {
	t.Helper()
	return compiledSchema(t, rulebase.SheetSchema(testKinds))
}

// What the reader takes the schema takes: the example sheets, and a sheet with
// every key there is.
func TestSheetSchemaTakesWhatIsRead(t *testing.T) {
	s := compiledSheet(t)
	files, err := filepath.Glob("../cases/examples/sheets/*.yaml")
	if err != nil || len(files) == 0 {
		t.Fatal("no example sheets", err)
	}
	files = append(files, "testdata/sheet_with_everything.yaml")
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if _, err := rulebase.ReadSheet(file, text, testKinds); err != nil {
			t.Errorf("%s is not read: %v", file, err)
		}
		if err := validates(t, s, file, text); err != nil {
			t.Errorf("the schema refuses %s: %v", file, err)
		}
	}
}

// testdata/sheet_with_everything.yaml uses every key of the schema.
func TestSheetWithEverything(t *testing.T) {
	text, err := os.ReadFile("testdata/sheet_with_everything.yaml")
	if err != nil {
		t.Fatal(err)
	}
	schema := rulebase.SheetSchema(testKinds).(map[string]any)
	for entry, def := range schema["definitions"].(map[string]any) {
		if !strings.HasPrefix(entry, "entry_") {
			continue
		}
		for key := range def.(map[string]any)["properties"].(map[string]any) {
			if !strings.Contains(string(text), key+":") {
				t.Errorf("%s: no %q in the sheet with everything", entry, key)
			}
		}
	}
}

// Of the bad sheets the schema refuses those whose mistake is in a key, a word or
// a missing unit; sums and places it cannot see.
func TestSheetSchemaRefuses(t *testing.T) {
	s := compiledSheet(t)
	unseen := map[string]bool{ // what only reading sees
		"beside_backwards": true, "beyond_the_trunk": true, "drop_twice": true, "fed_from_later": true, "feeds_nobody": true, "impossible": true,
		"feet_and_metres": true, "ohms_twice": true, "out_of_order": true, "points_on": true, "power_and_current": true, "ohm_prefix": true, "newer": true, "comma": true,
	}
	for _, a := range archives(t, "testdata/bad_sheets/*.txtar", 20) {
		archive, err := txtar.ParseFile(a)
		if err != nil {
			t.Fatal(err)
		}
		name := strings.TrimSuffix(filepath.Base(a), ".txtar")
		err = validates(t, s, a, archive.Files[0].Data)
		if unseen[name] != (err == nil) {
			t.Errorf("%s: the schema says %v", name, err)
		}
	}
}
