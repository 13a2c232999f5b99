package main

import "downdrop/cases"

// What the help of the unit commands says, and what they refuse.
const (
	shortUnit = "Follow units through the shop: in, looked at, repaired or not, out"
	longUnit  = `Follow units through the shop. A UNIT is named by its serial, or as TYPE/SERIAL where
two types share one. Each change is kept with who, when and why, and never
overwritten: what was wrong is taken back, or put right by a further entry.

The states, and what may follow each:
`

	shortUnitReceive = "Take a unit in, and say which cases it belongs to"
	longUnitReceive  = `Take a unit in. Cases of its very type and serial are linked to it; a serial that the
eye takes for another (0 and O, 1 and I, 8 and B, 5 and S) is asked about and never
assumed. The contamination statement of a linked case's return note counts.

A unit is not opened before its sender has stated whether it is contaminated.`

	shortUnitList = "List the units in the shop by state, the longest waiting first"
	longUnitList  = `List the units in the shop by state, with how long each has been in it.`

	shortUnitShow = "Show a unit: its way, its repair log, its offer, what was before"
	longUnitShow  = `Show a unit: where it stands, its way through the shop with who, when and why, its
repair log, its offer with the answer, and when it was here before.`

	shortUnitStatement = "Note what the sender states of contamination"
	longUnitStatement  = `Note what the sender states of contamination: not_exposed, decontaminated or
contaminated. A unit that may be contaminated is not opened; put it in quarantine
and follow your shop's rules.`

	shortUnitMove = "Change where a unit stands, with the reason"
	longUnitMove  = `Change the state of a unit. The reason is needed, and of an evaluation the verdict. A
unit is opened only after a contamination statement, goes to repair only where an
offer that was made was accepted in time, and is released only where it was found
good or was tested. What the customer agreed to otherwise is said with --consent.

The states, and what may follow each:
`

	shortUnitRepair = "Add to a unit's repair log: section, work, parts"
	longUnitRepair  = `Add to the repair log of a unit that is in repair. The work is one of: rework, which
makes it again what its drawings say; repair, after which it works and is not wholly
as drawn; modification, by a document. Say the solder: leaded and lead-free are not
mixed in one joint without a note. The usual sections:
`

	shortUnitOffer = "Offer the customer what can become of a unit, with its figures"
	longUnitOffer  = `Offer the customer what can become of a unit. The figures are those of "decide": the
price of each way on the sheet, and what it comes to in all on the mean. The chance
that the unit is bad follows from its verdict, else from --bad; how often the serial
and the location sent units in before is looked up. The sheet is kept with the offer.`

	shortUnitAnswer = "Note what the customer says to the offer"
	longUnitAnswer  = `Note what the customer says to the last offer: one of its ways, or declined. An answer
after the offer's last day is kept, and no longer counts.`

	shortUnitNote = "Add a note to a unit"
	longUnitNote  = `Add a note to a unit, in free words.`

	shortUnitTakeBack = "Take back an entry of a unit that was wrong"
	longUnitTakeBack  = `Take back an entry, by its number in "show --entries". It stays on record, and no
longer counts. One that later changes rest on is taken back after them.`

	shortReturnNote = "Print the paper that goes with a unit to the shop, from its case"
	longReturnNote  = `Print the return note of a case: the complaint, what was seen, the settings as found,
the contamination statement and the packing. What is stated with --statement and
--packed is kept with the case; what is not is left to be filled in by hand.`

	shortUnitMonth = "The month in the shop: no fault found, repeats, turnaround, waiting"
	longUnitMonth  = `The month in the shop, by type of unit: what came in and went out, no fault found, what
came back within 90 days, the median of the days in the house and of the days of
waiting for the customer, and what is in the house at the end. Without a month it is
the last whole one.`

	sayUnitWho     = "Nothing becomes of a unit without somebody who did it: say who with --by ID, or set DOWNDROP_BY. An id, not a name."
	sayNoSuchUnit  = "There is no unit %q in this store."
	sayUnitsLike   = " Easily taken for it are %s: read the plate again, and name the unit as it is written here."
	sayManyUnits   = "Units of several types have the serial %s: say which, %s."
	sayNoState     = "%q is no state of a unit: %v"
	sayMoveWhy     = "Say with --why for what reason; one sentence is enough."
	sayNoUnitEntry = "There is no entry %s; there are %d, see \"show --entries\"."
	sayOtherKind   = "Entry %d says %s; it is put right by the command that says such things, or taken back."
	sayRecordSays  = "Record %s, issue %d, says that the unit is %s; leave --unit out, or name the record that shows it."
	// A record of an earlier stay shows the unit as it was then.
	sayRecordEarlier = "Record %s is of an earlier stay: the unit came in again on %s. Name a record of this stay, or give the verdict with --unit."
	sayRecordBad     = "Record %s, issue %d, says that the unit is bad: it is not released on that. Name the record of the test that it passed, or say with --consent who agreed and how."
	sayVoidEntry     = "Entry %d no longer counts; name the one that stands for it."
	sayTakesBack     = "Entry %d takes another one back. What that said is entered anew."
	sayNotThere      = "That could not have followed at the place of entry %d: what came before it allows no such change."
	sayWouldNotFit   = "Entry %d rests on it and would no longer fit: take that one back first."
	sayNoStatement   = "%q is no statement: %v"
	sayCleanedHow    = "Say with --cleaned how it was cleaned."
	sayNotHere       = "The unit is not in the shop."
	sayNotInRepair   = "The repair log takes entries while a unit is in repair; this one is %s. Move it first."
	sayRepairDid     = "Say with --did what was done; one sentence is enough."
	sayPaperWritten  = "Written as %s.\n"
	sayHereAlready   = "The unit is in the shop already, or was scrapped: it is %s. Look at \"unit show\"; take back what is wrong there."

	sayLongUnit = "No plate has so long a type and serial."

	sayAskUnit     = "%s was here before, and the plate is said to read %s. Is it that unit?"
	sayAskCase     = "Case %s, %s, is about %s serial %s, and the plate is said to read %s. Does the unit belong to it?"
	sayYesOrNo     = " (y/n) "
	sayReadAgain   = "The serial %s is easily taken for another. Read the plate again; nothing was taken in."
	sayLikeUnit    = "  Here before: %s."
	sayLikeCase    = "  Case %s: %s serial %s."
	sayHowToAnswer = "Then give the serial as it stands on the plate; say --case CASE where it belongs to such a case, and --as-read where it is none of these."

	sayNoOffer        = "No offer was made for this unit."
	sayNoOfferYet     = "An offer is made for a unit that was evaluated; this one is %s."
	sayNoChoice       = "%q was not offered: %v"
	sayLateAnswer     = "The offer held up to %s. The answer is kept, and no longer counts: make a new offer.\n"
	sayBadUnknown     = "Nothing proves the unit good or bad: say with --bad how likely it is bad, like 0.6 or 60%."
	sayGoneBy         = "that day has gone by; say a later one."
	sayMinutes        = "minutes are from 0 to 1000000."
	sayPart           = "a part is \"2 x relay@lot 17\"."
	sayNoMonth        = "%q is no month: it is written as 2031-05."
	sayStatementFirst = "Say with --statement what is stated: not_exposed, decontaminated or contaminated."

	sayNeverReceived  = "The unit was never received: take it in first, with \"unit receive\"."
	sayRefusedGone    = "The unit is %s: nothing follows but that it comes in again, with \"unit receive\"."
	sayRefusedByTable = "A unit does not go from %s to %s; it may go on to %s."
	// Behind a refusal for want of a verdict, where the unit has a record.
	sayVerdictOfRecord = " Or name the record that shows it: --record %s."
	sayRefusedLate     = "The customer's answer came after %s, the offer's last day. Make a new offer, or say with --consent who agreed and how."
)

// refusals say why a unit does not move, and what to do.
var refusals = map[cases.Refusal]string{
	cases.RefusedNoWhy:     sayMoveWhy,
	cases.RefusedUnstated:  "Nobody has stated whether the unit is contaminated, so it is not opened. Ask the sender, and note it with \"unit statement\".",
	cases.RefusedDirty:     "The unit may be contaminated: it is not opened. Put it in quarantine, follow your shop's rules, and note a new statement once it is clean.",
	cases.RefusedNoVerdict: "Say with --unit what the unit proved to be: good, bad or not_proven.",
	cases.RefusedNotGood:   "The unit was not found good and was not tested since. Test it first, or say with --consent who agreed and how.",
	cases.RefusedAsItCame:  "--unit says what the unit was as it came in, and that stands since before its repair. Leave it out; what is wrong there is put right with --instead-of.",
	cases.RefusedNoAnswer:  "The customer has not answered the offer. Note the answer with \"unit answer\", or say with --consent who agreed and how.",
	cases.RefusedDeclined:  "The customer has declined the offer. Make another, or say with --consent who agreed and how.",
}
