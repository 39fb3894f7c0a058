"""One page that shows all a page can show."""

from made_profiles import TWO_STAGE, UGLY, UGLY_NAME, B, D, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.publishing.report.page import render_page
from charprobe.publishing.report.truth_row import TruthRow
from charprobe.values.quantity import Quantity

TITLE = "Vellum <script>alert(1)</script> & $co"


def rendered():
    profiles = [made_profile(setting) for setting in (B, D, TWO_STAGE, UGLY)]
    truth = [TruthRow(UGLY_NAME, "attack.t63", 0.005, "s", Quantity(0.00501, 0.0049, 0.0052, "s"), 0.001)]
    comparison = compare_profiles(profiles)
    return render_page(
        profiles, title=TITLE, about="a <b> c", comparison=comparison, truth=truth, command="run & go"
    )
