package main

const (
	shortChart = "Print the fault-finding chart that leads on from what is known"
	longChart  = `Print the compiled fault-finding chart that leads on from what is known: what to look
at or do first, and after each answer what next, with the same permissions as
diagnose has. Answers from which the same follows, or that are too rare, lead on
together. It says which share of cases it settles; the rest ends in handing over.

--html makes one file for a phone: big buttons, no network, remembers where you are.
--page makes one side of paper for the cabinet door, to be printed from a browser: at
most 15 places, as many as go onto it with their warnings. --svg draws a ruled sheet.
--optimal proves that no chart takes less, or prints the gap that is left; it is slow
on a large rulebase.`

	sayChartCase       = "A chart is made of a case file or of a case of the store (--case), not of both."
	sayChartForms      = "--json, --svg, --html and --page are four forms of one chart; say one of them."
	sayChartPage       = "--page %s: a page is a4 or letter."
	sayChartLimits     = "--levels is from 1 to 100, --places from 1 to 5,000, --least from 0 to less than 1."
	sayChartPagePlaces = "One side of paper holds at most %d places, and is never searched for the best; leave --places and --optimal out."
	sayChartPageFull   = "Not even one place goes onto one side of this paper with all that is known above it; say less, or leave --page out."
	sayWritten         = "Written to %s.\n"
)
