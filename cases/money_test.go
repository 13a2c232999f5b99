package cases_test

import (
	"math/rand/v2"
	"slices"
	"strconv"
	"strings"
	"testing"

	"downdrop/cases"
)

func TestMoneyIsReadAsItStands(t *testing.T) {
	for text, want := range map[string]cases.Money{
		"1250.00 EUR": {For: "visit", Amount: "1250.00", Currency: "EUR"},
		" 12.5 USD ":  {For: "visit", Amount: "12.5", Currency: "USD"},
		"-40 CHF":     {For: "visit", Amount: "-40", Currency: "CHF"},
		"007.10EUR":   {For: "visit", Amount: "7.10", Currency: "EUR"},
		"0.0005 BHD":  {For: "visit", Amount: "0.0005", Currency: "BHD"},
		"1250,00 EUR": {}, "1,250.00 EUR": {}, "EUR 5": {}, "5 eur": {}, "5": {}, "": {}, ".5 EUR": {}, "5. EUR": {}, "1e3 EUR": {}, "0.00001 EUR": {}, "NaN EUR": {}, "1234567890123456 EUR": {}, "5 EURO": {},
	} {
		got, err := cases.ReadMoney("visit", text)
		if got != want || (err != nil) != (want == cases.Money{}) {
			t.Errorf("%q is read as %+v, %v", text, got, err)
		}
		if err != nil && !strings.Contains(err.Error(), "1250.00 EUR") {
			t.Errorf("%q: %v", text, err)
		}
	}
}

// Sums are exact: they agree with counting in ten-thousandths.
func TestMoneySumsAreExact(t *testing.T) {
	rng := rand.New(rand.NewPCG(7, 7))
	var all []cases.Money
	want := map[string]int64{}
	for range 2000 {
		n, currency := rng.Int64N(2_000_000_000)-1_000_000_000, []string{"EUR", "JPY", "USD"}[rng.IntN(3)]
		amount := strconv.FormatInt(n/10000, 10) + "." + strconv.FormatInt(10000+max(n, -n)%10000, 10)[1:]
		if n < 0 && n > -10000 {
			amount = "-" + amount
		}
		want[currency] += n
		all = append(all, cases.Money{For: "x", Amount: amount, Currency: currency})
	}
	all = append(all, cases.Money{Amount: "lots", Currency: "EUR"})
	sums := cases.MoneySums(all)
	if !slices.IsSortedFunc(sums, func(a, b cases.Money) int { return strings.Compare(a.Currency, b.Currency) }) || len(sums) != 3 {
		t.Fatal(sums)
	}
	for _, sum := range sums {
		if got, err := strconv.ParseInt(strings.Replace(sum.Amount, ".", "", 1), 10, 64); err != nil || got != want[sum.Currency] {
			t.Errorf("%s %s, want %d ten-thousandths", sum.Amount, sum.Currency, want[sum.Currency])
		}
	}
	if tenth := cases.MoneySums([]cases.Money{{Amount: "0.1", Currency: "EUR"}, {Amount: "0.20", Currency: "EUR"}}); tenth[0].Amount != "0.30" {
		t.Errorf("0.1 and 0.20 are %s", tenth[0].Amount)
	}
}
