"""Keep or retake: what a person at the bench wants to hear within seconds."""

from __future__ import annotations

import textwrap
from dataclasses import asdict, dataclass
from typing import Any

from charprobe.measuring.health.groups import lost_groups
from charprobe.placing.take import Take
from charprobe.placing.why_not_found import MissingStimulusError
from charprobe.profile.entry import Health
from charprobe.values.wording import clock_text, literal, number_text, signed_text

WIDTH = 100


@dataclass(frozen=True)
class Verdict:
    """A placed capture and what is wrong with it."""

    take: Take
    health: tuple[Health, ...]

    @property
    def lost(self) -> tuple[str, ...]:
        """Groups of quantities the recipe was played for and nothing in the capture speaks to any more."""
        segments = self.take.stimulus.segments
        return lost_groups(self.take, [each for each in segments if not self.take.holds(each)])

    @property
    def retake(self) -> bool:
        """Whether something withholds results, or the capture lost what the recipe was played for."""
        return bool(self.lost) or any(item.severity == "stop" for item in self.health)

    @property
    def warned(self) -> bool:
        """Whether results carry a mark."""
        return any(item.severity == "warn" for item in self.health)

    @property
    def word(self) -> str:
        """The verdict in one word."""
        return "RETAKE" if self.retake else "KEEP, with warnings" if self.warned else "KEEP"

    def text(self, *, width: int = WIDTH) -> str:
        """Several lines for a terminal, messages broken at `width` characters."""
        take, place, stimulus = self.take, self.take.alignment, self.take.stimulus
        facts = take.source.facts
        held = [s.spec.name for s in stimulus.segments if take.holds(s)]
        lost = [s.spec.name for s in stimulus.segments if not take.holds(s)]
        lines = [
            f"{self.word}  {literal(take.source.name)}, channel {take.channel + 1} of {take.source.channels}",
            f"  file      {facts.container} {facts.subtype}, {facts.rate_hz} Hz, "
            f"{clock_text(facts.duration_s)}",
            f"  stimulus  {stimulus.recipe.name} {stimulus.recipe.hash[:6]}, take {stimulus.take}",
            f"  place     starts at sample {number_text(place.delay_samples.value, 2)}, "
            f"clock {signed_text(place.drift_ppm.value, 2)} ppm, gain {signed_text(place.gain_db, 2)} dB, "
            f"polarity {'normal' if place.polarity > 0 else 'inverted'}",
            f"  segments  {', '.join(held) or 'none'}",
        ]
        if lost:
            lines.append(f"  missing   {', '.join(lost)}")
        if self.lost:
            lines.append(f"  no result for {', '.join(self.lost)}: that is what the recipe was played for")
        for item in self.health:
            body = textwrap.fill(literal(item.message), width, initial_indent="  ", subsequent_indent="    ")
            lines.append(f"  {item.severity.upper()} {item.code}\n  {body}")
        return "\n".join(lines)

    def to_dict(self) -> dict[str, Any]:
        """The same for machines."""
        place = self.take.alignment
        return {
            "verdict": "retake" if self.retake else "keep",
            "file": self.take.source.name,
            "channel": self.take.channel + 1,
            "recipe": self.take.stimulus.recipe.name,
            "take": self.take.stimulus.take,
            "delay_samples": place.delay_samples.value,
            "drift_ppm": place.drift_ppm.value,
            "gain_db": place.gain_db,
            "polarity": place.polarity,
            "segments": [s.spec.name for s in self.take.stimulus.segments if self.take.holds(s)],
            "lost": list(self.lost),
            "health": [asdict(item.for_people()) for item in self.health],
        }


def missing_dict(file: str, channel: int, error: MissingStimulusError) -> dict[str, Any]:
    """The verdict, for machines, on a capture in which the stimulus was not found."""
    return {
        "verdict": "retake",
        "file": file,
        "channel": channel,
        "health": [asdict(Health(error.code, "stop", str(error), channel=channel))],
    }
