"""Letting people in, on both databases: links, sessions, passwords, attempts, second factors, tokens."""

import datetime as dt
import threading

import pyotp
import pytest
from sqlalchemy import text
from sqlalchemy.exc import DatabaseError

from db import attempts, authenticators, passwords, people, sessions, tokens
from db.access_acts import COMMAND, LINK_LIFE, PAGE, Doer, known_acts, known_links
from db.errors import LedgerError, NotFoundError
from db.records.people import ApiToken, OneTimeLink, PersonPassword, PersonSession
from db.secrets_kept import digest_of, time_text
from db.session import Session

NOW = dt.datetime(2026, 6, 1, 12, tzinfo=dt.UTC)
MINUTE = dt.timedelta(minutes=1)
PASSWORD = "wheel under seven lamps"


@pytest.fixture
def ann(session):
    people.add_person(session, "ann", "clerk", now=NOW)
    return session


def opened(session, person="ann", now=NOW):
    return sessions.begin_session(session, person, by="link", now=now)


def test_a_link_opens_one_session_once(ann):
    secret = people.issue_link(ann, "ann", now=NOW)
    assert sessions.person_of(ann, people.use_link(ann, secret, now=NOW), now=NOW).name == "ann"
    with pytest.raises(NotFoundError, match="was used or has expired"):
        people.use_link(ann, secret, now=NOW)


def test_a_link_used_many_times_at_once_opens_one_session(engine):
    with Session(engine) as session, session.begin():
        people.add_person(session, "ann", "clerk", now=NOW)
        secret = people.issue_link(session, "ann", now=NOW)
    opened_by = []

    def use():
        with Session(engine) as own:
            try:
                opened_by.append(people.use_link(own, secret, now=NOW))
                own.commit()
            except NotFoundError:
                own.rollback()

    threads = [threading.Thread(target=use) for _ in range(8)]
    for each in threads:
        each.start()
    for each in threads:
        each.join()
    assert len(opened_by) == 1


def test_a_link_expires(ann):
    secret = people.issue_link(ann, "ann", now=NOW)
    with pytest.raises(NotFoundError):
        people.use_link(ann, secret, now=NOW + LINK_LIFE)


def test_a_session_idles_out_unless_it_is_used(ann):
    secret = opened(ann)
    assert sessions.person_of(ann, secret, now=NOW + sessions.IDLE)
    assert sessions.person_of(ann, secret, now=NOW + sessions.IDLE + MINUTE) is None
    sessions.note_use(ann, secret, now=NOW + sessions.IDLE)
    assert sessions.person_of(ann, secret, now=NOW + sessions.IDLE + MINUTE)


def test_a_session_ends_after_twelve_hours_however_much_it_is_used(ann):
    secret = opened(ann)
    sessions.note_use(ann, secret, now=NOW + sessions.AT_MOST)
    assert sessions.person_of(ann, secret, now=NOW + sessions.AT_MOST)
    sessions.note_use(ann, secret, now=NOW + sessions.AT_MOST + MINUTE)
    assert sessions.person_of(ann, secret, now=NOW + sessions.AT_MOST + MINUTE) is None


def test_signing_out_ends_this_session_alone_and_the_rest_can_be_ended_too(ann):
    first, second, third = opened(ann), opened(ann), opened(ann)
    sessions.end_session(ann, first, now=NOW)
    assert [bool(sessions.person_of(ann, each, now=NOW)) for each in (first, second, third)] == [
        False,
        True,
        True,
    ]
    sessions.end_sessions(ann, "ann", now=NOW, but=third)
    ann.expire_all()
    assert [bool(sessions.person_of(ann, each, now=NOW)) for each in (second, third)] == [False, True]
    assert len(sessions.list_sessions(ann, "ann", now=NOW)) == 1


def test_ended_access_takes_sessions_links_and_tokens_with_it(ann):
    secret, link = opened(ann), people.issue_link(ann, "ann", now=NOW)
    token = tokens.issue_token(ann, "ann", label="x", scope=("records.read",), bases=(), days=1, now=NOW)
    people.end_person(ann, "ann", now=NOW)
    ann.expire_all()
    assert sessions.person_of(ann, secret, now=NOW) is None
    assert tokens.person_of(ann, token, now=NOW) is None
    with pytest.raises(NotFoundError):
        people.use_link(ann, link, now=NOW)
    with pytest.raises(NotFoundError, match="has no access"):
        people.issue_link(ann, "ann", now=NOW)
    with pytest.raises(LedgerError, match="known already"):
        people.add_person(ann, "ann", "clerk", now=NOW)


