package rulebase_test

import (
	"fmt"
	"strings"
	"testing"
	"time"

	"downdrop/rulebase"
	"downdrop/testdata/support"
)

// repeated is a text of about 300 kB made of one line, in which %d counts and %n is the next number.
func repeated(begin, line string) string {
	var b strings.Builder
	b.WriteString(begin)
	for i := 0; b.Len() < 300_000; i++ {
		b.WriteString(strings.NewReplacer("%d", fmt.Sprint(i), "%n", fmt.Sprint(i+1)).Replace(line))
	}
	return b.String()
}

// No rulebase and no case file holds the program up, right or wrong: what looks
// for near misses, repeats and circles does not grow with the square of the text.
func TestHugeRulebases(t *testing.T) {
	support.Alone(t)
	cause := "  c%d: {name: n, per_thousand: 1, source: common_practice, "
	for name, text := range map[string]string{
		"causes":                    repeated(header+"causes:\n", cause+"part: unit}\n"),
		"unknown remedies":          repeated(header+"causes:\n", cause+"remedy: mend_%d}\n"),
		"unknown names":             repeated(header+"conditions:\n", "  c%d: {when: d%d}\n"),
		"a chain of conditions":     repeated(header+"causes: {a: {name: a, per_thousand: 1, source: common_practice}}\nconditions:\n  c0a: {when: a}\n", "  c%da: {when: a or c%d}\n  c%d: {when: not a}\n"),
		"one circle":                repeated(header+"conditions:\n  c: {when: not c}\n", "  c%d: {when: c or c%d}\n"),
		"a chain of rules":          repeated(header+"givens: {f0: {}}\nrules:\n", "  r%d: {when: f%d, then: {f%n: true}, source: common_practice}\n"),
		"a chain from a symptom":    repeated(header+"symptoms: {s: {ask: a, values: [a, b], shows: [{a: 1}]}}\nrules:\n  r: {when: s == a, then: {f0: true}, source: common_practice}\n", "  r%d: {when: f%d, then: {f%n: true}, source: common_practice}\n"),
		"rules that read their own": repeated(header+"rules:\n", "  r%d: {when: not known(f%d), then: {f%d: true}, source: common_practice}\n"),
		"values":                    repeated(header+"symptoms:\n  s:\n    ask: \"?\"\n    values:\n", "      - v%d\n"),
		"rows":                      repeated(header+"symptoms:\n  s:\n    ask: \"?\"\n    values: [a, b]\n    combine: independent\n    shows:\n", "      - {a: 0.%d}\n"),
		"keys":                      repeated(header+"causes:\n  c:\n", "    key%d: 1\n"),
		"the same id":               repeated(header+"causes:\n", "  c: {a: %d}\n"),
		"sections":                  repeated(header, "section%d: {}\n"),
		"a list of one id":          repeated(header+"tests:\n  t:\n    do: a\n    minutes: 1\n    warnings:\n", "      - w%d\n"),
		"plain facts of many words": repeated(header+"givens: {g: {}}\nrules:\n", "  r%d: {when: g, then: {f: w%d}, source: common_practice}\n"),
	} {
		begin := time.Now()
		_, err := loadTexts(t, map[string]string{"x.yaml": text})
		says := ""
		if err != nil {
			says = err.Error()
		}
		if took := time.Since(begin); took > 30*time.Second {
			t.Errorf("%s: %v", name, took)
		} else if testing.Verbose() {
			t.Logf("%s: %v, %d problems", name, took.Round(time.Millisecond), strings.Count(says, "\n")/3)
		}
	}
	base := goodBase(t)
	for name, text := range map[string]string{
		"findings": repeated("findings:\n", "  - {symptom: s%d, value: 1}\n"),
		"done":     repeated("done:\n", "  - replace_fuse\n"),
		"after":    repeated("done: [replace_fuse]\nfindings:\n", "  - {symptom: hum, value: yes, after: mend%d}\n"),
		"givens":   repeated("givens:\n", "  g%d: 1\n"),
		"expect":   repeated("expect:\n  causes:\n", "    c%d: 0.5\n"),
	} {
		begin := time.Now()
		_, err := base.ReadCase("x.yaml", []byte(text))
		if took := time.Since(begin); took > 30*time.Second || (err == nil) != (name == "done") {
			t.Errorf("%s: %v, %v", name, took, err)
		} else if testing.Verbose() {
			t.Logf("%s: %v", name, took.Round(time.Millisecond))
		}
	}
}

// What means something in expressions is no id, in any section.
func TestReservedWords(t *testing.T) {
	for _, word := range strings.Fields("and or not in contains matches startsWith endsWith true false nil let if else known min max abs when because source note") {
		for section, entry := range map[string]string{"givens": "{}", "conditions": "{when: true}", "warnings": "{level: notice, says: a}", "sources": "{says: a}"} {
			_, err := loadTexts(t, map[string]string{"x.yaml": header + section + ":\n  " + word + ": " + entry + "\n"})
			if err == nil || !strings.Contains(err.Error(), "[id]") {
				t.Errorf("%s is an id of %s: %v", word, section, err)
			}
		}
		_, err := loadTexts(t, map[string]string{"x.yaml": header + "rules:\n  r: {when: true, then: {" + word + ": true}, source: common_practice}\n"})
		if err == nil || !strings.Contains(err.Error(), "[id]") {
			t.Errorf("%s is a plain fact: %v", word, err)
		}
	}
}

// Numbers are read by their text wherever they stand, never by YAML's guess.
func TestFlagsAndNumbersByTheirText(t *testing.T) {
	for text, want := range map[string]int{"true": 1, "YES": 1, "Yes": 1, "'true'": 1, "false": 0, "no": 0, "NO": 0, "on": -1, "1": -1, "y": -1, "~": -1, "": -1, "[]": -1} {
		b, err := loadTexts(t, map[string]string{"x.yaml": header + "givens:\n  g: {default: " + text + "}\n"})
		switch {
		case text == "1":
			if err != nil || b.Givens[0].Type != rulebase.Number {
				t.Errorf("a default of 1: %v", err)
			}
		case (err != nil) != (want < 0):
			t.Errorf("%q: %v", text, err)
		case err == nil && int(b.Givens[0].Default.Word) != want+1:
			t.Errorf("%q is %d", text, b.Givens[0].Default.Word)
		}
	}
	for text, want := range map[string]float64{"6": 6, "6.5": 6.5, "1e2": 100, "'6'": 6, "0": 0, "0.25": 0.25, "12345678": 12345678} {
		b, err := loadTexts(t, map[string]string{"x.yaml": header + "remedies:\n  m: {do: a, minutes: " + text + "}\n"})
		if want > 1e6 {
			if err == nil {
				t.Errorf("%q loads", text)
			}
		} else if err != nil || b.Remedies[0].Minutes != want {
			t.Errorf("%q: %v", text, err)
		}
	}
}
