"""From bursts to the gain at every sample, and what of it is noise."""