def test_what_was_done_to_access_is_kept_in_order_and_changed_by_nobody(ann):
    by = Doer("bob", PAGE)
    people.add_person(ann, "cid", "clerk", now=NOW, by=by)
    people.sign_out(ann, "cid", now=NOW + MINUTE, by=Doer(way=COMMAND))
    people.end_person(ann, "cid", now=NOW + MINUTE * 2, by=by)
    told = known_acts(ann, "cid", most=9)
    assert [(each.act, each.by.name, each.by.way) for each in told] == [
        ("ended", "bob", PAGE),
        ("signed out", "", COMMAND),
        ("added", "bob", PAGE),
    ]
    for statement in ("UPDATE access_act SET \"by\" = 'x'", "DELETE FROM access_act"):
        with pytest.raises(DatabaseError, match="append_only"), ann.begin_nested():
            ann.execute(text(statement))


def test_a_role_changes_and_the_last_administrator_of_every_base_stays_one(small_fleet):
    for name in ("ann", "bob"):
        people.add_person(small_fleet, name, "administrator", now=NOW)
    secret = opened(small_fleet)
    by, later = Doer("bob", PAGE), NOW + MINUTE
    people.change_person(small_fleet, "ann", "planner", bases=("Home",), now=later, by=by)
    found = sessions.person_of(small_fleet, secret, now=NOW)
    assert (found.role, found.bases) == ("planner", ("Home",))
    told = known_acts(small_fleet, "ann", most=1)[0]
    assert told.told == "from administrator, every base to planner, Home"
    for role, bases, why in (
        ("planner", (), "only administrator"),
        ("administrator", ("Home",), "only administrator"),
        ("administrator", (), "is administrator, every base already"),
        ("owner", (), "is not a role"),
    ):
        with pytest.raises(LedgerError, match=why):
            people.change_person(small_fleet, "bob", role, bases=bases, now=NOW)


def test_access_given_back_lets_in_by_a_new_link_alone(ann):
    passwords.set_password(ann, "ann", PASSWORD, now=NOW)
    with_authenticator(ann)
    secret, link = opened(ann), people.issue_link(ann, "ann", now=NOW)
    token = tokens.issue_token(ann, "ann", label="x", scope=("records.read",), bases=(), days=1, now=NOW)
    with pytest.raises(NotFoundError, match="no access of 'ann' has ended"):
        people.give_back(ann, "ann", now=NOW)
    people.end_person(ann, "ann", now=NOW)
    people.give_back(ann, "ann", now=NOW + MINUTE)
    ann.expire_all()
    assert sessions.person_of(ann, secret, now=NOW) is None
    assert tokens.person_of(ann, token, now=NOW) is None
    assert not passwords.is_password(ann, "ann", PASSWORD)
    assert not authenticators.has_authenticator(ann, "ann")
    with pytest.raises(NotFoundError):
        people.use_link(ann, link, now=NOW)
    assert people.use_link(ann, people.issue_link(ann, "ann", now=NOW), now=NOW)
    assert known_acts(ann, "ann", most=1)[0].told == "clerk, every base"


def test_a_link_tells_who_made_it_and_what_became_of_it(ann):
    by = Doer("bob", PAGE)
    first, second, third = (people.issue_link(ann, "ann", now=NOW + MINUTE * n, by=by) for n in range(3))
    secret = people.use_link(ann, first, now=NOW + MINUTE * 3)
    people.note_password(
        ann, sessions.person_of(ann, secret, now=NOW + MINUTE * 3).link, now=NOW + MINUTE * 4
    )
    ann.execute(
        text("UPDATE one_time_link SET made_at = NULL, made_by = NULL, way = NULL WHERE digest = :digest"),
        {"digest": digest_of(second)},
    )
    people.end_person(ann, "ann", now=NOW + MINUTE * 5)
    ann.expire_all()
    told = known_links(ann, "ann", most=9)
    assert [each.at for each in told] == [time_text(NOW + MINUTE * n) for n in (2, 1, 0)]
    assert [each.by.name for each in told] == ["bob", "", "bob"]
    assert [bool(each.used_at) for each in told] == [False, False, True]
    assert [bool(each.ended_at) for each in told] == [True, True, False]
    assert [bool(each.password_at) for each in told] == [False, False, True]
    with pytest.raises(NotFoundError):
        people.use_link(ann, third, now=NOW + MINUTE * 3)


