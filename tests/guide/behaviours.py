"""Sentences that say what tapplan does, without a number: which test runs each, or why none can.

A key is the document and some words of the sentence; documents are those of `shown`, `DEVELOPERS` (its part on why
things are as they are) and `help` (what `--help` of the verbs says).
"""

from __future__ import annotations

RUN: dict[tuple[str, str], str] = {
    # README
    (
        "README",
        "overlap of neighbours keeps the relays quiet",
    ): "outside/test_loop::test_chatter_comes_with_an_overlap_below_the_noise_and_only_then",
    (
        "README",
        "calculated from what the file says, never",
    ): "cli/test_commands::test_rate_says_what_is_missing_and_never_guesses",
    # designer
    ("designer", "on the same tap passes it on"): "network/test_turns::test_three_shared_taps_give_four_ratios",
    ("designer", "fewer ratios cannot do"): "engines/test_cp_sat::test_the_same_most_room",
    (
        "designer",
        "puts them into the file and keeps your comments",
    ): "cli/test_commands::test_bands_write_in_place_keeps_comments",
    # repairer
    (
        "repairer",
        "calculated from what the file says, never measured",
    ): "cli/test_commands::test_rate_says_what_is_missing_and_never_guesses",
    ("repairer", "it hangs at the output on the line only"): "bench/test_isolation::test_a_lamp_only_weakens",
    (
        "repairer",
        "nothing on the line before a test has looked for every short",
    ): "bench/test_tree::test_the_tree_keeps_the_line_waiting_too",
    (
        "repairer",
        "Where a short keeps the line off",
    ): "bench/test_isolation::test_the_line_waits_for_the_test_that_is_named",
    (
        "repairer",
        "a comma in a number is a decimal sign, always",
    ): "bench/test_readings::test_numbers_with_units_and_decimal_commas",
    ("repairer", "`unknown` is what cannot be had"): "bench/test_readings::test_words_for_open_never_and_unknown",
    (
        "repairer",
        "that stands only where it would stand without any single one",
    ): "bench/test_isolation::test_a_verdict_hangs_on_no_single_reading",
    (
        "repairer",
        "readings that cannot all be right",
    ): "bench/test_isolation::test_a_contradiction_names_the_smallest_set_and_goes_on",
    (
        "repairer",
        "With `--save FILE` nothing is lost",
    ): "cli/test_dialogue::test_a_session_is_saved_after_every_answer_and_gone_on_with",
    ("repairer", "goes on and keeps the file up"): "cli/test_dialogue::test_a_resumed_session_is_kept_up_in_its_file",
    (
        "repairer",
        "So never run a stage with a bridged relay",
    ): "published/test_fault_dictionary::test_the_worst_comes_first_and_bridged_relays_are_never_survived",
    # reviewer
    (
        "reviewer",
        "`check --only CODE` lists it row by row",
    ): "cli/test_commands::test_check_of_one_code_and_its_explanation",
    (
        "reviewer",
        "`--only CODE` shows one code row by row",
    ): "cli/test_commands::test_check_of_one_code_and_its_explanation",
    (
        "reviewer",
        "The same wiring has a sound table",
    ): "checks/test_comparison::test_the_table_under_review_and_its_mended_revision",
    (
        "reviewer",
        "A promise that may not grow at all is held with nothing to spare",
    ): "checks/test_margins::test_limits_are_sharp",
    ("reviewer", "how long the load is on nothing"): "cli/test_commands::test_moves_name_the_safest_order",
    (
        "reviewer",
        "sets warnings and notes apart, never a fault",
    ): "checks/test_judgement::test_a_fault_is_never_accepted",
    # requests
    (
        "requests",
        "so many ratios, and so relays, it takes whatever the wiring",
    ): "study/test_fitting::test_every_plan_checks_without_a_fault_and_keeps_the_bound",
    ("requests", "keeps what has been searched"): "study/test_kept::test_a_search_goes_on_where_it_ended",
    (
        "requests",
        "are told of beside the plans, and in the design",
    ): "cli/test_fit::test_mains_that_were_made_up_are_told_of_with_the_plans_they_weigh",
    (
        "requests",
        "A winding that exists leaves only wiring and bands",
    ): "study/test_search::test_taps_that_exist_are_all_that_is_used",
    (
        "requests",
        "`.md` and `.csv` give the same as text",
    ): "answers/test_winding::test_every_document_has_every_cell_and_the_caution",
    (
        "requests",
        "has currents, losses and the permitted load of the same design",
    ): "study/test_loaded::test_what_is_written_passes_check_and_rate_at_full_load",
    # logs
    ("logs", "the same table that `at`, `export` and the firmware look up"): "loop/test_doors::test_all_doors_agree",
    ("logs", "what such a log cannot show"): "answers/test_replay::test_what_a_log_cannot_show_is_bounded",
    (
        "logs",
        "only those that it covers whole count",
    ): "outside/test_replay::test_ten_minutes_with_a_gap_are_left_out",
    (
        "logs",
        "stands for no time, the band is kept",
    ): "outside/test_replay::test_the_sample_before_a_gap_is_read_at_its_instant_and_stands_for_no_time",
    ("logs", "Nothing is filled in"): "logs/test_cleaned::test_what_is_left_out_and_why",
    ("logs", "loses that hour, unless `--zone` says"): "logs/test_hints::test_a_clock_put_back_asks_for_its_zone",
    (
        "logs",
        "cannot be known for sure it is asked for, not guessed",
    ): "logs/test_choice::test_what_cannot_be_told_is_asked_for",
    (
        "logs",
        "runs other designs on the same samples",
    ): "answers/test_replay::test_designs_beside_each_other_are_run_on_the_same_samples",
    (
        "logs",
        "from a seed, the same at every call",
    ): "logs/test_made::test_a_seed_gives_the_same_rows_again_and_another_gives_others",
    (
        "logs",
        "keeps turns and relays of a design and moves the thresholds",
    ): "cli/test_fit_log::test_the_design_written_keeps_all_but_the_holds",
    (
        "logs",
        "reviewed before anything is said, and `-o FILE` writes it",
    ): "study/test_refined::test_the_design_found_is_reviewed_and_no_worse",
    (
        "logs",
        "It is the same to the last count whoever did the work",
    ): "replay/test_region::test_a_cluster_that_loses_a_worker_gives_what_one_process_gives",
    ("logs", "`--keep FILE` keeps each finished log"): "cli/test_replay::test_what_is_kept_is_not_run_again",
    (
        "logs",
        "A log that cannot be read is told at the end",
    ): "cli/test_replay::test_a_log_that_cannot_be_read_is_told_beside_the_others",
    (
        "logs",
        "Ctrl-C keeps what there is and says that it is a part",
    ): "cli/test_replay::test_ctrl_c_keeps_what_has_been_read_and_says_so",
    ("logs", "all that follows is the same and is taken"): "replay/test_shares::test_shares_joined_are_the_log",
    # page
    (
        "page",
        "in a page that needs nothing else",
    ): "engines/test_browser::test_nothing_leaves_the_page_and_nothing_complains",
    (
        "page",
        "leaves only the rows with the words typed",
    ): "engines/test_page_layout::test_a_filter_leaves_the_rows_with_every_word",
    (
        "page",
        "asks for little motion it only goes on so",
    ): "engines/test_played_page::test_a_step_is_played_as_it_is_told",
    (
        "page",
        "to nobody else, at an address that is printed and cannot be guessed",
    ): "cli/test_watch::test_nothing_is_served_but_the_page_at_its_secret_path",
    (
        "page",
        "made anew, with slider and place kept",
    ): "engines/test_watched_browser::test_a_design_is_edited_tried_and_written_in_a_browser",
    (
        "page",
        "shows what they come to and writes nothing",
    ): "cli/test_watch::test_numbers_are_tried_and_the_file_stays",
    (
        "page",
        "is refused where the file was saved meanwhile",
    ): "cli/test_watch::test_a_file_saved_meanwhile_is_not_written_over",
    # figures, file, findings: made from code
    (
        "figures",
        "passing it only a warning",
    ): "rating/test_ends::test_a_limit_written_out_is_stated_also_where_it_is_the_usual",
    (
        "figures",
        "where there is none, nothing is told",
    ): "answers/test_judged::test_every_figure_stands_in_the_table_once",
    ("file", "What of the load stays the same while its voltage changes"): "network/test_load::test_constant_power",
    (
        "file",
        "the contact only makes",
    ): "pictures/test_schematic::test_a_break_contact_touches_at_rest_and_a_make_contact_when_driven",
    (
        "file",
        "the contact only breaks",
    ): "pictures/test_schematic::test_a_break_contact_touches_at_rest_and_a_make_contact_when_driven",
    (
        "file",
        "The same for leaving a band upward",
    ): "control/test_response::test_each_direction_has_its_own_confirmation_and_leaving_the_longer",
    (
        "file",
        "The same for leaving a band downward",
    ): "control/test_response::test_each_direction_has_its_own_confirmation_and_leaving_the_longer",
    (
        "file",
        "nothing is promised about who comes first",
    ): "checks/test_flight::test_two_movers_meet_in_seven_mixtures",
    (
        "file",
        "The longest time that a move may leave the load on nothing",
    ): "answers/test_cards::test_moves_are_good_within_every_limit_bad_beyond_one_and_to_be_weighed_without",
    (
        "file",
        "times with nothing on the output do not count",
    ): "checks/test_judgement::test_a_dip_is_limited_from_below",
    ("file", "a fault cannot be"): "checks/test_judgement::test_a_fault_is_never_accepted",
    (
        "file",
        "passing it is only a warning",
    ): "rating/test_ends::test_a_limit_written_out_is_stated_also_where_it_is_the_usual",
    ("file", "one that only steps down needs at least as many"): "rating/test_rated::test_battery_limits_are_read",
    (
        "file",
        "Whether neighbouring bands differ in one relay only",
    ): "study/test_fitting::test_single_moves_leave_chains",
    ("findings", "A *fault* makes `check` exit with 1"): "guide/test_claims::test_what_the_prose_claims_holds",
    (
        "findings",
        "unless the file states a limit that it breaks or a better choice",
    ): "checks/test_judgement::test_a_better_choice_makes_a_trait_a_warning_and_stating_it_takes_it_away",
    (
        "findings",
        "tells the same of one design, `--only CODE`",
    ): "cli/test_commands::test_check_of_one_code_and_its_explanation",
    (
        "findings",
        "a current that only the section's own resistance limits",
    ): "rating/test_rated::test_a_bridged_output_contact_by_hand",
    (
        "findings",
        "arranged as a tree or a chain cannot short taps",
    ): "guide/test_behaviours::test_trees_and_chains_of_changeovers_short_nothing",
    ("findings", "The output is joined to nothing that is fed"): "network/test_turns::test_the_kinds_without_a_ratio",
    (
        "findings",
        "Nothing fixes the volts per turn of every core in the path",
    ): "network/test_turns::test_an_unexcited_core_in_the_path_leaves_the_output_undetermined",
    (
        "findings",
        "the load, once away, need never come back",
    ): "loop/test_closed_loop::test_a_return_short_by_a_quarter_of_the_noise_is_found_and_strands",
    (
        "findings",
        "a delay before the return only slows the cycle",
    ): "guide/test_behaviours::test_a_delay_before_the_return_only_slows_the_cycle",
    (
        "findings",
        "the converter shows one and the same count",
    ): "engines/test_firmware_reading::test_a_direct_reading_at_the_last_count_is_none",
    (
        "findings",
        "A band or a feed cannot carry the load at all",
    ): "rating/test_ends::test_past_it_there_are_no_figures_but_a_fault",
    (
        "findings",
        "Fault where it never makes float",
    ): "checks/test_rules::test_a_seeded_defect_is_found_and_nothing_unrelated",
    (
        "findings",
        "warning where only a sudden step leads there",
    ): "checks/test_rules::test_a_seeded_defect_is_found_and_nothing_unrelated",
    ("findings", "or nothing fits"): "checks/test_rules::test_a_seeded_defect_is_found_and_nothing_unrelated",
    (
        "findings",
        "The coil supply from the core cannot pull in the coils",
    ): "rating/test_rated::test_a_coil_supply_that_is_too_low",
    (
        "findings",
        "How long the load can be on nothing while relays move",
    ): "checks/test_flight::test_gap_and_inrush_times",
    (
        "findings",
        "A contact leads to a point nothing else touches",
    ): "checks/test_rules::test_a_seeded_defect_is_found_and_nothing_unrelated",
    (
        "findings",
        "An [[accept]] that matches nothing, or only a fault",
    ): "checks/test_judgement::test_a_fault_is_never_accepted",
    ("findings", "faults cannot be accepted"): "checks/test_judgement::test_a_fault_is_never_accepted",
    # method
    (
        "method",
        "on the backup, or, without `[backup]`, on nothing promised",
    ): "control/test_lookup::test_outside_all_bands_there_is_no_answer",
    (
        "method",
        "one unknown share up to `error_pct`, the same all along",
    ): "control/test_automaton::test_an_error_is_one_share_for_every_mark_and_a_source_can_be_given",
    (
        "method",
        "While relays move, nothing is decided",
    ): "outside/test_loop::test_nothing_is_decided_before_every_relay_is_still_and_blanking_is_over",
    (
        "method",
        "then nothing is promised about who comes first",
    ): "checks/test_flight::test_two_movers_meet_in_seven_mixtures",
    # limits
    ("changes", "had kept before is refused"): "fuzz/test_found::test_a_kept_run_that_was_changed_is_refused",
    (
        "limits",
        "the same in every verb) and leakage",
    ): "study/test_loaded::test_open_wires_count_as_the_wires_they_will_be",
    (
        "limits",
        "While relays move, nothing is decided",
    ): "outside/test_loop::test_nothing_is_decided_before_every_relay_is_still_and_blanking_is_over",
    (
        "limits",
        "endurance over the moves counted, whatever the current",
    ): "answers/test_replay::test_contact_life_by_hand",
    (
        "limits",
        "only more time, current, flux or error makes it worse",
    ): "answers/test_compare::test_a_dip_that_lasts_longer_is_worse_where_it_does_more_harm",
    (
        "limits",
        "keeps its owner and its mode",
    ): "test_wholefile::test_a_file_that_is_replaced_keeps_its_mode_and_its_link",
    ("limits", "With `single_moves` only chains are offered"): "study/test_fitting::test_single_moves_leave_chains",
    (
        "limits",
        "and only `rate` shows it",
    ): "guide/test_behaviours::test_the_magnetising_current_moves_the_output_by_hundredths_in_rate_alone",
    (
        "limits",
        "every plan offered keeps its promises with the thresholds placed",
    ): "study/test_cores::test_read_at_the_output_no_plan_chatters",
    (
        "limits",
        "Only one core can be described",
    ): "answers/test_winding::test_a_winding_on_another_core_is_named_and_not_laid",
    (
        "limits",
        "to keep the time, confirm and filter is then the firmware's",
    ): "engines/test_firmware_time::test_the_confirmation_is_kept_to_the_tick",
    (
        "limits",
        "is exported all the same",
    ): "guide/test_behaviours::test_a_move_that_must_cross_a_short_is_exported_and_check_says_so",
    (
        "limits",
        "one read as RMS over whole cycles comes to nothing",
    ): "engines/test_firmware_reading::test_a_converter_that_hangs_reads_nothing_so_that_the_load_leaves",
    (
        "limits",
        "are refused before the first is drawn",
    ): "cli/test_work::test_a_trace_larger_than_the_disk_is_refused_before_a_row_is_drawn",
    ("limits", "cannot be told apart by `--to logic`"): "engines/test_exports::test_what_cannot_be_exported_says_why",
    # notebook
    (
        "notebook",
        "A file that means nothing is a `DesignError`",
    ): "design/test_file::test_all_problems_of_a_file_are_told_at_once_in_its_order",
    (
        "notebook",
        "a call that cannot be answered is a `UsageError`",
    ): "test_stage::test_it_refuses_what_the_command_line_refuses",
    # ci
    (
        "ci",
        "`tapplan completion zsh` and `tapplan completion tcsh` do the same",
    ): "cli/test_several::test_a_script_completes_every_verb",
    (
        "ci",
        "one object on standard output, nothing else there",
    ): "cli/test_commands::test_every_verb_answers_on_every_shipped_design",
    (
        "ci",
        "what hangs on several keys is told only once it is there",
    ): "guide/test_behaviours::test_what_hangs_on_several_keys_waits_for_a_missing_one",
    (
        "ci",
        "`-o FILE` writes the answer whole or not at all",
    ): "cli/test_failures::test_a_full_disk_is_one_message_and_leaves_what_was_there",
    ("ci", "is kept unless `--force` is given"): "cli/test_failures::test_a_file_that_is_there_is_kept_without_force",
    (
        "ci",
        "It comes from the same model that reads the file",
    ): "design/test_schema::test_what_the_program_refuses_the_schema_refuses_unless_it_takes_more_than_one_key",
    # firmware
    (
        "firmware",
        "waits while readings do not keep the band",
    ): "engines/test_firmware_time::test_called_unevenly_it_does_what_the_text_says",
    (
        "firmware",
        "a reading that keeps it starts the time anew",
    ): "engines/test_firmware_time::test_the_confirmation_is_kept_to_the_tick",
    (
        "firmware",
        "no heap, and nothing static but the tables",
    ): "engines/test_firmware_files::test_it_asks_for_nothing_but_whole_arithmetic",
    (
        "firmware",
        "would last a whole tick, and is refused",
    ): "engines/test_firmware_time::test_a_time_that_a_tick_cannot_keep_is_refused",
    ("firmware", "cannot be told apart by `logic`"): "engines/test_exports::test_what_cannot_be_exported_says_why",
    # changes
    ("changes", "and no key of it is gone"): "design/test_file::test_shipped_designs_load",
    ("changes", "- Refused:"): "design/test_file::test_one_bad_value_is_told_with_its_line",
    (
        "changes",
        "output that cannot be written is no verdict",
    ): "cli/test_failures::test_output_that_cannot_be_written_is_no_verdict",
    (
        "changes",
        "`-o` never writes over a file that the call reads",
    ): "cli/test_apart::test_a_call_writes_no_file_that_it_reads_and_none_twice",
    (
        "changes",
        "Options that mean nothing together are refused",
    ): "cli/test_options::test_what_does_not_go_together_is_refused",
    # DEVELOPERS, why
    ("DEVELOPERS", "arrive as Decimal, become Fraction"): "design/test_file::test_numbers_are_exact_decimals",
    (
        "DEVELOPERS",
        "only while one of its contacts could still matter",
    ): "network/test_three_ways::test_forty_relay_chain_is_forty_one_circuits",
    ("DEVELOPERS", "search an array and know nothing else"): "loop/test_doors::test_all_doors_agree",
    (
        "DEVELOPERS",
        "which imports nothing from tapplan, judges it",
    ): "guide/test_behaviours::test_what_stands_outside_imports_nothing_from_tapplan",
    (
        "DEVELOPERS",
        "widen the share that is read (`Row.read`), nothing else",
    ): "control/test_automaton::test_ripple_widens_what_one_source_can_bring_about",
    (
        "DEVELOPERS",
        "A stage run through in no time breaks nothing",
    ): "control/test_flights::test_what_is_passed_in_no_time_is_not_met_and_breaks_nothing",
    (
        "DEVELOPERS",
        "a coincidence of two relays adds nothing",
    ): "control/test_flights::test_a_good_vector_that_is_only_touched_breaks_a_stay",
    (
        "DEVELOPERS",
        "split a whole into parts that add up to it exactly",
    ): "checks/test_margins::test_parts_of_an_overlap_add_up_to_the_whole",
    (
        "DEVELOPERS",
        "so that nothing above them decides",
    ): "cli/test_start::test_at_loads_only_the_rooms_below_its_answer",
    (
        "DEVELOPERS",
        "may only say yes",
    ): "design/test_reader::test_the_reader_accepts_what_the_validator_accepts_and_nothing_else_as_an_equal_design",
    (
        "DEVELOPERS",
        "every problem is told at once",
    ): "design/test_file::test_all_problems_of_a_file_are_told_at_once_in_its_order",
    (
        "DEVELOPERS",
        "the schema comes from the same twins",
    ): "design/test_schema::test_what_the_program_refuses_the_schema_refuses_unless_it_takes_more_than_one_key",
    (
        "DEVELOPERS",
        "both accept just the same files as equal designs",
    ): "design/test_reader::test_the_reader_accepts_what_the_validator_accepts_and_nothing_else_as_an_equal_design",
    (
        "DEVELOPERS",
        "an inlet is called dead only where",
    ): "rating/test_fed::test_a_pin_on_a_live_winding_that_is_off_neutral_is_never_called_dead",
    (
        "DEVELOPERS",
        "volts that nothing fixes are never taken for none",
    ): "rating/test_fed::test_a_core_that_nothing_drives_leaves_the_output_on_nothing_fed",
    (
        "DEVELOPERS",
        "a load that cannot be carried is nan within a case",
    ): "rating/test_ends::test_past_it_there_are_no_figures_but_a_fault",
    ("DEVELOPERS", "the winder's sheet read the same coil"): "design/test_coil::test_resistance_goes_by_the_layers",
    ("DEVELOPERS", "only drop what is worse by more than `NEAR`"): "study/test_search::test_the_best_of_all_turns",
    (
        "DEVELOPERS",
        "so that answers are the same everywhere",
    ): "study/test_search::test_a_search_cut_short_says_so_and_keeps_its_best",
    (
        "DEVELOPERS",
        "its weight falls and never ends",
    ): "bench/test_isolation::test_one_wrong_reading_does_not_hide_it",
    (
        "DEVELOPERS",
        "and no test has looked for it",
    ): "bench/test_isolation::test_a_short_however_rare_is_tested_before_the_line",
    (
        "DEVELOPERS",
        "on other machines is the same to the last count",
    ): "replay/test_region::test_processes_give_what_one_gives",
    (
        "DEVELOPERS",
        "the second is the same code object with other look-ups",
    ): "replay/test_replayed::test_a_log_gives_what_the_plain_loop_gives_however_it_is_cut",
    (
        "DEVELOPERS",
        "must give the same figures for all cuts",
    ): "replay/test_replayed::test_a_log_gives_what_the_plain_loop_gives_however_it_is_cut",
    (
        "DEVELOPERS",
        "independent of who worked, and of who was lost",
    ): "replay/test_region::test_a_process_that_is_killed_costs_no_answer",
    (
        "DEVELOPERS",
        "that only the ratios show to be wrong is a `TableError`",
    ): "cli/test_watch::test_what_only_ratios_show_is_told_with_its_line",
    (
        "DEVELOPERS",
        "that only the complex network knows is rounded to the safe side",
    ): "engines/test_z3::test_what_is_read_under_load_as_nodal_analysis_has_it",
    # help
    ("help", "exit 1 when anything got worse"): "cli/test_commands::test_compare_exits_with_1_when_worse",
    (
        "help",
        "write the answer to FILE, whole or not at all",
    ): "cli/test_failures::test_a_full_disk_is_one_message_and_leaves_what_was_there",
    (
        "help",
        "refused where the table would have faults",
    ): "cli/test_commands::test_bands_that_leave_faults_are_not_written",
    ("help", "only findings of this code"): "cli/test_commands::test_check_of_one_code_and_its_explanation",
    (
        "help",
        "with --ask it is kept up in that file",
    ): "cli/test_dialogue::test_a_resumed_session_is_kept_up_in_its_file",
    ("help", "keep what is searched in FILE"): "study/test_kept::test_a_search_goes_on_where_it_ended",
    ("help", "another design on the same logs"): "cli/test_replay::test_designs_beside_each_other",
    ("help", "keep each finished log in FILE"): "cli/test_replay::test_what_is_kept_is_not_run_again",
}

