"""What holds each formula of the topic `method`, by the first code that its row names; and what is no formula.

Each test named holds it against something outside: another program, printed figures, a derivation that shares no code
with the project, sums taken step by step, or a case worked by hand.
"""

from __future__ import annotations

HELD: dict[str, tuple[str, ...]] = {
    # Copper
    "network/turns.outcome": (
        "network/test_turns::test_wildi_example_11_1_eighty_percent_tap",
        "network/test_turns::test_tap_for_250_from_220_volts_of_2000_turns",
        "engines/test_ngspice::test_hundreds_of_random_networks",
    ),
    "network/spaces.multiple": ("network/test_node_equations::test_node_equations_give_the_same_kind_and_ratio",),
    "network/turns.sensed_ratio": ("engines/test_z3::test_what_is_read_under_load_as_nodal_analysis_has_it",),
    "network/flow.flows": (
        "engines/test_flow::test_hundreds_of_random_networks",
        "engines/test_power_system::test_regulation_under_load",
    ),
    "network/load.load_current": (
        "network/test_load::test_constant_power",
        "engines/test_power_system::test_regulation_under_load",
    ),
    "control/source.Source": ("control/test_source::test_a_load_that_leaves_at_170_volts",),
    "network/faults.edited": (
        "published/test_fault_dictionary::test_the_dictionary",
        "engines/test_faulted::test_the_dictionary_against_ngspice",
    ),
    "rating/fed.fed": ("rating/test_fed::test_the_volts_of_coupled_cores_are_those_of_the_node_equations",),
    "rating/gaps.gap": (
        "rating/test_published::test_open_gaps_of_the_plans",
        "rating/test_ends::test_a_contact_that_every_band_closes_holds_off_the_mains_and_the_inverter",
    ),
    # The controller in volts and time
    "control/reading.Blur": (
        "control/test_reading::test_both_ways_by_hand",
        "engines/test_z3::test_random_tables",
    ),
    "control/serving.served": ("engines/test_z3::test_uncovered_range_of_random_turns",),
    "control/serving.served_under": (
        "engines/test_z3::test_random_tables",
        "control/test_choice::test_placed_thresholds_keep_the_promise",
    ),
    "control/thresholds.handover": (
        "control/test_choice::test_room_is_the_formula_of_the_trade",
        "control/test_choice::test_margins_are_shared_evenly_on_both_sides_at_whole_volts",
        "control/test_thresholds::test_the_overlap_is_the_hysteresis_where_it_beats_the_noise_else_twice_the_noise",
        "control/test_thresholds::test_never_more_than_there_is",
    ),
    "checks/coverage.feasible": (
        "engines/test_z3::test_random_tables",
        "outside/test_loop::test_chatter_comes_with_an_overlap_below_the_noise_and_only_then",
    ),
    "checks/hunting._least_upper_end": (
        "checks/test_hunting::test_hunting_of_a_reading_behind_the_relays",
        "engines/test_z3_courses::test_hunting_of_readings_elsewhere",
    ),
    "checks/hunting.least_return": (
        "checks/test_hunting::test_returns_at_177_cycle_for_ever_and_at_178_settle",
        "outside/test_loop::test_a_weak_source_cycles_when_the_return_is_near",
    ),
    "control/decisions.decisions": (
        "outside/test_rule::test_literal_decision_agrees_with_every_cut",
        "control/test_decisions::test_the_answer_away_by_hand",
        "loop/test_doors::test_all_doors_agree",
    ),
    "control/automaton.automaton": (
        "control/test_automaton::test_random_courses_stay_inside_what_the_automaton_allows",
        "engines/test_z3_courses::test_random_tables_that_read_the_input",
    ),
    "control/stays.longest_stay": (
        "control/test_flights::test_no_timing_on_a_grid_stays_longer_and_one_stays_so_long",
        "loop/test_closed_loop::test_no_gap_and_no_level_of_a_move_outlasts_its_bound",
    ),
    "control/moves.Mixtures": ("engines/test_transient::test_both_orders_of_a_two_relay_move",),
    "control/timing.travel": (
        "control/test_response::test_the_settling_time_of_a_single_step_by_hand",
        "checks/test_flight::test_the_times_of_a_move_by_hand",
    ),
    "control/response.Response": (
        "control/test_response::test_no_simulated_step_leaves_the_worst_case",
        "loop/test_closed_loop::test_no_level_after_a_step_outlasts_its_bound",
    ),
    "checks/aftermath._flight_read": (
        "checks/test_aftermath::test_part_of_a_flight_in_the_reading_counts_by_its_square",
        "outside/test_loop::test_a_flight_is_seen_by_a_reading_at_the_output",
    ),
    "checks/aftermath.inrush_retrip": ("checks/test_aftermath::test_inrush_pulls_the_inlet_below_the_band",),
    "checks/margins.Margin": (
        "checks/test_margins::test_the_corners_of_a_band_by_hand",
        "checks/test_margins::test_no_sample_beats_the_worst_case",
    ),
    "checks/growths.growths": ("checks/test_margins::test_limits_are_sharp",),
    "control/ripple.ripple": (
        "control/test_ripple::test_samples_of_the_sine_itself_agree",
        "control/test_ripple::test_the_summits_of_the_rms_share_are_the_roots_of_tan_x_is_x",
        "checks/test_budget::test_a_rectified_average_over_a_fixed_window_by_brute_force",
    ),
    "control/counts.converter": (
        "checks/test_budget::test_one_count_of_ten_bits_over_plus_and_minus_the_peak_of_320_volts",
        "checks/test_budget::test_detectors_other_than_rms_scale_by_their_form",
    ),
    "checks/budget._resistors": (
        "checks/test_budget::test_divider_of_one_percent_resistors",
        "checks/test_budget::test_the_divider_s_corner_is_exact",
    ),
    "checks/budget._quantisation": (
        "checks/test_budget::test_one_count_of_ten_bits_over_plus_and_minus_the_peak_of_320_volts",
        "checks/test_budget::test_quantisation_counts_at_the_sensed_points",
    ),
    "pages/firmware/averaging.averaging": (
        "engines/test_firmware_reading::test_a_reading_is_the_nearest_whole_number",
    ),
    "design/standards.Curve": (
        "checks/test_recovery::test_how_long_the_iti_curve_lets_a_voltage_rise",
        "checks/test_recovery::test_slopes_are_straight_in_log_time",
    ),
    "control/equations.equations": ("engines/test_exports::test_no_more_terms_than_a_second_minimiser",),
    # Iron, wire, contacts
    "rating/iron.flux_t": (
        "rating/test_published::test_the_emf_equation",
        "rating/test_integrals::test_volts_per_turn_are_the_slope_of_the_flux",
        "published/test_winding_rules::test_w14_turns",
        "study/test_scales::test_the_flux_and_the_volts_of_a_turn_set_the_fewest_turns",
    ),
    "checks/flight.flight_inrush": (
        "rating/test_integrals::test_the_peak_of_flux_after_an_open_line_summed_step_by_step",
        "checks/test_flight::test_stated_times_are_used_and_said",
    ),
    "rating/iron.magnetising_at": (
        "rating/test_published::test_field_strengths_of_an_open_data_set",
        "rating/test_ends::test_the_magnetising_current_is_that_of_each_input",
    ),
    "design/materials.sheet_mm2": ("rating/test_integrals::test_the_iron_of_a_lamination_square_by_square",),
    "design/materials._wasteless": (
        "rating/test_integrals::test_wasteless_laminations_close",
        "rating/test_published::test_laminations_as_a_public_core_table_has_them",
        "rating/test_integrals::test_the_path_round_a_window_in_small_steps",
    ),
    "rating/iron.loss_w": (
        "rating/test_published::test_guaranteed_losses_by_the_grades_names",
        "rating/test_integrals::test_losses_go_with_the_square_of_the_flux_and_1_3_of_the_frequency",
    ),
    "rating/bandwise._core_va": (
        "rating/test_published::test_textbook_autotransformers",
        "rating/test_ends::test_copper_saved_is_the_load_s_share_however_small_the_load",
    ),
    "rating/bandwise._efficiency": (
        "rating/test_rated::test_losses_are_what_comes_in_less_what_goes_out",
        "answers/test_rate::test_heat_from_what_heats",
    ),
    "rating/bandwise._window_limit": (
        "rating/test_ends::test_the_load_the_window_permits_with_leakage",
        "rating/test_rated::test_the_permitted_load_reaches_its_limit_exactly",
    ),
    "design/wound.warm_ohm": (
        "rating/test_published::test_awg_sizes_and_resistances",
        "rating/test_published::test_copper_warm",
    ),
    "rating/wire.next_wire": (
        "published/test_winding_rules::test_w13_wire",
        "published/test_winding_rules::test_w14_wire",
        "rating/test_published::test_the_next_standard_wire",
    ),
    "rating/wire.copper_kg": (
        "rating/test_laid::test_wire_to_have",
        "study/test_loaded::test_the_shipped_jobs_wound_on_paper",
    ),
    "design/materials.awg_mm": ("rating/test_published::test_awg_sizes_and_resistances",),
    "design/enamel.overall_mm": (
        "engines/test_magnetics::test_every_overall_diameter_is_the_library_s",
        "engines/test_magnetics::test_every_strip_has_the_library_s_edge_copper_and_covering",
    ),
    "design/coil.coil_of": (
        "design/test_coil::test_layers_by_hand",
        "design/test_coil::test_turn_by_turn_in_a_plain_second_way",
    ),
    "design/coil.turn_mm": ("design/test_coil::test_the_length_of_a_turn_by_hand",),
    "design/limb.mean_turn_mm": (
        "design/test_coil::test_a_coil_that_fills_the_window_has_the_mean_turn_of_the_one_figure",
    ),
    "rating/laid._layers": (
        "rating/test_laid::test_volts_between_layers_are_twice_a_layer_times_the_volts_of_a_turn",
    ),
    "rating/laid.ratio_test": (
        "rating/test_laid::test_the_ratio_test_feeds_the_most_turns_there_are",
        "rating/test_laid::test_cold_resistance_by_hand",
    ),
    "rating/cost.cost_of": ("rating/test_laid::test_costs_by_hand",),
    "rating/contacts.bridges": ("rating/test_rated::test_a_bridged_output_contact_by_hand",),
    "rating/contacts.years": (
        "rating/test_rated::test_years_of_a_relay",
        "answers/test_replay::test_contact_life_by_hand",
    ),
    "checks/protection._inrush_through_the_fuse": (
        "rating/test_integrals::test_the_a2s_of_a_half_cycle_summed_step_by_step",
        "rating/test_ends::test_a_fuse_is_judged_at_both_ends_of_the_range",
    ),
    "rating/supply.coils_draw": ("rating/test_ends::test_what_coils_draw_flows_in_their_winding",),
    "rating/feeds.coils_on": ("rating/test_rated::test_a_coil_supply_that_is_too_low",),
    "rating/feeds.charging": (
        "rating/test_rated::test_the_charger_s_input_by_hand",
        "rating/test_rated::test_the_low_side_carries_as_many_times_the_current_as_the_volts_are_fewer",
    ),
    # Choosing turns
    "study/request.room": (
        "control/test_choice::test_room_is_the_formula_of_the_trade",
        "engines/test_cp_sat::test_the_same_most_room",
    ),
    "study/request.enough": (
        "study/test_sensitivity::test_a_little_less_noise_saves_a_relay",
        "engines/test_cp_sat::test_the_same_most_room",
    ),
    "study/request.bound": (
        "study/test_fitting::test_the_bound_by_hand",
        "study/test_fitting::test_ideal_counts",
    ),
    "study/scales.NextBound": (
        "study/test_scales::test_a_line_never_cuts_the_bound",
        "engines/test_cp_sat::test_the_orders_of_ratios_find_the_same_most_room",
    ),
    "study/request.Sag": (
        "engines/test_cp_sat::test_plans_wound_on_a_core_have_the_most_room_there_is",
        "study/test_loaded::test_the_drop_is_reserved_where_the_range_begins",
    ),
    "study/search.search": (
        "study/test_search::test_the_best_of_all_turns",
        "engines/test_cp_sat::test_the_same_most_room",
    ),
    "study/plans.deviation": (
        "answers/test_fit::test_the_columns_of_a_plan_from_its_ratios",
        "study/test_scoring::test_the_mean_deviation_by_the_plain_loop",
    ),
    "study/leastoff.least_deviation": (
        "study/test_leastoff::test_no_ladder_is_nearer_than_the_bound_and_one_comes_close",
    ),
    "study/taps.pairs_of": (
        "engines/test_cp_sat::test_the_orders_of_ratios_find_the_same_most_room",
        "study/test_leastoff::test_two_selectors_that_use_all_their_ratios_move_together_somewhere",
    ),
    "study/cores.thumb_va": ("published/test_winding_rules::test_w13_power_of_the_core",),
    "study/auxiliary.with_auxiliaries": (
        "study/test_auxiliary::test_a_coil_supply_gives_what_its_coils_pull_in_at",
        "study/test_auxiliary::test_a_battery_that_nothing_feeds_from_gets_its_volts_at_the_lowest_flux",
        "study/test_loaded::test_the_inverter_s_winding_and_the_coils_by_hand",
    ),
    # Logs
    "replay/segments.INTERVAL": (
        "answers/test_replay::test_ten_minute_means_are_those_of_a_data_library_and_held_to_the_limits_of_en_50160",
        "outside/test_replay::test_ten_minutes_of_the_clock_have_their_mean_squares",
    ),
    "replay/spread.VoltSpread": (
        "answers/test_replay::test_percentiles_and_deviation_are_those_of_numpy",
        "replay/test_volts::test_percentiles_are_the_inverted_distribution",
    ),
    "replay/steps.Distances": ("replay/test_steps::test_it_is_the_median_however_the_log_is_cut",),
    "replay/unseen.unseen": (
        "answers/test_replay::test_what_a_log_cannot_show_is_bounded",
        "answers/test_replay::test_a_confirmation_lowers_the_ceiling",
    ),
    "logs/scenarios.Quiet": (
        "logs/test_made::test_quiet_volts_are_those_of_a_plain_loop",
        "logs/test_made::test_the_drift_forgets_by_e_in_its_time_constant",
    ),
    "logs/scenarios.Rough": (
        "logs/test_made::test_rough_volts_lie_evenly_around_a_centre_and_stay_there_for_ten_minutes",
    ),
    "logs/scenarios.Evening": (
        "logs/test_made::test_the_load_of_an_evening_is_what_stands_switched_on",
        "logs/test_made::test_at_the_height_of_the_evening_the_volts_fall_by_what_is_asked",
    ),
    # Finding faults
    "bench/isolation.Isolation": (
        "bench/test_reasoning::test_weights_are_prior_times_likelihood_over_their_sum",
        "bench/test_reasoning::test_a_pair_is_as_likely_as_both_together_and_rarer_still",
    ),
    "bench/meter.Meter": (
        "bench/test_meter::test_cells_are_as_wide_as_the_error_to_either_side",
        "bench/test_reasoning::test_a_reading_s_likelihood_by_hand",
    ),
    "bench/dictionary.gains": (
        "bench/test_reasoning::test_the_worth_of_a_measurement_is_shannon_s_mutual_information",
        "bench/test_tree::test_near_the_best_tree",
    ),
    "bench/resistances.between_ohm": (
        "bench/test_reasoning::test_ohms_between_two_points_are_the_resistance_distance_of_a_graph",
    ),
    "bench/smallsource.SmallSource": (
        "bench/test_isolation::test_a_bridge_with_ohms_of_its_own_is_no_dead_short",
        "bench/test_board::test_against_ngspice",
    ),
    "bench/smallsource._loop": (
        "bench/test_isolation::test_one_shorted_turn_of_402_is_foreseen_as_it_is",
        "bench/test_board::test_one_shorted_turn_is_no_short_to_a_small_source",
        "bench/test_reasoning::test_shorted_turns_are_a_loop_that_takes_so_many_volt_amperes_at_nominal_volts",
    ),
    "bench/measures.resistor": ("bench/test_isolation::test_the_resistor_burns_little_into_a_dead_short",),
    "bench/safety.low_source": (
        "bench/test_isolation::test_the_small_source_stays_below_the_touch_voltage",
        "bench/test_isolation::test_low_volts_in_can_be_mains_out",
        "bench/test_reasoning::test_no_winding_however_many_turns_comes_above_the_touch_voltage",
    ),
    "bench/copper.KnownCopper": (
        "bench/test_supplies::test_spans_worked_by_hand",
        "bench/test_reasoning::test_copper_leakage_and_iron_of_an_unstated_board_by_hand",
        "bench/test_board::test_copper_that_a_design_states_is_what_is_found",
    ),
    "bench/heights.turns": (
        "bench/test_learned::test_turns_come_out_of_ratios",
        "bench/test_learned::test_the_true_turns_are_always_within_the_error",
    ),
}

