"""Everything a session file lists: paired by its sound, measured, its claims checked."""
