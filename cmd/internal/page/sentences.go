package page

import (
	"downdrop/rulebase"
)

// What the page says beside the conversation's and the reports' own sentences; the
// words of headings and buttons stand in page.html.
const (
	sayEnterTitle   = "Come in"
	sayLeftTitle    = "Left"
	sayLeft         = "This browser is out again. The program shows a new link for the next time."
	sayRefusedTitle = "This did not work"
	sayLinkUsed     = "This link was used already, or is not one of this program. Each link lets one browser in, once; the program shows the next one where it was started."
	sayNotLetIn     = "This browser has not been let in, or the program was started anew since. Open the link that the program shows where it was started, then come back to this page and press again: nothing is taken in twice."
	sayCrossOrigin  = "This was sent by another page, and is not taken in. Answer on the page itself."
	sayOtherHost    = "This program answers only to its own address on this machine, as its link gives it."
	sayOtherMethod  = "This program reads and takes forms in, and nothing else."
	sayTooLarge     = "This is more than the %d kB that one form may hold. Send it in parts."
	sayBadForm      = "This form cannot be read. Go back, reload the page and try again."
	sayNoCase       = "There is no such case here."
	sayStore        = "The cases cannot be reached: %v. What you answered was not taken in; press again once that is mended."
	sayIncident     = "A bug of ours: this was not taken in. Its number in the program's messages is %s."

	sayListTitle = "Open cases"
	sayOpenTitle = "A drop is down"
	sayClosed    = "This case is closed. To go on with it, open it again."
	sayBadDrop   = "The drop's address has to be a whole number from 1 to 9999, or empty."
	sayLongField = "%s is longer than %d letters; say it shorter."

	sayTooSlow     = "This form did not arrive in time: the line is slow, or was cut. Nothing was taken in; send it again."
	sayTookTooLong = "This took longer than ten seconds and was given up. Nothing was taken in; press again."

	sayTakeOverHow      = "Say who takes over: initials or another short id of letters, digits, - and _ (a name would stand in the record for good), what they may do, and whether they are alone."
	sayReceiveTitle     = "A case from another place"
	sayNothingToReceive = "Nothing was handed in: paste the text of the hand-over, or choose its file."
	sayNoHandOver       = "This holds no case that can be read: %v."
	sayBringSheet       = " Give the sheet once more where the case goes on, under “Why and what else”, or hand over the whole file that the case is taken along in."
	sayNotLeft          = "Say first where this case goes on, under “Take it along” on the page that hands it over: the file asks for what can be done there."
	sayHandTo           = "Say where the case goes to: the phone, the drop or the bench."
	sayAgreeAll         = "All three have to be agreed before anybody does more than look: who can switch off, when to call back, and whom to call if the caller stops answering."
	sayAndAlso          = "; and also: "
	sayPutInWhat        = "Say what was put in or loosened, and where, in at most 120 letters."
	sayNotInPlace       = "That is not in place any more."
	sayAcceptWhy        = "Say in at most 120 letters why it may stay so."
	sayCloseHow         = "Say how it was proven; one sentence is enough."
	sayCloseOutcome     = "Choose how it ended: what was done does not say it."
	sayCloseUnexplained = "What was found for %s is not explained by what was chosen: choose its cause as well, or say below why it may stay so."
	sayCloseInPlace     = "Something is still in place: take it out and say so below."
	sayNotClosed        = "This case is not closed."

	sayNoSuchCause    = "There is no such cause here."
	sayTwoCauses      = "Choose two different causes to weigh."
	sayRulesOutSecond = "rules the second out"
	sayRulesOutFirst  = "rules the first out"
	sayTimesFirst     = "%.2g times for the first"
	sayTimesSecond    = "%.2g times for the second"

	sayAllKept     = "All of it is kept. Close the case once it has proven itself."
	sayStaysKept   = ", with all of it."
	sayNothingSaid = "Nothing was entered."
	sayTakenBack   = "Taken back."
	sayNoneBefore  = "There is nothing to take back."
)

