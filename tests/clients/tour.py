"""The README's tour, walked by a client in Python that was generated from openapi/openapi.json. .ci/spec

Every request goes through generated functions, so that a document that does not fit is found by `mypy --strict`; every answer is
asserted, so that a server that does not fit is found by running. Needs a freshly loaded demo.
"""

import datetime
import io
import json
import os
import re
import time
import uuid
from typing import Any, TypeVar

import caselot_client.models as m
from caselot_client import AuthenticatedClient, Client
from caselot_client.api.evidence_and_decisions import (
    appoint_coordinator,
    approve_waiver,
    list_decisions,
    record_evidence,
    withdraw_evidence,
)
from caselot_client.api.getting_in import list_sessions, read_me, sign_in, sign_out
from caselot_client.api.lists import apply_intake, find_intake, list_intake_rows, upload_list
from caselot_client.api.people_and_troops import (
    add_troop,
    export_roster,
    find_contact,
    list_assignments,
    list_people,
    list_troops,
)
from caselot_client.api.return_ import download_return, file_return, list_return_changes, mark_return_sent, preview_return
from caselot_client.api.scripts_and_keys import list_log, make_key
from caselot_client.api.season_and_policy import find_policy, preview_policy
from caselot_client.api.standing import find_standing, list_standings
from caselot_client.api.what_needs_me_now import list_my_steps, list_needs, report_step
from caselot_client.types import File, Response

T = TypeVar("T")

# What `deploy/demo env` names: address, unit, lists, and what each person signs in with.
API = os.environ["API"]
UNIT = uuid.UUID(os.environ["UNIT"])
TODAY = datetime.date.fromisoformat(os.environ["TODAY"])
LISTS = os.environ["LISTS"]


def right(answer: Response[Any], status: int, kind: type[T]) -> T:
    """The answer, which must have succeeded with this status and be of this type."""
    assert answer.status_code == status, answer.content
    assert isinstance(answer.parsed, kind), answer.content
    return answer.parsed


def refused(answer: Response[Any], status: int, code: str) -> m.Problem:
    """The problem, which must have this status and code, and say what to do."""
    problem = right(answer, status, m.Problem)
    assert problem.code == code, answer.content
    assert answer.headers["content-type"] == "application/problem+json"
    assert len(problem.detail) > 20 and problem.request_id
    return problem


def client_with(token: str) -> AuthenticatedClient:
    return AuthenticatedClient(base_url=API, token=token, raise_on_unexpected_status=True)


def signed_in(who: str) -> AuthenticatedClient:
    credentials = m.Credentials.from_dict(json.loads(os.environ[who]))
    opened = sign_in.sync_detailed(client=Client(base_url=API), body=credentials)
    return client_with(right(opened, 201, m.Session).access_token)


def once() -> str:
    """A new key for safe retries."""
    return str(uuid.uuid4())


def standing_of(client: AuthenticatedClient, troop: uuid.UUID) -> m.Standing:
    return right(find_standing.sync_detailed(UNIT, troop, client=client), 200, m.TroopStanding).standing


def where_everyone_stands(manager: AuthenticatedClient) -> m.StandingPage:
    some = [m.TroopState.LAPSED, m.TroopState.READY]
    page = right(list_standings.sync_detailed(UNIT, client=manager, state=some), 200, m.StandingPage)
    assert {count.state.value: count.troops for count in page.counts} == {
        "sitting_out": 2, "vacant": 4, "suspended": 2, "lapsed": 2, "appointed": 5, "ready": 2, "gathering": 7,
    }
    lines = [(line.number, line.state.value) for line in page.items]
    assert lines == [("121", "ready"), ("126", "ready"), ("133", "lapsed"), ("139", "lapsed")]
    step = page.items[0].next_step
    assert isinstance(step, m.Step) and step.code is m.StepCode.APPOINT
    assert [who.value for who in step.who] == ["unit_manager"]
    return page


def a_newer_list_is_looked_at(manager: AuthenticatedClient) -> m.Intake:
    name = "5-newer-role-list.csv"
    with open(f"{LISTS}/{name}", "rb") as file:
        sent = upload_list.sync_detailed(
            UNIT, client=manager, body=File(payload=io.BytesIO(file.read())), kind=m.ListKind.ROLE_LIST, file_name=name, listed_on=TODAY
        )
    intake = right(sent, 202, m.Intake)
    for _ in range(120):
        if intake.state is not m.IntakeState.READING:
            break
        time.sleep(0.5)
        intake = right(find_intake.sync_detailed(UNIT, intake.intake_id, client=manager), 200, m.Intake)
    assert intake.state is m.IntakeState.READY
    assert intake.next_step == "Look at the 3 changes, then apply the list."
    counts = intake.counts
    assert (counts.rows, counts.changes, counts.waiting, counts.problems) == (21, 3, 0, 0)
    rows = right(list_intake_rows.sync_detailed(UNIT, intake.intake_id, client=manager, limit=200), 200, m.IntakeRowPage)
    assert len(rows.items) == 21 and sum(len(row.changes) for row in rows.items) == 3
    return intake


