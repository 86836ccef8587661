"""A building's history, simulated through the services.

A story keeps what was really built beside what the record holds, so that a mistake
can be put right by measuring again, and work that was carried out shows when it is
measured afterwards.
"""

from collections.abc import Container, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import datetime, timedelta
from uuid import uuid4

import numpy as np

from checks.demo import frozen_time
from checks.demo.crew import (
    BENCHMARK,
    Crew,
    Entry,
    list_stage_checks,
    read_pads,
    take_readings,
    write_entries,
)
from checks.demo.foundation import NO_SPREAD, BuiltFoundation, build_foundation
from checks.demo.mistakes import find_mistake
from checks.demo.photographs import draw_photograph
from checks.models import Decision, Finding, FindingEvent, Release
from checks.services.concrete import record_concrete
from checks.services.findings import (
    decide_finding,
    report_work_done,
    request_remeasurement,
)
from checks.services.photographs import UploadedPhotograph, add_photograph
from checks.services.readings import record_readings
from checks.services.releases import sign_release
from core.models import Person
from jobs.accounts.view_log import record_view
from jobs.anchor_plan.check_keys import CheckKind
from jobs.anchor_plan.planned_checks import Check
from jobs.anchor_plan.values import Plan
from jobs.models import Building
from jobs.plans.plan_cache import load_plan

# The hole is changed, not the rod: measuring again shows the same deviation.
HOLE_REMEDIES = frozenset({"ream", "slot", "new_plate"})
# Neither changes anything on the site.
SKIPPED_REMEDIES = frozenset({"remeasure", "wait_for_strength"})
ONE_DAY = timedelta(days=1)
# A remedy that does not settle its finding in so many rounds is a fault of the demo.
MAX_ROUNDS = 5


class SimulationError(RuntimeError):
    """The services refused an entry of the demo: a fault in one of the two."""


@dataclass(frozen=True, slots=True, kw_only=True)
class BuildingTeam:
    """The people and the crew of one building."""

    operations: Person
    field: Person
    engineer: Person
    crew: Crew


