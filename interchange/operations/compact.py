"""Puts the many small files of an archive together, and takes away what nothing reads any more."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from interchange.archive import compaction, log
from interchange.archive.compaction import Rewritten, Swept
from interchange.archive.store import Store
from interchange.table import counted

GRACE_DAYS = compaction.GRACE_S / 86_400


@dataclass(frozen=True, slots=True)
class Compacted:
    """What was written anew, and what was taken away."""

    rewritten: Rewritten
    swept: Swept

    @property
    def sentences(self) -> list[str]:
        """What happened, a sentence each."""
        new, gone = self.rewritten, self.swept
        files = f"{counted(new.files_before, 'file')} of {new.bytes_before:,} bytes"
        return [
            f"{files} written anew as {new.files_after} of {new.bytes_after:,} bytes: version {new.version}."
            if new.files_before
            else "Nothing to put together.",
            f"{counted(gone.files, 'old file')} of {gone.size_bytes:,} bytes taken away"
            + (f"; {gone.waiting} wait, as somebody may be reading them." if gone.waiting else "."),
        ]


def compact_archive(root: Path, grace_days: float = GRACE_DAYS) -> Compacted:
    """Put small files together; take away old ones after the days given. No row changes, results stay valid.

    Versions that stood on files taken away cannot be read any more. Raises ArchiveError as a commit does.
    """
    store = Store.open(root)
    rewritten = store.rewrite()
    return Compacted(rewritten, compaction.sweep(store.root, log.read(store.root), grace_days * 86_400))
