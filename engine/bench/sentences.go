package bench

// What a run says to whoever is at the bench.
const (
	sayEmpty         = "Type an answer; \"not done\" with the reason leaves the step out."
	sayEmptyText     = "Type it, or scan it."
	sayNoteWhat      = "Type the note behind the word, as in: note label scratched."
	sayConfirm       = "Type \"read\" when you have read the warning and can keep to it; \"not done\" with the reason leaves the step out; \"stop\" ends here for now."
	sayRelease       = "Type \"out\" when it is out; the run does not end before."
	sayAtEnd         = "The run is at its end; \"undo\" takes the last entry back."
	sayNothingToUndo = "There is nothing to take back."
	sayNoStepHere    = "This is asked once and has to be answered."
	sayReason        = "Say why, as in: not done no load board here."
	sayTool          = "Type its name and the day until which it is calibrated, as in: meter 3 until 2027-03-01; or its name and \"not calibrated\"."
	sayOneOf         = "Type one of these: %s."
	sayPoints        = "Type \"all pass\", or the exceptions, as in: all pass, exceptions: 7, 9-11."
	sayNoPoint       = "%s is not among the points, which are 1 to %d."
	sayCounts        = "Type how many went wrong and of how many, as in: 0 of 30000."
	sayWhichPrefix   = "%q can be %s or %s. Type it with its unit, as the meter shows it."
	saySpansLimit    = "%s can lie on either side of the limit. Type one number."

	sayCountAll         = "Type all that was counted since the beginning, which is more than %s, or \"enough\"."
	sayReproduced       = "%s: the complaint was there at the bench, with the bench's own supply, line and modules."
	sayReproducedModule = "%s: the complaint is reproduced, and the module that failed may be all of it. Try it again with a sound one."
	sayTooShort         = "A check this short proves no unit good; what it did not test is listed."
	sayAllPassed        = "Every step that applies was done and passed."
	sayFailedStep       = "%s: failed."
	sayModuleFailed     = "%s: failed, which is first of all a module's fault. Put a sound module in that slot and go through the unit again; a point that fails there too is the unit's."
	sayNotForUnit       = "%s: failed, which says nothing of the unit and keeps it from being proven."
	saySettingsDiffer   = "%s: not as it came; the return note has to say so."
	sayNotShown         = "%s: neither shown good nor shown bad."
	sayNotDone          = "%s: not done (%s)."
	sayNotReached       = "%s: not reached."
)
