"""One figure per file; the only user of matplotlib.

Every panel is a ``plot_x(profile, ax=None, *, look=...) -> Axes``: it draws on the Axes given, or on a new
figure of the look's size (``plot_noise(profile).figure.savefig("noise.png")``), and needs the curve it shows;
a profile without it is a `ProfileError` that names what is there. ``draw_x`` composes panels into a figure
with title, main numbers, conditions and words.

===================================================  =========================================================
`static`                                             `plot_static_curve`, `plot_anchored_curve`
`gain_trace`                                         `plot_gain_trace` (an `edge`, linear or `log_time`)
`memory`, `train`                                    `plot_memory`, `plot_burst_train`
`harmonics`, `colour_map`, `transfer`                `plot_harmonics` (a `frequency_hz`), `plot_colour_map`,
                                                     `plot_transfer`, `plot_transfer_departure`
`colour_card`                                        `plot_harmonic_bars`, `plot_colour_readings`
`response`, `noise`                                  `plot_response`, `plot_phase`, `plot_noise`
`replica`                                            `plot_replica`
`overlay` (several profiles and their names)         `plot_static_overlay`, `plot_anchored_overlay`,
                                                     `plot_timing_overlay` (an `edge`)
`listening` (a pair, as `make_pair` returns it)      `plot_programme_gain`, `plot_gain_histogram`,
                                                     `plot_levels`, `plot_spectrum_change`, `plot_difference`
`pair_picture` (the same)                            `plot_band_levels`, `plot_band_change`
===================================================  =========================================================
"""
