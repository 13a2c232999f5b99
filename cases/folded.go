//go:build !js

package cases

import "golang.org/x/text/unicode/norm"

// decomposed is a text in Unicode's NFKD.
func decomposed(s string) string { return norm.NFKD.String(s) }