def test_the_last_administrator_stays(ann):
    people.add_person(ann, "bob", "administrator", now=NOW)
    with pytest.raises(LedgerError, match="only administrator"):
        people.end_person(ann, "bob", now=NOW)
    people.add_person(ann, "cid", "administrator", now=NOW)
    people.end_person(ann, "bob", now=NOW)


@pytest.mark.parametrize(
    ("name", "role", "bases", "told"),
    [
        ("", "clerk", (), "is not a name"),
        (" bob", "clerk", (), "is not a name"),
        ("b\nb", "clerk", (), "is not a name"),
        ("bob", "owner", (), "is not a role"),
        ("bob", "clerk", ("Mars",), "no base 'Mars'"),
    ],
)
def test_a_person_without_name_role_or_known_base_is_refused(session, name, role, bases, told):
    with pytest.raises(LedgerError, match=told):
        people.add_person(session, name, role, now=NOW, bases=bases)


def test_secrets_are_kept_as_digests_alone(ann):
    link = people.issue_link(ann, "ann", now=NOW)
    secret = opened(ann)
    token = tokens.issue_token(ann, "ann", label="x", scope=("records.read",), bases=(), days=1, now=NOW)
    passwords.set_password(ann, "ann", PASSWORD, now=NOW)
    kept = str(
        [
            vars(row)
            for model in (OneTimeLink, PersonSession, ApiToken, PersonPassword)
            for row in ann.query(model)
        ]
    )
    assert not any(each in kept for each in (link, secret, token, PASSWORD))
    # RFC 9106, section 4, second recommended option: Argon2id, 64 MiB, 3 passes, 4 lanes.
    assert ann.get(PersonPassword, "ann").hash.startswith("$argon2id$v=19$m=65536,t=3,p=4$")


def test_a_password_is_known_exactly_and_for_those_with_access_alone(ann):
    passwords.set_password(ann, "ann", PASSWORD, now=NOW)
    assert passwords.is_password(ann, "ann", PASSWORD)
    assert not passwords.is_password(ann, "ann", PASSWORD.upper())
    assert not passwords.is_password(ann, "ann", PASSWORD + "x")
    assert not passwords.is_password(ann, "nobody", "nobody has this password")
    people.end_person(ann, "ann", now=NOW)
    assert not passwords.is_password(ann, "ann", PASSWORD)


@pytest.mark.parametrize(
    "weak",
    [
        "short",
        "a" * 15,
        "passwordpassword",
        "123456789012345",
        "qwertyuiopasdfgh",
        "pinledgerpinledger",
        "ann administrator",
        "x" * 257,
    ],
)
def test_a_password_that_is_tried_first_is_refused(ann, weak):
    with pytest.raises(LedgerError, match="password"):
        passwords.set_password(ann, "ann", weak, now=NOW)


@pytest.mark.parametrize(
    "strong", ["grey otter at noon", "колесо под дождём утром", "9 pumps/4 lids&a bee " * 4]
)
def test_a_password_may_be_of_any_characters_and_long(ann, strong):
    passwords.set_password(ann, "ann", strong, now=NOW)
    assert passwords.is_password(ann, "ann", strong)


def test_attempts_by_one_name_run_out_and_come_back(session):
    tried = [
        attempts.note_attempt(session, name="ann", address=f"10.0.0.{i}", now=NOW)
        for i in range(attempts.MOST_BY_NAME + 1)
    ]
    assert tried == [True] * attempts.MOST_BY_NAME + [False]
    assert attempts.note_attempt(session, name="bob", address="10.0.0.99", now=NOW)
    assert attempts.note_attempt(session, name="ann", address="10.0.0.99", now=NOW + attempts.WINDOW)


def test_attempts_from_one_address_run_out_whatever_the_name(session):
    tried = [
        attempts.note_attempt(session, name=f"n{i}", address="10.0.0.1", now=NOW)
        for i in range(attempts.MOST_BY_ADDRESS + 1)
    ]
    assert tried == [True] * attempts.MOST_BY_ADDRESS + [False]


def test_a_success_forgets_the_attempts_by_that_name(session):
    for i in range(attempts.MOST_BY_NAME):
        attempts.note_attempt(session, name="ann", address=f"10.0.0.{i}", now=NOW)
    attempts.forget_attempts(session, "ann")
    assert attempts.note_attempt(session, name="ann", address="10.0.0.99", now=NOW)


def with_authenticator(session):
    seed = authenticators.begin_authenticator(session, "ann", now=NOW)
    code = pyotp.TOTP(seed)
    authenticators.confirm_authenticator(session, "ann", code.at(NOW), now=NOW)
    return code


