"""The static curve: levels that settled, where it bends, what it says."""
