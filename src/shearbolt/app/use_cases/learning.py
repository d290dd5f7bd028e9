"""Learning from a machine: its baseline, experiments, and what is learnt; from visits or live."""

from __future__ import annotations

import dataclasses
from collections.abc import Callable
from pathlib import Path

from shearbolt.app import baselines
from shearbolt.app.composing.measures import quantity_words
from shearbolt.app.concluding.record import MachineRecord, read_machine
from shearbolt.app.documents import (
    BaselineAsked,
    BaselineDocument,
    LearnAsked,
    LearnDocument,
    LearntDocument,
    ListenAsked,
    ListenDocument,
    LiveView,
    Progress,
    Refused,
    ShowGuided,
    ShowLive,
    Wording,
)
from shearbolt.app.guided import TAIL_S, ExperimentGuide, RoundGuide
from shearbolt.app.learning import (
    Result,
    by_experiment,
    by_quantity,
    experiments_shown,
    file_result,
    learn_document,
    learnt_shown,
    prompts_typed,
)
from shearbolt.app.now import now_us
from shearbolt.app.use_cases.opening import opened_book, tables_of
from shearbolt.book import Book
from shearbolt.book import records as r
from shearbolt.dictionary.baseline import Experiment, experiments
from shearbolt.errors import NotInBook, UsageError
from shearbolt.model.frames import Frames
from shearbolt.model.instants import SECOND_US, from_iso
from shearbolt.reasoning.learning import Prompts, Session


def baseline(
    book: Path,
    asked: BaselineAsked,
    *,
    guide: ShowGuided,
    show: ShowLive,
    stop: Callable[[], bool],
    progress: Progress,
    wording: Wording,
) -> BaselineDocument:
    """Make a machine's baseline of a visit or live, or show the kept one with what differs since.

    Raises NotInBook, Ambiguous, UsageError, and what listening raises.
    """
    with opened_book(book) as opened:
        tables = tables_of(opened)
        owner = opened.machine(asked.machine)
        refused: list[Refused] = []
        words: list[str] = []
        visit = asked.visit
        if asked.live is not None:
            leader = RoundGuide(tables.dictionary, guide, wording.units)

            def shown(view: LiveView) -> None:
                leader.look(view["seconds"])
                show(view)

            heard = _listened(
                opened, asked.live, owner, shown, lambda: stop() or leader.done, progress,
                leader.feed,
            )  # fmt: skip
            refused, words = heard["refused"], list(heard["words"])
            visit = _visit_of(heard, owner)
            if visit is None:
                words.append("No visit of this machine was heard, so there is no new baseline.")
        record = read_machine(opened, owner)
        views = baselines.views_by_visit(opened, record, tables)
        if visit is not None:
            chosen = _own_visit(opened, record, visit)
            try:
                baselines.make(opened, record, views.get(chosen.id), chosen.id)
            except UsageError as trouble:
                if asked.live is None:
                    raise
                # The visit is filed all the same; what is kept so far stands.
                refused = [*refused, {"file": chosen.id, "reason": trouble.sentence}]
                visit = None
        made = baselines.baseline_document(
            opened, record, views, kept_now=visit is not None, units=wording.units
        )
    return {**made, "refused": refused, "words": [*words, *made["words"]]}


def learn(
    book: Path,
    asked: LearnAsked,
    *,
    guide: ShowGuided,
    show: ShowLive,
    stop: Callable[[], bool],
    progress: Progress,
    wording: Wording,
) -> LearnDocument:
    """Find the bits or numbers that go with what a person did, or with a known quantity.

    Raises NotInBook, Ambiguous, UsageError, and what listening raises.
    """
    experiment = _experiment(asked)
    what = _what(asked, experiment)
    with opened_book(book) as opened:
        owner = opened.machine(asked.machine)
        if asked.live is not None:
            if experiment is None:
                raise UsageError(
                    f"Say which --experiment to guide: {', '.join(experiments())}; or bring a "
                    "recording in, and give its --visit with --at."
                )
            return _learn_live(
                opened, asked.live, owner, experiment, what, guide, show, stop, progress
            )
        if asked.visit is None:
            raise UsageError("Say of which --visit, or --interface to do it live.")
        record = read_machine(opened, owner)
        visit = _own_visit(opened, record, asked.visit)
        tables = tables_of(opened)
        if asked.follows is not None:
            view = baselines.views_by_visit(opened, record, tables).get(visit.id)
            if view is None:
                raise UsageError(f"Visit {visit.id} holds no readings of {owner.name}.")
            result = by_quantity(opened, record, tables, visit, asked.follows, what, view)
        elif asked.at:
            result = by_experiment(
                opened, record, tables, visit, what, prompts_typed(visit, asked.at)
            )
        else:
            raise UsageError(
                "Say when each prompt was with --at (the first one on, the next off, and so on), "
                "or which known quantity it --follows."
            )
        counted, again = file_result(opened, record, result)
        return learn_document(opened, record, result, counted=counted, again=again)


