"""A census of what goes wrong in files of these tests: each defect has a test here, or a reason why it has none.

The list of defects is common practice, no source; the words are our own.
"""

from __future__ import annotations

import ast
from pathlib import Path

import pytest

FLEET = "check over many tests, not reading"
TEST = "check of one test's values, not reading"
ARCHIVE = "archive's matter, not reading"
OUT = "privacy of what is given out, not reading"

# number, defect, and the tests of this folder that cover it or the reason why none does
CENSUS: tuple[tuple[int, str, tuple[str, ...] | str], ...] = (
    (1, "flow in another unit than its header says", FLEET),
    (2, "pressure in another unit, as inches of water", FLEET),
    (3, "volume in another unit, or an area in its place", FLEET),
    (4, "temperature in the other scale, or empty read as zero", (
        "test_mess_cells::test_an_empty_cell_is_absent_and_never_zero",
        "test_refused_and_asked::test_a_cell_that_cannot_be_right_refuses_the_file")),
    (5, "several units within one column", (
        "test_columns::test_each_cell_may_hold_a_unit_of_its_own",
        "test_columns::test_a_cell_without_a_unit_is_asked_about_and_never_takes_that_of_its_neighbour")),
    (6, "unit in the header alone", (
        "test_headers::test_a_unit_between_marks_in_the_header_is_that_of_its_column",
        "test_headers::test_a_header_without_the_unit_it_should_hold_is_asked_about")),
    (7, "decimal comma", (
        "test_cells::test_numbers_in_the_stated_marks",
        "test_cells::test_anything_else_is_a_fault_at_its_place")),
    (8, "mark for thousands", (
        "test_cells::test_numbers_in_the_stated_marks",
        "test_columns::test_a_number_with_several_meanings_of_its_marks_is_refused_even_in_one_cell")),
    (9, "both decimal marks in one file", (
        "test_doubtful::test_a_wrong_decimal_mark_in_many_cells_is_no_shift",)),
    (10, "numbers as texts, odd blanks, another minus", (
        "test_cells::test_numbers_in_the_stated_marks",)),
    (11, "pressures without their signs", (
        "test_columns::test_pressures_that_are_all_above_zero_are_noted_where_nothing_says_the_direction",
        "test_columns::test_a_magnitude_without_a_direction_is_refused")),
    (12, "signs against the direction, or a baseline against its points", (
        "test_refused_and_asked::test_signs_against_the_heading_are_asked",)),
    (13, "two directions in one table, not named", (
        "test_points_in_rows::test_points_of_both_signs_without_a_direction_have_none",)),
    (14, "no baseline", TEST),
    (15, "baseline of exactly zero", (
        "test_mess_cells::test_an_empty_cell_is_absent_and_never_zero",)),
    (16, "one baseline for two, or a copy", TEST),
    (17, "baseline already taken off, and not said", (
        "test_doubtful::test_the_pressures_are_stated_to_hold_the_baseline_still",)),
    (18, "baseline of a few seconds", TEST),
    (19, "one point, exponent assumed and not stated", TEST),
    (20, "highest pressure too low for the result", TEST),
    (21, "pressure of the result not stated", TEST),
    (22, "opening of the fan absent or not changed", (
        "test_map::test_an_opening_without_calibration_is_noted",)),
    (23, "two channels swapped", TEST),
    (24, "flow below the range of the opening", (
        "test_points_across::test_a_signal_outside_every_range_belongs_to_the_nearest",)),
    (25, "points typed in, rounded", TEST),
    (26, "values cut off or standing still", TEST),
    (27, "words for over range among numbers", (
        "test_mess_cells::test_a_word_in_a_cell_of_numbers_is_refused_unless_the_layout_says_what_it_means",
        "test_refused_and_asked::test_over_range_leaves_out_one_value_and_keeps_the_rest")),
    (28, "numbers that stand for no value", (
        "test_mess_cells::test_a_number_that_stands_for_no_value_is_refused_or_absent_and_never_a_pressure",
        "test_columns::test_a_mark_of_one_column_is_a_number_in_another")),
    (29, "points taken out, numbers with gaps", (
        "test_points_across::test_points_counted_across_keep_their_numbers_and_empty_ones_are_none",)),
    (30, "points copied from house to house", FLEET),
    (31, "one test exported twice", (
        "test_mess_cells::test_a_test_that_stands_twice_is_noted_and_a_second_one_of_the_same_values_is_not",)),
    (32, "another version under the same name", ARCHIVE),
    (33, "stage wrong, or a word for both", (
        "test_refused_and_asked::test_a_word_that_the_plugin_does_not_know_is_asked_once_for_the_layout",)),
    (34, "test after the work absent, that before copied", FLEET),
    (35, "two volumes of one house", FLEET),
    (36, "two boundaries of one house", FLEET),
    (37, "preparation of the house unknown", FLEET),
    (38, "order of day and month, short years, days of spreadsheets", (
        "test_mess_cells::test_a_start_is_read_in_the_stated_form",
        "test_mess_cells::test_a_start_of_another_form_is_located_or_four_years_off_where_nothing_shows_it",
        "test_log_times::test_each_form_gives_the_same_start_and_step")),
    (39, "date of the upload for that of the test", FLEET),
    (40, "no time zone, hours skipped or repeated, clock never set", (
        "test_starts::test_the_zone_of_the_archive_counts_where_the_file_says_none",
        "test_starts::test_an_hour_that_clocks_repeat_is_asked_for_this_file_alone",
        "test_starts::test_an_hour_that_clocks_skip_is_refused",
        "test_log_times::test_a_clock_that_was_never_set_is_refused")),
    (41, "end before start, 24 o'clock, noon and midnight", (
        "test_mess_cells::test_an_end_before_its_start_is_noted_and_left_out_and_the_text_is_kept",
        "test_log_times::test_the_clock_may_show_24_o_clock_at_the_end_of_a_day_and_nowhere_else",
        "test_log_times::test_noon_and_midnight_of_a_twelve_hour_clock")),
    (42, "ids that look like numbers", (
        "test_mess_cells::test_an_id_stays_the_text_it_is",)),
    (43, "one address in many spellings", FLEET),
    (44, "an id used again for another house", FLEET),
    (45, "ids of two systems in one column", FLEET),
    (46, "names and telephone numbers in remarks", OUT),
    (47, "photographs and where they were taken", (
        "test_guard::test_a_binary_file_is_refused_at_its_first_nul_byte",)),
    (48, "testers by initials and nicknames", FLEET),
    (49, "serial numbers in remarks, absent or of the case", FLEET),
    (50, "calibration dates absent or to come", FLEET),
    (51, "wind in words or as a number of a scale", (
        "test_mess_cells::test_a_text_for_the_wind_that_the_plugin_does_not_know_is_asked_and_never_a_speed",
        "test_refused_and_asked::test_a_word_for_the_wind_is_asked_as_a_band")),
    (52, "wind without unit, mean or gust, from elsewhere", (
        "test_mess_cells::test_a_wind_without_its_unit_is_asked_about",)),
    (53, "wind direction in letters, or zero", (
        "test_columns::test_compass_letters_stand_for_degrees_beside_numbers",)),
    (54, "an estimate kept as a measurement", (
        "test_check::test_the_shipped_plugins_read_their_samples_as_expected",)),
    (55, "results that do not follow from the readings", TEST),
    (56, "leakage areas of another pressure or unit", (
        "test_check::test_the_shipped_plugins_read_their_samples_as_expected",)),
    (57, "natural air changes among those at 50 Pa", (
        "test_check::test_the_shipped_plugins_read_their_samples_as_expected",)),
    (58, "exponent out of range or assumed everywhere", TEST),
    (59, "r for r squared, or in percent", (
        "test_texts::test_bounds_are_told_in_the_unit_that_the_file_writes",)),
    (60, "titles, two header rows, units, totals, headers on each page", (
        "test_headers::test_titles_footers_and_further_headers_are_passed_over_and_the_first_two_kept",
        "test_headers::test_a_header_of_two_rows_names_its_columns_by_both",
        "test_headers::test_rows_below_the_header_are_units_or_passed_over",
        "test_workbooks_told::test_merged_cells_and_values_beneath_them_aretold")),
    (61, "columns in another order, renamed or twice", (
        "test_mess_cells::test_columns_in_another_order_and_renamed_ones",
        "test_map::test_the_order_of_columns_does_not_matter",
        "test_same_session::test_what_means_the_same_gives_the_same_sessions")),
    (62, "points counted across, empty tails", (
        "test_points_across::test_points_counted_across_keep_their_numbers_and_empty_ones_are_none",
        "test_points_across::test_of_the_columns_counted_across_the_first_alone_must_be_there")),
    (63, "colours and strike-through that mean something", (
        "test_workbooks_told::test_comments_strike_through_and_percent_aretold",)),
    (64, "hidden rows, columns and sheets, filters", (
        "test_workbooks_told::test_hidden_rows_and_columns_are_told_where_they_hold_something",
        "test_workbooks_told::test_a_hidden_sheet_is_told_and_nothing_else_of_it",
        "test_workbooks_told::test_a_filter_is_told_where_it_is_active")),
    (65, "formulas without results", (
        "test_workbooks_told::test_a_formula_without_its_result_blocks_and_an_empty_result_does_not",)),
    (66, "other marks between cells, quotes, line breaks", (
        "test_layout::test_a_quotation_mark_without_its_pair_swallows_no_row",
        "test_layout::test_a_line_break_within_a_cell_is_refused_at_both_rows",
        "test_headers::test_cells_may_stand_apart_by_any_run_of_blanks",
        "test_headers::test_a_first_row_that_names_the_separator_is_passed_over")),
    (67, "encodings, marks of byte order, NUL bytes", (
        "test_headers::test_each_encoding_gives_the_same_session",
        "test_headers::test_text_read_in_the_wrong_encoding_is_an_unknown_unit_and_no_wrong_value",
        "test_guard::test_utf_16_is_text_by_its_mark_alone")),
    (68, "files cut short, archives within archives, wrong names", (
        "test_layout::test_a_last_row_without_a_line_end_is_noted_and_taken",
        "test_damaged_samples::test_a_file_cut_anywhere_is_told_or_noted_and_never_has_other_values",
        "test_containers::test_members_that_lead_out_link_or_nest_are_refused_and_the_others_go_on",
        "test_recognise::test_the_name_of_a_file_plays_no_part")),
    (69, "checksums and footers below the rows", (
        "test_mess_cells::test_a_checksum_below_a_log_is_located_or_kept_where_the_layout_knows_it",)),
    (70, "texts that a spreadsheet takes for formulas", (
        "test_columns::test_an_apostrophe_that_keeps_a_text_from_being_a_formula_is_taken_off",)),
    (71, "a test given up and saved all the same", TEST),
    (72, "two tests in one file", (
        "test_points_in_rows::test_a_section_that_comes_again_begins_a_further_test",
        "test_points_in_rows::test_a_repeat_is_refused_where_the_layout_holds_one_test_a_file",
        "test_doubtful::test_two_logs_in_one_file_are_told_by_their_second_header")),
    (73, "one of two fans exported, or their sum", TEST),
    (74, "a flat recorded as its building", FLEET),
    (75, "air density taken into account twice or never", TEST),
    (76, "water or kinks in the tube, a port mixed up", TEST),
)  # fmt: skip


def test_every_defect_is_there_once() -> None:
    assert [number for number, _, _ in CENSUS] == list(range(1, 77))
    words = [words for _, words, _ in CENSUS]
    assert len(set(words)) == len(words)


def _functions(module: str) -> set[str]:
    tree = ast.parse((Path(__file__).parent / f"{module}.py").read_text(encoding="utf-8"))
    return {node.name for node in tree.body if isinstance(node, ast.FunctionDef)}


@pytest.mark.parametrize(("number", "covered"), [(number, how) for number, _, how in CENSUS], ids=str)
def test_each_has_tests_that_exist_or_a_reason(number: int, covered: tuple[str, ...] | str) -> None:
    if isinstance(covered, str):
        assert covered in (FLEET, TEST, ARCHIVE, OUT), number
        return
    assert covered
    for test in covered:
        module, _, name = test.partition("::")
        assert name in _functions(module), f"defect {number}: no {test}"
