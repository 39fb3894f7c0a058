"""The usual margins: how large a difference must be to matter, for all that is compared."""

from __future__ import annotations

from collections.abc import Mapping
from types import MappingProxyType

from charprobe.comparing.curves import CURVES
from charprobe.profile.glossary import TERMS
from charprobe.profile.glossary.row import Margin

MARGINS: Mapping[str, Margin] = MappingProxyType(
    {name: term.margin for name, term in TERMS.items() if term.margin is not None}
    | {name: kind.margin for name, kind in CURVES.items()}
)
"""Margins of quantities from the glossary and, point by point, of whole curves from their registry."""
