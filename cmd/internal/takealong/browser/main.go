//go:build js

// The program in a file that is taken along. It gives the page two functions, downdropOpen and
// downdropDo, and waits.
package main

import (
	"encoding/json"
	"syscall/js"
	"time"

	"downdrop/cmd/internal/takealong/talk"
)

func main() {
	var open *talk.Case
	js.Global().Set("downdropOpen", js.FuncOf(func(_ js.Value, args []js.Value) any {
		var o talk.Opening
		err := json.Unmarshal([]byte(args[0].String()), &o)
		if err == nil {
			open, err = talk.Open(o, time.Now)
		}
		if err != nil {
			return err.Error()
		}
		return ""
	}))
	js.Global().Set("downdropDo", js.FuncOf(func(_ js.Value, args []js.Value) any { return open.Do(args[0].String()) }))
	select {}
}
