"""The first thing on a page: what to do with the machine now, in one large line. Pure.

Where nothing was judged yet the line says so, and what to go by instead; silence is never shown
as health.
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass

from shearbolt.app.documents import Advice, Check, Fault, MachineDocument, YardMachine
from shearbolt.web import phrases, words
from shearbolt.web.look import Look

NOT_JUDGED = "What the machine said is in the book; nobody has judged it yet."
BY_LAMPS = "Go by the lamps and the gauges: with a red lamp lit, stop as soon as it is safe."
"""What holds where there is no advice (common practice, no source)."""


@dataclass(frozen=True, slots=True)
class CheckShown:
    """One check as a page shows it."""

    title: str
    """What to do, in a few words."""
    steps: str
    """How, in sentences; '' where the title says it all."""
    minutes: str
    tools: str
    settles: str
    cautions: tuple[str, ...]
    not_possible: str
    form: str
    """Address at which to tell what came of it."""


@dataclass(frozen=True, slots=True)
class Verdict:
    """Advice as a page shows it."""

    kind: str
    """Class of the advice, or 'none'."""
    word: str
    """In two or three words."""
    line: str
    """In one sentence, without repeating the word."""
    rest: str
    """What else the advice says, where it does not stand below."""
    for_later: bool
    """It does not hold now, but for when the fault is on."""
    engine: str
    watch: str
    stop_at: str
    until: str
    because: tuple[str, ...]
    cautions: tuple[str, ...]
    as_of: str
    about: str
    """Identifier of the fault that it comes from, on a machine's page; else ''."""
    about_words: str
    first_check: CheckShown | None


def check_shown(check: Check, fault: str) -> CheckShown:
    """Put a check of a fault in words."""
    title, *steps = phrases.SENTENCES.split(phrases.sentence(check["words"]))
    return CheckShown(
        title=title,
        steps=" ".join(steps),
        minutes=f"about {check['minutes']:.0f} min" if check["minutes"] else "",
        tools=", ".join(check["tools"]),
        settles=" or ".join(words.CAUSES[one] for one in check["settles"]),
        cautions=tuple(phrases.sentence(one) for one in check["cautions"]),
        not_possible=phrases.sentence(check["not_possible_because"] or ""),
        form=f"/faults/{fault}/checks/{check['check']}",
    )


def first_check(fault: Fault) -> CheckShown | None:
    """Give the first check of a fault that can be done here."""
    can = [one for one in fault["checks"] if one["not_possible_because"] is None]
    return check_shown(can[0], fault["fault"]) if can else None


def fault_name(fault: Fault) -> str:
    """Name a fault: the owner's own words where there are some."""
    return phrases.sentence(fault["own_text"] or fault["text"]).rstrip(".")


def fault_verdict(fault: Fault, look: Look) -> Verdict:
    """Say what to do if this fault is on."""
    advice = fault["advice"]
    if advice is None:
        return _none(first_check(fault))
    return _shown(advice, look, first_check(fault), "", "")


def machine_verdict(machine: MachineDocument, look: Look) -> Verdict:
    """Say what a machine may do now, by the gravest fault that holds now."""
    of_class = machine["advice"]
    if of_class is None:
        return _none(None, machine["words"] or NOT_JUDGED, machine["because"])
    behind = [
        (fault, advice)
        for fault in machine["faults"]
        if (advice := fault["advice"]) is not None
        and advice["applies_now"]
        and advice["class"] == of_class
    ]
    because = tuple(phrases.sentence(one) for one in machine["because"])
    as_of = _as_of(machine["as_of"], look)
    if not behind:
        return Verdict(
            kind=of_class,
            word=words.ADVICE[of_class],
            line=phrases.sentence(machine["words"] or ""),
            rest="",
            for_later=False,
            engine="",
            watch="",
            stop_at="",
            until="",
            because=because,
            cautions=(),
            as_of=as_of,
            about="",
            about_words="",
            first_check=None,
        )
    fault, advice = behind[0]
    return _shown(advice, look, first_check(fault), fault["fault"], fault_name(fault), because)


def _shown(
    advice: Advice,
    look: Look,
    check: CheckShown | None,
    about: str,
    about_words: str,
    because: tuple[str, ...] = (),
) -> Verdict:
    watch = advice["watch"]
    stop_at = (watch["stop_at"] or "") if watch else ""
    word = words.ADVICE[advice["class"]]
    line, rest = _split(advice["words"], word, stop_at)
    engine = "" if "engine" in line.casefold() else words.ENGINE.get(advice["engine"] or "", "")
    return Verdict(
        kind=advice["class"],
        word=word,
        line=line,
        rest=rest,
        for_later=not advice["applies_now"],
        engine=engine,
        watch=phrases.sentence(watch["words"]) if watch else "",
        stop_at=_stop(stop_at),
        until=phrases.sentence(
            re.sub(r"^until\s+", "", advice["until"] or "", flags=re.IGNORECASE)
        ),
        because=because or tuple(phrases.sentence(one) for one in advice["because"]),
        cautions=tuple(phrases.sentence(one) for one in advice["cautions"]),
        as_of=_as_of(advice["as_of"], look),
        about=about,
        about_words=about_words,
        first_check=check,
    )


def _stop(stop_at: str) -> str:
    """Say when to stop: 'Stop above 105 °C.', 'Stop at the first smoke.'."""
    if not stop_at:
        return ""
    bounded = re.match(r"(above|below|when|as soon|if|at)\b", stop_at, re.IGNORECASE)
    told = stop_at[0].lower() + stop_at[1:] if bounded else f"at {stop_at}"
    return phrases.sentence(f"Stop {told}")


def _split(told: str, word: str, stop_at: str) -> tuple[str, str]:
    """Part the first sentence from the rest; leave out what is said beside it already."""
    first, *more = phrases.SENTENCES.split(phrases.sentence(told))
    if re.match(re.escape(word) + r"[,:;]\s", first, re.IGNORECASE):
        first = first[len(word) + 1 :]
    kept = [one for one in more if not stop_at or stop_at not in one]
    return phrases.sentence(first), " ".join(kept)


def _none(check: CheckShown | None, line: str = NOT_JUDGED, because: Sequence[str] = ()) -> Verdict:
    return Verdict(
        kind="none",
        word=words.ADVICE["none"],
        line=phrases.sentence(line),
        rest=BY_LAMPS,
        for_later=False,
        engine="",
        watch="",
        stop_at="",
        until="",
        because=tuple(phrases.sentence(one) for one in because),
        cautions=(),
        as_of="",
        about="",
        about_words="",
        first_check=check,
    )


def _as_of(time: str | None, look: Look) -> str:
    if time is None:
        return ""
    ago = phrases.ago(time, look)
    return f"{phrases.when(time, look)} ({ago})" if ago else phrases.when(time, look)


def yard_kind(machine: YardMachine) -> str:
    """Class of a machine's advice, or 'none'."""
    return machine["advice"] or "none"