def learnt(book: Path, machine: str | None, *, wording: Wording) -> LearntDocument:
    """List what is learnt, and the experiments that there are. Raises NotInBook, Ambiguous."""
    with opened_book(book) as opened, opened.snapshot() as reads:
        machines = reads.machines() if machine is None else [reads.machine(machine)]
        signals = learnt_shown(reads, machines)
    return {
        "schema": "shearbolt/learnt/1",
        "signals": signals,
        "experiments": experiments_shown(wording.units),
    }


def _learn_live(
    book: Book,
    live: ListenAsked,
    owner: r.Machine,
    experiment: Experiment,
    what: str,
    guide: ShowGuided,
    show: ShowLive,
    stop: Callable[[], bool],
    progress: Progress,
) -> LearnDocument:
    leader = ExperimentGuide(experiment, guide, now_us())
    ended_s = 0.0

    def shown(view: LiveView) -> None:
        nonlocal ended_s
        ended_s = view["seconds"]
        leader.look(view["seconds"], view["frames"] > 0)
        show(view)

    def over() -> bool:
        return leader.until_s is not None and ended_s >= leader.until_s + TAIL_S

    heard = _listened(
        book, live, owner, shown, lambda: stop() or over(), progress, lambda frames: None
    )
    record = read_machine(book, owner)
    found = _visit_of(heard, owner)
    visit = None if found is None else record.visits_by_id[found]
    words: list[str] = list(heard["words"])
    if visit is None or visit.zero_us is None:
        words.append("No visit of this machine was heard, so nothing could be learnt.")
        nothing = Session((), frozenset(), 0, 0, 1.0, "nothing_heard")
        result = Result(what, None, None, nothing, ())
    else:
        zero_us = from_iso(heard["start"]) - visit.zero_us
        ends_s = leader.until_s if leader.until_s is not None else ended_s
        given = [one for one in leader.given if one.at_s < ends_s]
        prompts = Prompts(
            tuple(zero_us + round(one.at_s * SECOND_US) for one in given),
            tuple(one.state for one in given),
            zero_us + round(ends_s * SECOND_US),
            before=0,
        )
        if not leader.done:
            words.append(
                f"It ended after {len(given)} of {2 * experiment.times} prompts; what came before "
                "was looked at."
            )
        result = by_experiment(book, record, tables_of(book), visit, what, prompts)
    counted, again = file_result(book, record, result)
    document = learn_document(book, record, result, counted=counted, again=again)
    return {**document, "refused": heard["refused"], "words": [*words, *document["words"]]}


def _listened(
    book: Book,
    live: ListenAsked,
    owner: r.Machine,
    show: ShowLive,
    stop: Callable[[], bool],
    progress: Progress,
    heard: Callable[[Frames], None],
) -> ListenDocument:
    """Listen as `listen` does, to the machine that was named."""
    from shearbolt.app import listening

    return listening.listen(
        book,
        tables_of(book),
        dataclasses.replace(live, machine=owner.id),
        show=show,
        stop=stop,
        progress=progress,
        heard=heard,
    )


def _visit_of(heard: ListenDocument, owner: r.Machine) -> str | None:
    return next((one["visit"] for one in heard["visits"] if owner.id in one["machines"]), None)


def _own_visit(book: Book, record: MachineRecord, which: str) -> r.Visit:
    visit = book.visit(which)
    if visit.id not in record.visits_by_id:
        raise UsageError(f"Visit {which} is not one of {record.machine.name}.")
    if visit.kind == "by_hand":
        raise UsageError(f"Visit {which} was written down by hand, without a recording.")
    return visit


def _experiment(asked: LearnAsked) -> Experiment | None:
    if asked.experiment is None:
        return None
    known = experiments()
    if asked.experiment not in known:
        raise NotInBook(
            f"There is no experiment {asked.experiment!r}; there are: {', '.join(known)}."
        )
    return known[asked.experiment]


def _what(asked: LearnAsked, experiment: Experiment | None) -> str:
    if asked.what is not None and asked.what.strip():
        return asked.what.strip()
    if experiment is not None:
        return experiment.what
    if asked.follows is not None:
        try:
            return quantity_words(asked.follows)[0]
        except KeyError:
            return asked.follows
    raise UsageError("Say with --what what it follows, such as 'sitting on the seat'.")