# Docstrings that read like a formula and are none, by code, each with why.
NO_FORMULA: dict[str, str] = {
    "design/tables/rating.Core": "a limit where the file states none",
    "design/tables/rating.Copper": "a limit where the file states none",
    "design/tables/rating.CoilSupply": "a key's default, which `rating/feeds` `coils_on` works with",
    "network/states.State": "how many states a row stands for",
    "rating/bandwise.Permitted": "says whether a limit is the file's own",
    "checks/service.over_load": "says how grave a limit is",
    "checks/witnesses/carried.WireCurrent": "says whether a limit is the file's own",
    "checks/witnesses/carried.WindowFill": "says whether a limit is the file's own",
}

# Constants with a unit in their name that are none of physics or of the trade, each with why.
NO_SOURCE_NEEDED: dict[str, str] = {
    "network/flow.LEAST_OHM": "stands in for nothing",
    "network/flow.LEAST_SIEMENS": "stands in for nothing",
    "rating/wire.SAME_MM": "rounding of a file",
    "bench/isolation.LEAST_SHARE": "what is not listed",
    "bench/offered.AWAY_SHARE": "a voltage chosen for a measurement",
    "bench/resistances.CONTACT_OHM": "stands in for nothing",
    "logs/cleaned.MOST_V": "what no reading can be",
    "pages/firmware/packed.MOST_MS": "32 bits",
    "pages/firmware/ticks.USUAL_MS": "an example, which the firmware's author sets",
}
