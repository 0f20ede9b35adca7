import datetime as dt

import pytest

from imustride.errors import StoreError
from imustride.season.consent import (
    Consent,
    consent_problem,
    consents_of,
    judge,
    record_consent,
    withdraw_consent,
)
from imustride.season.consented import consented
from imustride.season.reading import Chosen

BOTH = ("season", "group")


def day(text):
    return dt.date.fromisoformat(text)


def given(by="guardian", on="2026-09-01", scope=BOTH, *, assent=True, **rest):
    return Consent(by, day(on), scope, assent=assent, **rest)


# Worked out by hand from the rules in the docstring of the module.
@pytest.mark.parametrize(
    ("consents", "birth_year", "scope", "on", "said"),
    [
        ([], 2012, "season", "2026-10-03", "no consent given by 2026-10-03"),
        ([given()], 2012, "season", "2026-10-03", None),
        ([given()], 2012, "season", "2026-08-31", "no consent given by 2026-08-31"),
        ([given(scope=("season",))], 2012, "group", "2026-10-03", "does not cover 'group', only season"),
        ([given(expires_on=day("2026-10-03"))], 2012, "season", "2026-10-03", None),
        ([given(expires_on=day("2026-10-02"))], 2012, "season", "2026-10-03", "expired on 2026-10-02"),
        ([given(withdrawn_on=day("2026-10-03"))], 2012, "season", "2026-10-03", "withdrawn on 2026-10-03"),
        ([given(withdrawn_on=day("2026-10-04"))], 2012, "season", "2026-10-03", None),
        ([given(assent=None)], 2012, "season", "2026-10-03", "lacks the child's own agreement"),
        ([given(assent=False)], 2012, "season", "2026-10-03", "lacks the child's own agreement"),
        ([given("parent")], 2012, "season", "2026-10-03", None),
        ([given("self")], 2012, "season", "2026-10-03", "a minor's own"),
        ([given("self", assent=None)], 2008, "season", "2026-10-03", None),
        ([given("self", assent=None)], 2009, "season", "2026-10-03", "a minor's own"),
        ([given()], 2008, "season", "2026-12-31", None),
        ([given()], 2008, "season", "2027-01-01", "came of age"),
        ([given()], None, "season", "2026-10-03", "year of birth is not on record"),
        ([given(), given("self", "2027-02-01", assent=None)], 2008, "season", "2027-02-01", None),
        ([given(withdrawn_on=day("2026-09-15")), given(on="2026-10-01")], 2012, "season", "2026-10-03", None),
        ([given(), given(on="2026-09-10", scope=("season",))], 2012, "group", "2026-10-03", "does not cover"),
    ],
)
def test_whether_a_consent_holds(consents, birth_year, scope, on, said):
    found = judge(consents, birth_year, scope, day(on))
    if said is None:
        assert found is None
    else:
        assert said in found


def test_a_consent_is_recorded_and_withdrawn(store):
    record_consent(store, "A07", given(), birth_year=2012)
    assert consents_of(store, "A07") == [given()]
    assert consent_problem(store, "A07", "group", day("2026-10-03")) is None
    assert withdraw_consent(store, "A07", day("2026-10-05")) == 1
    assert "withdrawn" in consent_problem(store, "A07", on=day("2026-10-05"))
    assert withdraw_consent(store, "A07", day("2026-10-06")) == 0


@pytest.mark.parametrize(
    ("consent", "birth_year", "said"),
    [
        (given(), None, "year of birth"),
        (given("self"), 2012, "a minor's own"),
        (given(assent=None), 2012, "child's own agreement"),
        (given(on="2199-01-01"), 2012, "dated 2199-01-01, today is"),
        (given(expires_on=day("2026-08-01")), 2012, "expired"),
        (given(), 1980, "came of age"),
    ],
)
def test_a_consent_that_cannot_hold_is_not_recorded(store, consent, birth_year, said):
    with pytest.raises(StoreError, match=said):
        record_consent(store, "A07", consent, birth_year=birth_year)
    with pytest.raises(StoreError, match="not in this store"):
        consents_of(store, "A07")


def test_another_birth_year_is_refused(store):
    record_consent(store, "A07", given(), birth_year=2012)
    with pytest.raises(StoreError, match="born in 2012"):
        record_consent(store, "A07", given(), birth_year=2013)


def test_nothing_is_added_for_somebody_who_withdrew(store, add):
    record_consent(store, "A07", given(), birth_year=2012)
    withdraw_consent(store, "A07", day("2026-09-15"))
    with pytest.raises(StoreError, match="withdrawn"):
        add()


def test_who_may_be_shown_together(store, add):
    for number, code in enumerate(("A07", "B02", "C03")):
        add(code, logs=(f"{number:02d}",))
    record_consent(store, "A07", given(), birth_year=2012)
    record_consent(store, "B02", given(scope=("season",)), birth_year=2012)
    may, reasons = consented(store, Chosen(), day("2026-10-03"))
    assert may == ("A07",)
    assert "does not cover 'group'" in reasons["B02"]
    assert "no consent" in reasons["C03"]
    assert consented(store, Chosen(athletes=("B02",)), day("2026-10-03")) == (("B02",), {})
    with pytest.raises(StoreError, match="not in this store"):
        consented(store, Chosen(athletes=("X99",)))
