package rehearse

import (
	"downdrop/rulebase"
)

// An Order is the order in which a rival of the engine takes its tests: stage after
// stage, and within a stage as they are listed. It knows nothing of what was found: the
// engine's own word says when it is enough, what is on offer, and what tells next to
// nothing by now and is passed over.
type Order struct {
	Name      string
	SwapFirst bool // the unit is exchanged before anything is looked at
	Stages    []Stage
}

// A Stage is one heading of an order.
type Stage struct {
	Name  string
	Why   string // why it stands where it stands
	Tests []string
}

// The orders of the rivals. They were written down before anything was measured or
// tuned against them, and stay as they are: a change here is a change of the measure.
//
// The headings of both are common practice, no source. What stands under a heading is
// every test of the shipped rulebase that can be made at a drop; within a heading looks
// and questions come before instruments, what is at the drop before what is far from it,
// and what stops the bus or takes something apart comes last, as anybody careful does it.
// Tests that are not named (another rulebase's) come last, as the rulebase lists them.

// Checklist is the order that the trade teaches: power, lights, handheld, rate and
// address, wiring and termination, controller, module, unit.
func Checklist() Order {
	return Order{Name: "checklist", Stages: []Stage{
		{"complaint", "the head of any sheet asks what fails and since when",
			[]string{"how_much_is_down", "how_it_fails", "began_after", "names_agree"}},
		{"power", "nothing works without it, and it is quickly looked at",
			[]string{"look_at_isolator", "look_at_supply_light", "ask_others_on_supply", "fuse_sign", "fuse_blew_before", "supply_label_look", "supply_wires_look", "beside_on_feed",
				"measure_supply_at_drop", "measure_across_fuses", "measure_at_source", "measure_supply_contacts", "measure_return_to_earth", "measure_unit_current", "measure_supply_ripple",
				"clamp_supply_output", "catch_supply_dips", "switch_loads_off", "take_supply_fuses_out", "pull_supply_wires", "feed_unit_apart"}},
		{"lights", "with power there, the unit says itself how it is",
			[]string{"look_at_lights", "look_at_module_lights", "look_at_channel_light", "look_at_field_power_light", "look_for_group_light", "watch_the_start_up"}},
		{"handheld", "the service handheld at the unit asks it without the line",
			[]string{"service_port_look", "look_at_handheld", "plug_handheld_in", "charge_handheld", "check_handheld_itself", "try_other_lead", "try_handheld_elsewhere", "try_other_handheld", "force_one_output"}},
		{"rate and address", "a unit that is well but set wrongly is silent all the same",
			[]string{"look_at_switches", "compare_format", "look_for_same_address", "read_unknown_addresses", "ask_for_power_cycle", "read_framing_errors", "time_the_reply"}},
		{"wiring and termination", "between a unit that is well and its controller there is the line",
			[]string{"look_at_trunk_plug", "terminal_block_look", "unit_terminals_look", "damage_look", "green_where", "look_at_terminators", "look_for_bias", "anything_between", "look_at_inline_device",
				"look_for_traffic_at_device", "look_at_inline_terminators", "compare_inline_settings", "cable_print", "look_at_route", "look_at_shield", "follow_shield_bonds", "look_at_common",
				"ask_what_is_at_work", "read_error_counts", "compare_drop_out_times", "compare_counts_along", "count_at_rest", "read_can_state", "measure_stubs",
				"measure_idle_pair", "measure_recessive", "measure_bias_supply", "measure_inline_volts", "measure_unit_port", "unplug_trunk_here", "measure_pair", "measure_terminators",
				"measure_legs_to_shield", "measure_trunk_contacts", "try_terminator", "halve_trunk", "look_into_joints", "move_the_cable", "check_trunk_route", "scope_line", "scope_call_and_reply",
				"scope_levels", "clamp_shield", "measure_common_mode", "measure_carrier_bond", "measure_shield", "look_at_suppressors", "lift_surge_arrester", "bridge_inline_device",
				"lower_the_rate", "lay_cable_over", "test_pair_insulation"}},
		{"controller", "a drop and a line that are well are no use to a controller that does not ask them",
			[]string{"look_at_controller", "read_drop_table", "read_port_state", "ask_outputs_enabled", "ask_inputs_live", "ask_forces", "ask_zone_outputs", "ask_who_stopped_it", "read_fault_record",
				"ask_outputs_on_bus_loss", "read_host_port_settings", "read_mismatch", "compare_module_list", "compare_program_version", "read_bus_cycle", "read_unit_revision", "read_force_list", "read_output_bit",
				"read_path_state", "read_path_changes", "read_standby_state", "compare_standby", "use_each_path", "move_to_other_port"}},
		{"module", "what is left is the drop's own hardware: the cheaper part first",
			[]string{"read_slots", "module_label_look", "look_at_input_light", "look_at_output_kind", "watch_other_points", "measure_field_power", "measure_input", "measure_off_output", "measure_input_leakage",
				"follow_one_input", "test_field_device", "check_output_fuses", "measure_load_ohms", "measure_field_wire", "measure_driven_output", "reseat_everything", "take_modules_out", "move_suspect_module", "change_suspect_module"}},
		{"unit", "last, for it costs most",
			[]string{"smell_or_burn", "what_helps", "getting_worse", "trouble_after_exchange", "panel_fan_look", "shaking_look", "measure_panel_heat", "try_spare_unit", "try_unit_at_good_place"}},
	}}
}

