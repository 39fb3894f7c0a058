"""Texts and tables of a published session: what was measured, how, and what became of its claims."""

from __future__ import annotations

from collections.abc import Sequence

from charprobe.files.text_tables import Row, csv_text, markdown, markdown_table
from charprobe.profile.profile import Profile
from charprobe.publishing.report.methods import methods_paragraph
from charprobe.session.claims import CheckedClaim
from charprobe.session.file import UNKNOWN, Session
from charprobe.session.run import SessionResult


def about_text(session: Session) -> str:
    """Return what is known of the device in a few words, and what is not."""
    device, facts = session.device, _facts(session)
    known = [f"{name} {value}" for name, value in facts if value != UNKNOWN]
    unknown = [name for name, value in facts if value == UNKNOWN]
    words = [f"{device.name}: {'; '.join(known)}." if known else f"{device.name}."]
    words += [f"Not known: {', '.join(unknown)}."] if unknown else []
    words += [device.notes] if device.notes not in ("", UNKNOWN) else []
    return " ".join(words)


def _facts(session: Session) -> tuple[tuple[str, str], ...]:
    device = session.device
    return (
        ("maker", device.maker),
        ("serial number", device.serial),
        ("firmware", device.firmware),
        ("input gain", device.gain),
        ("played by", device.play_path),
        ("recorded by", device.record_path),
    )


def captures_csv(profiles: Sequence[Profile]) -> str:
    """Return what was measured: file, hash, rate, bits, length, alignment and warnings of every profile."""
    header = ["setting", "channel [1]", "file", "SHA-256", "rate [Hz]", "bits [1]", "channels [1]"]
    header += ["duration [s]", "recipe", "take [1]", "delay [samples]", "drift [ppm]", "warnings"]
    rows: list[Row] = [
        [
            profile.setting,
            profile.channel,
            profile.capture.file,
            profile.capture.sha256,
            profile.capture.rate_hz,
            profile.capture.bits,
            profile.capture.channels,
            profile.capture.duration_s,
            profile.stimulus.recipe,
            profile.stimulus.take,
            profile.alignment.delay_samples,
            profile.alignment.drift_ppm,
            " ".join(sorted({item.code for item in profile.health if item.severity != "note"})),
        ]
        for profile in profiles
    ]
    return csv_text(header, rows)


def methods_text(session: Session, result: SessionResult, command: str, notes: Sequence[str] = ()) -> str:
    """Return the methods: device, conditions, how numbers come about, and how to make them again."""
    lines = [
        f"# Methods: {markdown(session.title)}",
        "",
        markdown_table(["", ""], [["device", session.device.name], *map(list, _facts(session))]),
    ]
    lines += [f"{markdown(methods_paragraph(result.profiles))}\n"] if result.profiles else []
    lines += [
        f"{len(result.profiles)} channels of captures were measured; {len(result.failures)} could not be.",
        f"All of it again:\n\n    {command}\n",
    ]
    lines += [f"- {markdown(note)}" for note in notes]
    lines += [f"- Not measured: {markdown(f.part.label)}: {markdown(f.message)}" for f in result.failures]
    return "\n".join(lines) + "\n"


def claims_text(claims: Sequence[CheckedClaim]) -> str:
    """Return the claims with their answers as Markdown."""
    if not claims:
        return "# Claims\n\nThe session file makes none.\n"
    rows = [[claim.text, claim.answer, claim.because] for claim in claims]
    return "# Claims\n\n" + markdown_table(["claim", "answer", "because"], rows)
