package main

const (
	shortServe = "Show the cases as a page in a browser on this machine"
	longServe  = `Show the cases as a page in a browser on this machine: the conversation with big
buttons for the drop, several calls at once for the phone, the units of the shop with
the bench step by step, the same answers as on the command line.

It prints a link that lets one browser in, once; the next link follows when it was used.
It answers on this machine only. Every answer is in the store before the next question
is shown; interrupt it (Ctrl-C) to stop. Runs at the bench are kept in files beside the
store (--runs names another folder), and "downdrop bench resume" goes on with them too.
Without --by or DOWNDROP_BY the page asks who writes about a unit.`

	sayServing      = "Open this link in a browser on this machine; it serves once:\n  %s\n"
	sayListenForm   = "--listen %q: an address with its port is wanted, such as 127.0.0.1:58490."
	sayListenHere   = "--listen %s: other machines would reach this address. That needs a cipher (TLS) and a pairing of each phone, which are not built yet: without them whoever is on the network could read along, and answer for the person at the drop. Use 127.0.0.1 and a port; a case goes to another phone by \"downdrop case hand-over\"."
	sayCannotListen = "--listen %s: %v. Is another one running already? --listen 127.0.0.1:0 takes a free port."
)
