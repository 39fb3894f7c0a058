from charprobe.measuring.consistency.judge import reconciled
from charprobe.profile.entry import Entry
from charprobe.values.quantity import Quantity


def test_a_time_that_may_be_anything_is_a_bound():
    read = {"attack.t90": Entry(Quantity(0.48, -0.32, 1.27, "s"), "")}
    kept, (item,) = reconciled(read, {})
    assert item.withholds == ("attack.t90",) and kept["attack.t90"].reading.at_most == 1.27
