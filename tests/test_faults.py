"""Where each promise about work behind the screens, and each fault from 10 to 24, is shown.

The table is checked: every test in it exists. What takes long is a command under tests/long; the
results, with date and command, stand in DEVELOPERS.md.
"""

import ast
from functools import cache
from pathlib import Path

import pytest

ROOT = Path(__file__).resolve().parent

SHOWN_BY: dict[str, dict[str, tuple[str, ...]]] = {
    "B1": {
        "patients/test_wake.py": ("test_a_silent_broker_holds_up_no_request",),
        "education/test_send.py": ("test_b1_handing_in_makes_no_network_call",),
        "benchmarks/silent_redis.py": (),
    },
    "B2": {
        "education/test_send.py": (
            "test_b2_several_senders_at_once_send_one",
            "test_b2_nothing_goes_out_for_work_that_was_rolled_back",
        ),
        "long/kills.py": (),
    },
    "B3": {
        "patients/test_wake.py": ("test_only_ids_travel",),
        "education/test_send.py": (
            "test_b3_a_message_that_cannot_be_made_parks_and_the_queue_behind_it_moves",
            "test_b3_a_message_that_ends_each_of_its_senders_parks",
        ),
        "education/test_reminders.py": (
            "test_b3_a_job_that_fails_is_tried_five_times_and_then_parked_with_its_reason",
        ),
        "clinic/test_running.py": (
            "test_b3_five_failures_park_it_and_what_is_behind_it_moves",
            "test_b3_a_parked_daily_job_is_tried_again_or_set_aside",
        ),
    },
    "B4": {
        "clinic/test_readiness.py": (
            "test_b4_nothing_sent_for_five_minutes_with_work_due_fails_and_progress_passes",
        ),
        "clinic/test_running.py": (
            "test_b4_a_worker_that_cannot_hand_back_its_tasks_connects_anew",
        ),
        "long/redis_soak.py": (),
    },
    "B5": {
        "education/test_reminders.py": (
            "test_b5_three_schedulers_at_once_run_it_once",
            "test_b5_a_clock_that_goes_back_brings_no_second_run_and_no_earlier_one",
            "test_b5_on_a_daylight_saving_day_it_runs_once",
        ),
        "long/daily_runs.py": (),
    },
    "B6": {
        "education/test_send.py": (
            "test_b6_a_4yz_is_tried_at_least_five_times_more_over_four_hours",
            "test_b6_a_5yz_is_final",
            "test_b6_a_5yz_after_the_text_is_final_too",
            "test_a_server_that_never_answers_is_left_after_the_time_out",
        ),
        "education/test_reminders.py": (
            "test_quiet_hours_hold_even_for_what_was_written_before_them",
        ),
        "education/rules/test_who_is_written_to.py": (
            "test_b6_the_weekly_cap_is_of_seven_local_days",
        ),
        "clinic/test_mail.py": (
            "test_sent_again_it_keeps_its_message_id",
            "test_b6_what_came_back_is_on_the_list_with_the_telephone_and_what_to_do_next",
        ),
        # The mailbox is read each minute, so within five of the report.
        "clinic/test_settings.py": (
            "test_a_mailbox_and_a_mail_service_are_set_whole_or_complained_of",
        ),
    },
    "B7": {
        "clinic/test_postgres.py": ("test_no_request_fails_when_all_connections_are_killed",),
        "clinic/test_failures.py": (
            "test_the_page_says_it_plainly_and_needs_no_database",
            "test_with_the_database_down_the_answer_takes_no_more_than_a_second",
        ),
    },
    "fault 10": {
        "clinic/test_patient_page.py": (
            "test_one_clears_while_another_revokes_and_both_stay_on_record",
        ),
    },
    "fault 11": {
        "education/test_send.py": (
            "test_fault_11_nothing_goes_out_for_an_operation_that_was_cancelled",
        ),
        "education/test_reminders.py": (
            "test_fault_11_the_date_moves_and_no_reminder_names_the_old_one",
        ),
    },
    "fault 12": {
        "education/test_patient_walks.py": (
            "test_c6_a_quiz_edited_halfway_stays_on_its_edition_and_is_scored_with_its_key",
        ),
    },
    "fault 13": {
        "education/test_send.py": (
            "test_fault_13_a_worker_killed_after_the_server_accepted_sends_at_most_once_more",
        ),
        "long/kills.py": (),
    },
    "fault 14": {
        "patients/test_wake.py": (
            "test_a_silent_broker_holds_up_no_request",
            "test_a_broker_that_is_down_fails_no_request_and_is_tried_again",
        ),
        "long/redis_soak.py": (),
    },
    "fault 15": {
        "education/test_send.py": ("test_fault_15_mail_down_keeps_it_waiting_and_sends_it_later",),
    },
    "fault 16": {
        "education/test_reminders.py": (
            "test_b5_three_schedulers_at_once_run_it_once",
            "test_fault_16_stopped_for_three_days_one_catch_up_and_one_reminder_a_day",
        ),
        "clinic/test_readiness.py": ("test_fault_16_no_scheduler_is_seen_within_five_minutes",),
    },
    "fault 17": {
        "education/test_clear_by_instants.py": (
            "test_a_day_ends_at_local_midnight",
            "test_a_submission_clears_in_time_through_the_last_second",
        ),
    },
    "fault 18": {
        "clinic/test_readiness.py": (
            "test_fault_18_a_machine_whose_clock_is_off_says_so_and_sends_nothing",
        ),
    },
    "fault 19": {
        "clinic/test_postgres.py": ("test_no_request_fails_when_all_connections_are_killed",),
        "clinic/test_conflicts.py": (
            "test_fault_19_a_database_that_lets_read_only_loses_nothing_and_is_said",
            "test_fault_19_staff_are_told_plainly",
        ),
    },
    "fault 20": {
        "clinic/test_operations.py": (
            "test_whichever_query_fails_no_page_says_confirm",
            "test_whichever_query_fails_while_confirming_either_all_is_recorded_or_nothing",
            "test_cannot_tell_says_what_to_do",
        ),
    },
    "fault 21": {
        "clinic/test_conflicts.py": (
            "test_fault_21_two_requests_in_a_deadlock_both_succeed",
            "test_fault_21_it_is_tried_three_times_in_all",
        ),
    },
    "fault 22": {
        "long/older_code.py": (),
    },
    "fault 23": {
        "clinic/test_mail.py": (
            "test_fault_23_after_a_restore_nothing_leaves_until_a_person_releases_it",
        ),
        "clinic/test_backups.py": (
            "test_t7_fault_23_what_is_put_back_is_what_was_there_and_its_mail_is_held",
        ),
    },
    "fault 24": {
        "education/test_send.py": (
            "test_b6_a_5yz_is_final",
            "test_a_4yz_at_first_is_sent_later",
            "test_a_server_that_never_answers_is_left_after_the_time_out",
            "test_a_server_that_does_not_answer_the_text_in_time_may_have_it",
        ),
        "education/test_deliveries.py": (
            "test_what_follows_from_each_report_and_twice_nothing_more",
            "test_fault_28_nothing_more_goes_to_an_address_whoever_has_it_until_it_changes",
            "test_whoever_unsubscribed_gets_no_reminder_and_what_somebody_sends_by_hand",
        ),
        "education/rules/test_incoming_mail.py": (
            "test_the_notifications_of_rfc_3464",
            "test_a_complaint_and_the_opposite_of_one",
        ),
        "education/test_hosted_mail.py": ("test_b6_reports_come_in_any_order_and_more_than_once",),
        "clinic/test_mail.py": (
            "test_b6_what_came_back_is_on_the_list_with_the_telephone_and_what_to_do_next",
        ),
    },
}


@cache
def names_in(path: Path) -> set[str]:
    """The functions of a file."""
    return {n.name for n in ast.walk(ast.parse(path.read_text())) if isinstance(n, ast.FunctionDef)}


def test_the_table_names_every_promise_and_fault() -> None:
    wanted = [f"B{n}" for n in range(1, 8)] + [f"fault {n}" for n in range(10, 25)]
    assert list(SHOWN_BY) == wanted


@pytest.mark.parametrize("promise", SHOWN_BY)
def test_what_shows_it_exists(promise: str) -> None:
    for file, names in SHOWN_BY[promise].items():
        assert (ROOT / file).is_file(), file
        assert names or file.startswith(("long/", "benchmarks/")), f"{file}: which test?"
        for name in names:
            assert name in names_in(ROOT / file), f"{file}: {name}"