def a_coordinator_reports_a_step(other_troop: uuid.UUID) -> None:
    dmitri = signed_in("DMITRI")
    mine = right(list_my_steps.sync_detailed(UNIT, client=dmitri), 200, m.MySteps).troops[0]
    step = m.StepReport(troop_id=mine.troop_id, requirement="yearly_training", done_on=TODAY)
    fact = right(report_step.sync_detailed(UNIT, client=dmitri, body=step), 201, m.Evidence)
    assert (fact.outcome, fact.source, fact.observed_on) == (m.EvidenceOutcome.REPORTED, m.EvidenceSource.PERSON, TODAY)
    refused(find_standing.sync_detailed(UNIT, other_troop, client=dmitri), 404, "not_found")


def something_was_typed_for_the_wrong_person(manager: AuthenticatedClient, troop: uuid.UUID, person: uuid.UUID) -> None:
    typed = m.EvidenceByHand(requirement="agreement", person_id=person, outcome=m.HandOutcome.NOT_MET)
    fact = right(record_evidence.sync_detailed(UNIT, client=manager, body=typed), 201, m.Evidence)
    assert standing_of(manager, troop).state is m.TroopState.LAPSED
    withdrawn = right(withdraw_evidence.sync_detailed(UNIT, fact.evidence_id, client=manager), 200, m.RecordedFact)
    assert withdrawn.withdrawn_at is not None
    assert standing_of(manager, troop).state is m.TroopState.APPOINTED


def the_return_is_filed(manager: AuthenticatedClient) -> None:
    stamp = right(preview_return.sync_detailed(UNIT, client=manager), 200, m.ReturnPreview).stamp
    new = m.NewReturn(stamp=stamp)
    filed = right(file_return.sync_detailed(UNIT, client=manager, body=new, idempotency_key=once()), 201, m.FiledReturn)
    assert filed.number == 1 and re.fullmatch("[0-9a-f]{64}", filed.sha256)
    # It answers in four types, and the generated function reads every one as JSON: the request is its own, the answer is not.
    for form, begins in ((m.ReturnFormat.CSV, b"troop_number,troop_name,state,"), (m.ReturnFormat.PDF, b"%PDF-")):
        asked = download_return._get_kwargs(UNIT, filed.return_id, format_=form, paper=m.ReturnPaper.LETTER)
        file = manager.get_httpx_client().request(**asked)
        assert file.status_code == 200 and file.content.removeprefix(b"\xef\xbb\xbf").startswith(begins), file.content[:80]
    sending = m.NewSending(sent_to="Head office, season desk", way=m.SendingWay.MAIL)
    sent = mark_return_sent.sync_detailed(UNIT, filed.return_id, client=manager, body=sending, idempotency_key=once())
    assert right(sent, 201, m.ReturnSending).answer is None
    changes = right(list_return_changes.sync_detailed(UNIT, filed.return_id, client=manager), 200, m.ReturnChanges)
    assert changes.changes == [] and changes.new_return_owed is False
    refused(file_return.sync_detailed(UNIT, client=manager, body=new, idempotency_key=once()), 409, "nothing_new")


def two_people_agree(overseer: AuthenticatedClient) -> None:
    needs = right(list_needs.sync_detailed(UNIT, client=overseer, limit=200), 200, m.NeedPage)
    assert 0 < needs.total == len(needs.items)
    paths = [request.path for need in needs.items for request in need.settle]
    waivers = [found[1] for path in paths if (found := re.search("/waivers/([^/]+)/approve$", path))]
    waiver = right(approve_waiver.sync_detailed(UNIT, uuid.UUID(waivers[0]), client=overseer), 200, m.Waiver)
    assert (waiver.requirement, waiver.state.value, waiver.needs_two_people) == ("yearly_training", "in_force", True)
    decisions = right(list_decisions.sync_detailed(UNIT, client=overseer, limit=1), 200, m.DecisionPage)
    assert decisions.items[0].reason == "Membership renewed; everything is in order."


def a_stricter_rule_is_tried(manager: AuthenticatedClient, season: uuid.UUID) -> None:
    policy = right(find_policy.sync_detailed(UNIT, season, client=manager), 200, m.PolicyInForce).policy
    for requirement in policy.requirements:
        if requirement.needed_by is m.NeededBy.FIRST_SEASON:
            requirement.needed_by = m.NeededBy.ALL
    tried = right(preview_policy.sync_detailed(UNIT, season, client=manager, body=policy), 200, m.PolicyPreview)
    assert tried.needs_confirmation is True
    first = tried.changed[0]
    assert (first.number, first.state_now.value, first.state_then.value) == ("104", "appointed", "lapsed")
    assert first.opened_requirements == ["first_season_course"]


