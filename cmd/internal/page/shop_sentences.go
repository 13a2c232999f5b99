package page

import "downdrop/cases"

// What the pages of the shop say beside the reports' own sentences.
const (
	sayShopTitle   = "Units in the shop"
	sayReceiveUnit = "A unit comes in"
	sayPartOfState = "Shown are %d to %d of %d, those that have been so longest first."
	sayUnitTitle   = "Unit"
	sayOfferTitle  = "Offer"
	sayStoryTitle  = "Unit, entry by entry"
	sayMonthTitle  = "The month in the shop"
	sayBenchTitle  = "At the bench"
	sayDecideTitle = "What becomes of it"

	sayReturnLead = "This paper goes into the box with the unit. Hand the whole case over too (“Hand over”, to the bench), so that the shop asks nothing again."

	sayNoUnit        = "There is no such unit here."
	sayNoMonth       = "A month is written as 2031-05."
	sayTakeBackWhich = "Say which entry was wrong, by choosing one that still counts."
	sayVoidEntry     = "Entry %d no longer counts; choose the one that stands for it."
	sayTakesBack     = "Entry %d takes another one back. What that said is entered anew."
	sayLaterRests    = "Entry %d rests on it and would no longer fit: take that one back first."
	sayNoRun         = "There is no such run here."
	sayNoRecord      = "There is no such record here."
	sayNoSheet       = "This price sheet is not here any more. Give it again."
	sayNoCaseCalled  = "There is no case %s here."
	sayWhoWrites     = "Say who does this: an id of letters, digits, - and _, not a name."
	sayPlate         = "Type and serial are needed, as the plate says them."
	sayHereAlready   = "The unit is in the shop already, or was scrapped: it is %s. Look at its page, and put right there what is wrong."
	sayNotHere       = "The unit is not in the shop."

	sayMoveTo         = "Say what it becomes."
	sayRefusedByTable = "A unit that is %s does not become %s."
	sayRefusedLate    = "The customer's answer came after %s, the offer's last day. Make a new offer, or say who agreed and how."
	sayRecordSays     = "Record %s, issue %d, says that the unit is %s; leave the verdict out, or name the record that shows it."
	sayRecordEarlier  = "Record %s is of an earlier stay. Name a record of this stay, or say the verdict."
	sayRecordBad      = "Record %s, issue %d, says that the unit is bad: it is not released on that. Name the record of the test that it passed, or say who agreed and how."
	sayStateWhat      = "Say what is stated: not exposed, decontaminated or contaminated."
	sayCleanedHow     = "Say how it was cleaned."
	sayNotInRepair    = "The repair log takes entries while a unit is in repair; this one is %s."
	sayRepairDid      = "Say on which section what was done; one sentence is enough."
	sayRepairAs       = "Say whether it was rework, a repair or a modification, and with what was soldered."
	sayNoCause        = "The rulebase has no cause %s."
	sayBadPart        = "“%s” is no part; one is “2 x relay@lot 17”, a line each."
	sayMinutes        = "Minutes are a whole number."
	sayNoOffer        = "No offer was made for this unit."
	sayNoOfferYet     = "An offer is made for a unit that was evaluated; this one is %s."
	sayDeclined       = "none of them: declined"
	sayAnswerWhat     = "Say which of the ways was chosen, or that all were declined."
	sayUntil          = "Say the last day on which it holds, written as 2031-05-28 and not gone by."
	sayBadUnknown     = "Nothing proves the unit good or bad: say how likely it is bad, like 0.6 or 60%."
	sayAmount         = "%s: “%s” cannot be read. Say %s."

	sayRunRow         = "%s, begun %s"
	sayRunOpen        = ": at step %d of %d"
	sayRunUnread      = "A run begun %s, which cannot be read: open it to see why"
	sayRunVerdict     = ": %s"
	sayProcedureRow   = "%s: %d steps, about %.0f minutes"
	sayWhichProcedure = "Say which procedure to go through."
	sayWhichProfile   = "Say what kind of unit it is; its limits follow from that."
	sayRunFolder      = "The run cannot be kept in %s: %v. What was entered last was not taken in; enter it again once that is mended."
	sayRunWentOn      = "The run has gone on meanwhile, in another window or on another screen. This is what it asks now; nothing was taken in twice."
	sayRunNotEnded    = "A record is issued of a run of a unit in this store that has come to its end."
	saySerialUnlike   = "The serial read at the bench is %s, and the card is that of %s. Take the unit in under the serial that its plate says, or take the reading back."
	sayRecordRow      = "Record %s, issue %d"
	sayOlderRun       = "This is an older copy of a run that has the record %s, issue %d: that holds all of this, and what was entered after it."
	sayReissueWhy     = "This run has the record %s, issue %d. To issue it again, say why."
	sayNoDay          = "The day it came in is written as 2031-05-04."
)

var sayAmountNames = map[string]string{"bad": "The chance that it is bad", "downtime": "What an hour costs", "spares": "Spares on the shelf", "age": "Years in service"}

// refusals say why a unit does not move, and what to do.
var refusals = map[cases.Refusal]string{
	cases.RefusedNoWhy:     "Say for what reason; one sentence is enough.",
	cases.RefusedUnstated:  "Nobody has stated whether the unit is contaminated, so it is not opened. Ask the sender, and note the statement first.",
	cases.RefusedDirty:     "The unit may be contaminated: it is not opened. Put it in quarantine, follow your shop's rules, and note a new statement once it is clean.",
	cases.RefusedNoVerdict: "Say what the unit proved to be: good, bad or not proven.",
	cases.RefusedNotGood:   "The unit was not found good and was not tested since. Test it first, or say who agreed and how.",
	cases.RefusedAsItCame:  "What the unit was as it came in stands since before its repair: choose nothing there now.",
	cases.RefusedNoAnswer:  "The customer has not answered the offer. Note the answer, or say who agreed and how.",
	cases.RefusedDeclined:  "The customer has declined the offer. Make another, or say who agreed and how.",
}
