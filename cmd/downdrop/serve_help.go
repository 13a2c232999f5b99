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
Without --by or DOWNDROP_BY the page asks who writes about a unit.

With --lan devices of the network reach it too, at an address of this machine (--listen),
by a cipher only (TLS), and each by a code that is shown here, serves once, lives five
minutes and ends after five wrong ones. What a device may do comes with its code:

  read     look
  answer   open cases, answer, hand over
  close    close cases too
  author   let devices in and out too, on the page /devices

Type one of these words and Enter for the next code, "devices" for who is in, and
"out NUMBER" to put one out. The certificate is self-made at each start, so a browser
warns of it: compare the fingerprint that it shows with the one here before going on.
--cert and --key give one that the site's machines know.`

	sayServing      = "Open this link in a browser on this machine; it serves once:\n  %s\n"
	sayListenForm   = "--listen %q: an address with its port is wanted, such as 127.0.0.1:58490."
	sayListenHere   = "--listen %s: other machines would reach this address. Without a cipher whoever is on the network could read along, and without a code for each device answer for the person at the drop: add --lan, which has both. Or use 127.0.0.1 and a port; a case goes to another phone by \"downdrop case hand-over\" or \"case take-along\"."
	sayListenWhich  = "--listen %s: with --lan name one address of this machine, as 192.0.2.7:58490, so that only requests to it are answered."
	sayOnlyLAN      = "--cert, --key, --name and --role are for --lan: without it nobody but this machine is answered."
	sayHostName     = "a host's name is wanted, without a port."
	sayCertAndKey   = "--cert and --key go together: name both files, or neither for a self-made certificate."
	sayBadCert      = "--cert %s, --key %s: they are no certificate with its key in PEM: %v."
	sayCertTime     = "--cert %s: it is good from %s to %s, and that is not now."
	sayCertHost     = "--cert %s: it is for none of these: %s. Name with --name what it is for."
	sayCannotListen = "--listen %s: %v. Is another one running already? --listen 127.0.0.1:0 takes a free port."

	sayLANAt     = "Devices of the network open:\n  %s\n"
	saySelfMade  = "Its certificate is self-made, so a browser warns of it. Before going on there, compare\nthe fingerprint that the browser shows (SHA-256) with this one:\n  %s\n"
	sayGivenCert = "The fingerprint of its certificate (SHA-256) is:\n  %s\n"
	sayCode      = "The code for one device, which may then %s: %s (once, until %s)\n"
	sayLANWords  = "For another code type what the device may do (%s) and Enter; \"devices\" says who\nis in, \"out NUMBER\" puts one out.\n"
	sayLANWhat   = "Type one of %s; or devices; or out and a device's number.\n"
	sayPaired    = "A device came in: %s\n"
	sayNoDevices = "No device is in.\n"
	sayNoDevice  = "No device of number %s is in.\n"
	sayOut       = "Device %s is out.\n"
)