def test_codes_are_those_of_the_published_table(ann):
    """RFC 6238, appendix B, SHA-1 rows: the secret "12345678901234567890", the last six of the eight digits."""
    told = {
        59: "287082",
        1111111109: "081804",
        1111111111: "050471",
        1234567890: "005924",
        2000000000: "279037",
    }
    authenticators.begin_authenticator(ann, "ann", now=NOW)
    kept = ann.get(authenticators.PersonAuthenticator, "ann")
    kept.secret = "GEZDGNBVGY3TQOJQGEZDGNBVGY3TQOJQ"
    for second, code in sorted(told.items()):
        assert authenticators.use_code(ann, "ann", code, now=dt.datetime.fromtimestamp(second, dt.UTC)), (
            second
        )
        ann.expire_all()


def test_a_code_works_once_and_the_one_before_it_not_after_it(ann):
    code = with_authenticator(ann)
    later = NOW + 4 * MINUTE
    assert authenticators.use_code(ann, "ann", code.at(later), now=later)
    assert not authenticators.use_code(ann, "ann", code.at(later), now=later)
    assert not authenticators.use_code(ann, "ann", code.at(later - MINUTE / 2), now=later)


def test_a_code_lives_for_its_step_and_the_next(ann):
    code = with_authenticator(ann)
    read = NOW + 4 * MINUTE
    assert not authenticators.use_code(ann, "ann", code.at(read), now=read + MINUTE)
    assert not authenticators.use_code(ann, "ann", code.at(read + MINUTE), now=read)
    assert authenticators.use_code(ann, "ann", code.at(read), now=read + MINUTE / 2)


def test_an_authenticator_counts_once_it_is_confirmed(ann):
    authenticators.begin_authenticator(ann, "ann", now=NOW)
    assert not authenticators.has_authenticator(ann, "ann")
    with pytest.raises(LedgerError, match="does not fit"):
        authenticators.confirm_authenticator(ann, "ann", "000000", now=NOW)
    with_authenticator(ann)
    assert authenticators.has_authenticator(ann, "ann")
    with pytest.raises(LedgerError, match="already"):
        authenticators.begin_authenticator(ann, "ann", now=NOW)


def test_a_token_expires_and_can_be_ended(ann):
    token = tokens.issue_token(ann, "ann", label="robot", scope=("records.read",), bases=(), days=1, now=NOW)
    assert tokens.person_of(ann, token, now=NOW).scope == ("records.read",)
    assert tokens.person_of(ann, token, now=NOW + dt.timedelta(days=1)) is None
    with pytest.raises(NotFoundError):
        tokens.end_token(ann, "bob", tokens.list_tokens(ann, "ann", now=NOW)[0].name, now=NOW)
    tokens.end_token(ann, "ann", tokens.list_tokens(ann, "ann", now=NOW)[0].name, now=NOW)
    ann.expire_all()
    assert tokens.person_of(ann, token, now=NOW) is None


def test_a_token_reaches_no_further_than_its_person_does_now(small_fleet):
    people.add_person(small_fleet, "tia", "clerk", now=NOW, bases=("Home",))
    with pytest.raises(LedgerError, match="has no access at Away"):
        tokens.issue_token(
            small_fleet, "tia", label="x", scope=("records.read",), bases=("Away",), days=1, now=NOW
        )
    token = tokens.issue_token(
        small_fleet, "tia", label="x", scope=("records.read",), bases=(), days=1, now=NOW
    )
    assert tokens.person_of(small_fleet, token, now=NOW).bases == ("Home",)
    narrow = tokens.issue_token(small_fleet, "tia", label="y", scope=("a",), bases=("Home",), days=1, now=NOW)
    small_fleet.get(people.Person, "tia").bases = "Away"
    assert tokens.person_of(small_fleet, token, now=NOW).bases == ("Away",)
    assert tokens.person_of(small_fleet, narrow, now=NOW) is None


@pytest.mark.parametrize(
    ("values", "told"),
    [
        ({"label": " "}, "no name"),
        ({"scope": ()}, "may do nothing"),
        ({"days": 366}, "366 days"),
        ({"days": 0}, "0 days"),
    ],
)
def test_a_token_without_purpose_scope_or_end_is_refused(ann, values, told):
    given = {"label": "x", "scope": ("records.read",), "bases": (), "days": 1} | values
    with pytest.raises(LedgerError, match=told):
        tokens.issue_token(ann, "ann", **given, now=NOW)
