import dataclasses

from made_profiles import B, made_profile

from charprobe.comparing.compare import compare_profiles
from charprobe.publishing.report.channels import ChannelCell, ChannelTable, channel_table


def test_the_channel_that_stands_out_is_marked_and_the_others_are_not():
    odd = dataclasses.replace(B, makeup_db=B.makeup_db + 0.3)
    profiles = [made_profile(odd if channel == 3 else B, channel=channel) for channel in range(1, 5)]
    table = channel_table([("voice", compare_profiles(profiles))])
    assert table.columns == ("Channel 1", "Channel 2", "Channel 3", "Channel 4")
    ((name, cells),) = table.rows
    assert name == "voice"
    assert [cell.words for cell in cells] == ["", "", "gain", ""]
    assert "+0.30 dB ± " in cells[2].text


def test_a_setting_whose_channels_differ_is_known_as_such():
    cell, out = ChannelCell("", ""), ChannelCell("gain", "gain: +0.3 dB")
    table = ChannelTable(("Channel 1", "Channel 2"), (("same", (cell, cell)), ("odd", (out, out))))
    assert table.differ("odd") and not table.differ("same") and not table.differ("mono")
