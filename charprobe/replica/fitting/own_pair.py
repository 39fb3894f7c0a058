"""A further proof of a replica: a take of the user's own, dry and processed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from charprobe.files.sound.frames import read_padded
from charprobe.files.sound.source import Source
from charprobe.listening.aligning.pairing import pair_files
from charprobe.replica.chain import play_take
from charprobe.replica.fitting.pair import Noise, Sides
from charprobe.replica.fitting.proof import compare
from charprobe.replica.model import Replica, SourceFile
from charprobe.values.errors import ReplicaError
from charprobe.values.wording import number_text

LONGEST_S = 120.0  # of a take, from its start
LEAST_S = 2.0


def with_own_proof(replica: Replica, dry: Source, processed: Source) -> Replica:
    """Prove a replica on a dry and a processed take too; the first channel of each, up to `LONGEST_S`.

    Parameters
    ----------
    replica : Replica
        Of the setting that the take went through.
    dry, processed : Source
        The same take, at the level at which the stage was fitted.

    Raises
    ------
    ReplicaError
        If the take has another sampling rate or is too short.
    CharprobeError
        If the two are not one take.
    """
    if dry.rate_hz != processed.rate_hz:
        raise ReplicaError(
            f"{processed.name}: {processed.rate_hz} Hz beside {dry.rate_hz} Hz of {dry.name}: no error can "
            "be told between sounds of two rates; export both at one. The replica itself is kept"
        )
    pair = pair_files(dry, processed)
    count = min(pair.dry.frames, round(LONGEST_S * dry.rate_hz))
    if count < LEAST_S * dry.rate_hz:
        raise ReplicaError(
            f"{dry.name} and {processed.name} share {number_text(count / dry.rate_hz, 1)} s; a proof needs "
            f"{LEAST_S:g} s or more"
        )
    one, other = (np.nan_to_num(read_padded(side, 0, count)[:, 0]) for side in (pair.dry, pair.processed))
    noise = float(10 ** (replica.noise_dbfs / 20) / np.sqrt(2))
    made = play_take(replica.chain, one, rate_hz=dry.rate_hz).sound[:, 0] * replica.chain.polarity
    proved = compare(
        Sides(one, other * pair.polarity),
        made,
        rate_hz=dry.rate_hz,
        noise=Noise(noise, noise),
        material=f"{dry.name} and {processed.name}, the user's own",
    )
    sources = (
        SourceFile("proof dry", dry.name, dry.sha256()),
        SourceFile("proof processed", processed.name, processed.sha256()),
    )
    return replace(replica, proofs=(*replica.proofs, proved.proof), sources=(*replica.sources, *sources))
