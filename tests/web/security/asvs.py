"""Every requirement of OWASP ASVS 5.0.0 at levels 1 and 2: which test shows it, why it does not apply, or what is open.

Source of ids, levels and wording in short: OWASP ASVS 5.0.0 (May 2025), the project's published CSV.
`tests/web/security/test_asvs.py` fails when an id is missing, a named test does not exist, or a sentence that is
pointed to is not in its file.
"""

from __future__ import annotations

from dataclasses import dataclass


@dataclass(frozen=True, slots=True)
class Row:
    """One requirement. Exactly one of: tests, said (file, words), not_applicable (why), open (why)."""

    id: str
    level: int
    short: str
    tests: tuple[str, ...] = ()
    said: tuple[str, str] | None = None
    not_applicable: str = ""
    open: str = ""


def _shown(id_level: str, short: str, tests: str) -> Row:
    number, _, level = id_level.partition("/")
    return Row(number, int(level), short, tests=tuple(tests.split()))


def _said(id_level: str, short: str, file: str, words: str) -> Row:
    number, _, level = id_level.partition("/")
    return Row(number, int(level), short, said=(file, words))


def _open(id_level: str, short: str, why: str) -> Row:
    number, _, level = id_level.partition("/")
    return Row(number, int(level), short, open=why)


def _none_of(ids: str, short: str, why: str) -> tuple[Row, ...]:
    parts = (text.partition("/") for text in ids.split())
    return tuple(Row(number, int(level), short, not_applicable=why) for number, _, level in parts)


