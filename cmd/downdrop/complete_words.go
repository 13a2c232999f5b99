package main

import (
	"context"
	"slices"
	"strconv"
	"strings"
	"sync"

	"downdrop/cases"
	"downdrop/cmd/internal/page"
	"downdrop/engine/ways"
	"downdrop/rulebase"
)

// These tables say what may stand at each place of a command line. A test asks for
// every flag with a value and every argument to be in one of them.

// ownWords is a place for somebody's own words, figures or new names.
var ownWords = completion{}

func words(list ...string) completion {
	return completion{list: func(*asked) []string { return slices.Clone(list) }}
}

// starts are words with a value behind them, as kind=text.
func starts(list []string) completion {
	return completion{list: func(*asked) []string {
		var out []string
		for _, w := range list {
			out = append(out, w+"=")
		}
		return out
	}}
}

func files(endings ...string) completion { return completion{files: endings} }

func fromBase(list func(*rulebase.Base, string) []string) completion {
	return completion{list: func(a *asked) []string {
		if base := a.base(); base != nil {
			return list(base, a.begun)
		}
		return nil
	}}
}

var (
	anyFile = completion{any: true}
	folders = completion{dirs: true}
	// behind check, the kinds of findings once they are to be explained
	foldersOrKinds = completion{dirs: true, list: func(a *asked) []string {
		if explain, err := a.cmd.Flags().GetBool("explain"); err != nil || !explain {
			return nil
		}
		return slices.Sorted(slices.Values(kindNames()))
	}}
	yamlFiles  = files("yaml", "yml")
	jsonLines  = files("jsonl")
	tableFiles = files("csv", "txt", "tsv")

	openCases   = completion{list: casesWhere(cases.Query{Unsettled: true})}
	closedCases = completion{list: casesWhere(cases.Query{State: cases.StateClosed})}
	allCases    = completion{list: casesWhere(cases.Query{})}
	restCases   = completion{list: func(a *asked) []string { // a case is named once
		return slices.DeleteFunc(allCases.list(a), func(w string) bool {
			code, _, _ := strings.Cut(w, "\t")
			return slices.Contains(a.args, code)
		})
	}}
	unitsHere = completion{list: unitsWhere(func(c *cases.Card) bool { return c.State().InShop() })}
	allUnits  = completion{list: unitsWhere(func(*cases.Card) bool { return true })}

	seen       = fromBase(seeWords)
	steps      = fromBase(stepWords)
	remedies   = fromBase(func(b *rulebase.Base, _ string) []string { return named(b.Remedies) })
	symptomIDs = fromBase(func(b *rulebase.Base, _ string) []string {
		var out []string
		for i := range b.Symptoms {
			out = append(out, b.Symptoms[i].ID+"\t"+b.Symptoms[i].Ask)
		}
		return out
	})
	causeIDs = fromBase(func(b *rulebase.Base, _ string) []string {
		var out []string
		for i := range b.Causes {
			out = append(out, b.Causes[i].ID+"\t"+b.Causes[i].Name)
		}
		return out
	})
	procedures = completion{list: procedureIDs}
	profiles   = completion{list: profileNames, any: true}
	verdicts   = words(rulebase.Words(rulebase.Verdicts)...)
)

