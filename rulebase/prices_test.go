package rulebase_test

import (
	"errors"
	"math/big"
	"os"
	"path/filepath"
	"strings"
	"testing"

	"downdrop/rulebase"
)

const leastSheet = `prices: least
currency: XTS
downtime: {per_hour: unknown}
visit: {price: 190}
site: {test_hours: 1.5, remedy_hours: 1, swap_hours: 0.75}
exchange: {price: 1300, hours: 18}
`

func TestExamplePricesAreRead(t *testing.T) {
	files, _ := filepath.Glob("../cases/examples/prices/*.yaml")
	if len(files) < 2 {
		t.Fatal("the examples are gone")
	}
	for _, file := range files {
		text, err := os.ReadFile(file)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(string(text), "invented") {
			t.Errorf("%s does not say that it is invented", file)
		}
		p, err := rulebase.ReadPrices(file, text)
		if err != nil {
			t.Fatal(err)
		}
		if !strings.Contains(p.Note, "Invented") || p.Currency != "XTS" {
			t.Errorf("%s: its note and currency say that it is invented", file)
		}
	}
}

func TestPricesStayDecimals(t *testing.T) {
	p, err := rulebase.ReadPrices("x.yaml", []byte(strings.Replace(leastSheet, "price: 1300", "price: 0.1, restocking: 15 %", 1)))
	if err != nil {
		t.Fatal(err)
	}
	if p.Get("exchange.price").Cmp(big.NewRat(1, 10)) != 0 || p.Get("exchange.restocking").Cmp(big.NewRat(3, 20)) != 0 {
		t.Errorf("0.1 is a tenth and 15 %% are 3 in 20: %v %v", p.Get("exchange.price"), p.Get("exchange.restocking"))
	}
	if p.Has("downtime.per_hour") || p.Get("downtime.per_hour").Sign() != 0 {
		t.Error("unknown is not known")
	}
}

// Halves go to the even digit (as IEEE 754 and most accounts have it, from memory).
func TestMoneyIsRoundedHalfToEven(t *testing.T) {
	for _, row := range [][3]string{{"0.125", "2", "0.12"}, {"0.135", "2", "0.14"}, {"846.5", "0", "846"}, {"847.5", "0", "848"}, {"-0.125", "2", "-0.12"}, {"-0.135", "2", "-0.14"},
		{"1/3", "2", "0.33"}, {"2/3", "2", "0.67"}, {"-1/3", "2", "-0.33"}, {"0.004", "2", "0.00"}, {"1000000000000", "3", "1000000000000.000"}} {
		x, _ := new(big.Rat).SetString(row[0])
		p := rulebase.Prices{Decimals: int(row[1][0] - '0')}
		if got := p.Money(x); got != row[2] {
			t.Errorf("%s with %s decimals: %s, want %s", row[0], row[1], got, row[2])
		}
	}
}

