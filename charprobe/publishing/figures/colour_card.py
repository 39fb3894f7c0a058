"""A card of one setting's colour: its harmonics, from which level they come, and what else it changes."""

from __future__ import annotations

from functools import partial

from matplotlib.axes import Axes

from charprobe.profile.profile import Profile
from charprobe.publishing.figures.look.drawing import Drawing, composed
from charprobe.publishing.figures.look.labels import in_two_lines
from charprobe.publishing.figures.look.source import conditions, in_words, who
from charprobe.publishing.figures.look.style import ARTICLE_LOOK, Look, panel
from charprobe.publishing.figures.look.text import shown
from charprobe.publishing.portrait import keep_under, reference_tone
from charprobe.values.quantity import Quantity
from charprobe.values.wording import number_text

ORDERS = tuple(range(2, 11))
ROW = 0.088  # height of a line of readings, as a share of the panel
FLOOR_DBC, TOP_DBC = -140.0, 0.0  # of the bars of every setting, so that pages can be laid side by side
ROOM_DB = 10.0
SENTENCE_WIDTH = 44
LINES = (
    ("THD at reference", "colour.thd_at_reference"),
    ("Colour from", "colour.onset"),
    ("0.1 % distortion at", "colour.input_at_thd_minus60db"),
    ("1 % distortion at", "colour.input_at_thd_minus40db"),
    ("Even over odd", "colour.even_odd_balance"),
    ("Gain ripple's share", "colour.ripple_share"),
    ("Ripple expected", "colour.ripple_expected"),
    ("Response tilt", "response.tilt"),
    ("Noise re bypass", "noise.change"),
)


def draw_colour_card(profile: Profile, look: Look) -> Drawing:
    """Draw harmonics 2 to 10 at the reference as bars, and beside them the levels that matter."""
    tone = reference_tone(profile)
    lines = "; ".join(f"{label.lower()} {in_words(profile, name)}" for label, name in LINES)
    tops, _ = harmonics_at_reference(profile)
    return composed(
        "colour-card",
        look,
        [partial(plot_harmonic_bars, profile), partial(plot_colour_readings, profile)],
        title=f"Colour – {who(profile)}",
        main=(f"harmonics of {tone}; " if tone else "") + "hatched: none above the limit",
        conditions=conditions(profile, ["colour.thd_at_reference", "response.tilt"]),
        alt=f"Bars of harmonics 2 to 10 over the fundamental, {len(tops)} of them above the limit; {lines}.",
    )


def harmonics_at_reference(profile: Profile) -> tuple[dict[int, float], dict[int, float]]:
    """Return levels (dBc) by order: of those that show, and the limit of those that do not."""
    tops: dict[int, float] = {}
    limits: dict[int, float] = {}
    for order in ORDERS:
        reading = profile.reading(f"colour.h{order}_at_reference")
        if isinstance(reading, Quantity):
            tops[order] = reading.value
        elif reading is not None and reading.at_most is not None:
            limits[order] = reading.at_most
    return tops, limits


def plot_harmonic_bars(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Plot a bar (dBc) per order of harmonic, or a hatched one up to the limit where none shows."""
    tops, limits = harmonics_at_reference(profile)
    known = [*tops.values(), *limits.values()]
    floor = min([FLOOR_DBC, *(level - ROOM_DB for level in known)])
    with panel(ax, look) as axes:
        for order, top in tops.items():
            axes.bar(order, top - floor, bottom=floor, width=0.7, color=look.order(order)["color"])
            axes.annotate(
                number_text(top, 0), (order, top), xytext=(0, 0.25), textcoords="offset fontsize",
                ha="center", size=look.frame.font_pt * 0.8,
            )  # fmt: skip
        for order, top in limits.items():
            axes.bar(
                order,
                top - floor,
                bottom=floor,
                width=0.7,
                facecolor=look.palette.shade,
                hatch="////",
                linewidth=0,
            )
        axes.set_ylim(floor, max([TOP_DBC, *(level + ROOM_DB for level in known)]))
        axes.set_xticks(ORDERS, [f"H{order}" for order in ORDERS])
        axes.set_xlim(1.4, 10.6)
        axes.grid(visible=False, axis="x")
        axes.set(xlabel="order of the harmonic", ylabel="level re fundamental (dBc)")
    return axes


def plot_colour_readings(profile: Profile, ax: Axes | None = None, *, look: Look = ARTICLE_LOOK) -> Axes:
    """Write the readings as label and value with unit, one line each, and the headroom sentence below."""
    with panel(ax, look) as axes:
        axes.set_axis_off()
        size = look.frame.font_pt
        for row, (label, name) in enumerate(LINES):
            height = 1.0 - ROW * row
            axes.text(
                0.0, height, label, transform=axes.transAxes, va="top", color=look.palette.soft, size=size
            )
            text = shown(in_words(profile, name))
            axes.text(
                1.0, height, text, transform=axes.transAxes, va="top", ha="right", size=size, weight="bold"
            )
            axes.plot(
                [0, 1], [height - 0.75 * ROW] * 2, transform=axes.transAxes, color=look.palette.grid,
                linewidth=look.frame.line_pt / 2, clip_on=False,
            )  # fmt: skip
        words = in_two_lines(keep_under(profile), SENTENCE_WIDTH)
        axes.text(
            0.0, 0.0, words, transform=axes.transAxes, va="bottom", size=size, weight="bold", linespacing=1.4
        )
    return axes
