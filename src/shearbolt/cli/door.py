"""The one door to the use cases: what the command line asks of `shearbolt.app`, and when."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from pathlib import Path
from typing import Protocol

from shearbolt.app.documents import (
    AddDocument,
    AskAsked,
    AskDocument,
    BackupDocument,
    BaselineAsked,
    BaselineDocument,
    CauseDocument,
    CheckAddDocument,
    CheckDocument,
    ChecksDocument,
    CostsDocument,
    CoursesDocument,
    DemoDocument,
    ExportDocument,
    FaultDocument,
    FaultsDocument,
    ForecastDocument,
    ImportBookDocument,
    LearnAsked,
    LearnDocument,
    LearntDocument,
    ListenAsked,
    ListenDocument,
    MachineDocument,
    NoteAsked,
    NoteDocument,
    OwnCodeAsked,
    OwnCodesDocument,
    OwnSignalsDocument,
    Progress,
    RenameDocument,
    RepairDocument,
    RepairsDocument,
    SecondhandDocument,
    ServiceDocument,
    ServiceJobDocument,
    ShowAsking,
    ShowGuided,
    ShowLive,
    ShowWatch,
    SignalsAsked,
    SignalsDocument,
    SundayDocument,
    TellsDocument,
    VisitDocument,
    WatchAsked,
    WatchDocument,
    WithdrawnDocument,
    Wording,
    WorkDocument,
    YardDocument,
)


class UseCases(Protocol):
    """The functions of `shearbolt.app.use_cases`, by their exact types.

    Each raises ShearboltError with one sentence; NotInBook and Ambiguous for what `which`,
    `machine` or `visit` name.
    """

    def add_recordings(
        self,
        book: Path,
        files: Sequence[str],
        *,
        machine: str | None,
        start_us: int | None,
        hours: float | None,
        columns: Mapping[str, str],
        progress: Progress,
        wording: Wording,
    ) -> AddDocument:
        """Bring recordings in; what cannot be taken stands in `refused`."""

    def note(self, book: Path, asked: NoteAsked, *, wording: Wording) -> NoteDocument:
        """File a note as a visit by hand; raises NoteNotUnderstood."""

    def yard(self, book: Path, *, wording: Wording) -> YardDocument:
        """Look at the fleet."""

    def machine(self, book: Path, which: str, *, wording: Wording) -> MachineDocument:
        """Look at one machine."""

    def visit(self, book: Path, which: str, *, wording: Wording) -> VisitDocument:
        """Look at one visit."""

    def faults(
        self,
        book: Path,
        *,
        machine: str | None,
        visit: str | None,
        everything: bool,
        wording: Wording,
    ) -> FaultsDocument:
        """Look at faults; `everything` includes cleared and stale ones and clean machines."""

    def fault(self, book: Path, which: str, *, wording: Wording) -> FaultDocument:
        """Look at one fault."""

    def signals(
        self,
        book: Path,
        asked: SignalsAsked,
        *,
        with_samples: bool,
        progress: Progress,
        wording: Wording,
    ) -> SignalsDocument:
        """Give samples: in a file if one is named, else in the document if `with_samples`."""

    def tells(self, book: Path, which: str, *, wording: Wording) -> TellsDocument:
        """Say what a machine tells."""

    def export_machine(
        self, book: Path, which: str, folder: str, *, progress: Progress, wording: Wording
    ) -> ExportDocument:
        """Write everything of a machine as one folder."""

    def import_book(
        self, book: Path, folder: str, *, progress: Progress, wording: Wording
    ) -> ImportBookDocument:
        """Take in another book or a backup of one."""

    def backup(
        self, book: Path, target: str, *, progress: Progress, wording: Wording
    ) -> BackupDocument:
        """Copy the whole book."""

    def check(self, book: Path, *, progress: Progress, wording: Wording) -> CheckDocument:
        """Check the book's integrity."""

    def repair_add(
        self,
        book: Path,
        *,
        machine: str,
        faults: Sequence[str],
        hours: float,
        date_us: int | None,
        text: str,
        wording: Wording,
        parts: str | None = None,
        cost: float | None = None,
        minutes: float | None = None,
    ) -> RepairDocument:
        """File a repair."""

    def repair_change(
        self,
        book: Path,
        which: str,
        *,
        faults: Sequence[str] | None,
        hours: float | None,
        date_us: int | None,
        text: str | None,
        wording: Wording,
        parts: str | None = None,
        cost: float | None = None,
        minutes: float | None = None,
    ) -> RepairDocument:
        """Correct a repair."""

    def repair_list(self, book: Path, which: str, *, wording: Wording) -> RepairsDocument:
        """Show a machine's repairs."""

    def check_add(
        self,
        book: Path,
        *,
        fault: str,
        check: str,
        outcome: str | None,
        value: float | None,
        sensor_c: float | None,
        hours: float | None,
        date_us: int | None,
        who: str | None,
        note: str | None,
        wording: Wording,
    ) -> CheckAddDocument:
        """File what came of a check."""

    def check_list(self, book: Path, which: str, *, wording: Wording) -> ChecksDocument:
        """Show the checks done on a machine."""

    def cause_add(
        self,
        book: Path,
        *,
        fault: str,
        cause: str,
        words: str,
        grade: str,
        repair: str | None,
        hours: float | None,
        date_us: int | None,
        who: str | None,
        wording: Wording,
    ) -> CauseDocument:
        """Keep a confirmed cause."""

    def withdraw(self, book: Path, which: str, *, wording: Wording) -> WithdrawnDocument:
        """Take an entry back."""

    def service_add(
        self,
        book: Path,
        which: str,
        *,
        text: str,
        every_hours: float | None,
        every_days: float | None,
        minutes: float | None,
        wording: Wording,
    ) -> ServiceJobDocument:
        """Keep something that is due again and again."""

    def service_done(
        self,
        book: Path,
        job: str,
        *,
        hours: float | None,
        date_us: int | None,
        note: str | None,
        wording: Wording,
    ) -> ServiceJobDocument:
        """File that a service job was done."""

    def service_list(
        self,
        book: Path,
        which: str | None,
        *,
        window_hours: float,
        window_days: float,
        wording: Wording,
    ) -> ServiceDocument:
        """Tell what service is due."""

    def work(
        self,
        book: Path,
        *,
        window_hours: float,
        window_days: float,
        shop_hours: float | None,
        wording: Wording,
    ) -> WorkDocument:
        """Order the shop's work by what each job buys."""

    def forecast_machine(
        self, book: Path, which: str, *, hours: float, wording: Wording
    ) -> ForecastDocument:
        """Tell the chance of getting through the next hours."""

    def costs(
        self, book: Path, *, given: Mapping[str, float | str | None], wording: Wording
    ) -> CostsDocument:
        """Keep the owner's figures that are given, and show all."""

    def courses_of_fault(
        self, book: Path, which: str, *, parts: Mapping[str, float], wording: Wording
    ) -> CoursesDocument:
        """Compare doing it oneself with a call."""

    def sunday(
        self, book: Path, *, window_hours: float, window_days: float, wording: Wording
    ) -> SundayDocument:
        """Give one page for the week."""

    def secondhand(self, book: Path, which: str, *, wording: Wording) -> SecondhandDocument:
        """Tell what an unknown machine's memory shows."""

    def rename_machine(
        self, book: Path, which: str, new_name: str, *, wording: Wording
    ) -> RenameDocument:
        """Give a machine another name."""

    def own_signal_add(
        self, book: Path, rows_file: str, *, tried_on: str, wording: Wording
    ) -> OwnSignalsDocument:
        """Try rows on a visit or recording and keep them."""

    def own_signal_try(
        self, book: Path, rows_file: str, *, tried_on: str, wording: Wording
    ) -> OwnSignalsDocument:
        """Try rows on a visit or recording without keeping them."""

    def own_signal_list(self, book: Path, *, wording: Wording) -> OwnSignalsDocument:
        """List the owner's signals."""

    def own_code_add(
        self, book: Path, asked: OwnCodeAsked, *, wording: Wording
    ) -> OwnCodesDocument:
        """Keep a code text."""

    def own_code_list(self, book: Path, *, wording: Wording) -> OwnCodesDocument:
        """List the owner's code texts."""

    def demo(
        self, book: Path, folder: str, *, progress: Progress, wording: Wording
    ) -> DemoDocument:
        """Generate recordings in `folder`, file them and show them."""

    def listen(
        self,
        book: Path,
        asked: ListenAsked,
        *,
        show: ShowLive,
        stop: Callable[[], bool],
        progress: Progress,
        wording: Wording,
    ) -> ListenDocument:
        """Listen to a bus until `stop` says so, showing it on the way, and file the visit."""

    def baseline(
        self,
        book: Path,
        asked: BaselineAsked,
        *,
        guide: ShowGuided,
        show: ShowLive,
        stop: Callable[[], bool],
        progress: Progress,
        wording: Wording,
    ) -> BaselineDocument:
        """Make a baseline of a visit or live, or show the kept one with what differs since."""

    def learn(
        self,
        book: Path,
        asked: LearnAsked,
        *,
        guide: ShowGuided,
        show: ShowLive,
        stop: Callable[[], bool],
        progress: Progress,
        wording: Wording,
    ) -> LearnDocument:
        """Find what goes with what a person did, or with a known quantity."""

    def learnt(self, book: Path, machine: str | None, *, wording: Wording) -> LearntDocument:
        """List what is learnt, and the experiments that there are."""

    def ask(
        self,
        book: Path,
        asked: AskAsked,
        *,
        show: ShowAsking,
        stop: Callable[[], bool],
        progress: Progress,
        wording: Wording,
    ) -> AskDocument:
        """Ask a machine what it tells only when asked, and file the visit."""

    def watch(
        self,
        asked: WatchAsked,
        *,
        show: ShowWatch,
        stop: Callable[[], bool],
        wait: Callable[[float], None],
        wording: Wording,
    ) -> WatchDocument:
        """Record unattended into a folder, visit after visit, until `stop` says so."""


def use_cases() -> UseCases:
    """Import the use cases, which takes a while: only when a command really runs."""
    from shearbolt.app import use_cases as functions

    return functions