// GoodTechnician is the order of a good technician: extent, lights, what changed,
// supply, halving the line, swap last.
func GoodTechnician() Order {
	return Order{Name: "good_technician", Stages: []Stage{
		{"extent", "how much is down says where to stand, and whether anything here is wrong at all",
			[]string{"how_much_is_down", "names_agree", "read_drop_table", "look_at_controller", "how_it_fails", "ask_others_on_supply", "ask_outputs_enabled", "ask_inputs_live", "ask_zone_outputs", "watch_other_points",
				"read_slots", "read_port_state", "read_path_state", "read_standby_state"}},
		{"lights", "what the drop says itself costs a minute",
			[]string{"look_at_lights", "look_at_module_lights", "look_at_field_power_light", "look_for_group_light", "look_at_channel_light", "look_at_supply_light", "watch_the_start_up", "service_port_look"}},
		{"what changed", "what worked yesterday was mostly broken by what was done since",
			[]string{"began_after", "what_helps", "getting_worse", "trouble_after_exchange", "smell_or_burn", "ask_for_power_cycle", "ask_forces", "ask_who_stopped_it", "read_fault_record", "read_mismatch",
				"look_at_switches", "look_for_same_address", "compare_format", "module_label_look", "ask_what_is_at_work", "anything_between", "read_unit_revision", "compare_program_version", "compare_module_list",
				"read_unknown_addresses", "read_path_changes", "ask_outputs_on_bus_loss", "read_force_list", "read_host_port_settings"}},
		{"supply", "the commonest cause of a dark drop, and a meter settles it",
			[]string{"look_at_isolator", "fuse_sign", "fuse_blew_before", "supply_wires_look", "supply_label_look", "beside_on_feed", "measure_supply_at_drop", "measure_field_power", "measure_across_fuses", "measure_at_source",
				"measure_supply_contacts", "measure_return_to_earth", "measure_supply_ripple", "measure_unit_current", "catch_supply_dips", "clamp_supply_output", "switch_loads_off", "take_supply_fuses_out",
				"pull_supply_wires"}},
		{"halving the line", "first the unit asked apart from the line, then the line by halves",
			[]string{"plug_handheld_in", "look_at_handheld", "try_handheld_elsewhere", "try_other_lead", "try_other_handheld", "charge_handheld", "check_handheld_itself",
				"look_at_trunk_plug", "terminal_block_look", "unit_terminals_look", "look_at_terminators", "damage_look", "green_where", "look_at_inline_device", "look_for_traffic_at_device", "look_at_inline_terminators",
				"compare_inline_settings", "look_for_bias", "read_error_counts", "compare_counts_along", "compare_drop_out_times", "read_can_state", "read_framing_errors", "measure_idle_pair", "measure_recessive",
				"measure_inline_volts", "measure_bias_supply", "unplug_trunk_here", "halve_trunk", "measure_pair", "measure_terminators", "measure_legs_to_shield", "measure_trunk_contacts", "try_terminator", "look_into_joints",
				"look_at_route", "look_at_shield", "follow_shield_bonds", "look_at_common", "cable_print", "measure_stubs", "count_at_rest", "clamp_shield", "measure_common_mode", "measure_carrier_bond", "measure_shield",
				"look_at_suppressors", "move_the_cable", "check_trunk_route", "scope_line", "scope_call_and_reply", "scope_levels", "time_the_reply", "read_bus_cycle", "lift_surge_arrester", "bridge_inline_device",
				"lower_the_rate", "use_each_path", "compare_standby", "move_to_other_port", "lay_cable_over", "test_pair_insulation"}},
		{"swap last", "what is exchanged to see whether it helps comes when nothing else is left, the cheaper part first",
			[]string{"look_at_input_light", "look_at_output_kind", "read_output_bit", "follow_one_input", "measure_input", "measure_off_output", "measure_input_leakage", "test_field_device", "check_output_fuses",
				"measure_load_ohms", "measure_field_wire", "measure_driven_output", "force_one_output", "panel_fan_look", "shaking_look", "measure_panel_heat", "measure_unit_port", "reseat_everything", "take_modules_out",
				"move_suspect_module", "change_suspect_module", "feed_unit_apart", "try_spare_unit", "try_unit_at_good_place"}},
	}}
}

// SwapUnitFirst exchanges the unit to see whether that helps, and then goes by the checklist.
func SwapUnitFirst() Order {
	o := Checklist()
	o.Name, o.SwapFirst = "swap_unit_first", true
	return o
}

// places says for each test of a rulebase where it stands in the order; behind all that
// are named come the others, as the rulebase lists them.
func (o *Order) places(base *rulebase.Base) map[*rulebase.Step]int {
	at := map[string]int{}
	for _, stage := range o.Stages {
		for _, id := range stage.Tests {
			at[id] = len(at)
		}
	}
	places := map[*rulebase.Step]int{}
	for i := range base.Tests {
		step := &base.Tests[i]
		if place, named := at[step.ID]; named {
			places[step] = place
		} else {
			places[step] = len(at) + i
		}
	}
	return places
}
