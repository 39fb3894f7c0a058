"""A setting's capture and its bypass set against each other: what only the two together show."""

from __future__ import annotations

from dataclasses import replace

from charprobe.measuring.health.copies import check_copy
from charprobe.measuring.health.judge import Judged
from charprobe.measuring.health.marker_levels import check_marker_levels
from charprobe.measuring.health.normalised import check_normalised
from charprobe.measuring.health.same_sound import check_roles
from charprobe.measuring.health.steady_gain import check_steady_gain
from charprobe.profile.entry import Health


def judge_pair(wet: Judged, bypass: Judged) -> tuple[Health, ...]:
    """Gather what is wrong with a bypass, and with the two captures together.

    Parameters
    ----------
    wet, bypass : Judged
        Both captures, each judged by itself.

    Returns
    -------
    tuple of Health
        The bypass's own findings, said to be of the bypass; its gain over time (``automatic-gain``,
        ``gain-step``, ``level-drift``); ``swapped-roles``, ``equals-other-capture`` and ``normalised``.
    """
    take, _ = wet
    dry, found = bypass
    noticed = tuple(item for item in found if item.code != "wrong-stimulus")  # any take of it will do
    roles = check_roles(take, dry)
    told = {item.code for item in noticed}
    if not roles:
        noticed += tuple(item for item in check_steady_gain(dry) if item.code not in told)
        told |= {item.code for item in noticed}
    if not roles and not told & {"gain-step", "level-drift", "automatic-gain"}:
        noticed += tuple(check_marker_levels(dry, off=True))
    of_bypass = (replace(item, message=f"In the bypass: {item.message}") for item in noticed)
    return (*of_bypass, *roles, *check_copy(take, dry), *check_normalised(take, dry))
