"""The gain over time: traces, edges, attack and release, and what they depend on."""
