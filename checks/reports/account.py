"""What a frozen record says, as blocks: the body of release and status alike."""

from collections.abc import Iterable, Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from checks.drawings.judged import Judged
from checks.drawings.text import units_of
from checks.models import Finding, Release
from checks.queries.arithmetic import headline_of
from checks.queries.plans import pad_rows, position_rows
from checks.queries.releases import ROUTES, unjudged
from checks.queries.walk import SheetRow, judged_walk
from checks.reports import photographed
from checks.reports.blocks import (
    NOTHING,
    Block,
    Cell,
    Column,
    caution,
    code,
    columns,
    facts,
    heading,
    lines,
    strong,
    table,
    tally,
    text,
    verdict,
)
from checks.reports.hand import Hand, count, moment, who
from checks.wording import (
    circumstances_of,
    figures_of,
    key_words,
    order_words,
    topic_words,
)
from jobs.exchange.parse import read_building
from jobs.plan.model import Plan
from jobs.plan.sheet import Kind

WORDS = ("within", "outside", "remeasure", "unmeasured")


@dataclass(frozen=True, kw_only=True)
class Account:
    """A record read: its plan, its result, and how it is written."""

    record: Mapping[str, Any]
    plan: Plan
    judged: Judged
    hand: Hand

    @property
    def result(self) -> Mapping[str, Any]:
        """The result it holds; empty where nothing was evaluated."""
        return (self.record["evaluation"] or {}).get("result") or {}

    @property
    def place(self) -> str:
        """The job, in a line."""
        job = self.record["job"]
        return ", ".join(
            part for part in (f"{job['number']} {job['name']}", job["site"]) if part
        )


def read(record: Mapping[str, Any]) -> Account:
    """Read a record as it was written down, whatever the database says now."""
    plan = read_building(record["plan"]["document"]).plan
    evaluation = record["evaluation"]
    return Account(
        record=record,
        plan=plan,
        judged=Judged(evaluation["result"] if evaluation else None),
        hand=Hand(units_of(plan.length_unit)),
    )


def counted(account: Account) -> Block:
    """How many checks have each verdict."""
    found = [row["verdict"] for row in account.result.get("checks", ())]
    cells = [verdict(word, f"{found.count(word)} {word}") for word in WORDS]
    return tally(cells)


def based_on(account: Account) -> Iterator[Block]:
    """Everything it leans on, so that it can be found again."""
    record, evaluation = account.record, account.record["evaluation"]
    yield heading("What this is based on", 2)
    rows: list[tuple[str, Cell]] = [
        (
            "Plan",
            lines(
                f"revision {record['plan']['revision']}",
                code(record["plan"]["digest"]),
            ),
        )
    ]
    if evaluation:
        rows += [
            ("Evaluated with", evaluation["made_with"]),
            ("Evaluated", lines("plan and readings", code(evaluation["input_digest"]))),
        ]
    basis = account.result.get("tolerances", {}).get("basis")
    rows += [
        ("Tolerances", f"{basis or NOTHING}"),
        ("Readings", f"{count(len(record['readings']), 'reading')}, listed at the end"),
        ("Findings", count(len(record["findings"]), "finding")),
    ]
    rows += [
        ("Signed before", lines(Release.Kind(row["kind"]).label, code(row["digest"])))
        for row in record["previous"]
    ]
    yield facts(rows)


def notice(account: Account, *, new_page: bool = True) -> Iterator[Block]:
    """The notice to the erector: strength, and every change to a rod."""
    said = account.record["notice"]
    yield heading("Notice to the erector", new_page=new_page)
    yield text(said["statement"])
    yield facts([("Building", account.record["building"]["name"])])
    yield heading("Strength of the concrete", 2)
    yield from _strength(account, said["strength"] or {})
    yield heading("Anchor rods and base plates repaired, replaced or modified", 2)
    ordered = {
        (row["finding"], made["made_at"]): made["remedy"]
        for row in account.record["findings"]
        for made in row["decisions"]
    }
    rows = [
        [
            strong(topic_words(row["finding"])),
            lines(
                strong(order_words(row)),
                row["disposition"].replace("_", " "),
                figures(account, ordered.get((row["finding"], row["made_at"]), {})),
            ),
            row["order"] or NOTHING,
            lines(who(row["engineer"]), moment(row["made_at"])),
            NOTHING if row["remedy"] == "accept" else _done(row["carried_out"]),
        ]
        for row in said["rods"]
    ]
    if rows:
        yield table(
            [
                Column(title="Where"),
                Column(title="Remedy", share=1.0),
                Column(title="Order", share=1.0),
                Column(title="Ordered by"),
                Column(title="Carried out"),
            ],
            rows,
        )
    else:
        yield text("None is on record.")