// sayFields are the fields of forms as their labels call them, where the field's own name would say nothing.
var sayFields = map[string]string{
	"location": "Where it stands", "story": "What is known", "type": "The type", "serial": "The serial",
	"off": "Who can switch off", "back": "When to call back", "else": "Whom to call",
	"from": "Where that stands, or who sent it", "with": "What it was exposed to", "how": "How that was done or said", "did": "What was done",
	"why": "The reason", "to": "What it is now", "unit": "What it proved to be", "record": "The number of the record", "consent": "Who agreed, and how",
	"order": "The order number", "text": "The note", "note": "The sentence to the customer", "case": "The code of its case",
	"authorised": "Who authorised it", "received": "The day it came in", "shop": "The name of the shop",
}

// sayWhoIs are the people whose hands are on the equipment, by what they may do.
var sayWhoIs = map[rulebase.Who]string{
	rulebase.Operator:    "operator: looks and reads out, is not qualified for more",
	rulebase.Electrician: "electrician, qualified for mains",
	rulebase.Technician:  "technician, qualified for controls",
	rulebase.Engineer:    "engineer, may change the controller too",
}

// What the drawing says.
const (
	sayTheLine      = "The line"
	sayThisSheet    = "the sheet"
	sayHost         = "host"
	sayNoLength     = "length not known"
	sayThisDrop     = "this drop"
	sayDropAt       = "drop %d"
	sayShieldBonded = "shield bonded: %s"
	sayBias         = "idle bias %s up, %s down"
	sayJoint        = "joint: another stretch of cable"
	sayTerminator   = "terminator"
	sayStub         = "stub of %s"
	sayTapped       = ", %d at one tap"
	sayTrunkEnd     = "end of the trunk, %s from the host"
	sayBeside       = "power cable beside it from %s to %s, %s apart"
	sayFed          = "fed by %s"
	sayFedPast      = "fed by %s, past %s"
	sayMark         = "%s: %s"
	sayPartOf       = "%s, part %d of %d"
	sayMarks        = "Suspected: %s. Each row stands as text below the drawing."
	sayNoMarks      = "Nothing is suspected at a place. Each row stands as text below the drawing."

	sayTerminatorFed    = ", with its own supply"
	sayTerminatorNotFed = ", its supply is off"
	sayTerminatorBlocks = ", with a capacitor in series"

	sayAtHost   = "at the host and its controller"
	sayAtDrop   = "at this drop: unit, modules, field wires"
	sayAtSupply = "at the supply of this drop"
	sayAtBoth   = "in the settings, here and at the host"
	sayAtEnds   = "at the terminators"
	sayAtInline = "at the devices in the line"
	sayOnLine   = "on the cable"
	sayAllOfIt  = ", all along"
	sayAtTap    = ", at the tap and plug of %s"
	sayBetween  = ", from %s to %s"

	sayNoSheetGiven = "No sheet was given: paste its text or choose its file."
)

// A drop's state is a word, never a colour.
var trunkStates = map[string]string{rulebase.DropGood: "good", rulebase.DropDead: "dead", rulebase.DropComesAndGoes: "comes and goes"}

const (
	sayDone         = "done: %s"
	sayOneTakenBack = "something was taken back"
)

const (
	sayTree   = "The chart as a tree"
	sayWay    = "%s (%s):"
	sayPlaces = "A chart has from 1 to %d places here; downdrop chart --case draws larger ones."
)

// What is said where devices of the network come in.
const (
	sayNoRole       = "Nobody may do this here: a bug of ours."
	sayRole         = "This device may %s, and this takes somebody who may %s. Whoever let it in can let it in anew with more."
	sayNoPairing    = "This program answers only on its own machine, where no device is paired."
	sayPairTitle    = "Let this device in"
	sayWrongCode    = "This code is not the one that is out, was used already, or is too old. Five wrong ones end it, and so do five minutes. Ask for a new one where the program was started."
	sayNotPaired    = "This device is not let in, or was put out again, or the program was started anew since. Open /pair on this address and give the code that is shown where the program was started; then come back to this page and press again: nothing is taken in twice."
	sayDevicesTitle = "Devices that are in"
	sayNoName       = "without a name"
	sayDevice       = "%d: %s, may %s, in since %s, last seen %s"
	sayWhichRole    = "Say what the device may do: %s."
	sayNoDevice     = "That device is not in any more."
)