// Everything that is wrong with a sheet is said at once, each with its line.
func TestWrongPrices(t *testing.T) {
	for _, c := range []struct{ change, to, want string }{
		{"currency: XTS", "currency: euros", "x.yaml:2:11: a currency is three capitals"},
		{"currency: XTS", "currency: XTSS", "x.yaml:2:11: a currency is three capitals"},
		{"currency: XTS", "currency: xts", "x.yaml:2:11: a currency is three capitals"},
		{"currency: XTS\n", "", `"currency" is missing`},
		{"visit: {price: 190}\n", "", `"visit" is missing here; it has price`},
		{"price: 190", "price: 1,900", "a decimal point, not a comma"},
		{"price: 190", `price: "1,900"`, "thousands are not set off"},
		{"price: 190", "price: 190 XTS", "a decimal without its currency"},
		{"price: 190", "price: -190", "a decimal without its currency"},
		{"price: 190", "price: 0190", "a decimal without its currency"},
		{"price: 190", "price: 1e3", "a decimal without its currency"},
		{"price: 190", "price: 9999999999999", "more than can be"},
		{"price: 190", "prise: 190", `did you mean "price"?`},
		{"price: 190", "price: [190]", "a decimal without its currency"},
		{"visit: {price: 190}", "visit: 190", "visit is {price: ...}"},
		{"hours: 18", "hours: 18, restocking: 1.5", "a share is at most 1"},
		{"hours: 18", "hours: 18, restocking: 150 %", "a share is at most 1"},
		{"hours: 18", "hours: a day", "hours are a decimal"},
		{", hours: 18", "", `exchange needs "hours"`},
		{"hours: 18", "hours: 18, warranty_months: 1.5", "a whole number"},
		{"swap_hours: 0.75", "swap_hours: 0.75, finds_bad: 0.9", "this wants site.clears_good beside it"},
		{"exchange: {price: 1300, hours: 18}", "repair: {price: 1, hours: 1, works: 1}", "can take the place of a unit beyond repair"},
		{"exchange:", "bad_units: {repairable: 0}\nexchange:", "all numbers here are 0"},
		{"exchange:", "bench_tests: [{name: look}]\nexchange:", `"minutes" is missing`},
		{"exchange:", "bench_tests: [{name: look, minutes: 1, finds_bad: 1, clears_good: 1, at: phone}]\nexchange:", "a place of a test"},
		{"exchange:", "bench_tests: [look]\nexchange:", "a test is {name"},
		{"prices: least", "prices: [least", "x.yaml:"},
		{"prices: least", "pricelist: least", `cannot have "pricelist"`},
	} {
		if !strings.Contains(leastSheet, c.change) {
			t.Fatalf("%q is not in the sheet", c.change)
		}
		_, err := rulebase.ReadPrices("x.yaml", []byte(strings.Replace(leastSheet, c.change, c.to, 1)))
		var problems *rulebase.Problems
		if !errors.As(err, &problems) {
			t.Errorf("%s: accepted", c.to)
			continue
		}
		if !strings.Contains(err.Error(), c.want) {
			t.Errorf("%s:\n%v\nwant %s", c.to, err, c.want)
		}
	}
	_, err := rulebase.ReadPrices("x.yaml", []byte("prices: x\ncurrency: x\nvisit: {price: x}\nsite: {test_hours: x}\n"))
	var problems *rulebase.Problems
	if !errors.As(err, &problems) || len(problems.List) < 6 {
		t.Errorf("all at once: %v", err)
	}
	for _, text := range []string{"", "- a\n- b\n", "x"} {
		if _, err := rulebase.ReadPrices("x.yaml", []byte(text)); err == nil {
			t.Errorf("%q is accepted", text)
		}
	}
}

func FuzzPrices(f *testing.F) {
	f.Add([]byte(leastSheet))
	f.Add([]byte("prices: x\nbench_tests: {a: 1}\nsite: []\n"))
	f.Fuzz(func(t *testing.T, text []byte) {
		p, err := rulebase.ReadPrices("x.yaml", text)
		if (p == nil) == (err == nil) {
			t.Errorf("sheet %v, error %v", p, err)
		}
	})
}

// That nobody can say what an hour costs does not keep the rest of its section from being read.
func TestUnknownDowntimeKeepsItsHours(t *testing.T) {
	for _, order := range []string{"{per_hour: unknown, hours_per_year: 4000}", "{hours_per_year: 4000, per_hour: unknown}"} {
		p, err := rulebase.ReadPrices("prices.yaml", []byte(strings.Replace(leastSheet, "{per_hour: unknown}", order, 1)))
		if err != nil {
			t.Fatal(err)
		}
		if p.Has("downtime.per_hour") || p.Get("downtime.hours_per_year").RatString() != "4000" {
			t.Errorf("%s: %v an hour, %v hours a year", order, p.Get("downtime.per_hour"), p.Get("downtime.hours_per_year"))
		}
	}
}