ROWS: tuple[Row, ...] = (
    # V1 Encoding and sanitization
    _shown(
        "1.1.1/2",
        "decoded once, before validation",
        "test_json_that_is_none_is_refused test_a_files_name_is_never_used",
    ),
    _shown(
        "1.1.2/2",
        "escaped last, by the template",
        "test_no_template_has_inline_code_or_switches_escaping_off",
    ),
    _shown(
        "1.2.1/1",
        "output encoded for its context",
        "test_what_people_write_is_shown_as_text test_a_stored_script_does_not_run",
    ),
    _shown("1.2.2/1", "URLs built from safe parts", "test_signing_in_leads_nowhere_else"),
    _shown("1.2.3/1", "JSON in pages encoded", "test_a_stored_script_does_not_run"),
    _shown("1.2.4/1", "parameterised queries", "test_the_linter_for_security_has_nothing_new_to_say"),
    _shown("1.2.5/1", "no OS command from input", "test_the_linter_for_security_has_nothing_new_to_say"),
    *_none_of(
        "1.2.6/2 1.2.7/2 1.2.8/2 1.3.8/2 1.3.9/2",
        "LDAP, XPath, LaTeX, JNDI, memcache",
        "none of them is used",
    ),
    _shown("1.2.9/2", "no input becomes a pattern", "test_no_input_becomes_a_pattern_or_code"),
    *_none_of(
        "1.3.1/1 1.3.4/2 1.3.5/2",
        "HTML, SVG, Markdown from users",
        "none is taken: text is text, and pictures are drawn anew",
    ),
    _shown("1.3.2/1", "no eval", "test_no_input_becomes_a_pattern_or_code"),
    _shown(
        "1.3.3/2",
        "too long or odd input is refused",
        "test_a_body_is_no_larger_than_its_route_needs test_json_that_is_none_is_refused",
    ),
    _shown(
        "1.3.6/2",
        "no request to an address that somebody gave, but a message to a person's phone, by them or an owner, "
        "to nothing that stays on this machine or reads its files; a workshop's own servers are meant",
        "test_only_an_owner_or_the_person_changes_a_phone test_a_wrong_entry_says_what_is_wrong "
        "test_the_settings_file_is_changed_by_no_page",
    ),
    _shown("1.3.7/2", "templates are files of ours", "test_no_input_becomes_a_pattern_or_code"),
    _shown("1.3.10/2", "no format string from input", "test_no_input_becomes_a_pattern_or_code"),
    _shown(
        "1.3.11/2",
        "mail: only through the message library, one header line",
        "test_a_title_with_a_line_break_is_one_line",
    ),
    *_none_of(
        "1.4.1/2 1.4.3/2",
        "memory safety",
        "Python throughout; parsers of pictures are kept up to date (15.2.1)",
    ),
    _shown(
        "1.4.2/2",
        "numbers bounded",
        "test_a_number_that_is_none_is_refused test_a_rows_number_in_an_address_fits_the_database",
    ),
    *_none_of("1.5.1/1", "XML parsers", "no XML is read"),
    _shown("1.5.2/2", "no unsafe deserialization", "test_no_input_becomes_a_pattern_or_code"),
    # V2 Validation and business logic
    _said("2.1.1/1", "validation rules written down", "web/schemas.py", "Numbers are strict and bounded"),
    _said("2.1.2/2", "consistency of combined items written down", "logger/plan/file.py", "Raises"),
    _said("2.1.3/2", "limits written down", "web/security/throttle.py", "Every limit of the service"),
    _shown(
        "2.2.1/1",
        "positive validation",
        "test_a_number_that_is_none_is_refused test_an_invitation_does_not_name_a_role_that_is_none",
    ),
    _shown("2.2.2/1", "validated by the service", "test_a_number_that_is_none_is_refused"),
    _shown(
        "2.2.3/2",
        "combinations are reasonable",
        "test_https_by_one_setting test_a_token_speaks_for_its_own_station_only",
    ),
    _shown("2.3.1/1", "steps in their order", "test_ready_waits_for_every_person_and_photo"),
    _shown(
        "2.3.2/2",
        "limits kept",
        "test_a_rude_client_is_slowed_and_others_are_not test_somebody_has_twenty_sign_ins_at_most",
    ),
    _shown("2.3.3/2", "whole or not at all", "test_the_code_makes_an_owner_once"),
    *_none_of(
        "2.3.4/2", "double booking", "nothing is booked; one writer at a time (logger/store/database.py)"
    ),
    _shown(
        "2.4.1/2",
        "anti-automation",
        "test_a_rude_client_is_slowed_and_others_are_not test_guessing_tokens_is_slowed_and_stations_are_not",
    ),
    # V3 Web frontend
    _shown(
        "3.2.1/1",
        "content is not taken for something else",
        "test_a_files_name_is_never_used test_every_answer_carries_the_guarding_headers",
    ),
    _shown("3.2.2/1", "text by safe functions", "test_scripts_of_ours_write_no_html_from_data"),
    _shown(
        "3.3.1/1",
        "Secure and __Host- (over HTTPS; plain HTTP gives it up, see web/help/running.md)",
        "test_the_cookie_is_for_our_pages_alone",
    ),
    _shown("3.3.2/2", "SameSite by purpose", "test_the_cookie_is_for_our_pages_alone"),
    _shown("3.3.3/2", "__Host-", "test_the_cookie_is_for_our_pages_alone"),
    _shown(
        "3.3.4/2",
        "HttpOnly",
        "test_the_cookie_is_for_our_pages_alone test_the_token_leaves_the_address_and_is_kept_as_a_hash",
    ),
    _shown(
        "3.4.1/1",
        "HSTS for a year (over HTTPS; subdomains left out: other devices of the workshop may be below the name)",
        "test_https_is_kept_to_once_it_was_used",
    ),
    _shown("3.4.2/1", "no CORS", "test_no_other_site_may_read_an_answer"),
    _shown(
        "3.4.3/2",
        "CSP",
        "test_the_policy_allows_nothing_inline test_our_own_pages_break_no_rule_of_the_policy",
    ),
    _shown("3.4.4/2", "nosniff", "test_every_answer_carries_the_guarding_headers"),
    _shown("3.4.5/2", "referrer policy", "test_every_answer_carries_the_guarding_headers"),
    _shown("3.4.6/2", "frame-ancestors", "test_nobody_shows_our_pages_in_a_frame"),
    _shown("3.5.1/1", "anti-CSRF", "test_a_foreign_page_changes_nothing test_a_forged_post_changes_nothing"),
    _shown("3.5.2/1", "not by preflight alone", "test_a_foreign_page_changes_nothing"),
    _shown("3.5.3/1", "nothing changed by GET", "test_nothing_is_changed_by_a_get"),
    *_none_of("3.5.4/2", "separate applications on separate hosts", "one application"),
    *_none_of("3.5.5/2", "postMessage", "not used"),
    *_none_of("3.7.1/2", "outdated client technology", "HTML, CSS and JavaScript only"),
    _shown("3.7.2/2", "no redirect elsewhere", "test_signing_in_leads_nowhere_else"),
    # V4 API
    _shown("4.1.1/1", "content type with charset", "test_every_answer_says_what_it_is"),
    *_none_of(
        "4.1.2/2", "redirects to HTTPS", "there is none: with a certificate plain HTTP is not answered at all"
    ),
    _shown("4.1.3/2", "a proxy's headers cannot be forged", "test_only_a_proxy_on_this_machine_is_believed"),
    _shown("4.2.1/2", "one boundary of a message", "test_a_message_with_two_lengths_is_refused"),
    *_none_of("4.3.1/2 4.3.2/2", "GraphQL", "not used"),
    *_none_of(
        "4.4.1/1 4.4.2/2 4.4.3/2 4.4.4/2", "WebSocket", "not used; switched off in web/server/serve.py"
    ),
    # V5 Files
    _said(
        "5.1.1/2", "kinds and sizes written down", "web/views/photo_sanitize.py", "Most pixels of a picture"
    ),
    _shown(
        "5.2.1/1",
        "sizes that can be handled",
        "test_a_body_is_no_larger_than_its_route_needs test_a_picture_that_would_fill_the_memory_is_refused",
    ),
    _shown(
        "5.2.2/1",
        "checked by content, drawn anew",
        "test_only_pictures_are_kept test_a_photo_is_drawn_anew_without_what_hid_in_it",
    ),
    _shown(
        "5.2.3/2",
        "packed files: sizes and number of files looked at before anything is unpacked",
        "test_a_bomb_is_refused_before_it_is_unpacked "
        "test_a_file_that_is_larger_than_it_says_ends_where_it_said",
    ),
    _shown("5.3.1/1", "never executed", "test_a_files_name_is_never_used"),
    _shown(
        "5.3.2/1",
        "paths from our own data",
        "test_a_files_name_is_never_used test_nothing_but_a_hash_is_looked_for_on_the_disk "
        "test_a_photo_is_put_and_copied_under_no_other_name",
    ),
    _shown("5.4.1/2", "the file's name is ours", "test_a_photo_is_served_under_a_name_of_ours"),
    _shown("5.4.2/2", "and is harmless", "test_a_photo_is_served_under_a_name_of_ours"),
    _shown(
        "5.4.3/2",
        "no known malware served (a picture is drawn anew from its pixels: no byte that came in is served again; one "
        "that comes with a sealed record keeps its bytes, is looked at, and is served as that kind of picture alone)",
        "test_a_photo_is_drawn_anew_without_what_hid_in_it test_only_pictures_are_kept "
        "test_a_photo_that_is_no_picture_comes_in_with_no_record",
    ),
    # V6 Authentication
    _said(
        "6.1.1/1",
        "defence against guessing written down",
        "web/security/throttle.py",
        "uses up the strangers' tries and never the owner's",
    ),
    _said(
        "6.1.2/2",
        "context words written down",
        "web/security/passwords.py",
        "What everybody in this trade would try first",
    ),
    _said(
        "6.1.3/2",
        "ways in written down",
        "web/security/access.py",
        "people by a sign-in cookie, stations by a token, onlookers by a shared link",
    ),
    _shown("6.2.1/1", "8 characters or more", "test_too_short_or_endless_is_refused"),
    _shown("6.2.2/1", "people change their password", "test_another_password_ends_every_other_sign_in"),
    _shown(
        "6.2.3/1",
        "with the present one",
        "test_the_present_password_is_asked_first_and_guessing_it_is_slowed",
    ),
    _shown(
        "6.2.4/1",
        "the top 3000 refused",
        "test_the_list_is_as_long_as_the_standard_asks test_what_is_tried_first_is_refused",
    ),
    _shown("6.2.5/1", "no rules of composition", "test_a_few_words_are_taken_whatever_they_are_made_of"),
    _shown("6.2.6/1", "masked", "test_password_fields_are_masked_and_take_a_pasted_password"),
    _shown(
        "6.2.7/1", "paste and managers allowed", "test_password_fields_are_masked_and_take_a_pasted_password"
    ),
    _shown("6.2.8/1", "taken exactly as typed", "test_a_password_is_taken_exactly_as_typed"),
    _shown("6.2.9/2", "64 characters and more", "test_a_few_words_are_taken_whatever_they_are_made_of"),
    *_none_of("6.2.10/2", "no forced rotation", "passwords have no age in the database"),
    _shown("6.2.11/2", "context words refused", "test_what_is_tried_first_is_refused"),
    _shown(
        "6.2.12/2",
        "breached passwords (the 4800 most used of published breaches are carried along: there is no Internet to ask)",
        "test_the_list_is_as_long_as_the_standard_asks test_what_is_tried_first_is_refused",
    ),
    _shown(
        "6.3.1/1",
        "guessing slowed",
        "test_a_guesser_gets_six_tries_a_minute_at_one_name test_one_address_gets_ten_tries_a_minute_at_all_names "
        "test_the_owner_comes_in_while_somebody_guesses_at_the_owners_password",
    ),
    _shown("6.3.2/1", "no default accounts", "test_no_secret_exists_before_it_is_made"),
    _open(
        "6.3.3/2",
        "a second factor",
        "web/SECURITY.md, 'What is left open': an alarm is answered with gloves; eight measures make up for it",
    ),
    _shown("6.3.4/2", "no undocumented way in", "test_each_route_depends_on_whom_the_table_says"),
    _shown(
        "6.4.1/1",
        "initial codes random, short-lived, once",
        "test_the_code_makes_an_owner_once test_the_code_runs_out_after_an_hour test_a_code_runs_out_and_is_withdrawn",
    ),
    *_none_of("6.4.2/1", "password hints", "none"),
    _shown("6.4.3/2", "a forgotten password", "test_somebody_who_forgot_the_password_gets_a_code"),
    *_none_of("6.4.4/2", "a lost second factor", "there is none"),
    _shown("6.5.1/2", "codes once", "test_somebody_comes_in_by_a_code_with_a_password_of_their_own"),
    _shown("6.5.2/2", "short codes behind a slow hash", "test_codes_are_kept_by_a_slow_hash"),
    _shown("6.5.3/2", "codes from a secure source", "test_secrets_come_from_the_systems_secure_source"),
    _shown("6.5.4/2", "20 bits or more", "test_a_restart_makes_another_code"),
    *_none_of(
        "6.5.5/2",
        "life of out-of-band and time-based codes",
        "there are none: first codes of set-up and invitation are activation codes, see 6.4.1",
    ),
    *_none_of("6.6.1/2 6.6.2/2", "codes by telephone", "not used"),
    _shown(
        "6.6.3/2",
        "codes not guessed",
        "test_ten_tries_a_minute_from_all_together test_codes_are_typed_as_people_type_and_guessed_ten_times_a_minute",
    ),
    *_none_of("6.8.1/2 6.8.2/2 6.8.3/2 6.8.4/2", "identity providers", "none"),
    # V7 Sessions
    _said(
        "7.1.1/2",
        "time-outs written down",
        "logger/store/people.py",
        "How long a sign-in lasts at most, and how long one that nobody uses",
    ),
    _said(
        "7.1.2/2",
        "parallel sessions written down",
        "logger/store/people.py",
        "older ones are ended when one more begins",
    ),
    *_none_of("7.1.3/2 7.6.1/2 7.6.2/2", "federated sessions", "none"),
    _shown("7.2.1/1", "verified by the service", "test_signing_out_ends_the_sign_in_in_the_service"),
    _shown("7.2.2/1", "dynamic tokens", "test_each_sign_in_has_a_token_of_its_own"),
    _shown("7.2.3/1", "256 random bits", "test_each_sign_in_has_a_token_of_its_own"),
    _shown(
        "7.2.4/1",
        "a new token at each sign-in",
        "test_each_sign_in_has_a_token_of_its_own test_another_password_ends_every_other_sign_in",
    ),
    _shown("7.3.1/2", "unused ones end", "test_a_sign_in_ends_by_itself"),
    _shown("7.3.2/2", "all end", "test_a_sign_in_ends_by_itself"),
    _shown(
        "7.4.1/1",
        "signing out ends it in the service",
        "test_signing_out_ends_the_sign_in_in_the_service test_an_expired_and_a_replayed_session_open_nothing",
    ),
    _shown("7.4.2/1", "gone with the person", "test_whoever_is_removed_is_out_at_once"),
    _shown("7.4.3/2", "others end with a new password", "test_another_password_ends_every_other_sign_in"),
    _shown(
        "7.4.4/2",
        "signing out on every page",
        "test_every_page_has_the_way_out_but_not_for_a_screen_on_the_wall",
    ),
    _shown(
        "7.4.5/2", "owners end anybody's", "test_people_see_and_end_their_own_sign_ins_and_owners_anybodys"
    ),
    _shown(
        "7.5.1/2",
        "the password again before it is changed",
        "test_the_present_password_is_asked_first_and_guessing_it_is_slowed",
    ),
    _shown(
        "7.5.2/2",
        "people see and end their sign-ins, asked again",
        "test_people_see_and_end_their_own_sign_ins_and_owners_anybodys test_ending_all_others_keeps_this_one",
    ),
    # V8 Authorization
    _said("8.1.1/1", "rules written down", "web/security/routes_table.py", "Every route: who may"),
    _said("8.1.2/2", "rules for fields written down", "web/schemas.py", "Unknown names refused"),
    _shown(
        "8.2.1/1",
        "functions by permission",
        "test_a_lower_role_changes_nothing test_a_stranger_is_told_to_sign_in_everywhere",
    ),
    _shown(
        "8.2.2/1",
        "data by permission",
        "test_a_client_sees_the_record_of_one_pour test_people_see_and_end_their_own_sign_ins_and_owners_anybodys",
    ),
    _shown("8.2.3/2", "fields by permission", "test_no_page_shows_a_hash_or_a_token"),
    _shown("8.3.1/1", "enforced by the service", "test_a_lower_role_changes_nothing"),
    *_none_of("8.4.1/2", "tenants", "one workshop a service"),
    # V9 Self-contained tokens: the known-browser cookie; an alarm's link has a row of its own as well
    _shown("9.1.1/1", "signed", "test_nobody_makes_a_known_browser_up"),
    _shown("9.1.2/1", "one algorithm, ours", "test_nobody_makes_a_known_browser_up"),
    _shown("9.1.3/1", "the key is the service's own", "test_nobody_makes_a_known_browser_up"),
    *_none_of(
        "9.2.1/1", "time span in a token", "none in it: it opens nothing, and a link's time is in its row"
    ),
    _shown(
        "9.2.2/2",
        "made for one purpose",
        "test_nobody_makes_a_known_browser_up test_a_records_cookie_does_not_open_another_record",
    ),
    *_none_of("9.2.3/2 9.2.4/2", "audience", "one service, one key a purpose"),
    # V10
    *_none_of(
        "10.1.1/2 10.1.2/2 10.2.1/2 10.2.2/2 10.3.1/2 10.3.2/2 10.3.3/2 10.3.4/2 10.4.1/1 10.4.2/1 10.4.3/1 10.4.4/1 "
        "10.4.5/1 10.4.6/2 10.4.7/2 10.4.8/2 10.4.9/2 10.4.10/2 10.4.11/2 10.5.1/2 10.5.2/2 10.5.3/2 10.5.4/2 "
        "10.5.5/2 10.6.1/2 10.6.2/2 10.7.1/2 10.7.2/2 10.7.3/2",
        "OAuth and OIDC",
        "not used: it works without the Internet",
    ),
    # V11 Cryptography
    _said("11.1.1/2", "keys written down", "web/actions/sign_in.py", "signed, so that nobody makes one up"),
    _said("11.1.2/2", "inventory", "web/SECURITY.md", "Keys, hashes and tokens"),
    *_none_of(
        "11.2.1/2", "validated implementations", "argon2-cffi, hashlib, hmac, secrets, ssl: none of our own"
    ),
    _said("11.2.2/2", "can be exchanged", "web/security/passwords.py", "How many are hashed at once"),
    _shown(
        "11.2.3/2",
        "128 bits or more",
        "test_each_sign_in_has_a_token_of_its_own test_tokens_are_long_and_kept_as_hashes",
    ),
    *_none_of("11.3.1/1 11.3.2/1 11.3.3/2", "ciphers", "nothing is enciphered but by TLS"),
    _shown("11.4.1/1", "approved hashes", "test_no_weak_hash_is_used"),
    _shown("11.4.2/2", "slow hash for passwords", "test_codes_are_kept_by_a_slow_hash"),
    _shown("11.4.3/2", "256 bits where collisions matter", "test_no_weak_hash_is_used"),
    *_none_of("11.4.4/2 11.6.1/2", "keys from passwords, public keys", "none"),
    _shown("11.5.1/2", "secure random numbers", "test_secrets_come_from_the_systems_secure_source"),
    # V12 Communication
    _shown("12.1.1/1", "TLS 1.2 and 1.3 only", "test_only_present_versions_of_tls_are_spoken"),
    _shown("12.1.2/2", "recommended ciphers", "test_only_present_versions_of_tls_are_spoken"),
    *_none_of("12.1.3/2", "client certificates", "not used"),
    _shown(
        "12.2.1/1",
        "TLS everywhere, no way back (as claimed: with a certificate set; see web/SECURITY.md on plain HTTP)",
        "test_plain_http_is_not_answered_and_no_old_version_of_tls "
        "test_over_plain_http_the_sign_in_page_says_what_that_gives_up",
    ),
    *_none_of(
        "12.2.2/1",
        "publicly trusted certificates",
        "of services that face the Internet: this one is internal; 12.3.4 holds instead (web/SECURITY.md)",
    ),
    _shown(
        "12.3.1/2",
        "encryption inbound and outbound (as claimed; messages and heartbeat go as the owner's addresses say)",
        "test_plain_http_is_not_answered_and_no_old_version_of_tls "
        "test_a_station_speaks_to_the_one_certificate_that_its_file_names",
    ),
    *_none_of(
        "12.3.2/2",
        "clients check certificates",
        "httpx and the message library do by default; nothing switches it off",
    ),
    _shown(
        "12.3.3/2",
        "encryption between station and service",
        "test_a_station_speaks_to_the_one_certificate_that_its_file_names",
    ),
    _shown(
        "12.3.4/2",
        "own certificates trusted by name",
        "test_another_certificate_and_none_are_refused_by_the_station",
    ),
    # V13 Configuration
    _said("13.1.1/2", "communication written down", "logger/settings.py", "Where alarms go"),
    _shown("13.2.1/2", "station by its own token", "test_a_token_opens_nothing_but_batches"),
    _shown(
        "13.2.2/2",
        "least rights",
        "test_station_and_service_do_not_read_each_others_files test_a_service_is_hardened",
    ),
    _shown("13.2.3/2", "no default credential", "test_no_secret_exists_before_it_is_made"),
    _shown(
        "13.2.4/2",
        "outbound only where the owner, or a maker for their own phone, says",
        "test_the_settings_file_is_changed_by_no_page test_only_an_owner_or_the_person_changes_a_phone",
    ),
    _shown("13.2.5/2", "and files of its own folder", "test_a_wrong_entry_says_what_is_wrong"),
    _open(
        "13.3.1/2",
        "a vault",
        "web/SECURITY.md, 'What is left open': one machine, two users apart, files for one user each",
    ),
    _shown("13.3.2/2", "secrets by least right", "test_station_and_service_do_not_read_each_others_files"),
    _shown("13.4.1/1", "no .git served", "test_nothing_beside_the_static_files_is_served"),
    _shown("13.4.2/2", "no debug mode", "test_an_error_that_nobody_foresaw_tells_nothing"),
    _shown("13.4.3/2", "no listings", "test_nothing_beside_the_static_files_is_served"),
    _shown("13.4.4/2", "no TRACE", "test_nothing_beside_the_static_files_is_served"),
    _shown("13.4.5/2", "no documentation for strangers", "test_a_stranger_is_told_to_sign_in_everywhere"),
    # V14 Data protection
    _said("14.1.1/2", "data classified", "web/SECURITY.md", "What is kept, and how it is guarded"),
    _said("14.1.2/2", "protection levels", "web/SECURITY.md", "Each is guarded on its way by TLS"),
    _open(
        "14.2.1/1",
        "no secret in an address",
        "web/SECURITY.md, 'What is left open': a message's link must carry what opens it; it works once, for a day",
    ),
    *_none_of("14.2.2/2", "server caches", "none of what people see"),
    _shown("14.2.3/2", "nothing to third parties", "test_the_policy_allows_nothing_inline"),
    _shown(
        "14.2.4/2",
        "controls as written",
        "test_every_answer_says_what_it_is test_no_page_shows_a_hash_or_a_token "
        "test_a_client_sees_the_record_of_one_pour",
    ),
    _shown("14.3.1/1", "cleared at signing out", "test_signing_out_clears_what_the_browser_kept"),
    _shown("14.3.2/2", "no-store", "test_every_answer_says_what_it_is"),
    _shown("14.3.3/2", "nothing in browser storage", "test_scripts_of_ours_write_no_html_from_data"),
    # V15 Coding
    _said(
        "15.1.1/1",
        "time to update libraries",
        "web/SECURITY.md",
        "Longest time until a published hole is closed",
    ),
    _shown("15.1.2/2", "inventory of libraries", "test_every_library_is_listed_with_its_version"),
    _said(
        "15.1.3/2", "costly functions written down", "web/security/passwords.py", "a crowd of logins takes"
    ),
    _shown(
        "15.2.1/1", "libraries up to date", "test_libraries_that_read_what_strangers_send_are_not_ancient"
    ),
    _shown("15.2.2/2", "defences for costly functions", "test_two_hashes_at_once_however_many_ask"),
    *_none_of(
        "15.2.3/2",
        "nothing extraneous in production",
        "tests are not in the package; the demo is a command, not a route",
    ),
    _shown("15.3.1/1", "only the fields that are needed", "test_no_page_shows_a_hash_or_a_token"),
    *_none_of("15.3.2/2", "no redirects followed", "httpx follows none by default"),
    _shown("15.3.3/2", "no mass assignment", "test_a_field_that_is_not_asked_for_is_refused"),
    _shown("15.3.4/2", "the true address", "test_only_a_proxy_on_this_machine_is_believed"),
    _shown("15.3.5/2", "strict types", "test_a_number_that_is_none_is_refused"),
    *_none_of("15.3.6/2", "prototype pollution", "no object is built from keys that somebody sends"),
    _shown("15.3.7/2", "no parameter pollution", "test_a_field_that_is_not_asked_for_is_refused"),
    # V16 Logging
    _said("16.1.1/2", "inventory of logs", "web/SECURITY.md", "What is logged, and where"),
    _shown(
        "16.2.1/2",
        "who, when, where, what",
        "test_a_change_says_who_when_and_what test_a_refused_sign_in_is_logged_in_one_line",
    ),
    *_none_of("16.2.2/2", "UTC", "events are milliseconds since 1970 UTC; the journal stamps its lines"),
    *_none_of("16.2.3/2 16.2.4/2", "known places and formats", "the journal alone"),
    _shown(
        "16.2.5/2",
        "no secrets in logs",
        "test_a_failed_message_is_logged_without_its_address test_a_refused_sign_in_is_logged_in_one_line",
    ),
    _shown("16.3.1/2", "sign-ins logged", "test_a_refused_sign_in_is_logged_in_one_line"),
    _shown("16.3.2/2", "refusals logged", "test_a_refusal_is_logged"),
    _shown("16.3.3/2", "attempts to get round logged", "test_a_refusal_is_logged"),
    _shown("16.3.4/2", "unforeseen errors logged", "test_an_error_that_nobody_foresaw_tells_nothing"),
    _shown("16.4.1/2", "no log injection", "test_a_refused_sign_in_is_logged_in_one_line"),
    _shown("16.4.2/2", "events cannot be altered unseen", "test_a_change_says_who_when_and_what"),
    _said("16.4.3/2", "logs sent elsewhere", "web/SECURITY.md", "To send the journal to another machine"),
    _shown("16.5.1/2", "generic errors", "test_an_error_that_nobody_foresaw_tells_nothing"),
    _shown("16.5.2/2", "works when a channel fails", "test_a_failed_message_is_logged_without_its_address"),
    _shown("16.5.3/2", "fails closed", "test_only_set_up_answers_before_there_is_an_owner"),
    # V17
    *_none_of("17.1.1/2 17.2.1/2 17.2.2/2 17.2.3/2 17.2.4/2 17.3.1/2 17.3.2/2", "WebRTC", "not used"),
)
