"""The one error tree. Each class says when it happens; each carries one sentence for a person.

ShearboltError            exit status 3: nothing could be done
├── UsageError            exit status 2: what was asked cannot be understood
│   ├── NoteNotUnderstood     a code or symptom typed by hand reads as nothing known
│   └── ColumnsNeeded         a table whose columns cannot be told without help
├── RecordingError        a file that cannot be brought in
│   ├── EmptyRecording        it holds no frame at all
│   ├── ForeignRecording      it is no recording of a bus in a form known here
│   └── MissingReader         its form needs an optional package
├── ListeningError        a bus cannot be listened to, or no longer
│   ├── AdapterAbsent         the adapter asked for is not there, or none was found
│   ├── SpoolStopped          what is heard can no longer be written down
│   └── NeverSends            something tried to send through a bus that only listens
├── AskingError           a machine cannot be asked, or no longer
│   ├── PortTrouble           the adapter to ask through failed
│   └── NotAllowed            a frame that may not be sent, held back at the last step
├── DictionaryError       a table of facts (ours or the owner's) that cannot be used
└── BookError             the record cannot be opened, read or written
    ├── NotInBook             an identifier or name that the book does not hold
    ├── Ambiguous             a name that fits several things in the book
    ├── BookBusy              another program is writing
    ├── BookTooNew            written by a newer Shearbolt
    └── BookDamaged           its contents fail their own checks
"""

from __future__ import annotations


class ShearboltError(Exception):
    """Whatever Shearbolt tells a person about in one sentence instead of a traceback."""

    exit_status = 3

    def __init__(self, sentence: str) -> None:
        super().__init__(sentence)
        self.sentence = sentence


class UsageError(ShearboltError):
    """What was asked cannot be understood; the sentence says what was understood."""

    exit_status = 2


class NoteNotUnderstood(UsageError):
    """A code, symptom or event typed by hand reads as nothing known."""


class ColumnsNeeded(UsageError):
    """A table whose time, identifier or data column cannot be told without help."""


class RecordingError(ShearboltError):
    """A file that cannot be brought in; `path` is its name."""

    def __init__(self, path: str, sentence: str) -> None:
        super().__init__(f"{path}: {sentence}")
        self.path = path
        self.reason = sentence


class EmptyRecording(RecordingError):
    """A file without a single frame."""


class ForeignRecording(RecordingError):
    """A file that is no recording of a bus in any form known here."""


class MissingReader(RecordingError):
    """A recording whose form needs an optional package that is not installed."""


class ListeningError(ShearboltError):
    """A bus cannot be listened to, or no longer."""


class AdapterAbsent(ListeningError):
    """The adapter asked for is not there, cannot be opened, or none was found."""


class SpoolStopped(ListeningError):
    """What is heard can no longer be written down: the disk is full or gone."""


class NeverSends(ListeningError):
    """Something tried to send through a bus that was opened to listen only."""


class AskingError(ShearboltError):
    """A machine cannot be asked, or no longer."""


class PortTrouble(AskingError):
    """The adapter to ask through is not there, cannot be opened, or failed."""


class NotAllowed(AskingError):
    """Something tried to send a frame that may not be sent."""


class DictionaryError(ShearboltError):
    """A table of facts, ours or the owner's, with a row that cannot be used."""


class BookError(ShearboltError):
    """The record cannot be opened, read or written."""


class NotInBook(BookError):
    """An identifier or name that the book does not hold."""


class Ambiguous(BookError):
    """A name that fits several things in the book."""


class BookBusy(BookError):
    """Another program is writing to the book."""


class BookTooNew(BookError):
    """The book was written by a newer Shearbolt than this one."""


class BookDamaged(BookError):
    """The book's contents fail their own checks."""