def _strength(account: Account, strength: Mapping[str, Any]) -> Iterator[Block]:
    if strength.get("strength") is None:
        yield text(unjudged(account.record))
        return
    hand = account.hand
    yield facts(
        [
            ("Verdict", verdict(strength["verdict"])),
            ("Strength", hand.strength(strength["strength"])),
            ("Needed", hand.strength(strength["required"])),
            ("By", ROUTES.get(strength.get("route") or "", NOTHING)),
            ("Samples", ", ".join(_sample(key) for key in strength.get("samples", ()))),
        ]
    )


def _sample(key: str) -> str:
    return key.partition(":")[2] or key


def figures(account: Account, remedy: Mapping[str, Any]) -> str:
    """A remedy's arithmetic in a line; of a replaced rod, how its screen came out."""
    replaced = remedy.get("remedy") == "re_anchor"
    return "; ".join(
        f"{figure.label} {figure.text or account.hand.small(figure.mm)}"
        for figure in (headline_of(remedy) if replaced else figures_of(remedy))
    )


def _done(done: Mapping[str, Any] | None) -> Cell:
    if not done:
        return "not yet"
    taken = len(photographed.of_work(done))
    return lines(
        who(done["by"]),
        moment(done["at"]),
        done["note"],
        count(taken, "photograph") if taken else "",
    )


def findings(account: Account, *, new_page: bool = True) -> Iterator[Block]:
    """Every finding: what it was, what was decided, and how it ended."""
    yield heading("Findings and decisions", new_page=new_page)
    causes = {
        row["finding"]: row.get("likely_cause")
        for row in account.result.get("findings", ())
    }
    if not account.record["findings"]:
        yield text("None was opened.")
    for row in account.record["findings"]:
        yield heading(topic_words(row["finding"]), 3)
        yield facts(_finding(account, row, causes.get(row["finding"])))
        yield from photographed.of_finding(account.record, row)


def _finding(
    account: Account, row: Mapping[str, Any], cause: Mapping[str, Any] | None
) -> Iterator[tuple[str, Cell]]:
    state = Finding.State(row["state"]).label
    closing = Finding.Closing(row["closing"]).label if row["closing"] else ""
    yield "State", strong(f"{state}: {closing}" if closing else state)
    yield "Opened", moment(row["opened_at"])
    if row["closed_at"]:
        yield "Closed", moment(row["closed_at"])
    if cause and not row["closed_at"]:
        yield "Likely cause", cause["explanation"]
    if not row["decisions"] and not row["closed_at"]:
        for number, remedy in enumerate(row["remedies"]):
            words = f"{order_words(remedy)}. {remedy.get('reason', '')}"
            why = remedy.get("why_second") or ""
            yield ("Alternative" if number else "Proposed", f"{words} {why}".strip())
        warned = [each for remedy in row["remedies"] for each in remedy["cautions"]]
        yield "Cautions", lines(*dict.fromkeys(warned))
    for made in row["decisions"]:
        yield from _decision(account, made)
    for event in row["history"]:
        if event["kind"] in ("asked_again", "flagged"):
            told = event["note"] or NOTHING
            by = f", {who(event['by'])}" if event["by"] else ""
            label = "Asked again" if event["kind"] == "asked_again" else "To look again"
            yield label, f"{told} ({moment(event['at'])}{by})"


def _decision(account: Account, made: Mapping[str, Any]) -> Iterator[tuple[str, Cell]]:
    remedy = made["remedy"]
    ordered = f"{order_words(remedy)}; {made['disposition']}"
    yield (
        "Decided",
        lines(
            strong(ordered.replace("_", " ")),
            figures(account, remedy),
            remedy.get("heading", ""),
            f"{who(made['engineer'])}, {moment(made['made_at'])}",
            made["note"],
            code(f"SHA-256 of its basis {made['digest']}"),
        ),
    )
    if remedy.get("cautions"):
        yield "Cautions", lines(*remedy["cautions"])
    if made["carried_out"]:
        yield "Carried out", _done(made["carried_out"])