@dataclass
class BuildingSimulation:
    """A building, its simulated foundation, and its current readings."""

    building: Building
    team: BuildingTeam
    seed: int
    midnight: datetime  # of today
    foundation: BuiltFoundation = field(init=False)
    plan: Plan = field(init=False)
    rng: np.random.Generator = field(init=False)
    current_ids: dict[str, list[str]] = field(default_factory=dict)
    setups: int = 0

    def __post_init__(self) -> None:
        self.rng = np.random.default_rng(self.seed)
        self.reload_plan()
        self.foundation = build_foundation(self.plan, self.seed)

    def reload_plan(self) -> None:
        """Load the current plan."""
        self.building.refresh_from_db()
        self.plan = load_plan(self.building.current_revision())

    def set_day(self, day: float) -> datetime:
        """Set the simulated time, in days from today; return it."""
        # The services refuse readings from the future.
        moment = min(self.midnight + day * ONE_DAY, _latest_moment())
        frozen_time.set_time(moment)
        return moment

    # ---- measuring -----------------------------------------------------------

    def list_checks(self, *stages: str, optional: bool = False) -> list[Check]:
        """List the checks of some stages."""
        return list_stage_checks(self.plan, *stages, optional=optional)

    def measure(
        self,
        day: float,
        checks: Iterable[Check],
        *,
        mistakes: Sequence[str] = (),
        errors: Mapping[str, float] | None = None,
        withdrawn: str = "",
        repeat: bool = False,
    ) -> None:
        """Read checks off the foundation and record them in the evening.

        Earlier readings are superseded, unless this is a repeat. `errors` are added to
        the readings of checks, by key [mm]; `withdrawn` is why none of them counts.
        """
        crew = self.team.crew
        started = self.set_day(day)
        listed = list(checks)
        pads = [check for check in listed if check.kind == CheckKind.LEVEL]
        readings = take_readings(
            self.foundation,
            crew,
            self.rng,
            [c for c in listed if c.kind != CheckKind.LEVEL],
        )
        if pads:
            # Set-ups are numbered through: a second survey must not reuse a name.
            readings += read_pads(
                self.foundation, crew, self.rng, pads, self.setups + 1
            )
            self.setups += crew.setups
        for name in mistakes:
            if not find_mistake(name).apply(self.foundation, readings, self.rng):
                msg = f"{self.building}: no place for the mistake “{name}”."
                raise SimulationError(msg)
        for each in readings:
            each.mm += (errors or {}).get(each.check.key, 0.0)
        entries = write_entries(readings, crew, self.rng, started)
        if withdrawn:
            entries = [entry | {"withdrawn": withdrawn} for entry in entries]
        self._record_entries(entries, repeat=repeat)

    def photograph(self, day: float, check: str, mark: str) -> None:
        """Add a photograph of a measured position."""
        moment = self.set_day(day)
        photograph = draw_photograph("remeasure", mark, self.seed)
        assert photograph is not None  # noqa: S101 -- every remeasurement has one
        add_photograph(
            actor=self.team.field,
            building=self.building,
            client_id=uuid4(),
            content=photograph[0],
            taken_at=moment,
            caption=photograph[1],
            check=check,
        )

    def record_sample(self, day: float, name: str, strength: str) -> None:
        """Record the strength of a field-cured sample."""
        moment = self.set_day(day)
        entry = {
            "id": f"{name}-{self.seed}",
            "check": f"strength:{name}",
            "value": strength,
            "by": "site laboratory",
            "at": moment.isoformat(),
        }
        self._record_entries([entry], repeat=False)

    def record_temperature(self, day: float, celsius: float, age: float) -> None:
        """Record a concrete temperature; `age` is in hours since placing."""
        members = {"temperature": f"{celsius:g} degC", "hours": age, "by": "crew 1"}
        self.record_concrete_entry(
            day, "temperature", at=self.set_day(day).isoformat(), **members
        )

    def record_concrete_entry(self, day: float, kind: str, **members: object) -> None:
        """Record an entry of the concrete data."""
        self.set_day(day)
        entry = {"id": f"{kind}-{self.seed}-{day:g}", "kind": kind, **members}
        recorded = record_concrete(
            actor=self.team.field, building=self.building, entries=[entry]
        )
        if recorded.refused:
            where = recorded.refused[0]
            msg = f"{self.building}: {where.where}: {where.message}"
            raise SimulationError(msg)

    def _record_entries(self, entries: list[Entry], *, repeat: bool) -> None:
        linked = [
            each for entry in entries for each in self._link_superseded(entry, repeat)
        ]
        last = max(datetime.fromisoformat(entry["at"]) for entry in entries)
        frozen_time.set_time(last + timedelta(minutes=12))
        recorded = record_readings(
            actor=self.team.field, building=self.building, entries=linked
        )
        if recorded.refused:
            where = recorded.refused[0]
            msg = f"{self.building}: {where.where}: {where.message}"
            raise SimulationError(msg)
        if self.building.evaluation_due_since is not None:
            msg = f"{self.building} could not be evaluated; see the log."
            raise SimulationError(msg)

    def _link_superseded(self, entry: Entry, repeat: bool) -> list[Entry]:
        """Name the superseded reading; of several current ones, supersede each."""
        key, name = entry["check"], entry["id"]
        before = self.current_ids.get(key, [])
        if repeat or not before or key == f"benchmark:{BENCHMARK}":
            self.current_ids[key] = [*before, name]
            return [entry]
        linked = [
            entry | {"id": name if i == 0 else f"{name}-{i}", "supersedes": old}
            for i, old in enumerate(before)
        ]
        self.current_ids[key] = [each["id"] for each in linked]
        return linked

    # ---- deciding ------------------------------------------------------------

    def list_findings(self) -> list[Finding]:
        """List the open findings, oldest first."""
        return list(Finding.objects.filter(building=self.building).open())

    def request_remeasurement(self, day: float, finding: Finding) -> None:
        """Request another measurement of a finding, as the engineer."""
        self.set_day(day)
        request_remeasurement(
            actor=self.team.engineer,
            finding=finding,
            note="Please measure this again before anything is decided.",
        )

    def remeasure(self, day: float, findings: Iterable[Finding]) -> None:
        """Measure the checks of some findings again, without a mistake."""
        keys = {key for finding in findings for key in _list_check_keys(finding)}
        self.measure(day, self._select_checks(keys))

    def confirm(self, day: float, findings: Iterable[Finding]) -> None:
        """Repeat the readings that something irreversible waits for."""
        keys = {key for finding in findings for key in finding.remedies[0]["checks"]}
        self.measure(day, self._select_checks(keys), repeat=True)

    def _select_checks(self, keys: Container[str]) -> list[Check]:
        sheet = self.list_checks(
            "foundation", "verification", "erection", optional=True
        )
        return [check for check in sheet if check.key in keys]

    def decide_finding(self, day: float, finding: Finding) -> Decision | None:
        """Order the first remedy that changes something, if there is one."""
        self.set_day(day)
        self.log_view_by(self.team.engineer, "building", self.building.pk)
        self.log_view_by(self.team.engineer, "finding", finding.pk)
        for choice, remedy in enumerate(finding.remedies):
            if remedy["remedy"] in SKIPPED_REMEDIES or remedy.get("unconfirmed"):
                continue
            as_is = remedy["remedy"] == "shift"
            return decide_finding(
                actor=self._choose_approver(remedy),
                finding=finding,
                choice=choice,
                disposition="use_as_is" if as_is else _choose_disposition(remedy),
                note=_write_order(finding, remedy),
            )
        return None

    def _choose_approver(self, remedy: Mapping[str, object]) -> Person:
        if remedy.get("approval") == "field":
            return self.team.operations
        return self.team.engineer

    def carry_out(self, day: float, decision: Decision, hours: float = 2.0) -> None:
        """Do the work, report it and measure its checks again."""
        finding = Finding.objects.get(pk=decision.finding_id)
        self.foundation = apply_remedy(
            self.foundation, finding.topic, decision.remedy["remedy"]
        )
        moment = self.set_day(day)
        mark = finding.topic.partition(":")[2]
        photograph = draw_photograph(decision.remedy["remedy"], mark, decision.pk)
        report_work_done(
            actor=self.team.field,
            decision=decision,
            at=moment,
            note="Done as ordered.",
            photographs=[UploadedPhotograph(name="work.jpg", content=photograph[0])]
            if photograph
            else [],
            caption=photograph[1] if photograph else "",
        )
        if decision.remedy["remedy"] in HOLE_REMEDIES:
            self.set_day(day + hours / 24.0)
            finding.refresh_from_db()
            decide_finding(
                actor=self.team.engineer,
                finding=finding,
                choice="accept",
                disposition="use_as_is",
                note="The photographs show the holes and the washers. Accepted.",
            )
        else:
            self.remeasure(day + hours / 24.0, [finding])

    def settle_findings(self, day: float, step: float = 0.9) -> float:
        """Settle every finding, a step at a time; return the last day."""
        for _ in range(MAX_ROUNDS):
            waiting = self.list_findings()
            if not waiting:
                return day
            doubted = [f for f in waiting if _needs_remeasurement(f)]
            for finding in doubted:
                self.request_remeasurement(day, finding)
            self.measure_doubted(day + step / 2.0, doubted)
            decided = [
                self.decide_finding(day + step * 0.7, finding)
                for finding in self.list_findings()
                if finding.state == Finding.State.OPEN and finding not in doubted
            ]
            for decision in filter(None, decided):
                self._carry_out_if_due(day + step * 0.9, decision)
            day += step
        remaining = [
            (f.topic, f.state, list(f.events.values_list("kind", "note")))
            for f in self.list_findings()
        ]
        msg = f"{self.building}: findings stay open: {remaining}."
        raise SimulationError(msg)

    def measure_doubted(self, day: float, findings: Iterable[Finding]) -> None:
        """Repeat what only waits for a repeat; measure anew what is in doubt."""
        listed = list(findings)
        waiting = [f for f in listed if is_waiting_for_repeat(f)]
        doubted = [f for f in listed if f not in waiting]
        if doubted:
            self.remeasure(day, doubted)
        if waiting:
            self.confirm(day + 0.05, waiting)

    def _carry_out_if_due(self, day: float, decision: Decision) -> None:
        """Carry out a decision unless it closed its finding."""
        finding = Finding.objects.get(pk=decision.finding_id)
        if finding.state == Finding.State.DECIDED and finding.flagged_at is None:
            self.carry_out(day, decision)

    def sign_next_release(self, day: float, kind: str, note: str = "") -> Release:
        """Sign a release and open its PDF."""
        self.set_day(day)
        self.log_view_by(self.team.operations, "building", self.building.pk)
        signed = sign_release(
            actor=self.team.operations, building=self.building, kind=kind, note=note
        )
        for opened in ("release", "release_pdf"):
            self.log_view_by(self.team.operations, opened, signed.pk)
        return signed

    def log_view_by(self, person: Person, kind: str, object_id: int) -> None:
        """Log that a person opened an object of the building."""
        record_view(
            actor=person, building=self.building, kind=kind, object_id=object_id
        )


