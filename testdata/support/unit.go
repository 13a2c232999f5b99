package support

// GoodUnit is what somebody types or reads at the bench, by what is asked, of a unit of the invented profile
// quay_24 in which nothing is wrong. The serial is as its label is read.
func GoodUnit(serial string) map[string]string {
	return map[string]string{
		"by": "bench-2", "intermittent": "no", "returned_before": "no",
		"may_work": "yes", "statement": "clean", "serial": serial, "revision": "C, week 12", "complaint": "silent since the storm", "papers": "agree", "parcel": "sound", "outside": "whole", "seen_fits": "explains nothing",
		"address_found": "5", "rate_found": "153.6k", "terminator_found": "off", "others_found": "none", "strap_reads": "1.2 Mohm", "board": "nothing seen", "pair_reads": "24k", "supply_ohms_read": "12 kohm",
		"starts": "starts normally", "power_lit": "yes", "current_reads": "280 mA", "rail_reads": "5.02 V", "ripple_reads": "18 mV", "drops_out_at": "16.3 V", "runs_at_limits": "yes", "rides_through": "yes",
		"handheld_talks": "answers", "address_read": "5", "address_reads_back": "yes", "first_point": "1.0", "points_reported": "56", "modules_seen": "4", "stored": "none", "cleared": "yes",
		"bus_reads": "74.8 ohm", "driver_reads": "2.4 V", "bit_reads": "6.51 us", "threshold_reads": "0.11 V", "program_compares": "yes", "program_runs": "yes", "run_lit": "yes", "errors": "0 of 30000",
		"outputs_come_on": "all pass", "all_on_reads": "7.9 A", "outputs_go_off": "all pass", "outputs_released": "yes", "inputs_follow": "all points pass", "kept": "yes", "cold_starts_good": "10",
		"settings_as_found": "address 5", "points_work": "all pass", "chamber_reads": "55 C", "stands_heat": "yes", "stands_shaking": "yes", "complaint_is": "not reproduced", "all_out": "yes", "settings_left": "as found",
	}
}
