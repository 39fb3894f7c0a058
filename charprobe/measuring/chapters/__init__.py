"""One chapter of the profile per topic: runs the estimators, names the readings."""
