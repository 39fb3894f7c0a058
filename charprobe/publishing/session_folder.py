"""A session in one call: its captures paired, measured and published in one folder."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cache, partial
from pathlib import Path

from charprobe.comparing.changes import load_profiles
from charprobe.comparing.reference import beside_reference
from charprobe.files.folder_lock import folder_lock
from charprobe.files.output import check_space, prepare_folder
from charprobe.publishing.folder import DEFAULT_LOOKS, Placing, load_what_draws, publish
from charprobe.session.file import Session
from charprobe.session.findings import Findings, findings_of, margins_of
from charprobe.session.pairing import pair_captures
from charprobe.session.parts import Outcome, parts_of
from charprobe.session.run import SessionResult, measure_parts
from charprobe.values.errors import SessionError

PAGE_BYTES, PART_BYTES = 20_000_000, 20_000_000  # page and tables; profile and figures of a part


class Watch:
    """Hears how a session goes on, as it goes on; this one keeps it to itself."""

    def paired(self, notes: Sequence[str]) -> None:
        """Captures are paired; `notes` say what is worth knowing of that."""

    def started(self, parts: int) -> None:
        """So many channels of captures are about to be measured."""

    def fitting(self, page: Path, fits: int) -> None:
        """All is measured and published on `page`; so many replicas are about to be fitted."""

    def part_done(self, outcome: Outcome) -> None:
        """One of them is done."""

    def measured(self, result: SessionResult) -> None:
        """All of them are done; what is published comes next."""


@dataclass(frozen=True)
class SessionFolder:
    """A published session: where its page is, its profiles, what they say, alone and beside earlier ones."""

    page: Path
    result: SessionResult
    findings: Findings
    beside: tuple[str, ...] = ()


def run_session(
    session: Session,
    folder: str | Path,
    *,
    jobs: int = 2,
    looks: Sequence[str] = DEFAULT_LOOKS,
    watch: Watch | None = None,
    sound: Placing = "beside",
    references: Sequence[Path] = (),
) -> SessionFolder:
    """Pair, measure and publish everything that a session lists; what is up to date is not measured again.

    Parameters
    ----------
    session : Session
        As `load_session` gives it.
    folder : str or Path
        Where profiles, page, figures and tables go; made if its parent exists, locked meanwhile.
    jobs : int
        Processes at the same time.
    looks : sequence of str
        Names of `charprobe.publishing.figures.look.style.LOOKS` to draw figures in.
    watch : Watch, optional
        Hears of progress.
    sound : {"beside", "inside", "none"}
        Where the page's sounds go.
    references : sequence of Path
        Folders of sessions measured earlier, which every setting is set beside.

    Raises
    ------
    SessionError
        If captures are missing or cannot be paired, another run uses the folder, or nothing at all could be
        measured.
    OutputError
        If the folder cannot be written.
    """
    folder, watch = Path(folder), watch or Watch()
    _keep_pool(session, folder)
    pairing = pair_captures(session)
    paired = pairing.session
    watch.paired(pairing.notes)
    count = len(parts_of(paired))
    prepare_folder(folder)
    check_space(folder, needed_bytes=PAGE_BYTES + count * PART_BYTES)
    with folder_lock(folder):
        earlier = [(place.name, load_profiles(place)) for place in references]

        def told(result: SessionResult) -> SessionFolder:
            watch.measured(result)
            if not result.profiles:
                raise SessionError("nothing could be measured; the reasons are above and in log.jsonl")
            findings = cache(partial(findings_of, paired, result))  # asked while figures are drawn
            beside = tuple(
                line
                for called, profiles in earlier
                for line in beside_reference(
                    result.profiles, profiles, called=called, margins=margins_of(paired)
                )
            )
            publish(
                paired,
                result,
                findings,
                folder,
                jobs=jobs,
                looks=looks,
                notes=pairing.notes,
                sound=sound,
                beside=beside,
            )
            return SessionFolder(folder / "page.html", result, findings(), beside)

        watch.started(count)
        result = measure_parts(
            paired,
            folder,
            jobs=jobs,
            progress=watch.part_done,
            meanwhile=load_what_draws,
            before_fits=lambda result, fits: watch.fitting(told(result).page, fits),
        )
        return told(result)


def _keep_pool(session: Session, folder: Path) -> None:
    """Refuse to write where captures are looked for: what is written there would be taken for captures."""
    pool = session.pool.resolve() if session.pool is not None else None
    inside = folder.resolve()
    if pool is not None and (inside == pool or pool in inside.parents):
        raise SessionError(
            f"{folder}: lies in {session.pool}, where the session looks for captures: choose another folder "
            "with --out. Nothing was written"
        )