def _latest_moment() -> datetime:
    """Return the latest time of an event in the demo: half an hour ago."""
    return frozen_time.read_true_time() - timedelta(minutes=30)


def _list_check_keys(finding: Finding) -> list[str]:
    cause = (finding.likely_cause or {}).get("checks", [])
    return [*finding.checks, *cause]


def is_waiting_for_repeat(finding: Finding) -> bool:
    """Return True if the proposal waits for an independent repeat of its readings."""
    return bool(finding.remedies and finding.remedies[0].get("follows"))


def _needs_remeasurement(finding: Finding) -> bool:
    """Return True if the first remedy is to measure again, for the first time."""
    before = finding.events.filter(kind=FindingEvent.Kind.ASKED_AGAIN)
    return finding.remedies[0]["remedy"] == "remeasure" and not before.exists()


def _choose_disposition(remedy: Mapping[str, object]) -> str:
    repairs = ("new_plate", "re_anchor", "refer")
    return "repair" if remedy["remedy"] in repairs else "rework"


def _write_order(finding: Finding, remedy: Mapping[str, object]) -> str:
    """Return the engineer's note on an order."""
    notes = {
        "shift": "Set the plate where it fits, within the line tolerance.",
        "shim": "Shim as computed; grout after plumbing.",
        "new_plate": "Punch the plate by its sheet; weld it by the column's reference.",
        "ream": "Enlarge the holes as computed and cover each with a plate washer.",
        "slot": "Slot the named holes and cover each with a plate washer.",
        "re_anchor": "Cut and replace by my sketch 3; photograph the holes.",
        "refer": "Repair by my sketch; photograph before it is covered.",
    }
    return notes.get(str(remedy["remedy"]), "As computed.")


