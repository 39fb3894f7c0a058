"""One page that shows all a page can show."""

from dataclasses import dataclass

from made_profiles import TWO_STAGE, UGLY, UGLY_NAME, B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.publishing.report.page import render_page
from charprobe.values.quantity import Quantity, Reading

TITLE = "Vellum <script>alert(1)</script> & $co"


@dataclass(frozen=True)
class Row:
    stage: str
    quantity: str
    truth: float
    unit: str
    reading: Reading
    verdict: str


def rendered():
    profiles = [made_profile(setting) for setting in (B, D, TWO_STAGE, UGLY)]
    truth = [Row(UGLY_NAME, "attack.t63", 0.005, "s", Quantity(0.00501, 0.0049, 0.0052, "s"), "good")]
    comparison = compare_profiles(profiles)
    return render_page(
        profiles, title=TITLE, about="a <b> c", comparison=comparison, truth=truth, command="run & go"
    )