def the_others(overseer: AuthenticatedClient) -> None:
    people = list_people.sync_detailed(UNIT, client=signed_in("VIEWER"))
    assert "people.read" in refused(people, 403, "forbidden").detail
    materials = signed_in("MATERIALS")
    known = right(list_people.sync_detailed(UNIT, client=materials, limit=1), 200, m.PersonPage).items[0]
    contact = right(find_contact.sync_detailed(UNIT, known.person_id, client=materials), 200, m.Contact)
    assert contact.email is not None and contact.email.endswith("@example.org")
    roster = right(export_roster.sync_detailed(UNIT, client=materials, format_=m.ExportFormat.CSV), 200, str)
    assert "email,phone,troop_id" in roster
    refused(list_standings.sync_detailed(UNIT, client=signed_in("STRANGER")), 404, "not_found")
    seen: list[int] = []
    page = right(list_log.sync_detailed(UNIT, client=overseer, limit=100), 200, m.LogPage)
    seen.extend(entry.seq for entry in page.items)
    while page.next_cursor is not None:
        page = right(list_log.sync_detailed(UNIT, client=overseer, limit=100, cursor=page.next_cursor), 200, m.LogPage)
        seen.extend(entry.seq for entry in page.items)
    assert len(seen) > 130 and seen == list(range(1, len(seen) + 1))
    tag = list_troops.sync_detailed(UNIT, client=overseer).headers["etag"]
    assert list_troops.sync_detailed(UNIT, client=overseer, if_none_match=tag).status_code == 304


def a_key_for_a_script(manager: AuthenticatedClient) -> None:
    new = m.NewKey(name="open list", unit_id=UNIT, permissions=["standings.read", "assignments.read"], lasts_days=1)
    script = client_with(right(make_key.sync_detailed(client=manager, body=new), 201, m.MadeKey).secret)
    line = right(list_standings.sync_detailed(UNIT, client=script, troop="139"), 200, m.StandingPage).items[0]
    standing = standing_of(script, line.troop_id)
    asked = list(standing.requirements)
    for coordinator in standing.coordinators:
        asked.extend(coordinator.requirements if coordinator.counted else [])
    assert [one.title for one in asked if not one.closed] == ["Background screening on file"]
    troop = m.NewTroop(number="999", age_band="juniors", first_season=False, selling_youths=8)
    refused(add_troop.sync_detailed(UNIT, client=script, body=troop), 403, "forbidden")


def ones_own_sign_ins() -> None:
    manager = signed_in("MANAGER")
    sessions = right(list_sessions.sync_detailed(client=manager, limit=200), 200, m.SessionPage)
    assert sum(session.current for session in sessions.items) == 1
    assert sign_out.sync_detailed(client=manager).status_code == 200
    refused(read_me.sync_detailed(client=manager), 401, "not_signed_in")


def main() -> None:
    manager, overseer = signed_in("MANAGER"), signed_in("OVERSEER")
    page = where_everyone_stands(manager)
    troops = right(list_troops.sync_detailed(UNIT, client=manager, limit=200), 200, m.TroopPage).items
    assert len(troops) == 24
    troop = next(troop.troop_id for troop in troops if troop.number == "184")
    place = right(list_assignments.sync_detailed(UNIT, client=manager, troop=troop), 200, m.AssignmentPage).items[0]

    def appoint(reason: str) -> Response[m.Problem | m.DecisionAndStanding]:
        body = m.DecisionReason(reason=reason)
        return appoint_coordinator.sync_detailed(UNIT, place.assignment_id, client=manager, body=body, idempotency_key=once())

    early = refused(appoint("Known for years."), 409, "requirements_open")
    assert [one.code for one in early.errors] == ["membership"]
    intake = a_newer_list_is_looked_at(manager)
    a_coordinator_reports_a_step(troop)
    intake = right(find_intake.sync_detailed(UNIT, intake.intake_id, client=manager), 200, m.Intake)
    seen = m.PreviewToApply(preview=intake.etag)
    applied = apply_intake.sync_detailed(UNIT, intake.intake_id, client=manager, body=seen, idempotency_key=once())
    assert right(applied, 200, m.Intake).state is m.IntakeState.APPLIED
    decided = right(appoint("Membership renewed; everything is in order."), 200, m.DecisionAndStanding)
    assert decided.decision is m.DecisionKind.APPOINT
    assert (decided.troop.number, decided.troop.standing.state.value) == ("184", "appointed")
    assert [reason.code.value for reason in decided.troop.standing.reasons] == ["all_in_order"]
    something_was_typed_for_the_wrong_person(manager, troop, place.person_id)
    the_return_is_filed(manager)
    two_people_agree(overseer)
    a_stricter_rule_is_tried(manager, page.season_id)
    the_others(overseer)
    a_key_for_a_script(manager)
    ones_own_sign_ins()
    print("the tour in Python: every answer as asserted")


main()