// argumentWords are what commands take, by their path: the last repeats where a
// command takes any number.
var argumentWords = sync.OnceValue(func() map[string][]completion {
	return map[string][]completion{
		"diagnose": {yamlFiles},
		"chart":    {yamlFiles},

		"case open": {yamlFiles}, "case about": {openCases}, "case alike": {allCases}, "case show": {allCases}, "case talk": {openCases},
		"case accept": {openCases, {list: acceptable}}, "case attach": {openCases, anyFile}, "case close": {openCases}, "case reopen": {closedCases},
		"case cost": {openCases, starts(cases.MoneyNames)}, "case dispose": {openCases, words(cases.Dispositions...)}, "case done": {openCases, steps},
		"case export": {anyFile, restCases}, "case import": {jsonLines}, "case find": {ownWords}, "case hand-over": {openCases}, "case take-along": {openCases}, "case receive": {anyFile},
		"case sheet": {openCases, yamlFiles}, "case join": {restCases}, "case note": {openCases, ownWords}, "case put-in": {openCases, words(cases.PutInKinds...), ownWords},
		"case refer": {openCases, starts(cases.ReferenceKinds)}, "case resume": {openCases}, "case see": {openCases, seen},
		"case setting": {openCases, starts(cases.SettingNames)}, "case take-back": {openCases, {list: caseEntries}}, "case take-out": {openCases, {list: stillInPlace}}, "case take-over": {openCases},
		"case wait": {openCases, ownWords}, "case watch": {openCases, remedies},

		"line check": {yamlFiles}, "line echo": {yamlFiles}, "line locate": {yamlFiles}, "line new": {ownWords}, "line ohms": {yamlFiles, ownWords},
		"line waveform": {tableFiles},

		"decide": {yamlFiles},
		"triage": {tableFiles},

		"bench check": {yamlFiles}, "bench resume": {jsonLines}, "bench run": {procedures}, "bench show": {{list: procedureIDs, any: true}},
		"record make": {jsonLines}, "record verify": {files("html", "pdf")}, "record readings": {files("html", "pdf")},

		"unit answer": {unitsHere, {list: waysOffered}}, "unit list": {words(rulebase.Words(cases.ShopStates)...)}, "unit month": {ownWords},
		"unit move": {unitsHere, {list: statesToFollow}}, "unit note": {unitsHere, ownWords}, "unit offer": {unitsHere, yamlFiles},
		"unit receive": {{list: unitTypes}, ownWords}, "unit repair": {unitsHere, words(cases.UnitSections...)}, "unit return-note": {openCases},
		"unit show": {allUnits}, "unit statement": {unitsHere, words(cases.ContaminationStates...)}, "unit take-back": {unitsHere, {list: unitEntries}},

		"store backup": {ownWords}, "store restore": {anyFile}, "store move": {anyFile}, "store person": {ownWords, ownWords},

		"check": {foldersOrKinds}, "rulebase distinguish": {folders}, "rulebase format": {anyFile}, "rulebase handbook": {folders}, "rulebase layers": {folders},
		"rulebase new": {folders}, "rulebase schema": {folders}, "rulebase test": {folders},
		"learn": {jsonLines}, "replay": {jsonLines},

		"help json": {{list: func(*asked) []string { return documentNames() }}},
	}
})

// flagWords are what stands behind a flag, of one command or of all that have it.
var flagWords = sync.OnceValue(func() map[string]completion {
	return map[string]completion{
		"--rulebase": folders, "--store": anyFile, "--by": ownWords,
		"--given": fromBase(givenWords), "--see": seen, "--tool": fromBase(toolWords), "--at": words(placeWords...), "--who": words(whoWords...),
		"--confirmed": fromBase(func(b *rulebase.Base, _ string) []string { return warningIDs(b) }), "--sheet": yamlFiles,
		"--case": openCases, "downdrop --case": yamlFiles, "decide --case": yamlFiles, "rehearse --case": ownWords,
		"--kept": allCases, "bench run --unit": profiles, "bench show --unit": profiles, "case close --unit": verdicts, "unit move --unit": verdicts, "decide --unit": allUnits, "record make --unit": allUnits,
		"--answers": anyFile, "--file": anyFile, "--svg": anyFile, "--html": anyFile, "--plot": anyFile, "--qr": anyFile, "--out": anyFile, "--output": anyFile,
		"--junit": anyFile, "help man --out": folders, "--runs": folders, "--patch": anyFile, "--rejects": anyFile, "--offer-html": anyFile,
		"case done --drop": words(string(rulebase.Well), string(rulebase.StillDown)), "--drop": ownWords,
		"--location": {list: fromCases(func(s *cases.Summary) string { return s.Location })}, "--serial": {list: fromCases(func(s *cases.Summary) string { return s.Serial })},
		"--looks-like": {list: fromCases(func(s *cases.Summary) string { return s.Serial })}, "--type": {list: unitTypes},
		"--cause": causeIDs, "--weigh": causeIDs, "--symptom": symptomIDs, "--outcome": words(rulebase.Words(rulebase.Outcomes)...),
		"case open --reference": starts(cases.ReferenceKinds), "--reference": ownWords,
		"line locate --from": words("host", "end"), "--from": ownWords,
		"case hand-over --to": words(placeWords...), "case take-along --to": words(placeWords...), "rulebase handbook --to": anyFile, "rulebase schema --to": folders, "--to": ownWords,
		"case put-in --for": steps, "rulebase schema --for": words(schemaKinds()...),
		"case show --fetch": {list: attachments}, "chart --page": words("a4", "letter"),
		"--cert": anyFile, "--key": anyFile, "--role": words(page.RoleWords()...),
		"line ohms --at": words("host", "end"), "line waveform --at": words(string(rulebase.Field), string(rulebase.Bench)), "--where": words("host", "end"),
		"--time-unit": words("s", "ms", "us", "ns"), "--volts-unit": words("V", "mV"),
		"--variant": words(variantWords()...), "--against": {list: words(againstLast).list, any: true},
		"--column": {list: columnRoles}, "--record": {list: recordNumbers}, "--instead-of": {list: unitEntries},
		"--as": words(cases.WorkKinds...), "--solder": words(cases.Solders...), "--statement": words(cases.ContaminationStates...),

		"--complaint": ownWords, "--revision": ownWords, "--call-back": ownWords, "--why": ownWords, "--how": ownWords, "--proof": ownWords, "--until": ownWords,
		"--name": ownWords, "--what": ownWords, "--limit": ownWords, "--least": ownWords, "--levels": ownWords, "--places": ownWords, "--age": ownWords,
		"--bad": ownWords, "--downtime": ownWords, "--module": ownWords, "--returns-of-place": ownWords, "--returns-of-serial": ownWords, "--spares": ownWords,
		"--level": ownWords, "--parts": ownWords, "--worth": ownWords, "--worth-weights": ownWords, "--between": ownWords, "--break": ownWords, "--short": ownWords,
		"--bandwidth": ownWords, "--rate": ownWords, "--velocity": ownWords, "--authorised": ownWords, "--customer": ownWords, "--order": ownWords,
		"--received": ownWords, "--reissue": ownWords, "--shop": ownWords, "--digest": ownWords, "--cases": ownWords, "--seed": ownWords,
		"--least-first": ownWords, "--least-in-three": ownWords, "--right": ownWords, "--only": ownWords, "--listen": ownWords, "--consent": ownWords,
		"--note": ownWords, "--condition": ownWords, "--did": ownWords, "--minutes": ownWords, "--part": ownWords, "--cleaned": ownWords, "--exposed-to": ownWords,
		"--packed": ownWords, "--stated-in": ownWords,
	}
})

