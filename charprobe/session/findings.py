"""What a session says: settings against each other, channels of each setting, and the claims."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from charprobe.comparing.compare import compare_profiles
from charprobe.comparing.comparison import Comparison
from charprobe.comparing.curves import MARGINS
from charprobe.comparing.subjects import copies_in
from charprobe.profile.glossary.row import Margin
from charprobe.profile.profile import Profile
from charprobe.profile.standing import left_out, standing
from charprobe.session.claims import CheckedClaim, check_claims
from charprobe.session.file import Session
from charprobe.session.run import SessionResult
from charprobe.session.stage_off import check_stage_off
from charprobe.values.wording import literal


@dataclass(frozen=True)
class Findings:
    """What a session says: settings against each other, channels of each setting, and the claims.

    `copies` names recordings that came twice and are left out of all comparisons, `spoilt` takes that lost
    results to the recording, which are left out where another take of the setting did not.
    """

    settings: Comparison | None
    channels: tuple[tuple[str, Comparison], ...]
    claims: tuple[CheckedClaim, ...]
    copies: tuple[str, ...] = ()
    spoilt: tuple[str, ...] = ()

    @property
    def sentences(self) -> tuple[str, ...]:
        """What can be said in print; sentences on channels start with their setting."""
        own = self.settings.sentences if self.settings is not None else ()
        within = (
            f"{literal(name)}: {line}" for name, comparison in self.channels for line in comparison.sentences
        )
        return (*own, *within)


def margins_of(session: Session) -> Mapping[str, Margin]:
    """Largest differences that do not matter: the session's own before the usual ones."""
    return {**MARGINS, **session.margins}


def findings_of(session: Session, result: SessionResult) -> Findings:
    """Compare settings on the lowest channel all have, channels within each setting, and check the claims."""
    margins = margins_of(session)
    doubles = copies_in(result.profiles)
    later = {number for number, _ in doubles}
    profiles = standing([profile for number, profile in enumerate(result.profiles) if number not in later])
    copies = tuple(_copy_text(result.profiles[one], result.profiles[first]) for one, first in doubles)
    by_setting = {
        setting.name: [p for p in profiles if p.setting == setting.name] for setting in session.settings
    }
    measured = {name: found for name, found in by_setting.items() if found}
    shared = (
        set.intersection(*({p.channel for p in found} for found in measured.values())) if measured else set()
    )
    settings = None
    if len(measured) > 1 and shared:
        channel = min(shared)
        settings = compare_profiles(
            [p for found in measured.values() for p in found if p.channel == channel], margins=margins
        )
    channels = tuple(
        (name, compare_profiles(found, margins=margins))
        for name, found in measured.items()
        if len({profile.channel for profile in found}) > 1
    )
    claims = check_claims(session.claims, settings, profiles)
    claims += check_stage_off(result.stage_off, margins=margins)
    return Findings(settings, channels, claims, copies, left_out(result.profiles))


def _copy_text(profile: Profile, first: Profile) -> str:
    names = [
        f"{literal(p.capture.file)}, channel {p.channel} ({literal(p.setting)})" for p in (first, profile)
    ]
    return (
        f"equals-other-capture: {names[1]} is the same recording as {names[0]}, not a repeat: a copy, or a "
        "digital path that repeats itself to the last bit. It is left out of the comparisons"
    )
