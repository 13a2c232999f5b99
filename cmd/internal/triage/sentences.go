package triage

import (
	"fmt"
	"strings"

	"downdrop/cmd/internal/wording"
)

// This file is every sentence that triage says.

const (
	sayEmptyList  = "There is nothing in the list; its first row holds the headings."
	sayNoRows     = "There is no row below the headings."
	sayTotals     = "This is a row of totals, not of a unit."
	sayNoUnit     = "This row has neither a serial nor a complaint: a row of totals, or of no unit."
	sayAskSerial  = "Which serial stands on the unit's label? The list has none."
	sayRowTooLong = "This row is longer than 64 KB; a quote that is not closed, or no list at all."
	sayRowBroken  = "This row cannot be taken apart into cells."
	sayQuoteOpen  = "A quote is opened in this row and never closed."
	sayWholeRow   = "the row"
	sayAskBefore  = "Read the serial from the plate again: if this unit was here before, was it for the same complaint?"
	sayRoleForm   = "say HEADING=ROLE, like \"Text 2=complaint\""
)

func sayFieldCount(has, want int) string {
	return fmt.Sprintf("This row has %s for %s.", wording.Counted(has, "cell"), wording.Counted(want, "heading"))
}

// sayOneOfColumns names one of several columns of one name, as --column takes it.
func sayOneOfColumns(name string, column int) string {
	return fmt.Sprintf("%s (column %d)", name, column)
}

func sayNoHeading(name, near string, names []string) string {
	says := fmt.Sprintf("There is no heading %q in the list", name)
	if near != "" {
		return says + fmt.Sprintf("; did you mean %q?", near)
	}
	return says + fmt.Sprintf("; it has %s.", strings.Join(names, ", "))
}

func sayTwoColumns(one, other, role string) string {
	return fmt.Sprintf("The columns %q and %q are both taken for %s; say which is not, with --column %q.", one, other, role, other+"=unused")
}

func sayNoComplaint(names []string) string {
	return fmt.Sprintf("No column is known to hold the complaint: the headings are %s. Say which one, with --column HEADING=complaint.", strings.Join(names, ", "))
}

func sayNoRole(role, near string) string {
	says := fmt.Sprintf("%q is no role: serial, complaint, place, unused, or the id of a symptom or a given", role)
	if near != "" {
		return says + fmt.Sprintf("; did you mean %q?", near)
	}
	return says
}

// sayDamage says what is to be asked back, and why.
func sayDamage(kind Damage, heading, cell string) string {
	return fmt.Sprintf("%s %q: ", heading, cell) + map[Damage]string{
		Exponent:    "a spreadsheet has made a number of it and its last digits are gone; ask for it as on the label",
		LostZeros:   "shorter than the others, which begin with zeros; a spreadsheet may have lost them; ask for it as on the label",
		Decimals:    "a number with a point or comma is no serial number; ask for it as on the label",
		AsDate:      "a spreadsheet has made a date of it; ask for it as on the label",
		FifteenOnly: "a spreadsheet keeps 15 digits and has made zeros of the others; ask for it as on the label",
		CellError:   "an error of the spreadsheet stands where something was; ask what",
		LostLetters: "its letters are spoilt; ask for the text once more",
		WhichComma:  "the comma may set off thousands or decimals; ask which",
	}[kind]
}
