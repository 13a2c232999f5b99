package cases

import (
	"errors"
	"math/big"
	"regexp"
	"slices"
	"strings"
	"sync"
)

// MoneyNames are what amounts are usually for.
var MoneyNames = []string{"visit", "parts", "repair", "exchange", "evaluation", "shipping", "downtime", "credit"}

// Fifteen digits before the point are beyond any price; four behind it are more than
// any currency of ISO 4217 has.
var moneyText = sync.OnceValue(func() *regexp.Regexp { return regexp.MustCompile(`^(-?)0*([0-9]{1,15})(\.[0-9]{1,4})? ?([A-Z]{3})$`) })

// ReadMoney reads an amount with its currency as people write it: 1250.00 EUR. The
// decimals are kept as they stand, so that 12.50 stays 12.50.
func ReadMoney(what, text string) (Money, error) {
	m := moneyText().FindStringSubmatch(strings.TrimSpace(text))
	switch {
	case m != nil:
		return Money{For: what, Amount: m[1] + m[2] + m[3], Currency: m[4]}, nil
	case strings.Contains(text, ","):
		return Money{}, errors.New("the decimal sign is a point, and thousands are not set off, as in 1250.00 EUR")
	}
	return Money{}, errors.New("an amount is a decimal with the three capitals of its currency behind it, as in 1250.00 EUR")
}

// MoneySums adds amounts up, exactly, by currency in the order of its letters. An amount that is
// none (a body of another program) is left out.
func MoneySums(all []Money) []Money {
	sums, decimals := map[string]*big.Rat{}, map[string]int{}
	for _, m := range all {
		x, ok := new(big.Rat).SetString(m.Amount)
		if !ok || !moneyText().MatchString(m.Amount+m.Currency) {
			continue
		}
		if sums[m.Currency] == nil {
			sums[m.Currency] = new(big.Rat)
		}
		sums[m.Currency].Add(sums[m.Currency], x)
		if _, behind, ok := strings.Cut(m.Amount, "."); ok {
			decimals[m.Currency] = max(decimals[m.Currency], len(behind))
		}
	}
	var out []Money
	for currency, x := range sums {
		out = append(out, Money{Amount: x.FloatString(decimals[currency]), Currency: currency})
	}
	slices.SortFunc(out, func(a, b Money) int { return strings.Compare(a.Currency, b.Currency) })
	return out
}
