package waveform

// Every sentence about a file that is no capture.
const (
	sayEmpty      = "The file is empty. Export the capture again, as text with time and volts."
	sayNotText    = "This is no text. Export the capture as text (comma, semicolon or tab between columns), not in the instrument's own form."
	sayLongLine   = "This line has %d characters; no table of numbers has such lines. Export the capture as text."
	sayNoTable    = "There is no table in it: %d lines in a row with the same number of decimal numbers, time and volts, parted by commas, semicolons or tabs, must begin within the first %d lines."
	sayBothCommas = "Commas part the columns and mark the decimals too, and nobody can tell which is which. Export it with semicolons or tabs, or with decimal points."
	sayNoTimeUnit = "No heading says what the time is in. Write the unit in the heading, like \"time (us)\", or say --time-unit us."
	sayNoVoltUnit = "No heading says what column %d is in. Write the unit in the heading, like \"volts (mV)\", or say --volts-unit mV."
	sayChannels   = "There are %d columns of volts. Keep one (across the pair) or two (each leg against common)."
	sayFields     = "This line has %d columns; the table has %d."
	sayNoNumber   = "%.40q is no decimal number."
	sayManyVolts  = "%.4g V is more than a signal pair can carry. Is the column in mV?"
	sayTooFew     = "There are %d points; at least %d are wanted. Export the whole record."
	sayTooMany    = "There are %d points; at most %d are read. Export a shorter stretch, or fewer points."
	sayTimeStands = "The time does not run forward from the first line to the last."
	sayUneven     = "The time does not run evenly: line %d is off by more than a step. Export one capture with an even time base."
	sayMoreLines  = "and %d more lines like these."
)
