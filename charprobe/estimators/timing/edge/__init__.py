"""One edge of a gain trace read: what it moves from and to, and when."""
