package cases

import "syscall/js"

// decomposed is a text in Unicode's NFKD, of which a browser has the tables.
func decomposed(s string) string { return js.ValueOf(s).Call("normalize", "NFKD").String() }
