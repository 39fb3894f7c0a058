"""What to mind before a stimulus is played: one text, for whatever leads to sound."""

from __future__ import annotations

CAUTIONS = """\
Before any sound:
  Ears      Take headphones off and mute monitors: full-scale bursts follow silence.
  Tweeters  Long tones and sweeps can burn drivers: disconnect loudspeakers, do not just turn down.
  Phantom   48 V off, and wait until it has discharged, before patching an output into an input.
  Howling   Mute direct and software monitoring and mixer returns: an output patched to an input can howl.
  Level     A line output can overload a microphone input: use line inputs or pads.
  DC        Never feed DC-coupled outputs from this sound into loudspeakers or unknown inputs.
  Privacy   An open microphone records the room: look into takes before you publish them.
  Mains     Never lift a protective earth; do not open powered gear. Local rules and manuals come first."""
FIRST_PLAY = (
    "First play at −40 dBFS, then raise in steps until the recorder's peak stays just below full scale."
)
