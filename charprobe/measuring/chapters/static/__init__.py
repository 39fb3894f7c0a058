"""Static curve, threshold, ratio, knee and make-up gain."""
