package main

import (
	"strings"

	"github.com/spf13/cobra"
)

// examples are those in the help of each command, at least two of each, all in one
// place so that they can be read as what they are: how people work. A test runs every
// one of them in a folder that holds what they name. Plants, codes, serials and
// shops are invented.
var examples = map[string]string{
	"": `
downdrop
downdrop --case mill-7.yaml
downdrop diagnose --at phone --see power_light=dark
downdrop diagnose cases/examples/dark_drop.yaml`,

	"diagnose": `
downdrop diagnose cases/examples/dark_drop.yaml
downdrop diagnose --at phone --see power_light=dark --see run_light=dark@0.8
downdrop diagnose mill-7.yaml --see "volts_at_drop=23.8 V" --tool multimeter
downdrop diagnose mill-7.yaml --weigh supply_fuse_blown --weigh supply_ripple
downdrop diagnose - --json < mill-7.yaml`,
	"chart": `
downdrop chart --at field --who technician --see power_light=lit
downdrop chart --at field --see power_light=dark --html -o dark-drop.html
downdrop chart --at field --see power_light=dark --page a4 -o door.html
downdrop chart --case K7Q4MP --html -o K7Q4MP.html`,
	"serve": `
downdrop serve
downdrop serve --store yard.db --listen 127.0.0.1:0
downdrop serve --lan --listen 192.0.2.7:58490 --role answer`,

	"line": `
downdrop line check trunk.yaml
downdrop line ohms trunk.yaml "148 ohm"`,
	"line check": `
downdrop line check cases/examples/sheets/tide_mill.yaml
downdrop line check trunk.yaml --html > trunk.html
downdrop line check trunk.yaml --json`,
	"line echo": `
downdrop line echo cases/examples/sheets/tide_mill.yaml
downdrop line echo trunk.yaml --svg trunk.svg`,
	"line new": `
downdrop line new mill.yaml
downdrop line new drawings/sluice.yaml`,
	"line ohms": `
downdrop line ohms cases/examples/sheets/tide_mill.yaml "148 ohm"
downdrop line ohms trunk.yaml OL --at end
downdrop line ohms trunk.yaml --at host --break "250 m"`,
	"line schema": `
downdrop line schema > sheet.json
downdrop line schema > schema/sheet.json`,
	"line locate": `
downdrop line locate cases/examples/sheets/tide_mill.yaml --short "18 ohm"
downdrop line locate trunk.yaml --break "250 m"
downdrop line locate trunk.yaml --between "host and end"`,
	"line waveform": `
downdrop line waveform drop7.csv --rate 153.6k
downdrop line waveform drop7.csv --sheet trunk.yaml --where host
downdrop line waveform drop7.csv --bandwidth "20 MHz" --svg drop7.svg
downdrop line waveform drop7.csv --at bench --rate 153.6k --json`,

	"case": `
downdrop case open --location "Tide mill, sluice" --see power_light=dark
downdrop case see K7Q4MP run_light=dark
downdrop case show K7Q4MP`,
	"case open": `
downdrop case open --location "Tide mill, sluice" --drop 5 \
  --see power_light=dark --at phone
downdrop case open --location "Weir house" --type BIU-2 --serial B0815 \
  --complaint "unit silent since the storm"`,
	"case list": `
downdrop case list
downdrop case list --all --csv > cases.csv`,
	"case find": `
downdrop case find storm fuse
downdrop case find --location "Tide mill" --cause supply_fuse_blown \
  --from 2031-01-01`,
	"case show": `
downdrop case show K7Q4MP
downdrop case show K7Q4MP --settings
downdrop case show K7Q4MP --as-case | downdrop diagnose -`,
	"case alike": `
downdrop case alike K7Q4MP
downdrop case alike K7Q4MP --limit 20 --json`,
	"case talk": `
downdrop case talk K7Q4MP
downdrop case talk K7Q4MP --store yard.db`,
	"case see": `
downdrop case see K7Q4MP power_light=dark
downdrop case see K7Q4MP pair_ohms="148 ohm" \
  others_on_supply=nothing_else@0.8 --at field`,
	"case done": `
downdrop case done K7Q4MP replace_supply_fuse --drop well \
  --proof "two hours under load"
downdrop case done K7Q4MP measure_supply_at_drop`,
	"case note": `
downdrop case note K7Q4MP the cabinet was wet inside
downdrop case note K7Q4MP "the key is with the gatekeeper" --by field-3`,
	"case attach": `
downdrop case attach K7Q4MP terminals.jpg
downdrop case attach K7Q4MP error-log.txt`,
	"case sheet": `
downdrop case sheet K7Q4MP cases/examples/sheets/tide_mill.yaml
downdrop case sheet K7Q4MP trunk.yaml --by field-3`,
	"case refer": `
downdrop case refer K7Q4MP work_order=W-2231
downdrop case refer K7Q4MP return=R-17 purchase=4711`,
	"case setting": `
downdrop case setting K7Q4MP address=5 rate=153.6k terminator=off
downdrop case setting K7Q4MP --left address=5`,
	"case put-in": `
downdrop case put-in K7Q4MP jumper "terminals 3 and 4" \
  --until "after the ohms"
downdrop case put-in K7Q4MP force "output 7, held off"`,
	"case take-out": `
downdrop case take-out K7Q4MP 1
downdrop case take-out K7Q4MP 1 --by field-3`,
	"case take-back": `
downdrop case take-back K7Q4MP 3 --why "meant drop 6"
downdrop case take-back K7Q4MP 2 --why "heard wrongly" --by phone-1`,
	"case about": `
downdrop case about K7Q4MP --type BIU-2 --serial B0815
downdrop case about K7Q4MP --location "Tide mill, sluice" --drop 6`,
	"case cost": `
downdrop case cost K7Q4MP visit="180.00 EUR" parts="12.40 EUR"
downdrop case cost K7Q4MP credit="-12.40 EUR"`,
	"case dispose": `
downdrop case dispose K7Q4MP exchange --why "the line is sound"
downdrop case dispose K7Q4MP send_technician`,
	"case take-over": `
downdrop case take-over K7Q4MP --who technician --by field-2
downdrop case take-over K7Q4MP --who electrician --alone`,
	"case wait": `
downdrop case wait K7Q4MP "the fuse, from stores" --until Thursday
downdrop case wait K7Q4MP customer`,
	"case watch": `
downdrop case watch K7Q4MP replace_supply_fuse --until tomorrow
downdrop case watch K7Q4MP replace_supply_fuse \
  --what "light and traffic under load"`,
	"case resume": `
downdrop case resume K7Q4MP
downdrop case resume K7Q4MP --by phone-1`,
	"case accept": `
downdrop case accept K7Q4MP 1 --why "stays until the shutdown"
downdrop case accept K7Q4MP power_light --why "the lamp itself is broken"`,
	"case close": `
downdrop case close K7Q4MP --cause supply_fuse_blown \
  --how "fuse read open; well with a new one" --outcome part_replaced
downdrop case close K7Q4MP --cause unit_input_protection_open --unit bad \
  --how "no input current on the bench" --outcome unit_out`,
	"case reopen": `
downdrop case reopen K7Q4MP
downdrop case reopen K7Q4MP --why "dark again on Monday"`,
	"case join": `
downdrop case join K7Q4MP M31XWW
downdrop case join K7Q4MP M31XWW --name "storm of 28 May"`,
	"case take-along": `
downdrop case take-along K7Q4MP --out K7Q4MP.html
downdrop case take-along K7Q4MP --to bench --out bench.html`,
	"case hand-over": `
downdrop case hand-over K7Q4MP --to field
downdrop case hand-over K7Q4MP --to bench --file K7Q4MP.jsonl
downdrop case hand-over K7Q4MP --to bench --qr case.png`,
	"case receive": `
downdrop case receive mail.txt
downdrop case receive < mail.txt`,
	"case export": `
downdrop case export cases.jsonl K7Q4MP M31XWW
downdrop case export - --all > all.jsonl`,
	"case import": `
downdrop case import weir.jsonl
downdrop case import - < weir.jsonl`,

	"decide": `
downdrop decide cases/examples/prices/tide_mill.yaml --bad 30%
downdrop decide prices.yaml --case mill-7.yaml
downdrop decide prices.yaml --kept K7Q4MP
downdrop decide prices.yaml --unit B0815 --detail
downdrop decide prices.yaml --bad 0.6 --at bench --age 12 --plot unit.svg`,
	"triage": `
downdrop triage returns.csv
downdrop triage returns.csv --csv --rejects unread.csv > worklist.csv
downdrop triage returns.csv --column "RMA=unused" --look-up`,

	"bench": `
downdrop bench list
downdrop bench show acceptance --unit quay_24
downdrop bench run short --unit quay_24
downdrop bench resume A0815.run.jsonl`,
	"bench run": `
downdrop bench run acceptance --unit quay_24
downdrop bench run short --unit shop/rulebase/bench/units/gate.yaml \
  --case K7Q4MP
downdrop bench run short --unit quay_24 --answers typed.txt`,
	"bench resume": `
downdrop bench resume A0815.run.jsonl
downdrop bench resume A0815.run.jsonl --case K7Q4MP`,
	"bench list": `
downdrop bench list
downdrop bench list --json --rulebase shop/rulebase`,
	"bench show": `
downdrop bench show acceptance --unit quay_24
downdrop bench show A0815.run.jsonl`,
	"bench check": `
downdrop bench check shop/rulebase/bench/units/gate.yaml
downdrop bench check shop/rulebase/bench/*.yaml`,

	"record": `
downdrop record make A0815.run.jsonl --shop "Quay works (invented)"
downdrop record verify record-A0815.pdf`,
	"record make": `
downdrop record make A0815.run.jsonl --shop "Quay works (invented)"
downdrop record make A0815.run.jsonl --out again \
  --reissue "order number added" --order 2231`,
	"record verify": `
downdrop record verify record-A0815.pdf
downdrop record verify record-A0815.pdf --digest 1f0c27a9e3b1d544`,
	"record readings": `
downdrop record readings record-A0815.html > readings.csv
downdrop record readings record-A0815.pdf`,

	"unit": `
downdrop unit receive BIU-2 B0817 --from customer-7 --by bench-1
downdrop unit list
downdrop unit show B0815`,
	"unit receive": `
downdrop unit receive BIU-2 B0817 --from customer-7 --by bench-1
downdrop unit receive BIU-2 BO815 --as-read --condition "two pins bent" \
  --by bench-1`,
	"unit list": `
downdrop unit list
downdrop unit list awaiting_customer
downdrop unit list --all --csv > units.csv`,
	"unit show": `
downdrop unit show B0815
downdrop unit show BIU-2/B0815 --entries`,
	"unit statement": `
downdrop unit statement B0815 not_exposed \
  --stated-in "return note, signed" --by bench-1
downdrop unit statement B0815 decontaminated --exposed-to "cutting oil" \
  --cleaned "degreased, dried 12 h" --by bench-1`,
	"unit move": `
downdrop unit move B0815 evaluated --unit bad --why "no supply rail" \
  --record 2031-112 --by bench-1
downdrop unit move B0815 quarantined --why "oil in the housing" --by bench-2`,
	"unit repair": `
downdrop unit repair B0815 bus_port --did "line driver renewed" --as rework \
  --part "1 x line driver@lot 17" --solder leaded --minutes 40 --by bench-1
downdrop unit repair B0815 housing --did "latch bent back" --as repair \
  --by bench-1`,
	"unit offer": `
downdrop unit offer B0815 prices.yaml --until 2031-06-30 --by bench-1
downdrop unit offer B0815 prices.yaml --until 2031-06-30 --bad 0.6 \
  --html offer.html --by bench-1`,
	"unit answer": `
downdrop unit answer B0815 repair --how "by phone" --order 4711 --by bench-1
downdrop unit answer B0815 declined --how "by letter" --by bench-1`,
	"unit note": `
downdrop unit note B0815 the housing was opened before --by bench-1
downdrop unit note BIU-2/B0815 "label faded; read under a lens" --by bench-1`,
	"unit take-back": `
downdrop unit take-back B0815 2 --why "meant another unit" --by bench-1
downdrop unit take-back BIU-2/B0815 2 --why "typed twice" --by bench-1`,
	"unit return-note": `
downdrop unit return-note K7Q4MP
downdrop unit return-note K7Q4MP --statement not_exposed \
  --packed "unit only, antistatic bag" --html note.html`,
	"unit month": `
downdrop unit month
downdrop unit month 2026-05 --csv > may.csv`,

	"store": `
downdrop store where
downdrop store backup cases-2031-05-04.jsonl
downdrop store verify`,
	"store where": `
downdrop store where
downdrop store where --json --store yard.db`,
	"store verify": `
downdrop store verify
downdrop store verify --rebuild`,
	"store backup": `
downdrop store backup cases-2031-05-04.jsonl
downdrop store backup what-is-left.jsonl --salvage`,
	"store restore": `
downdrop store restore weir.jsonl --store new.db
DOWNDROP_STORE=new.db downdrop store restore weir.jsonl`,
	"store move": `
downdrop store move shared/cases.db
downdrop store move yard-cases.db --store yard.db`,
	"store person": `
downdrop store person bench-1 "Somebody Invented"
downdrop store person field-3 --erase`,

	"rulebase": `
downdrop rulebase new site/rulebase
downdrop rulebase test shop/rulebase`,
	"rulebase new": `
downdrop rulebase new site/rulebase
downdrop rulebase new site/trial --alone --name trial`,
	"rulebase test": `
downdrop rulebase test
downdrop rulebase test --uncovered
downdrop rulebase test shop/rulebase --junit results.xml
downdrop rulebase test --only fuse`,
	"rulebase distinguish": `
downdrop rulebase distinguish
downdrop rulebase distinguish --at phone --who operator
downdrop rulebase distinguish shop/rulebase --at field --tool multimeter
downdrop rulebase distinguish --at bench --right 0.9 --json`,
	"rulebase layers": `
downdrop rulebase layers shop/rulebase
downdrop rulebase layers shop/rulebase --json`,
	"rulebase handbook": `
downdrop rulebase handbook --to handbook.html
downdrop rulebase handbook shop/rulebase --to book/ --markdown
downdrop rulebase handbook --to - --markdown > book.md`,
	"rulebase schema": `
downdrop rulebase schema shop/rulebase --to shop/rulebase/schema
downdrop rulebase schema --for case > case.json`,
	"rulebase format": `
downdrop rulebase format shop/rulebase
downdrop rulebase format shop/rulebase --diff
downdrop rulebase format - < shop/rulebase/rulebase.yaml`,
	"check": `
downdrop check
downdrop check shop/rulebase
downdrop check shop/rulebase --json
downdrop check shop/rulebase --untrusted
downdrop check --sarif > findings.sarif
downdrop check --explain never-holds`,
	"replay": `
downdrop replay
downdrop replay cases/examples/closed/closed.jsonl --plot chances.svg
downdrop replay --json > before.json
downdrop replay cases/examples/closed/closed.jsonl --least-in-three 50 \
  --junit replay.xml`,
	"learn": `
downdrop learn
downdrop learn cases/examples/closed/closed.jsonl --worth 5 \
  --patch learned.yaml
downdrop learn --all --json > lessons.json`,
	"rehearse": `
downdrop rehearse --cases 60
downdrop rehearse --cases 30 --rulebase shop/rulebase
downdrop rehearse --at field --variant own --case 4`,

	"help": `
downdrop help case open
downdrop help exit-codes
downdrop help files`,
	"help json": `
downdrop help json
downdrop help json diagnosis > diagnosis.json`,
	"help man": `
downdrop help man --out man1
downdrop help man --out ~/.local/share/man/man1`,
	"version": `
downdrop version
downdrop version --json`,
	"completion": `
source <(downdrop completion bash)
downdrop completion zsh > _downdrop
downdrop completion fish > downdrop.fish`,
}

// addExamples gives each command its examples.
func addExamples(cmd *cobra.Command) {
	path := strings.TrimPrefix(strings.TrimPrefix(cmd.CommandPath(), "downdrop"), " ")
	cmd.Example = strings.ReplaceAll(strings.TrimPrefix(examples[path], "\n"), "\n", "\n  ")
	if cmd.Example != "" {
		cmd.Example = "  " + cmd.Example
	}
	for _, sub := range cmd.Commands() {
		addExamples(sub)
	}
}