# What no run can show, by why it cannot.
MEANT: dict[str, tuple[tuple[str, str], ...]] = {
    "advice to people": (
        ("README", "Work on such circuits only if you are qualified"),
        ("repairer", "Work on such circuits only if you are qualified"),
        ("firmware", "nothing may delay them"),
        ("firmware", "and only then on a stage"),
        ("firmware", "Filter, confirmation and waits are the firmware's to keep"),
        ("firmware", "the table only says how long"),
    ),
    "says what a word or a key means": (
        ("designer", "with the readings of the line that keep it, its *hold*"),
        ("repairer", "A *band* is a relay state with the readings of the line that keep it"),
        ("repairer", "a contact that never closes, a contact *bridged*"),
        ("reviewer", "a *band* is a relay state with the readings of the line that keep it"),
        ("reviewer", "the overlap is the *hysteresis* that keeps relays"),
        ("file", "nothing:"),
        ("file", "the input, the output, or between two points"),
        ("file", "the relays that are driven, and the readings that keep it"),
        ("file", "The readings that keep the band"),
        ("words", "output on nothing;"),
        ("words", "volts that nothing fixes."),
        ("words", "what the controller sees of the volts where it senses"),
        ("words", "a state and the readings that keep it"),
        ("words", "The *real hold* is the inputs that error and noise let it keep"),
        ("words", "on the *backup*, or nothing promised"),
        ("words", "*On nothing*:"),
        ("words", "a relay that never moves from there"),
        ("words", "that contact never closes"),
    ),
    "leads in what a block shows, which is run": (
        ("README", "Exit codes:"),
        ("repairer", "Another board gives nothing in every second band"),
        ("repairer", "A third keeps a ratio too high whatever the line does"),
        ("reviewer", "Nothing is measured here"),
        ("reviewer", "the controller reads a small winding of the same core"),
        ("page", "**You hold:** a page to meet over"),
        ("ci", "exit codes, JSON and a comparison with what was approved"),
    ),
    "what happens on a bench or in the field, outside the program": (
        ("findings", "The load gets nothing, or what stray coupling gives"),
        ("findings", "the load gets nothing reliable"),
        ("findings", "a reading that errs by more breaks promises that look kept"),
        ("findings", "The battery is never full where the charger gets fewer volts"),
        ("findings", "The coil cannot be wound"),
        ("findings", "The row is never used"),
        ("findings", "Nothing is promised there, but the load is still connected"),
        ("findings", "Two drive patterns do the same"),
        ("findings", "Nothing to mend;"),
        ("findings", "The relay costs money and can only fail"),
        ("limits", "nothing that is found on a made-up log is a fact about mains"),
        ("limits", "A winding fed only through an open end can show any volts"),
        ("logs", "nothing but the store stands in the way of more"),
    ),
    "says how the house is built": (
        ("changes", "Nothing to do."),
        ("changes", "Packages are built the same from the same tree"),
        ("DEVELOPERS", "It is the only module that knows the rule"),
        ("DEVELOPERS", "A standing is a row, `AWAY` or `REST`, never -1"),
        ("DEVELOPERS", "these modules keep annotations as values"),
        ("DEVELOPERS", "A wiring says only what is joined to what"),
        ("DEVELOPERS", "A defect adds only what lies between"),
        ("DEVELOPERS", "Only the bulge has a figure"),
    ),
}