def apply_remedy(built: BuiltFoundation, topic: str, remedy: str) -> BuiltFoundation:
    """Return the foundation after a remedy; opened holes move no rod."""
    word, _, mark = topic.partition(":")
    if remedy in HOLE_REMEDIES:
        return built
    if word == "squareness" or word == "wall":
        return replace(
            built, corners=build_foundation(built.plan, 0, NO_SPREAD).corners
        )
    planned = build_foundation(built.plan, 0, NO_SPREAD)
    if word not in ("position", "projection", "level", "plumb"):
        return built
    index = built.position_index(mark.partition(".")[0])
    if word == "level":
        pads = built.pads.copy()
        pads[index] = pads.max() - 0.5
        return replace(built, pads=pads)
    if word == "plumb":
        out_of_plumb = built.out_of_plumb.copy()
        out_of_plumb[index] = 0.0
        return replace(built, out_of_plumb=out_of_plumb)
    return _restore_position(built, planned, index)


def _restore_position(
    built: BuiltFoundation, planned: BuiltFoundation, index: int
) -> BuiltFoundation:
    """Return the foundation with one position as planned."""
    line, rods, tops = built.line.copy(), list(built.rods), list(built.projections)
    line[index], rods[index] = 0.0, planned.rods[index]
    tops[index] = planned.projections[index]
    return replace(built, line=line, rods=tuple(rods), projections=tuple(tops))
