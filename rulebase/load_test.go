package rulebase_test

import (
	"os"
	"path/filepath"
	"testing"

	"downdrop/rulebase"
)

// checkFolders are the rulebases with known answers, by folder.
func checkFolders(t testing.TB) []string {
	var folders []string
	for _, pattern := range []string{"asia/rulebase", "sequencing/rulebase", "noisy_or/*/rulebase", "features/*/rulebase"} {
		found, err := filepath.Glob(filepath.Join("../testdata/checks", pattern))
		if err != nil || len(found) == 0 {
			t.Fatalf("no rulebases at %s: %v", pattern, err)
		}
		folders = append(folders, found...)
	}
	return folders
}

func TestCheckRulebasesLoad(t *testing.T) {
	for _, folder := range checkFolders(t) {
		base, err := rulebase.LoadFolder(folder)
		if err != nil {
			t.Errorf("%s:\n%v", folder, err)
			continue
		}
		cases, _ := filepath.Glob(filepath.Join(filepath.Dir(folder), "case*.yaml"))
		for _, file := range cases {
			text, err := os.ReadFile(file)
			if err != nil {
				t.Fatal(err)
			}
			read := func() error { _, err := base.ReadCase(file, text); return err }
			if filepath.Base(file) == "cases.yaml" {
				read = func() error { _, err := base.ReadCases(file, text); return err }
			}
			if err := read(); err != nil {
				t.Errorf("%s:\n%v", file, err)
			}
		}
	}
}

func TestShippedRulebaseLoads(t *testing.T) {
	if _, err := rulebase.LoadShipped(); err != nil {
		t.Fatal(err)
	}
}