func toolWords(b *rulebase.Base, _ string) []string { return append(toolIDs(b), bareHands) }

// givenWords complete "id=" and then its values.
func givenWords(b *rulebase.Base, begun string) []string {
	id, _, hasValue := strings.Cut(begun, "=")
	var words []string
	for i := range b.Givens {
		g := &b.Givens[i]
		if !hasValue {
			words = append(words, g.ID+"=\t"+g.Ask)
			continue
		}
		if g.ID == id {
			words = append(words, withValues(id, valuesOf(g))...)
		}
	}
	return words
}

func valuesOf(g *rulebase.Given) []string {
	switch g.Type {
	case rulebase.Flag:
		return []string{"true", "false"}
	case rulebase.Choice:
		return g.OneOf
	}
	return nil
}

// seeWords complete "id=" and then its values.
func seeWords(b *rulebase.Base, begun string) []string {
	id, _, hasValue := strings.Cut(begun, "=")
	var words []string
	for i := range b.Symptoms {
		s := &b.Symptoms[i]
		if !hasValue {
			words = append(words, s.ID+"=\t"+s.Ask)
			continue
		}
		if s.ID == id {
			words = append(words, withValues(id, s.Values)...)
		}
	}
	return words
}

func withValues(id string, values []string) []string {
	var words []string
	for _, v := range values {
		words = append(words, id+"="+v)
	}
	return words
}

func named(steps []rulebase.Step) []string {
	var out []string
	for i := range steps {
		out = append(out, steps[i].ID+"\t"+steps[i].Do)
	}
	return out
}

func stepWords(b *rulebase.Base, _ string) []string {
	return append(named(b.Remedies), named(b.Tests)...)
}

func procedureIDs(a *asked) []string {
	base := a.base()
	if base == nil {
		return nil
	}
	all, err := base.Procedures()
	a.failed = err != nil
	var out []string
	for _, p := range all {
		out = append(out, p.ID+"\t"+p.Name)
	}
	return out
}

func profileNames(a *asked) []string {
	base := a.base()
	if base == nil {
		return nil
	}
	all, err := base.Profiles()
	a.failed = err != nil
	var out []string
	for _, p := range all {
		out = append(out, p.Name+"\t"+p.Type)
	}
	return out
}

// columnRoles complete a role behind a heading: "Lamp=power_light".
func columnRoles(a *asked) []string {
	heading, _, has := strings.Cut(a.begun, "=")
	base := a.base()
	if base == nil || !has {
		return nil
	}
	roles := []string{"serial", "complaint", "place", "unused"}
	for i := range base.Symptoms {
		roles = append(roles, base.Symptoms[i].ID)
	}
	for i := range base.Givens {
		roles = append(roles, base.Givens[i].ID)
	}
	return withValues(heading, roles)
}