def positions(account: Account) -> Iterator[Block]:
    """Every position in a line, and its pad."""
    hand = account.hand
    pads = {row.mark: row for row in pad_rows(account.plan, account.judged)}
    rows = []
    for row in position_rows(account.plan, account.judged):
        pad = pads.get(row.mark)
        plate = {None: NOTHING, True: "goes on", False: "does not go on"}[row.fits]
        shim = " + ".join(pad.stack) if pad else ""
        rows.append(
            [
                strong(row.mark),
                row.place,
                verdict(row.verdict),
                hand.deviation(row.shift_along),
                hand.deviation(row.shift_in),
                hand.small(row.worst_miss),
                plate,
                hand.small(row.height),
                verdict(row.level),
                "refer" if pad and pad.refer else shim or NOTHING,
            ]
        )
    yield heading("Positions", 2)
    moved = ("Along", "In", "Worst rod")
    over = columns(
        *("Mark", "Wall", "Rods and line", *moved),
        *("Plate", "Height", "Level", "Shims"),
        figures=(*moved, "Height"),
    )
    yield table(over, rows, small=True)
    yield text(
        "Along and in: how far the group of rods moved. Heights are from the highest"
        " pad; shims thickest first.",
        quiet=True,
    )


def checks(account: Account) -> Iterator[Block]:
    """Every check with its verdict, in the order of the walk."""
    rows: list[list[Cell] | str] = []
    for section in judged_walk(account.plan, account.result):
        shown = [
            row
            for row in section.rows
            if row.check.required or row.verdict != "unmeasured"
        ]
        if shown:
            rows.append(section.title)
            rows += [_check(account.hand, row) for row in shown]
    yield heading("Checks", new_page=True)
    figures = ("Plan", "As built", "Off by", "Limit", "Readings")
    titles = ("Check", *figures, "Verdict")
    yield table(columns(*titles, figures=figures, wide="Check"), rows, small=True)


def _check(hand: Hand, row: SheetRow) -> list[Cell]:
    judged, kind = row.judged or {}, row.check.kind
    word = row.verdict
    close = judged.get("close_to_limit") and word in ("within", "outside")
    shown = verdict(word, f"{word}, close" if close else word)
    readings = str(judged.get("readings", 0))
    if kind is Kind.STRENGTH:
        off = hand.strength(judged.get("deviation"), signed=True)
        plan, built = hand.strength(row.check.nominal), judged.get("observed")
        return [row.words, plan, hand.strength(built), off, NOTHING, readings, shown]
    alike = kind in (Kind.LEVEL, Kind.BENCHMARK)
    fine = hand.small if kind is Kind.LEVEL else hand.length
    return [
        row.words,
        "alike" if alike else hand.length(row.check.nominal),
        fine(judged.get("observed")),
        hand.deviation(judged.get("deviation")),
        hand.limit(judged),
        readings,
        shown,
    ]


def readings(account: Account) -> Iterator[Block]:
    """Every reading as it was typed, replaced ones too."""
    taken = account.record["readings"]
    replaced = {row["supersedes"] for row in taken}
    rows = [
        [
            key_words(row["check"]),
            row["entered"],
            moment(row["taken_at"]).removesuffix(" UTC"),
            row["crew"] or NOTHING,
            row["recorded_by"]["name"],
            _told(row, replaced),
        ]
        for row in taken
    ]
    yield heading("Readings", new_page=True)
    yield text(
        f"{count(len(rows), 'reading')} as typed, in the order they were recorded.",
        quiet=True,
    )
    titles = ("Check", "Reading", "Taken (UTC)", "Crew", "Recorded by", "With")
    if rows:
        over = columns(*titles, figures=("Reading",), wide="With")
        yield table(over, rows, small=True)


def _told(row: Mapping[str, Any], replaced: Iterable[str | None]) -> str:
    told = [circumstances_of(row["entry"]), row["entry"].get("note", "")]
    if row["supersedes"]:
        told.append("replaces an earlier one")
    if row["id"] in replaced:
        told.append("replaced by a later one")
    return "; ".join(part for part in told if part)


def cautions(account: Account) -> Block:
    """The standing cautions of the building, whatever its verdicts."""
    first, *rest = account.result.get("cautions") or [
        "Screening arithmetic, not design: the engineer of record, the manufacturer's"
        " drawings and local codes govern."
    ]
    return caution(first, rest)