// casesWhere are the codes of cases, each with its place, the last changed first.
func casesWhere(q cases.Query) func(*asked) []string {
	return func(a *asked) []string {
		var out []string
		a.inStore(func(ctx context.Context, store cases.Store) error {
			found, err := store.Find(ctx, q)
			for i := range found {
				if s := &found[i]; s.Code != "" {
					out = append(out, s.Code+"\t"+strings.TrimSpace(s.Location+" "+s.Complaint))
				}
			}
			return err
		})
		return out
	}
}

// mostLookedAt is how many of the last cases words are taken from.
const mostLookedAt = 500

// fromCases are the words that the last cases have, each once.
func fromCases(word func(*cases.Summary) string) func(*asked) []string {
	return func(a *asked) []string {
		var out []string
		a.inStore(func(ctx context.Context, store cases.Store) error {
			found, err := store.Find(ctx, cases.Query{Limit: mostLookedAt})
			for i := range found {
				if w := word(&found[i]); w != "" && !slices.Contains(out, w) {
					out = append(out, w)
				}
			}
			return err
		})
		return out
	}
}

func unitsWhere(is func(*cases.Card) bool) func(*asked) []string {
	return func(a *asked) []string {
		var out []string
		a.inStore(func(ctx context.Context, store cases.Store) error {
			return cases.Units(ctx, store, func(c *cases.Card) error {
				if is(c) {
					out = append(out, spoken([]string{c.ID})[0]+"\t"+string(c.State()))
				}
				return ctx.Err()
			})
		})
		return out
	}
}

// unitTypes are the types of the last cases and of the units in the shop.
func unitTypes(a *asked) []string {
	out := fromCases(func(s *cases.Summary) string { return s.Type })(a)
	for _, w := range unitsHere.list(a) {
		if kind, _, ok := strings.Cut(w, "/"); ok && !slices.Contains(out, kind) {
			out = append(out, kind)
		}
	}
	return out
}

func statesToFollow(a *asked) (out []string) {
	a.card(func(c *cases.Card) { out = rulebase.Words(c.State().MayFollow()) })
	return out
}

func waysOffered(a *asked) []string {
	out := []string{"declined"}
	a.card(func(c *cases.Card) {
		if c.Stay() == nil || c.Stay().Offer() == nil {
			out = append(out, rulebase.Words(ways.Kinds)...)
			return
		}
		for _, w := range c.Stay().Offer().Offer.Ways {
			out = append(out, w.Way)
		}
	})
	return out
}

func recordNumbers(a *asked) (out []string) {
	a.card(func(c *cases.Card) {
		for _, r := range c.Records {
			if !slices.Contains(out, r.Body.Number) {
				out = append(out, r.Body.Number)
			}
		}
	})
	return out
}

// entryWords are numbers of entries with what they are, the last first.
func entryWords(events []cases.Event, void map[string]bool) (out []string) {
	for i := len(events) - 1; i >= 0; i-- {
		if !void[events[i].ID] {
			out = append(out, strconv.Itoa(i+1)+"\t"+strings.ReplaceAll(string(events[i].Kind), "_", " "))
		}
	}
	return out
}

func caseEntries(a *asked) (out []string) {
	a.kept(func(c *cases.Case) { out = entryWords(c.Events, nil) })
	return out
}

func unitEntries(a *asked) (out []string) {
	a.card(func(c *cases.Card) { out = entryWords(c.Events, c.Void) })
	return out
}

func stillInPlace(a *asked) (out []string) {
	a.kept(func(c *cases.Case) {
		for i, p := range c.PutIn {
			out = append(out, strconv.Itoa(i+1)+"\t"+strings.TrimSpace(p.Body.What+" "+p.Body.Where))
		}
	})
	return out
}

// acceptable are the numbers of what is in place, and the symptoms found.
func acceptable(a *asked) []string {
	out := stillInPlace(a)
	a.kept(func(c *cases.Case) {
		for _, f := range c.Situation.Findings {
			if !slices.Contains(out, f.Symptom) {
				out = append(out, f.Symptom)
			}
		}
	})
	return out
}

func attachments(a *asked) (out []string) {
	a.kept(func(c *cases.Case) {
		for _, f := range c.Files {
			out = append(out, f.Body.Name)
		}
	})
	return out
}
